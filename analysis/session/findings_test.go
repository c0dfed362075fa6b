package session

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
)

// told is what a line of a dialogue is: a request, how it went, and the replies to it. "0902 nodata" and
// "03 timeout" have none.
func told(t *testing.T, at time.Duration, line string) obd.Record {
	t.Helper()
	request, replies, _ := strings.Cut(line, " ")
	switch replies {
	case "nodata":
		return ask(at, s/10, obd.NoData, request)
	case "timeout":
		return ask(at, s/10, obd.TimedOut, request)
	}
	return ask(at, s/10, obd.OK, request, strings.Fields(replies)...)
}

// found judges a dialogue, a line a second, and returns what was found.
func found(t *testing.T, bus obd.Bus, lines ...string) *Findings {
	t.Helper()
	j := newJudge(t, bus)
	n := NewFindings(j)
	for i, line := range lines {
		if err := n.Write(j.Step(told(t, time.Duration(i+1)*s, line))); err != nil {
			t.Fatal(err)
		}
	}
	return n
}

// A code is of a state. The codes themselves are the published ones of SAE J2012, in bytes as ISO 15031-6 packs them:
// two bits the letter, then digits.
func TestFindingsOfCodes(t *testing.T) {
	for _, c := range []struct {
		name          string
		bus           obd.Bus
		lines         []string
		first, stored string
		readings      int
	}{
		{"none was read", obd.CAN11at500, []string{"010C 410C0BB8"}, "unread", "unread", 0},
		{"none stored, on CAN", obd.CAN11at500, []string{"03 4300"}, "", "", 1},
		{"none stored, off CAN", obd.VPW, []string{"03 43000000000000"}, "", "", 1},
		{"silence off CAN is none", obd.VPW, []string{"03 nodata"}, "", "", 1},
		{"silence on CAN tells nothing", obd.CAN11at500, []string{"03 nodata"}, "unread", "unread", 0},
		{"a time-out tells nothing", obd.VPW, []string{"03 timeout"}, "unread", "unread", 0},
		{"two, in order", obd.CAN11at500, []string{"03 430201710131"}, "P0131 P0171", "P0131 P0171", 1},
		{"of two computers, each once", obd.CAN11at500, []string{"03 43010171 430201710700"}, "P0171 P0700", "P0171 P0700", 1},
		{"one reply that cannot be read spoils the reading", obd.CAN11at500, []string{"03 43010171 4302"}, "unread", "unread", 0},
		{"the last reading counts, the first is kept", obd.CAN11at500, []string{"03 43010171", "03 4300"}, "P0171", "", 2},
		{"a failed reading changes nothing", obd.CAN11at500, []string{"03 43010171", "03 timeout"}, "P0171", "P0171", 1},
	} {
		n := found(t, c.bus, c.lines...)
		text := func(m map[string][]string) string {
			if codes, ok := m["stored"]; ok {
				return strings.Join(codes, " ")
			}
			return "unread"
		}
		if got := text(n.FirstCodes); got != c.first {
			t.Errorf("%s: first %q, want %q", c.name, got, c.first)
		}
		if got := text(n.Codes); got != c.stored || n.CodeReadings["stored"] != c.readings {
			t.Errorf("%s: stored %q after %d readings, want %q after %d", c.name, got, n.CodeReadings["stored"], c.stored, c.readings)
		}
	}
}

func TestFindingsKeepTheStatesApart(t *testing.T) {
	n := found(t, obd.CAN11at500, "03 43010171", "07 47010131", "0A 4A010420")
	for state, want := range map[string]string{"stored": "P0171", "pending": "P0131", "permanent": "P0420"} {
		if got := strings.Join(n.Codes[state], " "); got != want {
			t.Errorf("%s: %q, want %q", state, got, want)
		}
	}
	for service, want := range map[byte]string{3: "stored", 7: "pending", 0x0A: "permanent", 1: "", 4: ""} {
		if got := CodeState(service); got != want {
			t.Errorf("service %02X tells of %q, want %q", service, got, want)
		}
	}
}

// What was known is kept apart when the codes are cleared, and counts no longer.
func TestFindingsBeforeTheCodesWereCleared(t *testing.T) {
	n := found(t, obd.CAN11at500, "03 43010171", "0101 4101810765E5", "04 44", "03 4300", "0101 41010007FFFF")
	if len(n.Codes["stored"]) != 0 || n.CodeReadings["stored"] != 1 || n.Readiness == nil || n.Readiness.MIL {
		t.Errorf("after: %v, lamp %v", n.Codes, n.Readiness)
	}
	b := n.BeforeClear
	if b == nil || !slices.Equal(b.Codes["stored"], []string{"P0171"}) || !b.Readiness.MIL || b.Readiness.Codes != 1 || b.BeforeClear != nil {
		t.Fatalf("before: %+v", b)
	}
	if refused := found(t, obd.CAN11at500, "03 43010171", "04 nodata"); refused.BeforeClear != nil || len(refused.Codes["stored"]) != 1 {
		t.Error("codes that nobody confirmed to be cleared count as cleared")
	}
}

