package obd_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/obd"
	"pushback/obd/obdtest"
)

const ms = time.Millisecond

// answers is a scripted adapter with a car on 11-bit CAN; a test overrides lines. An empty text
// means silence.
func answers(change map[string]string) func(string) (string, time.Duration) {
	usual := map[string]string{
		"AT": "?", "ATZ": "INTERFACE v1.5", "ATE0": "OK", "ATE1": "OK", "ATM0": "OK", "ATL0": "OK", "ATS0": "OK", "ATH1": "OK",
		"ATAT1": "OK", "ATI": "INTERFACE v1.5", "ATRV": "12.6V", "ATDPN": "A6", "ATTP0": "OK", "ATTP6": "OK",
		"0100":  "7E8064100BE3FB81300",
		"01001": "7E8064100BE3FB81300",
		"0114":  "7E80441145A80000000",
		"0104":  "7E80341044000000000",
		"0105":  "7E80341057000000000",
	}
	return func(line string) (string, time.Duration) {
		text, ok := change[line]
		if !ok {
			text, ok = usual[line]
		}
		switch {
		case !ok:
			return "?\r\r>", ms
		case text == "":
			return "", 0
		}
		return text + "\r\r>", 20 * ms
	}
}

// ready returns an adapter that has been started and has found its bus.
func ready(t *testing.T, change map[string]string) (*obd.Adapter, *obdtest.Fake) {
	t.Helper()
	f := obdtest.NewFake(answers(change))
	a := obd.NewAdapter(f, f, obd.AdapterOptions{})
	if _, err := a.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := a.FindBus(t.Context(), obd.BusUnknown); err != nil {
		t.Fatal(err)
	}
	a.SetOrigin(f.Now())
	return a, f
}

