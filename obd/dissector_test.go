package obd_test

import (
	"bufio"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pushback/decode"
	"pushback/decode/dissector"
	"pushback/obd"
)

var update = flag.Bool("update", false, "have the dissector decode the kept messages again and keep what it says")

// keptUDS holds messages of ISO 14229-1 and what Wireshark's dissector makes of them.
const keptUDS = "testdata/uds.jsonl"

// asked are requests in the words of J1979, and replies to them.
var asked = []struct {
	request string
	replies []string
}{
	{"0910", []string{"62F81001", "7F2231"}},
	{"0100", []string{"62F4009818A013", "7F2211"}},
	{"010C", []string{"62F40C0BED", "7F2278", "7F2221"}},
	{"010C05", []string{"62F40C0BEDF40578", "7F2213"}},
	{"0114", []string{"62F4145A80"}},
	{"0134", []string{"62F4347BD17FCC"}},
	{"0902", []string{"62F802314D3847444D3941584B50303432373838"}},
	{"0601", []string{"62F601070A0E6800001CD0"}},
	{"03", []string{"594233FF1E0402013111A8020171002F", "594233FF1E04", "7F1910"}},
	{"07", []string{"594233FF1E040201321227"}},
	{"0A", []string{"595533FF0401311108", "595533FF04"}},
	{"04", []string{"54", "7F1422", "7F1478"}},
	{"19563301", []string{"595633FF040101010050"}},
	{"190401311100", []string{"5904013111A80001F40C0BED"}},
}