// Progress of the monitors is from the first reading to the last. The bits are those of PID 01, as published: byte B's
// upper half and byte D set where a monitor is not complete.
func TestFindingsOfReadiness(t *testing.T) {
	n := found(t, obd.CAN11at500, "0101 41010007E5E5", "0101 41010007E501", "0101 nodata")
	if n.FirstReadiness == nil || len(n.FirstReadiness.Incomplete()) != 5 || len(n.Readiness.Incomplete()) != 1 {
		t.Fatalf("open at first %v, at last %v", n.FirstReadiness.Incomplete(), n.Readiness.Incomplete())
	}
	for _, line := range []string{"0141 41410007E5E5", "010141 41410007E5E5"} {
		if n := found(t, obd.CAN11at500, line); n.Readiness != nil {
			t.Errorf("%s: readiness of this cycle is taken for that since the codes were cleared", line)
		}
	}
	if n := found(t, obd.CAN11at500, "0101 4101"); n.Readiness != nil {
		t.Error("half a reply tells something")
	}
}

// A test that is read again counts as last read, and stays in its place. The records are those of decode's test of the same
// services.
func TestFindingsOfOwnTests(t *testing.T) {
	n := found(t, obd.CAN11at500, "0601 4601070A0E6800001CD0", "0605 4605070A0E6800001CD0", "0601 4601070A000100001CD0")
	if len(n.Tests) != 2 || n.Tests[0].Sensor != "B1S1" || n.Tests[1].Sensor != "B2S1" || n.Tests[0].Value > 0.001 {
		t.Errorf("%+v", n.Tests)
	}
	n = found(t, obd.VPW, "0605 460503012C01F4", "0605 460583012C01F4", "0605 46050300C801F4")
	if len(n.Tests) != 2 || n.Tests[0].Value != 200 || n.Tests[1].Value != 300 {
		t.Errorf("off CAN a part with both limits gives two figures, each as last read: %+v", n.Tests)
	}
	n = found(t, obd.VPW, "050104 45010458", "050104 4501")
	if len(n.Tests) != 1 || n.Tests[0].Service != 5 {
		t.Errorf("of the sensor: %+v", n.Tests)
	}
}

