package obd

import (
	"bytes"
	"strings"
)

// Parse finds the replies to req in what the adapter printed up to its prompt.
// It is pure and accepts any bytes; live sessions and replays both read through
// it.
//
// A reply is taken only when it answers req: its service byte is the request's
// plus 0x40 and, where the service has parameters, the first one is echoed. What
// is damaged is never repaired: one unreadable line makes the whole exchange
// [Garbled], without replies. Whole, readable replies to something else are passed
// over. Negative replies (7F, service, code) are among the replies, except code 78,
// which announces that the real one follows.
//
// A request that holds one PID twice is answered with its value twice, which makes up for
// the missing checksum of CAN lines: both must be the same, and the reply then
// holds it once.
//
// Layouts: ISO 15765-2 frames with the sender's identifier, or as adapters print
// them without headers ("00A", "0: …", "1: …"); ISO 9141-2, ISO 14230-4 and SAE J1850
// messages, checked by their checksum where headers are on. On these buses a long
// answer comes as several messages, each of which is a reply of its own: three
// codes (service 03, 07, 0A), four characters with a number (service 09).
//
// An exchange that ended as [TimedOut] or [LinkLost] was not complete: its raw
// text is not to be parsed.
func Parse(raw []byte, f Format, req Request) ([]Reply, Outcome) {
	s := scanner{format: f, req: req}
	first := true
	for line := range bytes.FieldsFuncSeq(raw, func(r rune) bool { return r == '\r' || r == '\n' || r == '>' }) {
		text := clean(line)
		if text == "" {
			continue
		}
		if first && s.echo(text) {
			first = false
			continue
		}
		first = false
		s.line(text)
	}
	return s.result()
}

// clean drops what adapters are known to leave between characters (NUL) and the
// blanks around a line.
func clean(line []byte) string {
	return strings.TrimSpace(strings.ReplaceAll(string(line), "\x00", ""))
}

// scanner collects the replies of one exchange.
type scanner struct {
	format Format
	req    Request

	found   []Reply
	open    map[uint32]*segments // unfinished ISO 15765-2 replies by sender
	printed *segments            // the same without headers

	garbage bool    // something unreadable
	strange bool    // something readable, but no answer to the request
	text    Outcome // what the adapter said in words; OK when nothing
}

// segments is a segmented reply on its way.
type segments struct {
	data []byte
	want int  // total length
	next byte // sequence number that must follow
}

func (s *scanner) echo(text string) bool {
	t, want := strings.ToUpper(strings.ReplaceAll(text, " ", "")), s.req.Hex()
	return t == want || len(t) == len(want)+1 && strings.HasPrefix(t, want) && hexDigit(t[len(want)]) >= 0
}

// The adapter's own words, by how they begin. The order matters where one is the
// beginning of another.
var words = []struct {
	text string
	is   Outcome
}{
	{"NO DATA", NoData},
	{"UNABLE TO CONNECT", BusError},
	{"CAN ERROR", BusError},
	{"BUS ERROR", BusError},
	{"BUS BUSY", BusError},
	{"BUS INIT", BusError}, // its good ending is cut off before
	{"FB ERROR", BusError},
	{"ERROR", BusError}, // the bad ending of BUS INIT on a line of its own
	{"DATA ERROR", Garbled},
	{"RX ERROR", Garbled},
	{"BUFFER FULL", Garbled},
	{"STOPPED", Garbled},
	{"?", Garbled},
	{"ACT ALERT", AdapterReset},
	{"LP ALERT", AdapterReset},
	{"LV RESET", AdapterReset},
	{"ERR", AdapterReset}, // ERR and two digits: an internal failure
}