// udsMessages are the requests as they go over the line, the replies, and one request of each
// service number there may be.
func udsMessages(t *testing.T) (all []dissector.Message) {
	unhex := func(s string) []byte {
		b, err := hex.DecodeString(s)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for _, a := range asked {
		words, ok := obd.J1979v2.Words(request(t, a.request))
		if !ok {
			t.Fatalf("no words for %s", a.request)
		}
		all = append(all, dissector.Request(unhex(words)))
		for _, r := range a.replies {
			all = append(all, dissector.Segment(unhex(r)))
		}
	}
	for service := 0x10; service < 0x90; service++ {
		if service&0x40 == 0 {
			all = append(all, dissector.Request([]byte{byte(service), 0x01, 0x02}))
		}
	}
	return all
}

// TestDissectorKept holds words and replies to what another implementation of ISO 14229-1 said.
func TestDissectorKept(t *testing.T) {
	f, err := os.Open(keptUDS)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []dissector.UDS
	for lines := bufio.NewScanner(f); lines.Scan(); {
		var u dissector.UDS
		if err := json.Unmarshal(lines.Bytes(), &u); err != nil {
			t.Fatal(err)
		}
		all = append(all, u)
	}
	if len(all) != len(udsMessages(t)) {
		t.Fatalf("%d messages are kept of %d", len(all), len(udsMessages(t)))
	}
	compareUDS(t, all)
}

// TestDissector asks it, where it is installed: it must say what was kept.
func TestDissector(t *testing.T) {
	if !dissector.Available() {
		t.Skip("tshark is not installed; TestDissectorKept compares with what it said")
	}
	now, err := dissector.DissectUDS(udsMessages(t))
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		var out strings.Builder
		enc := json.NewEncoder(&out)
		for _, u := range now {
			if err := enc.Encode(u); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.WriteFile(keptUDS, []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	compareUDS(t, now)
	kept, err := os.ReadFile(keptUDS)
	if err != nil {
		t.Fatal(err)
	}
	for _, u := range now {
		if line, _ := json.Marshal(u); !strings.Contains(string(kept), string(line)) {
			t.Errorf("the dissector says now %s", line)
		}
	}
}

// Names of the dissector by what a request means to us.
var (
	readNames = map[string]string{"01": "Read Data By Identifier", "06": "Read Data By Identifier", "09": "Read Data By Identifier",
		"03": "Report WWH-OBD DTC By Mask Record", "07": "Report WWH-OBD DTC By Mask Record", "0A": "Report WWH-OBD DTC With Permanent Status",
		"04": "Clear Diagnostic Information", "1956": "Report WWH-OBD DTC By Readiness Group Identifier", "1904": "Report DTC Snapshot Record by DTC Number"}
	// harmless are the services that neither change the car nor the session.
	harmless = []string{"Read DTC Information", "Read Data By Identifier", "Tester Present"}
)

func compareUDS(t *testing.T, all []dissector.UDS) {
	next := func() dissector.UDS {
		u := all[0]
		all = all[1:]
		return u
	}
	for _, a := range asked {
		req := request(t, a.request)
		name := readNames[a.request[:2]]
		if name == "" {
			name = readNames[a.request[:4]]
		}
		if u := next(); u.Reply || !strings.Contains(u.Text, name) {
			t.Errorf("%s goes out as %s, which is %q", a.request, u.Hex, u.Text)
		}
		for range a.replies {
			compareUDSReply(t, req, name, next())
		}
	}
	for _, u := range all {
		var service, parameter int
		fmt.Sscanf(u.Hex, "%02X%04X", &service, &parameter)
		name := strings.TrimPrefix(u.Text, "Request ")
		safe := slices.ContainsFunc(harmless, func(h string) bool { return strings.HasPrefix(name, h) })
		known := !strings.HasPrefix(name, "Unknown")
		if known && !safe && !obd.Changes(service, 2) && service&0x0F != 0x0A {
			t.Errorf("%02X, %q, passes for harmless", service, name)
		}
		if safe && obd.Changes(service, 2) {
			t.Errorf("%02X, %q, passes for a change", service, name)
		}
	}
}

// compareUDSReply reads one reply as a session does, beside the dissector's reading.
func compareUDSReply(t *testing.T, req obd.Request, name string, u dissector.UDS) {
	data, err := hex.DecodeString(u.Hex)
	if err != nil {
		t.Fatal(err)
	}
	var raw strings.Builder
	for _, f := range dissector.Segment(data).Frames {
		if f.ID == 0x7E8 {
			padded := append(slices.Clone(f.Data), make([]byte, 8-len(f.Data))...)
			fmt.Fprintf(&raw, "%X%X\r", f.ID, padded)
		}
	}
	replies, outcome := obd.Parse([]byte(raw.String()), obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, req)
	x := obd.Exchange{Outcome: outcome, Replies: replies}
	if len(replies) != 1 || !reflect.DeepEqual(replies[0].Data, data) || !u.Reply {
		t.Errorf("%s: read as %v %v", u.Hex, outcome, replies)
		return
	}
	if data[0] == 0x7F {
		puts := strings.Contains(u.Text, "response is pending") || strings.Contains(u.Text, "Busy")
		if outcome != obd.Refused || x.Pending() != puts || fmt.Sprintf("0x%02x", data[1]) != u.Refused || fmt.Sprintf("0x%02x", data[2]) != u.Code {
			t.Errorf("%s: %v, put off %v; the dissector says %q", u.Hex, outcome, x.Pending(), u.Text)
		}
		return
	}
	if outcome != obd.OK || !strings.Contains(u.Text, name) {
		t.Errorf("%s: %v; the dissector says %q", u.Hex, outcome, u.Text)
	}
	if u.ID == "" || req.Service != 0x01 || len(req.Data) > 1 || req.Data[0] == 0 {
		return
	}
	// The record that the dissector finds, behind 41 and the PID, is J1979's reply: the same samples.
	record, err := hex.DecodeString(u.Record)
	if err != nil {
		t.Fatal(err)
	}
	read := func(reply []byte) []decode.Sample {
		var d decode.Decoder
		s, err := d.Reply(0x7E8, req.Bytes(), reply, 0, 0, nil)
		if err != nil && !errors.Is(err, decode.ErrRefused) {
			t.Errorf("%X: %v", reply, err)
		}
		return s
	}
	was, is := read(append([]byte{0x41, req.Data[0]}, record...)), read(data)
	if len(was) == 0 || !reflect.DeepEqual(was, is) || u.ID != fmt.Sprintf("0xf4%02x", req.Data[0]) {
		t.Errorf("%s: %v, as J1979 %v", u.Hex, is, was)
	}
}
