package obd

import (
	"bytes"
	"slices"
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
// over. Negative replies (7F, service, code) are among the replies; those that put the
// answer off (78, 21) only where that computer gives none. A reply may be in the
// words of either [Dialect].
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

	pending []Reply // 'response pending'

	garbage bool    // something unreadable
	strange bool    // something readable, but no answer to the request
	text    Outcome // what the adapter said in words; OK when nothing
}

func (s *scanner) echo(text string) bool {
	t := strings.ToUpper(strings.ReplaceAll(text, " ", ""))
	is := func(want string) bool {
		return t == want || len(t) == len(want)+1 && strings.HasPrefix(t, want) && hexDigit(t[len(want)]) >= 0
	}
	if is(s.req.Hex()) {
		return true
	}
	if t == "" || t[0] != '1' && t[0] != '2' { // spare most lines the work
		return false
	}
	words, ok := J1979v2.Words(s.req)
	return ok && is(words)
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
	if text[0] > '9' { // no word begins with a digit
		for _, w := range words {
			if strings.HasPrefix(text, w.text) {
				s.say(w.is)
				return
			}
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

// reply takes one whole message if it answers the request.
func (s *scanner) reply(from uint32, data []byte) {
	if refuses(data, s.req) {
		if later(data) {
			s.pending = append(s.pending, Reply{From: from, Data: bytes.Clone(data)})
		} else {
			s.found = append(s.found, Reply{From: from, Data: bytes.Clone(data)})
		}
		return
	}
	second := answers2(data, s.req)
	if !second && !answers(data, s.req) {
		s.strange = true
		return
	}
	if d := s.req.Data; s.req.Service == 0x01 && len(d) == 2 && d[0] == d[1] && !second {
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
		if from != 0 && (second || s.req.Service == 0x01 || s.req.Service == 0x02) {
			s.garbage = true // two different answers of one computer: one is late
			return
		}
	}
	s.found = append(s.found, Reply{From: from, Data: bytes.Clone(data)})
}

// answers tells whether data is a positive reply to req in the words of J1979.
func answers(data []byte, req Request) bool {
	if len(data) == 0 || data[0] != req.Service+0x40 || req.Service == readCodes {
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

// unanswered are the computers that have put their answer off and not given one, each once.
func (s *scanner) unanswered() (all []Reply) {
	for _, p := range s.pending {
		gave := func(r Reply) bool { return r.From == p.From }
		if !slices.ContainsFunc(s.found, gave) && !slices.ContainsFunc(all, gave) {
			all = append(all, p)
		}
	}
	return all
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
		return append(s.found, s.unanswered()...), OK
	case len(s.found) > 0 || len(s.pending) > 0:
		return append(s.found, s.unanswered()...), Refused
	case s.strange:
		return nil, Garbled
	}
	return nil, NoData
}