// A freeze frame has its code first; readings without one are none.
func TestFindingsOfAFreezeFrame(t *testing.T) {
	n := found(t, obd.CAN11at500, "020C00 420C000E96", "020200 4202000171", "020C00 420C000E96", "020500 4205007B")
	if n.Freeze == nil || n.Freeze.Code != "P0171" {
		t.Fatalf("%+v", n.Freeze)
	}
	var got []string
	for _, x := range n.Freeze.Samples {
		got = append(got, fmt.Sprint(x.Signal.Name, " ", x.Value))
	}
	if want := []string{"RPM 933.5", "ECT 83"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if n := found(t, obd.CAN11at500, "020200 4202000000", "020C00 420C000E96"); n.Freeze != nil {
		t.Errorf("a frame without a code: %+v", n.Freeze)
	}
}

// In J1979-2 each code has its frames; the latest of a code that never came again is no second one, nor is one read again.
func TestFindingsOfFreezeFrames(t *testing.T) {
	n := found(t, obd.CAN11at500, "190401311100 5904013111A80001F40C0BED", "190401710000 5904017100A80001F40C0E96", "1904013111F0 5904013111A8F001F40C1000",
		"1904017100F0 5904017100A8F001F40C0E96", "190402000000 5904020000A8", "190401710000 5904017100A80001F40C0E97", "1904013111F0 5904013111A8F001F40C1001")
	if n.Freeze == nil {
		t.Fatal("none")
	}
	var got []string
	for _, f := range append([]Freeze{*n.Freeze}, n.MoreFreeze...) {
		got = append(got, fmt.Sprint(f.Code, " ", f.Latest, " ", f.Samples[0].Value))
	}
	if want := []string{"P0131-11 false 763.25", "P0171 false 933.75", "P0131-11 true 1024.25"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// Another computer's replies are not the engine's.
func TestFindingsAreTheEnginesOwn(t *testing.T) {
	j := newJudge(t, obd.CAN11at500)
	n := NewFindings(j)
	engine := told(t, s, "0100 4100BE1FA813")
	other := told(t, 2*s, "0101 41010007E5E5")
	other.Exchange.Replies[0].From = 0x7E9
	for _, r := range []obd.Record{engine, told(t, s, "010C 410C0BB8"), other} {
		if err := n.Write(j.Step(r)); err != nil {
			t.Fatal(err)
		}
	}
	if n.Readiness != nil {
		t.Error("the readiness of another computer is the engine's")
	}
	if err := n.Write(j.Step(told(t, 3*s, "0101 41010007E5E5"))); err != nil || n.Readiness == nil {
		t.Errorf("the engine's own is not: %v", err)
	}
}

// asked is a querier that keeps what is asked of it.
type asked struct {
	requests []string
	open     int
}

func (a *asked) Ask(requests ...obd.Request) {
	for _, r := range requests {
		a.requests = append(a.requests, fmt.Sprintf("%X", r.Bytes()))
	}
	a.open += len(requests)
}

func (a *asked) Asked() int { return a.open }

// What is asked once follows from what the car answers: its bit maps say what else there is. The maps are those of decode's
// test of the same services.
func TestOneTimeQueries(t *testing.T) {
	const reading = "0114 41145A80"   // of B1S1, so that the car is known to talk
	const map13 = "0113 411301"       // where the sensors are: bank 1 sensor 1
	const map00 = "0100 4100BE1FB810" // 13 and 14 are supported, nothing above 1C
	for _, c := range []struct {
		name  string
		bus   obd.Bus
		lines []string
		want  string
	}{
		{"nothing before the first reading", obd.CAN11at500, []string{"0100 nodata"}, ""},
		{"on CAN", obd.CAN11at500, []string{reading}, "0A 0600"},
		{"once", obd.CAN11at500, []string{reading, reading}, "0A 0600"},
		{"sensors, heaters and fuel systems of the monitors, and the next map", obd.CAN11at500, []string{reading, "0600 4600C0000001"}, "0A 0600 0601 0602 0620"},
		{"the catalyst is not asked for", obd.CAN11at500, []string{reading, "0620 462080000001"}, "0A 0600 0640"},
		{"heaters", obd.CAN11at500, []string{reading, "0640 4640C0000001"}, "0A 0600 0641 0642 0660"},
		{"fuel systems, and no map beyond", obd.CAN11at500, []string{reading, "0680 4680C0000001"}, "0A 0600 0681 0682"},
		{"off CAN the sensor's own tests", obd.VPW, []string{map00, map13, reading}, "050001 0600"},
		{"those that the standard defines", obd.VPW, []string{map00, map13, reading, "050001 450001FFFF0000"},
			"050001 0600 050101 050201 050301 050401 050501 050601 050701 050801 050901 050A01"},
		{"sixteen of the maker's at most", obd.VPW, []string{map00, map13, reading, "0600 4600FFFFFFFFFF"},
			"050001 0600 0601 0602 0603 0604 0605 0606 0607 0608 0609 060A 060B 060C 060D 060E 060F 0610 0620"},
		{"no freeze frame without a code", obd.CAN11at500, []string{reading, "03 4300"}, "0A 0600"},
		{"with one, its code first", obd.CAN11at500, []string{reading, "03 43010171"}, "0A 0600 020200"},
		{"once", obd.CAN11at500, []string{reading, "03 43010171", "03 43010131"}, "0A 0600 020200"},
		{"then what it keeps", obd.CAN11at500, []string{reading, "03 43010171", "020200 4202000171", "020000 4200007E180000"},
			"0A 0600 020200 020000 020300 020400 020500 020600 020700 020C00 020D00"},
		{"an empty one keeps nothing", obd.CAN11at500, []string{reading, "03 43010171", "020200 4202000000"}, "0A 0600 020200"},
		{"a reply that cannot be read asks nothing", obd.CAN11at500, []string{reading, "0600 4600", "03 4302"}, "0A 0600"},
	} {
		j := newJudge(t, c.bus)
		j.setup.Sensor = decode.SensorID{Bank: 1, Position: 1}
		var a asked
		q := NewOneTimeQueries(&a, j)
		for i, line := range c.lines {
			if q.Done() != (a.open == 0 && q.began) {
				t.Errorf("%s: done is %v with %d open", c.name, q.Done(), a.open)
			}
			if err := q.Write(j.Step(told(t, time.Duration(i+1)*s, line))); err != nil {
				t.Fatal(err)
			}
		}
		if got := strings.Join(a.requests, " "); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
		if err := q.Write(Frame{Last: true}); err != nil || c.want != "" && q.Done() {
			t.Errorf("%s: done with %d open (%v)", c.name, a.open, err)
		}
		if a.open = 0; c.want != "" && !q.Done() {
			t.Errorf("%s: all was asked, and it is not done", c.name)
		}
	}
}
