package obd

import (
	"fmt"
	"testing"
)

// sentAs returns the message that may reach a unit of a line that is a frame: with an odd digit at its end for a number of
// replies, and filled up with zeros, since adapters may do so. It is none unless it begins a single frame (ISO 15765-2: a length
// of 1 to 7): longer requests to all are not defined, and a frame that goes on has none to go on from.
func sentAs(line string, b *[8]byte) []byte {
	*b = [8]byte{}
	if len(line) > 17 {
		return nil
	}
	for i := 0; i+1 < len(line); i += 2 {
		b[i/2] = byte(hexDigit(line[i])<<4 | hexDigit(line[i+1]))
	}
	if b[0] == 0 || b[0] > 7 {
		return nil
	}
	return b[1 : 1+b[0]]
}

// everyRequest calls f with the words of every request of J1979-2 that can be made, but for the clearing of codes:
// one, two or three identifiers of any PID, monitors, vehicle information, codes, readiness groups, freeze frames of any code.
func everyRequest(f func(words string)) {
	add := func(r Request) {
		if words, ok := J1979v2.Words(r); ok { // it has none for the freeze frames of some codes
			f(words)
		}
	}
	for i := range 256 {
		for _, service := range []byte{0x01, 0x06, 0x09} {
			add(Request{Service: service, Data: []byte{byte(i)}})
		}
		add(Request{Service: readCodes, Data: []byte{groupReadiness, emissionGroup, byte(i)}})
		for j := range 256 {
			add(Request{Service: 0x01, Data: []byte{byte(i), byte(j)}})
			for _, third := range []byte{0x00, 0x11, 0x12, 0xFF} { // what is wrong with the circuit
				add(Request{Service: readCodes, Data: []byte{snapshot, byte(i), byte(j), third, 0x00}})
			}
		}
	}
	for _, service := range []byte{0x03, 0x07, 0x0A} {
		add(Request{Service: service})
	}
}

// TestNoStretchOfAFrame: of no line that asks something in J1979-2 any stretch up to its end, with or without a number of replies, is a
// message that may change something; of a freeze frame's, none that a unit takes. Of three identifiers one in 71 is tried.
func TestNoStretchOfAFrame(t *testing.T) {
	count := 0
	var b [8]byte
	check := func(words, line string) {
		m := sentAs(line, &b)
		if m == nil {
			return
		}
		bad := Changes(int(m[0]), len(m)-1)
		if words[:4] == "1904" { // a code may be anything
			bad = Takes(m, true)
		}
		if count++; bad {
			t.Fatalf("of %s comes %s, which is %X", words, line, m)
		}
	}
	endings, step := []string{"", "1", "2", "9"}, 71
	if testing.Short() {
		endings, step = []string{"", "2"}, 7100
	}
	stretches := func(words string) {
		for _, replies := range endings {
			line := frame(words) + replies
			for i := range line {
				check(words, line[i:])
			}
		}
	}
	everyRequest(stretches)
	for n := 0; n < 1<<24; n += step {
		ids := fmt.Sprintf("22F4%02XF4%02XF4%02X", byte(n>>16), byte(n>>8), byte(n))
		line := frame(ids)
		for i := range line {
			check(ids, line[i:])
		}
	}
	if count < 5e5 {
		t.Errorf("only %d messages", count)
	}
}

// TestDamagedFrame: what has lost or doubled one character would be shown by the echo before its return goes out. Should it
// go out all the same, it is none that a unit takes.
func TestDamagedFrame(t *testing.T) {
	var b [8]byte
	n := 0
	everyRequest(func(words string) {
		line := frame(words)
		if n++; n%7 != 0 || testing.Short() && n%49 != 0 {
			return
		}
		for i := range line {
			for _, damaged := range []string{line[:i] + line[i+1:], line[:i+1] + line[i:]} {
				if m := sentAs(damaged, &b); Takes(m, true) {
					t.Fatalf("of %s comes %s, which is %X", line, damaged, m)
				}
			}
		}
	})
}
