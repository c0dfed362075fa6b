package obd_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/obdtest"
	"pushback/obd/simcar"
)

// second is the scripted adapter with a car that answers J1979-2 alone, on 11 bits; a test
// overrides lines. An adapter's own search asks 0100 and finds nothing.
func second(change map[string]string) map[string]string {
	all := map[string]string{
		"0100": "NO DATA", "ATTP7": "OK", "ATTP8": "OK", "ATTP9": "OK", "ATTP1": "OK", "ATTP2": "OK", "ATTP3": "OK", "ATTP4": "OK", "ATTP5": "OK",
		"22F810":  "7E80462F81001000000",
		"22F400":  "7E80762F40098180001",
		"22F4001": "7E80762F40098180001",
		"22F40C":  "7E80562F40C00000000",
		"22F40C1": "7E80562F40C00000000",
		"22F414":  "7E80562F4145A800000",
	}
	for line, text := range change {
		all[line] = text
	}
	return all
}

// TestFindDialect: a car that does not know the old services is asked in the new words, on
// 11 and 29 bits, and one that does never is.
func TestFindDialect(t *testing.T) {
	const nobody = "NO DATA"
	can29 := func(change map[string]string) map[string]string {
		all := map[string]string{"22F810": "18DAF1000462F81001000000", "22F400": "18DAF1000762F40098180001", "22F4001": "18DAF1000762F40098180001"}
		for line, text := range change {
			all[line] = text
		}
		return second(all)
	}
	for _, tt := range []struct {
		name   string
		car    map[string]string
		format obd.Format
		asked  string // in the new words
	}{
		{"J1979", nil, obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true}, ""},
		{"11 bits", second(nil), obd.Format{Bus: obd.CAN11at500, Headers: true, Dialect: obd.J1979v2}, "22F400 22F4001"},
		{"29 bits", can29(nil), obd.Format{Bus: obd.CAN29at500, Headers: true, Dialect: obd.J1979v2}, "22F400 22F400 22F4001"},
		{"a van that does not know F810", can29(map[string]string{"22F810": nobody}),
			obd.Format{Bus: obd.CAN29at500, Headers: true, Dialect: obd.J1979v2}, "22F400 22F400 22F4001"},
		{"29 bits at 250", can29(nil), obd.Format{Bus: obd.CAN29at250, Headers: true, Dialect: obd.J1979v2}, "22F400 22F400 22F4001"},
		{"one that refuses the old by its own address", second(map[string]string{"0100": "7E8037F011100000000"}),
			obd.Format{Bus: obd.CAN11at500, Headers: true, Dialect: obd.J1979v2}, "22F400 22F4001"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			on, answer := "", answers(tt.car)
			f := obdtest.NewFake(func(line string) (string, time.Duration) {
				if strings.HasPrefix(line, "ATTP") {
					on = line
				}
				here := fmt.Sprintf("ATTP%d", tt.format.Bus)
				if slow := tt.format.Bus == obd.CAN29at250; line != "" && line[0] != 'A' && tt.format.Bus != obd.CAN11at500 && on != here {
					if slow == (on == "ATTP8") {
						return "NO DATA\r\r>", 20 * ms // the same wires
					}
					return "CAN ERROR\r\r>", 20 * ms // there is no such bus
				}
				return answer(line)
			})
			a := obd.NewAdapter(f, f, obd.AdapterOptions{})
			if _, err := a.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
			format, err := a.FindBus(t.Context(), obd.BusUnknown)
			if err != nil || format != tt.format || a.Known().Format != tt.format {
				t.Fatalf("%+v, %v; want %+v", format, err, tt.format)
			}
			asked := slices.DeleteFunc(slices.Clone(f.Lines), func(s string) bool { return !strings.HasPrefix(s, "22") })
			if got := strings.Join(asked, " "); got != tt.asked {
				t.Errorf("asked %q, want %q", got, tt.asked)
			}
		})
	}
}

// TestFrames: where the adapter lets us make the frames, lines are whole frames, also after it has started anew, and a
// car of J1979 is asked as ever; where it makes nothing good of them, the adapter makes them again.
func TestFrames(t *testing.T) {
	framed := map[string]string{"ATCAF0": "OK", "ATCAF1": "OK", "0322F40000000000": "7E80762F40098180001", "0322F400000000001": "7E80762F40098180001",
		"0322F40C00000000": "7E80562F40C00000000", "0114FFFF330000": "", "22F400": "?", "22F40C": "?"}
	for _, tt := range []struct {
		name   string
		car    map[string]string
		framed bool
		lines  string // after the search
	}{
		{"whole frames", second(framed), true, "0322F40C00000000 ATCAF0 0322F40C00000000 ATCAF1 010C"},
		{"an adapter that makes nothing of them", second(map[string]string{"ATCAF0": "OK", "ATCAF1": "OK", "0322F40000000000": "NO DATA"}), false, "22F40C 22F40C 010C"},
		{"an adapter that has no such command", second(nil), false, "22F40C 22F40C 010C"},
	} {
		a, f := ready(t, tt.car)
		known := a.Known()
		if known.Framed != tt.framed || known.Format.Dialect != obd.J1979v2 {
			t.Errorf("%s: %+v", tt.name, known)
		}
		f.Lines = nil
		ask := func() {
			if x, err := a.Exchange(t.Context(), request(t, "010C")); err != nil || x.Outcome != obd.OK && known.Format.Dialect == obd.J1979v2 {
				t.Errorf("%s: %+v, %v", tt.name, x, err)
			}
		}
		ask()
		if err := a.Again(t.Context()); err != nil {
			t.Fatal(err)
		}
		if err := a.Use(t.Context(), known); err != nil {
			t.Fatal(err)
		}
		ask()
		known = obd.Known{Format: obd.Format{Bus: obd.CAN11at500, Headers: true}}
		if err := a.Use(t.Context(), known); err != nil {
			t.Fatal(err)
		}
		ask()
		asked := slices.DeleteFunc(slices.Clone(f.Lines), func(s string) bool { return s == "" || s[0] == 'A' && !strings.HasPrefix(s, "ATCAF") })
		if got := strings.Join(asked, " "); got != tt.lines {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.lines)
		}
	}
}