func request(t *testing.T, s string) obd.Request {
	t.Helper()
	r, err := obd.ParseRequest(s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestStart(t *testing.T) {
	ok := "OK\r\r>"
	f := obdtest.Playback(t,
		obdtest.Step{Send: "AT", Print: "?\r\r>"},
		obdtest.Step{Send: "ATZ", Print: "\r\rINTERFACE v1.5\r\r>", After: 800 * ms},
		obdtest.Step{Send: "ATE1", Print: ok}, obdtest.Step{Send: "ATM0", Print: ok}, obdtest.Step{Send: "ATL0", Print: ok},
		obdtest.Step{Send: "ATS0", Print: ok}, obdtest.Step{Send: "ATH1", Print: ok}, obdtest.Step{Send: "ATAT1", Print: ok},
		obdtest.Step{Send: "ATI", Print: "INTERFACE v1.5\r\r>"},
		obdtest.Step{Send: "AT", Print: "?\r\r>"}, // is each character returned at once?
		obdtest.Step{Send: "ATRV", Print: "14.1V\r\r>"},
	)
	id, err := obd.NewAdapter(f, f, obd.AdapterOptions{}).Start(t.Context())
	if err != nil || id.Text != "INTERFACE v1.5" || id.Voltage != 14.1 || len(id.Quirks) != 0 {
		t.Fatalf("%+v, %v", id, err)
	}
}

// TestQuirks: adapters that refuse or ignore a command still work.
func TestQuirks(t *testing.T) {
	for _, c := range []struct {
		name   string
		change map[string]string
		format obd.Format
		quirk  string
	}{
		{"none", nil, obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, ""},
		{"spaces stay on", map[string]string{"ATS0": "?", "0100": "7E8 06 41 00 BE 3F B8 13 00 ", "01001": "7E8 06 41 00 BE 3F B8 13 00 ",
			"0114": "7E8 04 41 14 5A 80 00 00 00 "}, obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, "refuses ATS0"},
		{"headers refused", map[string]string{"ATH1": "?", "0100": "4100BE3FB813", "01001": "4100BE3FB813", "0114": "41145A80"},
			obd.Format{Bus: obd.CAN11at500}, "refuses ATH1"},
		{"headers accepted but not printed", map[string]string{"0100": "4100BE3FB813", "01001": "4100BE3FB813", "0114": "41145A80"},
			obd.Format{Bus: obd.CAN11at500}, "accepts ATH1 but prints no headers"},
		{"no padding shown", map[string]string{"0100": "7E8064100BE3FB813", "01001": "7E8064100BE3FB813", "0114": "7E80441145A80"},
			obd.Format{Bus: obd.CAN11at500, Headers: true}, ""},
		{"no count", map[string]string{"01001": "?"}, obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, "takes no number of replies to wait for"},
		{"silent on reset", map[string]string{"ATZ": ""}, obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, "no answer to ATZ"},
		{"echo not switched", map[string]string{"ATE1": "?"}, obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, "refuses ATE1"},
		{"no voltage, no timing", map[string]string{"ATRV": "?", "ATAT1": "?"}, obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, "refuses ATAT1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := obdtest.NewFake(answers(c.change))
			f.Print("\xff\x00noise", 0)
			a := obd.NewAdapter(f, f, obd.AdapterOptions{})
			if _, err := a.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
			format, err := a.FindBus(t.Context(), obd.BusUnknown)
			if err != nil || format != c.format {
				t.Fatalf("%+v, %v; want %+v", format, err, c.format)
			}
			if q := a.Identity().Quirks; c.quirk != "" && !slices.Contains(q, c.quirk) || c.quirk == "" && len(q) > 0 {
				t.Errorf("quirks %q, want %q", q, c.quirk)
			}
			x, err := a.Exchange(t.Context(), request(t, "0114"))
			if err != nil || x.Outcome != obd.OK || string(x.Replies[0].Data) != "\x41\x14\x5A\x80" {
				t.Fatalf("%+v, %v", x, err)
			}
		})
	}
}

func TestNoAdapter(t *testing.T) {
	f := obdtest.NewFake(func(string) (string, time.Duration) { return "", 0 })
	if _, err := obd.NewAdapter(f, f, obd.AdapterOptions{}).Start(t.Context()); !errors.Is(err, obd.ErrNoAdapter) {
		t.Fatal(err)
	}
}

func TestFindBus(t *testing.T) {
	t.Run("one by one when the search fails", func(t *testing.T) {
		f := obdtest.NewFake(answers(map[string]string{
			"ATTP7": "OK", "ATTP8": "OK", "ATTP9": "OK", "ATTP5": "OK", "ATDPN": "0", "0100": "UNABLE TO CONNECT"}))
		usual := f.Answer
		on5 := false
		f.Answer = func(line string) (string, time.Duration) {
			if strings.HasPrefix(line, "ATTP") {
				on5 = line == "ATTP5"
			}
			if on5 && strings.HasPrefix(line, "0100") {
				return "BUS INIT: OK\r" + kwp0100 + "\r\r>", 300 * ms
			}
			return usual(line)
		}
		var tried []obd.Bus
		a := obd.NewAdapter(f, f, obd.AdapterOptions{Trying: func(b obd.Bus) { tried = append(tried, b) }})
		if _, err := a.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		got, err := a.FindBus(t.Context(), obd.BusUnknown)
		if want := (obd.Format{Bus: obd.ISO14230Fast, Headers: true}); err != nil || got != want {
			t.Fatalf("%+v, %v", got, err)
		}
		if tried[0] != obd.BusUnknown || tried[1] != obd.CAN11at500 || tried[len(tried)-1] != obd.ISO14230Fast {
			t.Errorf("tried %v", tried)
		}
	})
	t.Run("no car", func(t *testing.T) {
		f := obdtest.NewFake(answers(map[string]string{"0100": "SEARCHING...\rUNABLE TO CONNECT", "ATDPN": "0"}))
		a := obd.NewAdapter(f, f, obd.AdapterOptions{})
		if _, err := a.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		_, err := a.FindBus(t.Context(), obd.BusUnknown)
		var none *obd.NoVehicleError
		if !errors.Is(err, obd.ErrNoVehicle) || !errors.As(err, &none) || none.Said != "UNABLE TO CONNECT" || none.Voltage != 12.6 {
			t.Fatalf("%v", err)
		}
	})
}

// kwp0100 is 4100BE3FB813 in an ISO 14230 message; the sum was computed by hand.
const kwp0100 = "86F1104100BE3FB81390"

func TestExchangeTimes(t *testing.T) {
	a, f := ready(t, nil)
	if err := f.Sleep(t.Context(), 1500*time.Microsecond+400); err != nil {
		t.Fatal(err)
	}
	x, err := a.Exchange(t.Context(), request(t, "0114"))
	if err != nil || x.Sent != 1500*time.Microsecond || x.At != 21500*time.Microsecond {
		t.Fatalf("%v to %v, %v", x.Sent, x.At, err)
	}
}

// TestLateReply: what comes after the time-out is never taken for the next reply.
func TestLateReply(t *testing.T) {
	a, f := ready(t, nil)
	usual, slow := f.Answer, true
	f.Answer = func(line string) (string, time.Duration) {
		if line == "0114" && slow {
			slow = false
			return "7E804411411FF000000\r\r>", 1550 * ms
		}
		return usual(line)
	}
	x, err := a.Exchange(t.Context(), request(t, "0114"))
	if err != nil || x.Outcome != obd.TimedOut || len(x.Replies) > 0 || x.At != 1500*ms {
		t.Fatalf("%+v, %v", x, err)
	}
	x, err = a.Exchange(t.Context(), request(t, "0114"))
	if err != nil || x.Outcome != obd.OK || x.Replies[0].Data[2] != 0x5A {
		t.Fatalf("%+v, %v", x, err)
	}
}

func TestExchangeRefusesToErase(t *testing.T) {
	a, f := ready(t, nil)
	n := len(f.Lines)
	for _, s := range []string{"04", "0801", "2F01", "1101"} {
		if _, err := a.Exchange(t.Context(), request(t, s)); !errors.Is(err, obd.ErrNotRead) {
			t.Errorf("%s: %v", s, err)
		}
	}
	if len(f.Lines) != n {
		t.Errorf("sent %q", f.Lines[n:])
	}
}

func TestLinkLost(t *testing.T) {
	a, f := ready(t, nil)
	f.Unplug()
	x, err := a.Exchange(t.Context(), request(t, "0114"))
	if !errors.Is(err, obd.ErrLinkLost) || x.Outcome != obd.LinkLost {
		t.Fatalf("%v, %v", x.Outcome, err)
	}
}

func TestExchangeCancelled(t *testing.T) {
	a, f := ready(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	f.Answer = func(string) (string, time.Duration) { cancel(); return "", 0 }
	if _, err := a.Exchange(ctx, request(t, "0114")); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
}

// changes tells whether an adapter that receives this line puts a request on the bus that may
// change something in the car: service 04, or with a parameter 08 or one that ISO 14229 and
// 14230 define. An odd digit at the end is a number of replies.
func changes(line string) bool {
	if len(line) < 2 || strings.Trim(line, "0123456789ABCDEF") != "" {
		return false
	}
	switch service := line[:2]; {
	case service == "04":
		return true
	case service[1] == 'A', service == "19", service == "22", service == "3E": // they read
		return false
	case service == "08", "10" <= service && service < "40", "80" <= service && service < "90":
		return len(line) >= 4
	}
	return false
}

// TestRisky tries every way to lose characters.
func TestRisky(t *testing.T) {
	risky := 0
	for _, text := range []string{
		"0104", "01041", "01140C04", "01104", "0204", "0114", "0140", "01034", "0114060C", "0100", "03", "07", "0A", "0105", "010C",
		"010C1", "0110", "0115", "0115061", "020200", "020C00", "0500FF", "050101", "0600", "0641", "0902", "0980", "0108", "01200", "06A2",
	} {
		want := ""
		for kept := range 1 << len(text) {
			var rest []byte
			for i := range text {
				if kept>>i&1 == 1 {
					rest = append(rest, text[i])
				}
			}
			if changes(string(rest)) {
				want = string(rest)
			}
		}
		if obd.Risky(text) != (want != "") {
			t.Errorf("%s: %v, but %q can be left of it", text, obd.Risky(text), want)
		}
		if want != "" {
			risky++
		}
	}
	if risky < 10 || risky > 22 {
		t.Errorf("%d are risky", risky)
	}
}

// TestTakes: messages that a unit must refuse or ignore by ISO 14229-1, and others.
func TestTakes(t *testing.T) {
	for hex, want := range map[string]bool{
		// ISO 14229-1: identifier and a control parameter of 00 to 03; three bytes of a group; a routine's number.
		"2F41510312": true, "2F415103": true, "2F4151": false, "2F41F10C41": false, "14FFFF33": true, "14F406": false, "14F406F4": false,
		"31010203": true, "3101": false, "31F4010203": false, "2EF190": false, "2EF19001": true, "1101": true, "1116": false, "1181": true,
		"11F406": false, "1003": true, "1083": true, "1001": false, "10F406": false, "1000": false, "8501": true, "3401": false, "340011": false, "3400110102": true,
		"04": true, "0401": false, "2801": false, "280101": true, "2200": false, "22F414": false, "3E00": false, "194233081E": false,
		"2701": true, "3D11010203": true, "3D110102": false, "870101": true, "3601": true,
	} {
		if got := obd.Takes(request(t, hex).Bytes(), false); got != want {
			t.Errorf("%s: taken %v", hex, got)
		}
	}
	for _, hex := range []string{"1041", "11C1", "2770", "8540"} { // the maker's
		if m := request(t, hex).Bytes(); obd.Takes(m, false) || !obd.Takes(m, true) {
			t.Errorf("%s: %v, by the maker %v", hex, obd.Takes(m, false), obd.Takes(m, true))
		}
	}
}

// TestStrays: a line that puts earlier characters in again makes a request that begins with any of them.
func TestStrays(t *testing.T) {
	for line, want := range map[string]bool{
		"01101": true, "01102": true, "01109": false, "0110": false, "011101": true, "010111": false, "01001": false, "01002": true, "010C041": true, "01040C1": false,
		"012E061403": true, "0106142E": false, "0114061": false, "0104": true, "011010": true, "194233041E": false,
	} {
		if obd.Strays(line, false) != want {
			t.Errorf("%s: %v", line, !want)
		}
	}
	// What is asked of every car of J1979-2. It has no service 08 (194233081E).
	for _, line := range []string{"22F810", "22F802", "22F4001", "22F4141", "22F406F4141", "22F40CF406F4142", "22F601", "194233041E", "195533", "19563301"} {
		if obd.Strays(line, true) {
			t.Errorf("a stretch of %s changes something", line)
		}
	}
	for _, line := range []string{"22F411F40C", "22F42EF406F414", "22F401F408F40C"} {
		if !obd.Strays(line, true) {
			t.Errorf("no stretch of %s passes for one that changes something", line)
		}
	}
}

// TestCommandsHarmless: no command to the adapter itself becomes such a request if
// characters of it are lost, but the one whose AT is checked first.
func TestCommandsHarmless(t *testing.T) {
	a, f := ready(t, nil)
	if _, err := a.FindBus(t.Context(), obd.CAN29at250); err != nil && !errors.Is(err, obd.ErrNoVehicle) {
		t.Fatal(err)
	}
	if err := a.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, line := range append(f.Lines, "ATSP0", "ATSP6", "ATSPA6", "ATSPA9", "ATTP9") {
		if !strings.HasPrefix(line, "AT") {
			continue
		}
		n++
		hex := strings.Map(func(r rune) rune { // what else is left makes it no request
			if strings.ContainsRune("0123456789ABCDEF", r) {
				return r
			}
			return -1
		}, line)
		if obd.Risky(hex) {
			t.Errorf("%s: %s may be left of it", line, hex)
		}
	}
	if n < 15 {
		t.Errorf("only %q were sent", f.Lines)
	}
}

// TestChangesNeverArrive: whatever characters an adapter loses, with echo or without, nothing
// reaches it that could change something.
func TestChangesNeverArrive(t *testing.T) {
	for _, deaf := range []bool{false, true} {
		t.Run(fmt.Sprint("no echo ", deaf), func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				a, f := ready(t, nil)
				f.Deaf = deaf
				lost := rapid.SliceOfN(rapid.Bool(), 10, 80).Draw(rt, "characters lost")
				f.Damage = func(b byte) (byte, bool) {
					keep := len(lost) == 0 || !lost[0]
					if len(lost) > 0 {
						lost = lost[1:]
					}
					return b, keep
				}
				for range 4 {
					req := request(t, rapid.SampledFrom([]string{"0104", "0114", "010C04", "0204", "01140304", "020C00", "050101"}).Draw(rt, "request"))
					req.Expect = rapid.IntRange(0, 4).Draw(rt, "expect")
					x, err := a.Exchange(t.Context(), req)
					if err != nil {
						rt.Fatal(err)
					}
					for _, r := range x.Replies {
						if r.Data[0] != 0x40+req.Service || r.Data[1] != req.Data[0] {
							rt.Fatalf("%s got %X", req.Hex(), r.Data)
						}
					}
				}
				for _, line := range f.Lines {
					if changes(line) {
						rt.Fatalf("the adapter received %q among %q", line, f.Lines)
					}
				}
			})
		})
	}
}

