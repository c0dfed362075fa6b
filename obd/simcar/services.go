package simcar

// The services of SAE J1979, written apart from the decoder.

// node is one computer on the bus.
type node struct {
	can     uint32 // 11-bit identifier of its replies; requests to it alone come on can-8
	address byte   // elsewhere
	engine  bool
}

var engineNode = node{can: 0x7E8, address: 0x10, engine: true}
var gearboxNode = node{can: 0x7E9, address: 0x18}

// vin is obviously no real vehicle's: it spells a sentence and has no valid check digit.
const vin = "PUSHBACKS1MCAR001"

// Negative reply and its reasons (ISO 14229).
const (
	negative         = 0x7F
	unknownService   = 0x11
	unknownParameter = 0x12
)

// answer returns the messages with which a computer answers a request, each with its
// service byte first; none if it stays silent.
func (c *car) answer(n *node, can bool, request []byte) [][]byte {
	if len(request) == 0 {
		return nil
	}
	service, data := request[0], request[1:]
	var out [][]byte
	why := byte(unknownParameter)
	switch service {
	case 0x01:
		out = whole(c.service01(n, can, data))
	case 0x02:
		if len(data) == 2 {
			out = whole(c.service02(n, data[0], data[1]))
		}
	case 0x05:
		if !can && n.engine && len(data) == 2 {
			out = whole(c.service05(data[0], data[1]))
		}
	case 0x06:
		switch {
		case !n.engine || len(data) != 1:
		case can:
			out = whole(c.service06(data[0]))
		default:
			out = service06OffCAN(data[0])
		}
	case 0x03, 0x07, 0x0A:
		out = codeMessages(service+0x40, c.computer.codes(n, service), can)
	case 0x04:
		if n.engine {
			c.computer.clearCodes()
		}
		out = [][]byte{{0x44}}
	case 0x09:
		if n.engine && len(data) == 1 {
			out = service09(data[0], can)
		}
	default:
		why = unknownService
	}
	if out == nil && c.spec.refuses && n.engine {
		return [][]byte{{negative, service, why}}
	}
	return out
}

// whole makes the messages of an answer out of the one that there is, if any.
func whole(message []byte) [][]byte {
	if message == nil {
		return nil
	}
	return [][]byte{message}
}

// service01 answers up to six PIDs on CAN, one elsewhere; what is not supported is left out.
func (c *car) service01(n *node, can bool, pids []byte) []byte {
	if len(pids) > 6 || (!can && len(pids) > 1) {
		return nil
	}
	out := []byte{0x41}
	for _, pid := range pids {
		if c.tells(n, pid) {
			out = append(append(out, pid), c.encode(n, pid, &c.computer.data)...)
		}
	}
	if len(out) == 1 {
		return nil
	}
	return out
}

// codes are the trouble codes of services 03, 07 and 0A; this computer keeps no permanent
// ones.
func (k *computer) codes(n *node, service byte) []uint16 {
	switch {
	case n.engine && service == 0x03:
		return k.stored
	case n.engine && service == 0x07:
		return k.pending
	}
	return nil
}

// service09 answers the map of infos and the VIN.
func service09(info byte, can bool) [][]byte {
	switch info {
	case 0x00:
		return [][]byte{append([]byte{0x49}, infoHead(0x00, can, 0x40, 0, 0, 0)...)}
	case 0x02:
		return vinMessages(can)
	}
	return nil
}

// infoHead puts the message count before the data of service 09, info 00, where the
// bus is not CAN.
func infoHead(info byte, can bool, data ...byte) []byte {
	if can {
		return append([]byte{info}, data...)
	}
	return append([]byte{info, 1}, data...)
}

// codeMessages packs trouble codes: CAN counts them, the others send three at a time
// and pad with zeros.
func codeMessages(service byte, codes []uint16, can bool) [][]byte {
	if can {
		out := []byte{service, byte(len(codes))}
		for _, c := range codes {
			out = append(out, byte(c>>8), byte(c))
		}
		return [][]byte{out}
	}
	var all [][]byte
	for first := true; first || len(codes) > 0; first = false {
		out := []byte{service, 0, 0, 0, 0, 0, 0}
		for i := 0; i < 3 && len(codes) > 0; i++ {
			out[1+2*i], out[2+2*i] = byte(codes[0]>>8), byte(codes[0])
			codes = codes[1:]
		}
		all = append(all, out)
	}
	return all
}

// vinMessages is service 09, info 02: one message on CAN, five of four bytes elsewhere.
func vinMessages(can bool) [][]byte {
	if can {
		return [][]byte{append([]byte{0x49, 0x02, 0x01}, vin...)}
	}
	padded := append(make([]byte, 3), vin...)
	var all [][]byte
	for i := 0; i < 5; i++ {
		all = append(all, append([]byte{0x49, 0x02, byte(i + 1)}, padded[4*i:4*i+4]...))
	}
	return all
}
