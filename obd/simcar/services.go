package simcar

import "math"

// The encoder of SAE J1979 services, written apart from the decoder.

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
	out := []byte{service + 0x40}
	refuse := func(why byte) [][]byte {
		if c.spec.refuses && n.engine {
			return [][]byte{{negative, service, why}}
		}
		return nil
	}
	switch service {
	case 0x01:
		if len(data) == 0 || len(data) > 6 || (!can && len(data) > 1) {
			return refuse(unknownParameter)
		}
		for _, pid := range data {
			if c.supports(n, pid) {
				out = c.encode(n, pid, append(out, pid))
			}
		}
		if len(out) == 1 {
			return refuse(unknownParameter)
		}
		return [][]byte{out}
	case 0x02:
		if len(data) == 2 {
			if out := c.service02(n, data[0], data[1]); out != nil {
				return [][]byte{out}
			}
		}
		return refuse(unknownParameter)
	case 0x05:
		if !can && n.engine && len(data) == 2 {
			if out := c.service05(data[0], data[1]); out != nil {
				return [][]byte{out}
			}
		}
		return refuse(unknownParameter)
	case 0x06:
		if n.engine && len(data) == 1 {
			if !can {
				if out := service06OffCAN(data[0]); out != nil {
					return out
				}
			} else if out := c.service06(data[0]); out != nil {
				return [][]byte{out}
			}
		}
		return refuse(unknownParameter)
	case 0x03, 0x07, 0x0A:
		var codes []uint16
		if n.engine {
			switch service {
			case 0x03:
				codes = c.computer.stored
			case 0x07:
				codes = c.computer.pending
			}
		}
		return codeMessages(out[0], codes, can)
	case 0x04:
		if n.engine {
			c.computer.clearCodes()
		}
		return [][]byte{out}
	case 0x09:
		if !n.engine || len(data) != 1 {
			return refuse(unknownParameter)
		}
		switch data[0] {
		case 0x00:
			return [][]byte{append(out, infoHead(0x00, can, 0x40, 0, 0, 0)...)}
		case 0x02:
			return vinMessages(can)
		}
		return refuse(unknownParameter)
	}
	return refuse(unknownService)
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

// supports reports whether a computer answers a PID of service 01.
func (c *car) supports(n *node, pid byte) bool {
	if pid%0x20 == 0 {
		return pid == 0 || pid <= 0x60 && c.anyAbove(n, pid)
	}
	if !n.engine {
		return pid == 0x01 || pid == 0x0C || pid == 0x0D
	}
	vee := c.spec.engine.banks == 2
	switch pid {
	case 0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x1C, 0x1F:
		return true
	case 0x21, 0x33, 0x42, 0x44, 0x46, 0x51:
		return c.spec.recent
	case 0x08, 0x09:
		return vee
	case 0x13:
		return !c.spec.fourBanks
	case 0x1D:
		return c.spec.fourBanks
	}
	for i := range c.spec.engine.banks {
		up, down := c.sensorPID(i, 1), c.sensorPID(i, 2)
		if pid == down && c.spec.downstream {
			return true
		}
		if c.spec.wide && (pid == up+0x10 || pid == up+0x20) || !c.spec.wide && pid == up {
			return true
		}
	}
	return false
}

// anyAbove reports whether any PID beyond a bit map's own is supported.
func (c *car) anyAbove(n *node, pid byte) bool {
	for p := int(pid) + 1; p < 0x80; p++ {
		if p%0x20 != 0 && c.supports(n, byte(p)) {
			return true
		}
	}
	return false
}

// sensorPID returns the PID (14 to 1B) of a sensor, by the layout that the car
// reports: two banks of four (PID 13) or four banks of two (PID 1D).
func (c *car) sensorPID(bank, position int) byte {
	per := 4
	if c.spec.fourBanks {
		per = 2
	}
	return byte(0x14 + per*bank + position - 1)
}