// TestNobody: of a car that speaks neither, and of a truck, it is said what was asked and heard.
func TestNobody(t *testing.T) {
	silent := second(map[string]string{"22F810": "NO DATA", "22F400": "NO DATA"})
	for _, tt := range []struct {
		name     string
		monitor  string
		has, not string
	}{
		{"a bus without anybody", "?", `on can11-500 nobody answers 0100, 22F400, 22F810 ("NO DATA")`, "trucks"},
		// Engine speed and diagnostics of SAE J1939-71 and -73: PGN 61444 and 65226.
		{"a truck", "0CF00400F07D7D000000FF7D\r18FECA00FFFF00000000FFFF", "on can29-250 others talk as trucks do (SAE J1939: 0CF00400 18FECA00)", "can29-250 nobody"},
		{"answers of others are no truck's", "18DAF1100341057000000000", "on can29-250 nobody answers", "trucks"},
	} {
		silent["ATMA"] = tt.monitor
		f := obdtest.NewFake(answers(silent))
		a := obd.NewAdapter(f, f, obd.AdapterOptions{})
		if _, err := a.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		_, err := a.FindBus(t.Context(), obd.BusUnknown)
		var none *obd.NoVehicleError
		if !errors.As(err, &none) || !strings.Contains(err.Error(), tt.has) || strings.Contains(err.Error(), tt.not) {
			t.Errorf("%s: %v", tt.name, err)
		}
		truck := strings.Contains(tt.has, "trucks")
		if !errors.Is(err, obd.ErrNoVehicle) || errors.Is(err, obd.ErrHeavyDuty) != truck || errors.Is(err, obd.ErrSilentBus) == truck {
			t.Errorf("%s: of the wrong kind: %v", tt.name, err)
		}
		for _, line := range f.Lines {
			if changes(line) {
				t.Errorf("%s: sent %q", tt.name, line)
			}
		}
	}
}

// TestRiskySecond: what may become of J1979-2's requests if characters are lost is known, so an
// adapter without echo gets none of them.
func TestRiskySecond(t *testing.T) {
	for _, service := range []int{0x10, 0x11, 0x14, 0x27, 0x28, 0x2E, 0x2F, 0x31, 0x34, 0x35, 0x36, 0x37, 0x3D, 0x85, 0x87} {
		if text := fmt.Sprintf("%02X0102", service); !obd.Changes(service, 2) || !obd.Risky(text) {
			t.Errorf("%s passes for harmless", text)
		}
	}
	for _, service := range []int{0x19, 0x22, 0x3E} {
		if obd.Changes(service, 2) {
			t.Errorf("%02X passes for a change", service)
		}
	}
	for _, text := range []string{"22F810", "22F400", "22F414", "22F40CF405F406", "194233081E", "194233041E", "195533", "22F641"} {
		if !obd.Risky(text) {
			t.Errorf("%s passes for harmless", text)
		}
	}
	f := obdtest.NewFake(answers(second(nil)))
	f.Deaf = true
	a := obd.NewAdapter(f, f, obd.AdapterOptions{})
	if _, err := a.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := a.FindBus(t.Context(), obd.CAN11at500); !errors.Is(err, obd.ErrNoVehicle) {
		t.Fatal(err)
	}
	if err := a.Use(t.Context(), obd.Known{Format: obd.Format{Bus: obd.CAN11at500, Headers: true, Dialect: obd.J1979v2}}); err != nil {
		t.Fatal(err)
	}
	for _, hex := range []string{"0100", "010C", "03", "0902"} {
		x, err := a.Exchange(t.Context(), request(t, hex))
		if err != nil || x.Outcome != obd.NoData || a.Sends(x.Request) {
			t.Errorf("%s: %+v, %v", hex, x, err)
		}
	}
	if slices.ContainsFunc(f.Lines, func(s string) bool { return strings.HasPrefix(s, "22") || strings.HasPrefix(s, "19") }) {
		t.Errorf("sent %q", f.Lines)
	}
}

