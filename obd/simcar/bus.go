package simcar

import (
	"time"

	"pushback/obd"
)

// Timing of the buses. Durations of single bits and gaps; sources:
//   - K-line, ISO 9141-2 and ISO 14230: 10.4 kbit/s, 8N1. P3 (last reply to next
//     request) at least 55 ms and P4 (between the tester's bytes) at least 5 ms: RP1210D,
//     IOCTL SET_CONFIG table. P2 (request to reply) 25 to 50 ms: from memory.
//   - J1850 VPW: bits of 64 or 128 µs, start 200 µs; end of data 200 µs,
//     between frames 300 µs (SAE J1850, figures from memory).
//   - J1850 PWM: 24 µs a bit, start 48 µs, end of data 48 µs, acknowledgement of one
//     byte, between frames 96 µs (SAE J1850, figures from memory).
//   - CAN: 47 (67) bits and the data, plus stuffing, which is 8 % on the average of
//     random data (computed).
const (
	kByte   = 961538 * time.Nanosecond // ten bits at 10.4 kbit/s
	p1      = 1 * time.Millisecond     // between the computer's bytes (typical, no source)
	p3      = 55 * time.Millisecond
	p4      = 5 * time.Millisecond
	vpwGap  = 300 * time.Microsecond
	pwmGap  = 96 * time.Microsecond
	canWait = 300 * time.Microsecond // adapter's first frame to its flow control
)

// family of buses that frame alike.
func kLine(b obd.Bus) bool {
	return b == obd.ISO9141 || b == obd.ISO14230Slow || b == obd.ISO14230Fast
}
func kwp(b obd.Bus) bool { return b == obd.ISO14230Slow || b == obd.ISO14230Fast }

// UsualReply is a computer's time from request to reply where the car sets none
// (assumed; the buses allow 25–50 ms on K-lines, up to 100 ms on J1850, 50 ms on CAN).
func UsualReply(b obd.Bus) time.Duration {
	switch {
	case b.CAN():
		return 10 * time.Millisecond
	case kLine(b):
		return 30 * time.Millisecond
	}
	return 25 * time.Millisecond
}

// frame is one frame on the bus.
type frame struct {
	id   uint32 // CAN identifier
	data []byte // CAN: the data field; others: header, message, check byte
}

// wireTime returns how long a frame occupies the bus.
func wireTime(b obd.Bus, f frame, fromTester bool) time.Duration {
	n := time.Duration(len(f.data))
	switch b {
	case obd.PWM:
		// The receiver acknowledges within the frame with one more byte.
		return 48*time.Microsecond + (n+1)*8*24*time.Microsecond + 2*48*time.Microsecond
	case obd.VPW:
		return vpwTime(f.data)
	case obd.ISO9141, obd.ISO14230Slow, obd.ISO14230Fast:
		gap := p1
		if fromTester {
			gap = p4
		}
		return n*kByte + (n-1)*gap
	}
	bits := 47 + 8*n
	if b.IDBits() == 29 {
		bits += 20
	}
	bit := 2 * time.Microsecond
	if b == obd.CAN11at250 || b == obd.CAN29at250 {
		bit = 4 * time.Microsecond
	}
	return bits * bit * 108 / 100
}

// vpwTime adds up the pulses: after the start of frame the line alternates between
// passive and active; passive 0 and active 1 are short (64 µs), the others long.
func vpwTime(data []byte) time.Duration {
	t := 200 * time.Microsecond
	active := false
	for _, by := range data {
		for bit := 7; bit >= 0; bit-- {
			if one := by>>bit&1 == 1; one == active {
				t += 64 * time.Microsecond
			} else {
				t += 128 * time.Microsecond
			}
			active = !active
		}
	}
	return t + 200*time.Microsecond // end of data
}

// gapAfter returns how long the bus must rest before the tester's next request.
func gapAfter(b obd.Bus) time.Duration {
	switch {
	case kLine(b):
		return p3
	case b == obd.VPW:
		return vpwGap
	case b == obd.PWM:
		return pwmGap
	}
	return 6 * time.Microsecond
}