// encode appends the data bytes of a PID of service 01.
func (c *car) encode(n *node, pid byte, out []byte) []byte {
	d := &c.computer.data
	two := func(v float64) []byte {
		u := uint16(clip(v, 65535))
		return append(out, byte(u>>8), byte(u))
	}
	one := func(v float64) []byte { return append(out, byte(clip(v, 255))) }
	if pid%0x20 == 0 {
		var bits [4]byte
		for i := range 32 {
			if c.supports(n, pid+byte(i)+1) {
				bits[i/8] |= 0x80 >> (i % 8)
			}
		}
		return append(out, bits[:]...)
	}
	switch pid {
	case 0x01:
		if !n.engine {
			return append(out, 0, 0x04, 0, 0)
		}
		mil := byte(len(c.computer.stored))
		if mil > 0 {
			mil |= 0x80
		}
		b, m, open := c.computer.monitors()
		return append(out, mil, b, m, open)
	case 0x03:
		return append(out, d.status[0], d.status[1])
	case 0x04:
		return one(d.load * 255)
	case 0x05:
		return one(d.coolant + 40)
	case 0x06:
		return append(out, trimByte(d.stft[0]))
	case 0x07:
		return append(out, trimByte(d.ltft[0]))
	case 0x08:
		return append(out, trimByte(d.stft[1]))
	case 0x09:
		return append(out, trimByte(d.ltft[1]))
	case 0x0B:
		return one(d.mapKPa)
	case 0x0C:
		return two(d.rpm * 4)
	case 0x0D:
		return one(d.speed)
	case 0x0E:
		return one((d.spark + 64) * 2)
	case 0x0F:
		return one(d.iat + 40)
	case 0x10:
		return two(d.air * 100)
	case 0x11:
		return one(d.throttle * 255)
	case 0x13, 0x1D:
		var bits byte
		for i := range c.spec.engine.banks {
			bits |= 1 << (c.sensorPID(i, 1) - 0x14)
			if c.spec.downstream {
				bits |= 1 << (c.sensorPID(i, 2) - 0x14)
			}
		}
		return append(out, bits)
	case 0x1C:
		return append(out, 0x06) // EOBD
	case 0x1F:
		return two(d.ran)
	case 0x21:
		if len(c.computer.stored) > 0 {
			return two(37)
		}
		return two(0)
	case 0x33:
		return one(100)
	case 0x42:
		return two(d.voltage * 1000)
	case 0x44:
		return two(d.command * 32768)
	case 0x46:
		return one(20 + 40)
	case 0x51:
		return append(out, 0x01)
	}
	for i := range c.spec.engine.banks {
		switch pid {
		case c.sensorPID(i, 1):
			trim := trimByte(d.stft[i])
			if c.spec.trimApart {
				trim = 0xFF
			}
			return append(out, byte(clip(d.up[i]*200, 255)), trim)
		case c.sensorPID(i, 2):
			return append(out, byte(clip(d.down[i]*200, 255)), 0xFF)
		case c.sensorPID(i, 1) + 0x10: // lambda and the voltage of the cell's amplifier
			out = two(d.wide[i] * 32768)
			return c.appendTwo(out, clip((2.0+1.2*(d.wide[i]-1))*8192, 65535))
		case c.sensorPID(i, 1) + 0x20: // lambda and pump current
			out = two(d.wide[i] * 32768)
			return c.appendTwo(out, clip((pumpCurrent(d.wide[i])+128)*256, 65535))
		}
	}
	return out
}

func (c *car) appendTwo(out []byte, v float64) []byte {
	return append(out, byte(uint16(v)>>8), byte(uint16(v)))
}

// pumpCurrent is a wide-range cell's current in mA over lambda: zero at 1, about
// 1 mA at lambda 1.5 and -0.9 mA at 0.8 (from memory of data sheets; indicative).
func pumpCurrent(lambda float64) float64 {
	if lambda > 1 {
		return 3 * (lambda - 1) / lambda
	}
	return 4.5 * (lambda - 1)
}

// trimByte encodes a trim fraction: 128 is none, a count is 1/128 (SAE J1979).
func trimByte(x float64) byte { return byte(clip(128+x*128, 255)) }

// clip rounds to the nearest count within 0 … top.
func clip(v, top float64) float64 { return min(max(math.Round(v), 0), top) }
