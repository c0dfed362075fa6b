package simcar

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/decode"
	"pushback/decode/dissector"
	"pushback/obd"
)

// udsAsked are the requests of the test below, by own address where the answer to all is silence, and what kinds of messages must be
// among those that pass for the test to be one.
var (
	udsAsked = []string{"22F400", "22F40C", "22F414", "22F40CF405", "22F40CF405F406", "22F600", "22F601", "22F641", "22F681", "22F800", "22F802", "22F804",
		"19423308FF", "19423304FF", "195533", "19563301", "190404560000", "1904045600F0", "22F4A6", "0100", "2F414101", "1902FF", "1900", "14FFFF33"}
	udsKinds = []string{"Request Read Data By Identifier", "Request Read DTC Information", "Request Clear Diagnostic Information", "Reply Read Data By Identifier",
		"Reply Read DTC Information", "Reply Error Read Data By Identifier", "Reply Error Read DTC Information", "Reply Error Clear Diagnostic Information",
		"Report WWH-OBD DTC By Mask Record", "Report WWH-OBD DTC With Permanent Status", "Report WWH-OBD DTC By Readiness Group Identifier",
		"Report DTC Snapshot Record by DTC Number", "response is pending", "Request Out of Range", "0xf601"}
)

// TestDissectorUDS has all that passes between us and a simulated car of J1979-2, both ways and on both lengths of identifiers, read by an
// analyser of other people's (package dissector): services, identifiers, sub-functions, refusals, and the records of values, codes and test results.
func TestDissectorUDS(t *testing.T) {
	if testing.Short() || !dissector.Available() {
		t.Skip("asks another program")
	}
	kinds := ""
	for _, bus := range []obd.Bus{obd.CAN11at500, obd.CAN29at500} {
		var messages []dissector.Message
		car := carNamed(t, "obd-on-uds-long")
		car.uds = &udsSpec{most: 3, readiness: true, second: true, pending: 0.2, late: [2]time.Duration{1e7, 2e7}, old: true, permanent: []uint16{0x0456}}
		c := newClient(t, Config{Car: car, Bus: bus, Seed: 5, Patient: true, Tap: func(m Traffic) { messages = append(messages, onWire(bus, m)) }})
		c.ask("ATE0")
		c.ask(fmt.Sprintf("ATSP%d", bus))
		for range 2 { // to all, then to the engine's computer
			for _, text := range udsAsked {
				c.ask(text)
			}
			c.ask(map[obd.Bus]string{obd.CAN11at500: "ATSH7E0", obd.CAN29at500: "ATSHDA10F1"}[bus])
		}
		read, err := dissector.DissectUDS(messages)
		if err != nil {
			t.Fatal(err)
		}
		for _, u := range read {
			kinds += u.Text + " " + u.ID + "\n"
			m, _ := hex.DecodeString(u.Hex)
			checkUDS(t, bus, m, u)
		}
	}
	for _, k := range udsKinds {
		if !strings.Contains(kinds, k) {
			t.Errorf("nothing that passed was %q", k)
		}
	}
}

// onWire is a message in the frames that it passed in.
func onWire(bus obd.Bus, m Traffic) dissector.Message {
	out := dissector.Message{Data: m.Message}
	if m.From == 0 {
		id := uint32(0x7DF)
		if bus.IDBits() == 29 {
			id = 0x18DB33F1
		}
		out.Frames = []dissector.Frame{{ID: id, Data: append([]byte{byte(len(m.Message))}, m.Message...)}}
		return out
	}
	n := &engineNode
	if m.From != engineNode.can && m.From != 0x18DAF100|uint32(engineNode.address) {
		n = &secondNode
	}
	for _, f := range replyFrames(bus, n, m.Message, 0) {
		out.Frames = append(out.Frames, dissector.Frame{ID: f.id, Data: f.data})
	}
	return out
}

// checkUDS holds what the analyser says of a message to the message, by ISO 14229-1, and to what we read of it.
func checkUDS(t *testing.T, bus obd.Bus, m []byte, u dissector.UDS) {
	t.Helper()
	bad := func(what string) {
		t.Helper()
		t.Errorf("%v: %s: %s; the dissector says %q, %+v", bus, u.Hex, what, u.Text, u)
	}
	if m[0] == 0x7F {
		if !u.Reply || u.Refused != fmt.Sprintf("0x%02x", m[1]) || u.Code != fmt.Sprintf("0x%02x", m[2]) {
			bad("another refusal")
		}
		return
	}
	if u.Service != fmt.Sprintf("0x%02x", m[0]&^0x40) || u.Reply != (m[0]&0x40 != 0) {
		bad("another service")
	}
	record, err := hex.DecodeString(strings.TrimPrefix(u.Record, "<MISSING>")) // of none
	if err != nil {
		t.Fatal(err)
	}
	switch m[0] {
	case 0x62:
		if !strings.HasPrefix(u.ID, fmt.Sprintf("0x%02x%02x", m[1], m[2])) || !bytes.Equal(record, m[3:]) {
			bad("another identifier or record")
		}
		if m[1] == 0xF6 && m[2]%0x20 != 0 { // value and limits, of eight bytes each
			tests, err := decode.MonitorTests([]byte{0x06, m[2]}, m)
			if err != nil || len(tests) != len(record)/8 || tests[0].Test != record[0] || tests[0].Scaling != record[1] {
				bad(fmt.Sprintf("we read the results %+v, %v", tests, err))
			}
		}
	case 0x22:
		if !strings.HasPrefix(u.ID, fmt.Sprintf("0x%02x%02x", m[1], m[2])) {
			bad("another identifier")
		}
	case 0x19, 0x59:
		if u.Sub != fmt.Sprintf("0x%02x", m[1]) || !bytes.Equal(record, m[2:]) {
			bad("another sub-function or record")
		}
		if m[0] == 0x59 && m[1] == 0x42 { // severity, three bytes, status
			var theirs []string
			for r := record[4:]; len(r) >= 5; r = r[5:] {
				if r[4]&decode.StatusConfirmed != 0 {
					theirs = append(theirs, decode.LongCode(uint32(r[1])<<16|uint32(r[2])<<8|uint32(r[3])))
				}
			}
			if ours, err := decode.Codes(0x03, true, m); err == nil && !slices.Equal(ours, theirs) {
				bad(fmt.Sprintf("we read %q", ours))
			}
		}
	}
}