// checksum is the K-line's check byte: the sum of all bytes modulo 256.
func checksum(data []byte) byte {
	var s byte
	for _, b := range data {
		s += b
	}
	return s
}

// crc is J1850's check byte: polynomial 1D, start FF, inverted.
func crc(data []byte) byte {
	c := byte(0xFF)
	for _, b := range data {
		c ^= b
		for range 8 {
			if c&0x80 != 0 {
				c = c<<1 ^ 0x1D
			} else {
				c <<= 1
			}
		}
	}
	return ^c
}

// sealed joins header and message and adds the check byte.
func sealed(b obd.Bus, header [3]byte, message []byte) frame {
	data := append(header[:], message...)
	if kLine(b) {
		data = append(data, checksum(data))
	} else {
		data = append(data, crc(data))
	}
	return frame{data: data}
}

// functionalHeader returns the header of a request to all emission-related computers.
func functionalHeader(b obd.Bus, length int) [3]byte {
	switch {
	case b == obd.PWM:
		return [3]byte{0x61, 0x6A, 0xF1}
	case kwp(b):
		return [3]byte{0xC0 | byte(length), 0x33, 0xF1}
	}
	return [3]byte{0x68, 0x6A, 0xF1}
}

// replyFrames returns the frames that carry one message of a computer.
func replyFrames(b obd.Bus, n *node, message []byte, padding int) []frame {
	if b.CAN() {
		id := n.can
		if b.IDBits() == 29 {
			id = 0x18DAF100 | uint32(n.address)
		}
		return segments(id, message, padding)
	}
	header := [3]byte{0x48, 0x6B, n.address}
	switch {
	case b == obd.PWM:
		header[0] = 0x41
	case kwp(b):
		header = [3]byte{0x80 | byte(len(message)), 0xF1, n.address}
	}
	return []frame{sealed(b, header, message)}
}

// segments cuts a message into frames by ISO 15765-2: a single frame up to 7 bytes,
// else a first frame with a 12-bit length and numbered consecutive frames.
func segments(id uint32, message []byte, padding int) []frame {
	fill := func(d []byte) frame {
		for padding >= 0 && len(d) < 8 {
			d = append(d, byte(padding))
		}
		return frame{id: id, data: d}
	}
	if len(message) <= 7 {
		return []frame{fill(append([]byte{byte(len(message))}, message...))}
	}
	n := len(message)
	all := []frame{fill(append([]byte{0x10 | byte(n>>8), byte(n)}, message[:6]...))}
	message = message[6:]
	for number := byte(1); len(message) > 0; number++ {
		k := min(7, len(message))
		all = append(all, fill(append([]byte{0x20 | number&0x0F}, message[:k]...)))
		message = message[k:]
	}
	return all
}

// Ideal returns the shortest time in which a request can be repeated through an
// adapter: the bits of request and reply on the bus, the computer's time to answer,
// the bus's rest between exchanges, and the adapter's serial bytes (command with an
// expected count, or a lone return where the adapter repeats its last request; reply with
// headers and without spaces, prompt). Baud 0 leaves the serial line out. Request and reply
// begin with the service byte.
func Ideal(b obd.Bus, baud int, answer time.Duration, request, reply []byte, repeated bool) time.Duration {
	ask := frame{data: make([]byte, 8)}
	if !b.CAN() {
		ask = sealed(b, functionalHeader(b, len(request)), request)
	}
	bus := wireTime(b, ask, true) + answer
	chars := 2*len(request) + 2 // digits, count, CR
	if repeated {
		chars = 1
	}
	for i, f := range replyFrames(b, &engineNode, reply, 0) {
		bus += wireTime(b, f, false)
		if i == 1 { // flow control
			bus += wireTime(b, ask, true)
		}
		chars += 2*len(f.data) + 1
		if b.CAN() {
			chars += map[int]int{11: 3, 29: 8}[b.IDBits()]
		}
	}
	chars += 2 // CR and prompt
	rest := gapAfter(b)
	if baud > 0 {
		// The serial line works while the bus rests.
		rest = max(rest, time.Duration(chars)*10*time.Second/time.Duration(baud))
	}
	return bus + rest
}