// TestSecondNeverChanges: whatever characters are lost, doubled or changed on the way to an adapter that
// echoes, what it takes for a request changes nothing: the return comes after the whole echo.
func TestSecondNeverChanges(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		a, f := ready(t, second(nil))
		// Bytes as they come: kept, lost, or with a bit changed; never a return made of another,
		// for a line that makes returns can make anything.
		what := rapid.SliceOfN(rapid.IntRange(0, 12), 10, 120).Draw(rt, "damage")
		f.Damage = func(b byte) (byte, bool) {
			if len(what) == 0 {
				return b, true
			}
			d := what[0]
			what = what[1:]
			switch {
			case d == 0:
				return b, false
			case d <= 3 && b != '\r' && b^1<<d != '\r':
				return b ^ 1<<d, true
			}
			return b, true
		}
		for range 4 {
			req := request(t, rapid.SampledFrom([]string{"010C", "0114", "03", "07", "0A", "0641", "010C0514"}).Draw(rt, "request"))
			req.Expect = rapid.IntRange(0, 3).Draw(rt, "expect")
			if _, err := a.Exchange(t.Context(), req); err != nil {
				rt.Fatal(err)
			}
		}
		for _, line := range f.Lines {
			if changes(line) {
				rt.Fatalf("the adapter received %q among %q", line, f.Lines)
			}
		}
	})
}

// TestClearSecond: with the engine standing 14FFFF33 goes out once, and an answer that comes
// late is found.
func TestClearSecond(t *testing.T) {
	for _, tt := range []struct {
		name, clear, after string
		want               obd.Outcome
	}{
		{"at once", "7E80154000000000000", "7E80762F40098180001", obd.OK},
		{"pending and then done", "7E8037F147800000000\r7E80154000000000000", "7E80762F40098180001", obd.OK},
		{"under the next request", "7E8037F147800000000", "7E80154000000000000\r7E80762F40098180001", obd.OK},
		{"never", "7E8037F147800000000", "7E80762F40098180001", obd.Refused},
		{"not now", "7E8037F142200000000", "7E80762F40098180001", obd.Refused},
		{"speed put off", "7E80154000000000000", "7E80762F40098180001", obd.OK},
	} {
		speed := 0
		a, f := ready(t, second(map[string]string{"14FFFF33": tt.clear}))
		usual := answers(second(map[string]string{"14FFFF33": tt.clear, "22F400": tt.after}))
		f.Answer = func(line string) (string, time.Duration) {
			if line == "22F40C" || line == "" {
				if speed++; speed < 3 && tt.name == "speed put off" {
					return "7E8037F227800000000\r\r>", 20 * ms
				}
				line = "22F40C"
			}
			return usual(line)
		}
		x, err := a.ClearCodes(t.Context())
		if err != nil || x.Outcome != tt.want || x.Pending() != (tt.name == "never") {
			t.Errorf("%s: %+v, %v", tt.name, x, err)
		}
		sent := slices.DeleteFunc(slices.Clone(f.Lines), func(s string) bool { return s != "14FFFF33" })
		if len(sent) != 1 || f.Lines[len(f.Lines)-1] != "22F400" {
			t.Errorf("%s: sent %q", tt.name, f.Lines)
		}
	}
}

// TestSecondCar: a whole simulated car, by its own units: codes of three bytes are read, nothing is cleared
// while the engine runs, and all is when it stands, though the computer puts answers off.
func TestSecondCar(t *testing.T) {
	for _, runs := range []bool{true, false} {
		s, err := simcar.New(simcar.Config{Car: carNamed(t, "obd-on-uds-long"), Bus: obd.CAN29at500, Seed: 3, Stopped: !runs})
		if err != nil {
			t.Fatal(err)
		}
		a := obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{})
		if _, err := a.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		if f, err := a.FindBus(t.Context(), obd.BusUnknown); err != nil || f.Dialect != obd.J1979v2 {
			t.Fatalf("%+v, %v", f, err)
		}
		read := func() (all []string) {
			for range 20 {
				x, err := a.Exchange(t.Context(), obd.Request{Service: 0x03})
				if err != nil {
					t.Fatal(err)
				}
				if x.Pending() || x.Outcome != obd.OK {
					continue
				}
				for _, r := range x.Replies {
					codes, err := decode.Codes(0x03, true, r.Data)
					if err != nil {
						t.Fatal(err)
					}
					all = append(all, codes...)
				}
				return all
			}
			t.Fatal("no answer")
			return nil
		}
		if got := read(); !slices.Equal(got, []string{"P0456"}) {
			t.Errorf("codes %q", got)
		}
		x, err := a.ClearCodes(t.Context())
		if runs != errors.Is(err, obd.ErrEngineRuns) || !runs && (err != nil || x.Outcome != obd.OK) {
			t.Errorf("runs %v: %+v, %v", runs, x, err)
		}
		if got := read(); (len(got) == 0) == runs {
			t.Errorf("runs %v: codes %q afterwards", runs, got)
		}
	}
}

func carNamed(t *testing.T, name string) simcar.Car {
	t.Helper()
	car, err := simcar.Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return car
}