func TestCheckedRequest(t *testing.T) {
	t.Run("with echo", func(t *testing.T) {
		a, _ := ready(t, nil)
		x, err := a.Exchange(t.Context(), request(t, "0104"))
		if err != nil || x.Outcome != obd.OK || x.Replies[0].Data[2] != 0x40 {
			t.Fatalf("%+v, %v", x, err)
		}
	})
	t.Run("without", func(t *testing.T) {
		a, f := ready(t, nil)
		f.Deaf = true
		for range 3 {
			if _, err := a.Exchange(t.Context(), request(t, "0104")); err != nil {
				t.Fatal(err)
			}
		}
		x, err := a.Exchange(t.Context(), request(t, "0104"))
		if err != nil || x.Outcome != obd.NoData || slices.Contains(f.Lines, "0104") || len(a.Identity().Quirks) == 0 {
			t.Fatalf("%+v, %v, %q", x, err, f.Lines)
		}
		if x, err := a.Exchange(t.Context(), request(t, "0105")); err != nil || x.Outcome != obd.OK {
			t.Fatalf("afterwards: %+v, %v", x, err)
		}
	})
}

// TestNoEcho: an adapter that cannot be checked by its echo still works, but for requests that
// could be mistaken on their way.
func TestNoEcho(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(*obdtest.Fake)
	}{
		{"none", func(f *obdtest.Fake) { f.Deaf = true }},
		{"by line only", func(f *obdtest.Fake) { f.EchoLines = true }},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := obdtest.NewFake(answers(map[string]string{"0105": "7E80341057000000000", "0115": "7E80441155A80000000"}))
			c.make(f)
			a := obd.NewAdapter(f, f, obd.AdapterOptions{})
			if _, err := a.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
			format, err := a.FindBus(t.Context(), obd.BusUnknown)
			if err != nil || format.Bus != obd.CAN11at500 {
				t.Fatalf("%+v, %v", format, err)
			}
			for _, w := range []struct {
				hex string
				is  obd.Outcome
			}{{"0105", obd.OK}, {"0105", obd.OK}, {"0104", obd.NoData}, {"0114", obd.NoData}, {"0115", obd.OK}, {"0105", obd.OK}} {
				req := request(t, w.hex)
				req.Expect = 1
				if x, err := a.Exchange(t.Context(), req); err != nil || x.Outcome != w.is {
					t.Errorf("%s: %+v, %v", w.hex, x, err)
				}
			}
			if slices.ContainsFunc(f.Lines, func(s string) bool { return strings.HasPrefix(s, "0104") || strings.HasPrefix(s, "0114") }) {
				t.Errorf("sent %q", f.Lines)
			}
			if !slices.Contains(a.Identity().Quirks, "no echo") {
				t.Errorf("quirks %q", a.Identity().Quirks)
			}
		})
	}
}

// TestRepeat: what is asked again at once is repeated by a return, where the adapter
// does that; where not, it is asked in full within the same exchange.
func TestRepeat(t *testing.T) {
	for _, c := range []struct {
		name, print string
		lines       []string
	}{
		{"repeats", "7E80441145A80000000\r\r>", []string{"0114", "", ""}},
		{"shows its prompt only", "\r>", []string{"0114", "", "0114", "0114"}},
		{"does not understand", "?\r\r>", []string{"0114", "", "0114", "0114"}},
		{"says nothing", "", []string{"0114", "", "0114", "0114"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, f := ready(t, nil)
			usual := f.Answer
			f.Answer = func(line string) (string, time.Duration) {
				if line == "" {
					return c.print, ms
				}
				return usual(line)
			}
			f.Lines = nil
			for range 3 {
				x, err := a.Exchange(t.Context(), request(t, "0114"))
				if err != nil || x.Outcome != obd.OK {
					t.Fatalf("%+v, %v", x, err)
				}
			}
			lines := slices.DeleteFunc(f.Lines, func(s string) bool { return s == "AT" })
			if !slices.Equal(lines, c.lines) {
				t.Errorf("sent %q", lines)
			}
		})
	}
}
