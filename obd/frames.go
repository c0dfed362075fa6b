package obd

import (
	"strings"
)

// segments is a segmented reply on its way.
type segments struct {
	data []byte
	want int  // total length
	next byte // sequence number that must follow
}

// message reads a line that begins with the sender's header.
func (s *scanner) message(text string) {
	switch bits := s.format.Bus.IDBits(); {
	case bits == 11:
		s.frame11(text)
	case bits == 29:
		b, ok := hexBytes(text)
		if !ok || len(b) < 4 || b[0] != 0x18 || b[1] != 0xDA || b[2] != 0xF1 {
			s.garbage = true
			return
		}
		s.frame(0x18DAF100|uint32(b[3]), b[4:])
	case s.format.Bus != BusUnknown:
		s.checked(text)
	default:
		s.garbage = true
	}
}

// frame11 reads a CAN frame with an 11-bit identifier: three digits ("7E8"), or
// eight on some adapters ("00 00 07 E8").
func (s *scanner) frame11(text string) {
	digits := strings.ReplaceAll(text, " ", "")
	if rest, ok := strings.CutPrefix(digits, "00000"); ok && len(digits)%2 == 0 {
		digits = rest
	}
	if len(digits) < 3 || !wholeBytes(text) {
		s.garbage = true
		return
	}
	b, ok := hexBytes("0" + digits)
	if !ok || b[0] != 0x07 || b[1] < 0xE8 || b[1] > 0xEF { // ISO 15765-4: 7E8 to 7EF
		s.garbage = true
		return
	}
	s.frame(0x700|uint32(b[1]), b[2:])
}

// frame takes one CAN frame of an ISO 15765-2 reply, protocol byte first.
func (s *scanner) frame(from uint32, b []byte) {
	if len(b) == 0 || len(b) > 8 || s.format.Padded && len(b) != 8 {
		s.garbage = true
		return
	}
	if s.open == nil {
		s.open = map[uint32]*segments{}
	}
	part := s.open[from]
	switch b[0] >> 4 {
	case 0: // single frame: length, up to 7 bytes, padding
		n := int(b[0])
		if n == 0 || n > 7 || len(b) != 8 && len(b) != n+1 {
			s.garbage = true
			return
		}
		s.reply(from, b[1:1+n])
	case 1: // first frame: 12-bit length, 6 bytes
		n := int(b[0]&0x0F)<<8 | int(b[1%len(b)])
		if len(b) != 8 || n <= 7 || part != nil {
			s.garbage = true
			return
		}
		s.open[from] = &segments{data: append([]byte(nil), b[2:]...), want: n, next: 1}
	case 2: // consecutive frame: 4-bit sequence number, 7 bytes
		if part == nil || b[0]&0x0F != part.next {
			s.garbage = true
			return
		}
		left := part.want - len(part.data)
		if len(b) != 8 && len(b) != left+1 {
			s.garbage = true
			return
		}
		if s.add(part, b[1:]) {
			delete(s.open, from)
			s.reply(from, part.data)
		}
	case 3: // flow control: no data
	default:
		s.garbage = true
	}
}

// add appends one consecutive frame's bytes and reports whether the reply is whole.
func (s *scanner) add(p *segments, b []byte) bool {
	p.data = append(p.data, b[:min(len(b), p.want-len(p.data))]...)
	p.next = (p.next + 1) & 0x0F
	return len(p.data) == p.want
}