func (s *scanner) line(text string) {
	text = strings.ToUpper(text)
	// Progress is printed in front of the reply, with or without a line break.
	if rest, ok := strings.CutPrefix(text, "SEARCHING"); ok {
		text = strings.TrimLeft(rest, ". ")
	}
	if rest, ok := strings.CutPrefix(text, "BUS INIT"); ok {
		rest = strings.TrimLeft(rest, ":. ")
		if good, ok := strings.CutPrefix(rest, "OK"); ok {
			text = strings.TrimSpace(good)
		} else if rest == "" {
			return // the end is on the next line
		}
	}
	if text == "" || text == "OK" {
		return
	}
	for _, w := range words {
		if strings.HasPrefix(text, w.text) {
			s.say(w.is)
			return
		}
	}
	if strings.Contains(text, "<") { // "<DATA ERROR", "<RX ERROR" behind a damaged line
		s.garbage = true
		return
	}
	if banner(text) {
		s.say(AdapterReset)
		return
	}
	if s.format.Headers {
		s.message(text)
	} else {
		s.bare(text)
	}
}

// say notes the adapter's words; a restart outweighs all, then trouble.
func (s *scanner) say(o Outcome) {
	switch {
	case o == AdapterReset || s.text == AdapterReset:
		s.text = AdapterReset
	case o == Garbled:
		s.garbage = true
	case s.text != BusError:
		s.text = o
	}
}

// banner tells whether the line looks like the name and version that adapters
// print when they start ("… v1.5"). No reply holds a V.
func banner(text string) bool {
	i := strings.LastIndex(text, "V")
	return i >= 0 && i+1 < len(text) && text[i+1] >= '0' && text[i+1] <= '9' && strings.Contains(text[i:], ".")
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

// reply takes one whole message if it answers the request.
func (s *scanner) reply(from uint32, data []byte) {
	if len(data) == 3 && data[0] == 0x7F && data[1] == s.req.Service {
		if data[2] != 0x78 {
			s.found = append(s.found, Reply{From: from, Data: bytes.Clone(data)})
		}
		return
	}
	if !answers(data, s.req) {
		s.strange = true
		return
	}
	if d := s.req.Data; s.req.Service == 0x01 && len(d) == 2 && d[0] == d[1] {
		half := (len(data) - 1) / 2
		if len(data)%2 == 0 || !bytes.Equal(data[1:1+half], data[1+half:]) {
			s.garbage = true
			return
		}
		data = data[:1+half]
	}
	for _, have := range s.found {
		if have.From != from || have.Data[0] == 0x7F {
			continue
		}
		if bytes.Equal(have.Data, data) {
			return // printed twice
		}
		if from != 0 && (s.req.Service == 0x01 || s.req.Service == 0x02) {
			s.garbage = true // two different answers of one computer: one is late
			return
		}
	}
	s.found = append(s.found, Reply{From: from, Data: bytes.Clone(data)})
}

// answers tells whether data is a positive reply to req.
func answers(data []byte, req Request) bool {
	if len(data) == 0 || data[0] != req.Service+0x40 {
		return false
	}
	if len(req.Data) == 0 {
		return true
	}
	if len(data) < 2 {
		return false
	}
	switch req.Service {
	case 0x01: // several PIDs may be asked for; those that are unknown to the car are left out
		return bytes.IndexByte(req.Data, data[1]) >= 0
	case 0x02: // PID and frame number
		return data[1] == req.Data[0] && (len(req.Data) < 2 || len(data) > 2 && data[2] == req.Data[1])
	case 0x05: // test and sensor
		return data[1] == req.Data[0] && (len(req.Data) < 2 || len(data) > 2 && data[2] == req.Data[1])
	}
	return data[1] == req.Data[0]
}

func (s *scanner) result() ([]Reply, Outcome) {
	if s.text == AdapterReset {
		return nil, AdapterReset
	}
	if s.garbage || len(s.open) > 0 || s.printed != nil {
		return nil, Garbled
	}
	if s.text == BusError {
		return nil, BusError
	}
	positive := false
	for _, r := range s.found {
		positive = positive || r.Data[0] != 0x7F
	}
	switch {
	case s.text == NoData && positive: // it contradicts itself
		return nil, Garbled
	case positive:
		return s.found, OK
	case len(s.found) > 0:
		return s.found, Refused
	case s.strange:
		return nil, Garbled
	}
	return nil, NoData
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
