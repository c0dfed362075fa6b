package decode

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pushback/decode/dissector"
)

var update = flag.Bool("update", false, "have the dissector decode the kept replies again and keep what it says")

// kept holds replies and what the dissector made of them; the README beside it says how.
const kept = "testdata/wireshark/replies.jsonl"

// TestDissectorKept compares with an independent implementation, on what was kept of it.
func TestDissectorKept(t *testing.T) {
	compareAll(t, keptReplies(t))
}

// TestDissector asks the dissector itself, where it is installed: it must say what was kept,
// and agree with us over the full range of each byte of every PID that it knows.
func TestDissector(t *testing.T) {
	if testing.Short() {
		t.Skip("asks another program")
	}
	if !dissector.Available() {
		t.Skip("tshark is not installed; TestDissectorKept compares with what it said")
	}
	t.Parallel()
	old := keptReplies(t)
	var messages []dissector.Message
	for _, r := range old {
		messages = append(messages, dissector.Segment(unhex(t, r.Hex)))
	}
	known := len(messages)
	for _, reply := range fullRange(t, old) {
		messages = append(messages, dissector.Segment(reply))
	}
	now, err := dissector.Dissect(messages)
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		keepReplies(t, now[:known])
		return
	}
	for i, r := range old {
		if !reflect.DeepEqual(r, now[i]) {
			t.Errorf("kept is %+v, the dissector says now %+v", r, now[i])
		}
	}
	compareAll(t, now)
}

// fullRange gives each byte of each PID that is kept all of its values: once all bytes
// alike, once each beside others.
func fullRange(t *testing.T, known []dissector.Reply) [][]byte {
	sizes := map[byte]int{}
	for _, r := range known {
		if b := unhex(t, r.Hex); b[0] == 0x41 {
			sizes[b[1]] = len(b) - 2
		}
	}
	if len(sizes) < 50 {
		t.Fatalf("only %d PIDs are kept", len(sizes))
	}
	var all [][]byte
	for pid, size := range sizes {
		for v := range 256 {
			alike, beside := []byte{0x41, pid}, []byte{0x41, pid}
			for i := range size {
				alike = append(alike, byte(v))
				beside = append(beside, byte(v*(2*i+1)+83*i)) // odd factors: all values come
			}
			all = append(all, alike)
			if size > 1 {
				all = append(all, beside)
			}
		}
	}
	return all
}

func keptReplies(t *testing.T) []dissector.Reply {
	f, err := os.Open(kept)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []dissector.Reply
	for lines := bufio.NewScanner(f); lines.Scan(); {
		var r dissector.Reply
		if err := json.Unmarshal(lines.Bytes(), &r); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

func keepReplies(t *testing.T, replies []dissector.Reply) {
	var out strings.Builder
	enc := json.NewEncoder(&out)
	for _, r := range replies {
		if err := enc.Encode(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(kept, []byte(out.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// compareAll holds our decoding to the dissector's, in a car of each layout of sensors, and
// sees to it that every signal was compared.
func compareAll(t *testing.T, replies []dissector.Reply) {
	compared := map[string]bool{}
	for _, r := range replies {
		if b := unhex(t, r.Hex); b[0] == 0x49 {
			if vin, err := VIN(b); err != nil || vin != r.VIN {
				t.Errorf("%s: %s, %v; want %s", r.Hex, vin, err, r.VIN)
			}
			compared["VIN"] = true
			continue
		}
		compareReply(t, r, 0x13, compared)
		compareReply(t, r, 0x1D, compared)
	}
	for _, s := range Signals() {
		switch s.PID {
		case 0x01, 0x51, 0x6D: // not decoded by the dissector
		case 0x06, 0x07, 0x08, 0x09: // nor is their second byte
		default:
			if !compared[s.Name] {
				t.Errorf("%s was never compared", s.Name)
			}
		}
	}
	if !compared["VIN"] || !compared["bitmap"] {
		t.Error("no VIN or no bitmap was compared")
	}
}

// compareReply decodes one reply of service 01 in a car with the given layout.
func compareReply(t *testing.T, r dissector.Reply, layout byte, compared map[string]bool) {
	pid := unhex(t, r.Hex)[1]
	var d Decoder
	if pid != 0x13 && pid != 0x1D {
		ask(t, &d, 0x7E8, fmt.Sprintf("01%02X", layout), fmt.Sprintf("41%02XFF", layout))
	}
	got := map[string]Sample{}
	for _, s := range ask(t, &d, 0x7E8, "01"+r.Hex[2:4], r.Hex) {
		got[s.Signal.Name] = s
	}
	want, err := r.Values(layout)
	if err != nil {
		t.Fatal(err)
	}
	for name, v := range want {
		s, ok := got[name]
		if !ok || s.Missing != v.Missing || !v.Missing && math.Abs(s.Value-v.V) > v.Within {
			t.Errorf("%s: %s is %v (missing: %v), the dissector says %v", r.Hex, name, s.Value, s.Missing, v)
		}
		compared[name] = true
		delete(got, name)
	}
	switch {
	case pid%0x20 == 0:
		for i := 1; i <= 0x20; i++ {
			name := fmt.Sprintf("%02X", pid+byte(i))
			if d.Supports(pid+byte(i)) != slices.Contains(r.Supported, name) {
				t.Errorf("%s: PID %s", r.Hex, name)
			}
		}
		compared["bitmap"] = true
	case pid == 0x13 || pid == 0x1D:
		var names []string
		for _, s := range d.Sensors() {
			names = append(names, s.Name)
		}
		if !slices.Equal(names, r.Sensors) {
			t.Errorf("%s: sensors %v, want %v", r.Hex, names, r.Sensors)
		}
	}
	if len(got) > 0 {
		t.Errorf("%s: not compared: %v", r.Hex, got)
	}
}