// checked reads a K-line or J1850 message: three header bytes, at most 7 data
// bytes (SAE J1979), checksum.
func (s *scanner) checked(text string) {
	b, ok := hexBytes(text)
	if !ok || !wholeBytes(text) || len(b) < 5 {
		s.garbage = true
		return
	}
	n := len(b) - 1
	sum := checksum(b[:n])
	if s.format.Bus == VPW || s.format.Bus == PWM {
		sum = crc8(b[:n])
	}
	if sum != b[n] {
		s.garbage = true
		return
	}
	from, data := uint32(b[2]), b[3:n]
	if s.format.Bus == ISO14230Slow || s.format.Bus == ISO14230Fast {
		// ISO 14230-2: the format byte holds the length; 0 puts it behind the addresses.
		want := int(b[0] & 0x3F)
		if want == 0 {
			want, data = int(data[0]), data[1:]
		}
		if want != len(data) {
			s.garbage = true
			return
		}
	}
	if len(data) == 0 || len(data) > 7 {
		s.garbage = true
		return
	}
	switch s.format.Bus {
	case ISO9141, VPW, PWM:
		// Codes come three at a time, padded with zeros (SAE J1979, from memory). A sum does
		// not see zeros that are lost.
		if data[0] == s.req.Service+0x40 && len(s.req.Data) == 0 && len(data) != 7 && data[0] != 0x44 {
			s.garbage = true
			return
		}
	}
	s.reply(from, data)
}

// bare reads a line without header.
func (s *scanner) bare(text string) {
	if s.format.Bus.CAN() || s.format.Bus == BusUnknown {
		if len(text) == 3 { // the length of a segmented reply
			n := 0
			for i := range text {
				d := hexDigit(text[i])
				if d < 0 {
					s.garbage = true
					return
				}
				n = n<<4 | d
			}
			if n <= 7 || s.printed != nil { // several computers mixed cannot be told apart
				s.garbage = true
				return
			}
			s.printed = &segments{want: n}
			return
		}
		if len(text) > 2 && text[1] == ':' {
			s.printedFrame(hexDigit(text[0]), strings.TrimSpace(text[2:]))
			return
		}
	}
	b, ok := hexBytes(text)
	if !ok || !wholeBytes(text) || len(b) > 7 {
		s.garbage = true
		return
	}
	s.reply(0, b)
}

func (s *scanner) printedFrame(number int, text string) {
	p := s.printed
	b, ok := hexBytes(text)
	if p == nil || !ok || !wholeBytes(text) || number != int(p.next) {
		s.garbage = true
		return
	}
	full := 7
	if len(p.data) == 0 {
		full = 6
	}
	if len(b) != full && len(b) != p.want-len(p.data) {
		s.garbage = true
		return
	}
	if s.add(p, b) {
		s.printed = nil
		s.reply(0, p.data)
	}
}

// hexBytes reads hexadecimal digits, blanks between them ignored.
func hexBytes(text string) ([]byte, bool) {
	out := make([]byte, 0, len(text)/2)
	high := -1
	for i := range len(text) {
		if text[i] == ' ' {
			continue
		}
		d := hexDigit(text[i])
		switch {
		case d < 0:
			return nil, false
		case high < 0:
			high = d
		default:
			out = append(out, byte(high<<4|d))
			high = -1
		}
	}
	return out, high < 0 && len(out) > 0
}

// wholeBytes tells whether blanks stand only between bytes: a digit lost on the
// way shows as a lone one. The first group may be a three-digit identifier.
func wholeBytes(text string) bool {
	for i, group := range strings.Fields(text) {
		if len(group)%2 != 0 && i > 0 {
			return false
		}
	}
	return true
}

func hexDigit(c byte) int {
	switch {
	case c >= '0' && c <= '9':
		return int(c - '0')
	case c >= 'A' && c <= 'F':
		return int(c-'A') + 10
	case c >= 'a' && c <= 'f':
		return int(c-'a') + 10
	}
	return -1
}

// checksum is that of ISO 9141-2 and ISO 14230-2: the sum of all bytes, modulo 256.
func checksum(b []byte) byte {
	var sum byte
	for _, c := range b {
		sum += c
	}
	return sum
}

// crc8 is that of SAE J1850: polynomial 1D, initial value FF, result inverted.
func crc8(b []byte) byte {
	crc := byte(0xFF)
	for _, c := range b {
		crc ^= c
		for range 8 {
			if crc&0x80 != 0 {
				crc = crc<<1 ^ 0x1D
			} else {
				crc <<= 1
			}
		}
	}
	return ^crc
}
