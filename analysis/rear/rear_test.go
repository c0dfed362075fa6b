package rear

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/scripttest"
	"pushback/decode"
)

// played gives a watcher what scripts tell (see [scripttest.Merge]), and returns what it told and itself.
func played(t testing.TB, cfg analysis.Config, scripts ...string) ([]scripttest.Event, *Watcher) {
	t.Helper()
	w := New(cfg)
	var out []scripttest.Event
	take := func(events []analysis.Event) {
		for _, e := range events {
			out = append(out, scripttest.Event{Name: string(e.Name), T: e.T})
		}
	}
	all := scripttest.Merge(t, scripts...)
	for _, s := range all {
		switch from, is := strings.CutPrefix(s.Words, "gap "); {
		case is:
			d, err := time.ParseDuration(from)
			if err != nil {
				t.Fatal(err)
			}
			take(w.Gap(d, s.At, "no reply"))
		default:
			take(w.Step(decode.Sample{Signal: decode.ByName(s.Name), Sent: s.At, Received: s.At, Value: s.Value}))
		}
	}
	take(w.Finish(all[len(all)-1].At))
	return out, w
}

// A drive by hand: cruise to 20 s, a fuel cut to 30 s, cruise to 40 s, full load to 48 s, cruise to 60 s.
const (
	speeds  = "RPM 0s..20s/500ms 2600; 20.5s..30s/500ms 2550->1400; 30.5s..40s/500ms 2400; 40.5s..48s/500ms 2500->4200; 48.5s..60s/500ms 2600"
	loads   = "LOAD_PCT 0s..20s/500ms 40; 20.5s..30s/500ms 6; 30.5s..40s/500ms 40; 40.5s..48s/500ms 92; 48.5s..60s/500ms 40"
	status  = "FUELSYS1 0s..20s/500ms 2; 20.5s..30s/500ms 4; 30.5s..40s/500ms 2; 40.5s..48s/500ms 4; 48.5s..60s/500ms 2"
	closed  = "FUELSYS1 0s..60s/500ms 2"
	front   = "O2S11 0s..20.5s/500ms 0.7; 21s..30.5s/500ms 0.03; 31s..40.5s/500ms 0.7; 41s..48.5s/500ms 0.88; 49s..60s/500ms 0.6"
	noFront = "SHRTFT1 0s..60s/1s 0"
	air     = "MAF 0s..60s/1s 4"
)

// reads is the script of the sensor: at rest, in the cut from two seconds on, at full load from one second on.
func reads(rest, cut, pull float64) string {
	return fmt.Sprintf("O2S12 0s..22s/200ms %g; 22.2s..31s/200ms %g; 31.2s..41s/200ms %g; 41.2s..48.4s/200ms %g; 48.6s..60s/200ms %g", rest, cut, rest, pull, rest)
}

// twice is a script, and the same from a minute later.
func twice(script string) string {
	name, rest, _ := strings.Cut(script, " ")
	var again []string
	for _, step := range strings.Split(rest, ";") {
		when, words, _ := strings.Cut(strings.TrimSpace(step), " ")
		from, to, stretch := strings.Cut(when, "..")
		later := func(s string) string {
			d, err := time.ParseDuration(s)
			if err != nil {
				panic(err)
			}
			return (d + 61*time.Second).String()
		}
		when = later(from)
		if stretch {
			end, each, _ := strings.Cut(to, "/")
			when += ".." + later(end) + "/" + each
		}
		again = append(again, when+" "+words)
	}
	return name + " " + rest + "; " + strings.Join(again, "; ")
}

const (
	gone     = "ready 2, force_begins 20.5, sensor_answers 22.2, force_ends 30, force_begins 40.5, sensor_answers 41.6, force_ends 48"
	unmoved  = "ready 2, force_begins 20.5, force_ends 30, sensor_silent 30, force_begins 40.5, force_ends 48, sensor_silent 48"
	proven   = analysis.Proven
	failed   = analysis.Failed
	unclear  = analysis.Unclear
	untested = analysis.Untested
)

// Drives in text, and what is told of them. What is not read forbids nothing, and one signal that tells makes up for another.
func TestDrivesInText(t *testing.T) {
	sound := reads(0.68, 0.05, 0.85)
	for _, c := range []struct {
		name       string
		scripts    []string
		want       string // events; "" not looked at
		lean, rich analysis.State
		end        analysis.Conclusion
		decide     analysis.Step
	}{
		{"a sound one", []string{speeds, loads, status, front, air, sound}, gone, proven, proven, analysis.PartlyProven, analysis.FrontSensor},
		{"without air flow and the sensor in front", []string{speeds, loads, status, sound}, gone, proven, proven, analysis.PartlyProven, analysis.FrontSensor},
		{"a status that never says open: load and speed tell of the cut, the sensor in front of the pull", []string{speeds, loads, front, sound}, gone, proven, proven, analysis.PartlyProven, analysis.FrontSensor},
		{"no status and nothing in front: the load alone", []string{speeds, loads, sound}, gone, proven, proven, analysis.PartlyProven, analysis.FrontSensor},
		{"a hot cell", []string{speeds, loads, status, front, air, reads(0.6, 0.12, 0.72)}, gone, proven, proven, analysis.PartlyProven, analysis.FrontSensor},
		{"nothing driven", []string{"RPM 0s..60s/500ms 800", "LOAD_PCT 0s..60s/500ms 25", closed, reads(0.7, 0.7, 0.7)}, "ready 2", untested, untested, analysis.NothingForced, ""},
		{"open loop, the engine idles: no cut", []string{"RPM 0s..60s/500ms 800", "LOAD_PCT 0s..60s/500ms 20", status, reads(0.7, 0.05, 0.7)}, "ready 2", untested, untested, analysis.NothingForced, ""},
		{"closed loop at full load: not enriched", []string{speeds, loads, closed, sound}, "ready 2", untested, untested, analysis.NothingForced, ""},
		{"the commanded ratio tells of it", []string{speeds, loads, closed, "EQ_RAT 0s..40.5s/500ms 1; 41s..48s/500ms 0.88; 48.5s..60s/500ms 1", sound},
			"ready 2, force_begins 41, sensor_answers 42, force_ends 48", untested, proven, analysis.PartlyProven, analysis.FuelCut},
		{"cuts only", []string{speeds, strings.ReplaceAll(loads, "92", "60"), strings.Replace(status, "48s/500ms 4", "48s/500ms 2", 1), front, reads(0.68, 0.05, 0.68)},
			"ready 2, force_begins 20.5, sensor_answers 22.2, force_ends 30", proven, untested, analysis.PartlyProven, analysis.FullLoad},
		{"rich all the time, once", []string{speeds, loads, status, front, air, reads(0.8, 0.8, 0.8)},
			"ready 2, force_begins 20.5, force_ends 30, sensor_silent 30, force_begins 40.5, sensor_answers 41.6, force_ends 48", unclear, unclear, analysis.ConclusionUnclear, analysis.FuelCut},
		{"rich all the time, twice", []string{twice(speeds), twice(loads), twice(status), twice(front), twice(air), twice(reads(0.8, 0.8, 0.8))}, "", failed, unclear, analysis.SensorDead, ""},
		{"lean all the time, once", []string{speeds, loads, status, front, air, reads(0.06, 0.06, 0.06)}, "", unclear, unclear, analysis.ConclusionUnclear, analysis.FullLoad},
		{"lean all the time, twice", []string{twice(speeds), twice(loads), twice(status), twice(front), twice(air), twice(reads(0.06, 0.06, 0.06))}, "", unclear, failed, analysis.SensorDead, ""},
		{"an open wire", []string{twice(speeds), twice(loads), twice(status), twice(front), twice(air), twice(reads(0.45, 0.45, 0.45))}, "", failed, failed, analysis.SensorDead, ""},
		{"the same once", []string{speeds, loads, status, front, air, reads(0.45, 0.45, 0.45)}, unmoved, unclear, unclear, analysis.ConclusionUnclear, analysis.FuelCut},
		{"it comes half way", []string{speeds, loads, status, front, air, reads(0.68, 0.3, 0.57)}, "", unclear, unclear, analysis.ConclusionUnclear, analysis.FuelCut},
		{"little air: the catalyst may have had the oxygen", []string{twice(speeds), twice(loads), twice(status), twice(front), "MAF 0s..121s/1s 1.1", twice(reads(0.8, 0.8, 0.85))}, "", untested, unclear, analysis.ConclusionUnclear, analysis.FuelCut},
		{"the sensor in front says that no fuel was cut", []string{twice(speeds), twice(loads), twice(status), "O2S11 0s..121s/500ms 0.8", twice(air), twice(reads(0.8, 0.8, 0.85))}, "", untested, unclear, analysis.ConclusionUnclear, analysis.FuelCut},
		{"too short, and read too seldom", []string{"RPM 0s..20s/500ms 2600; 20.5s..22s/500ms 2400->1900; 22.5s..60s/500ms 2400", "LOAD_PCT 0s..20s/500ms 40; 20.5s..22.5s/500ms 6; 23s..60s/500ms 40",
			"FUELSYS1 0s..20s/500ms 2; 20.5s..22.5s/500ms 4; 23s..60s/500ms 2", "O2S12 0s..60s/1s 0.7"}, "ready 2, force_begins 20.5, force_ends 22.5", untested, untested, analysis.ConclusionUnclear, analysis.FuelCut},
		{"read once in each", []string{twice(speeds), twice(loads), twice(status), twice("O2S12 10s 0.7; 25s 0.05; 35s 0.7; 45s 0.86; 55s 0.7")}, "", proven, proven, analysis.PartlyProven, analysis.FrontSensor},
		{"read once in one", []string{speeds, loads, status, "O2S12 10s 0.7; 25s 0.05; 35s 0.7; 55s 0.7"}, "", unclear, untested, analysis.ConclusionUnclear, analysis.FuelCut},
		{"not read", []string{speeds, loads, status, front}, "", untested, untested, analysis.ConclusionUnclear, analysis.MoreReading},
		{"cold", []string{"ECT 0s..60s/5s 40", speeds, loads, status, front, sound}, "not_ready 2", untested, untested, analysis.ConclusionNotReady, ""},
		{"a diesel", []string{"FUEL_TYP 0s 4", speeds, loads, status, front, sound}, "not_ready 2", untested, untested, analysis.ConclusionNotReady, ""},
		{"a gap in the cut", []string{speeds, loads, status, front, air, "says 22.05s gap 21s", sound}, "", proven, proven, analysis.PartlyProven, analysis.FrontSensor},
		{"nothing read", []string{"ECT 0s..60s/5s 90"}, "ready 5", untested, untested, analysis.NothingForced, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, w := played(t, analysis.Config{By: analysis.ByFuelCut}, c.scripts...)
			if c.want != "" {
				scripttest.Tells(t, c.name, got, c.want)
			}
			v := w.Verdict()
			if lean, rich := stateOf(v, analysis.ProofSensorLean), stateOf(v, analysis.ProofSensorRich); lean != c.lean || rich != c.rich || v.Conclusion != c.end || v.Decide != c.decide {
				t.Errorf("lean %s, rich %s, %s, decide %q: want %s, %s, %s, %q\n%v", lean, rich, v.Conclusion, v.Decide, c.lean, c.rich, c.end, c.decide, w.Reasons())
			}
			if slices.ContainsFunc(v.Next, func(r reason.Reason) bool { return r.Has(reason.BringToConditions) }) && c.name == "a diesel" {
				t.Error("nothing makes a petrol engine of a diesel")
			}
			for _, id := range analysis.ProofOrder {
				if s := stateOf(v, id); id != analysis.ProofSensorLean && id != analysis.ProofSensorRich && s != untested {
					t.Errorf("%s is %s: a drive does not test it", id, s)
				}
			}
			if open := v.Decide != ""; open != (v.Conclusion == analysis.ConclusionUnclear || v.Conclusion == analysis.PartlyProven) || len(v.Next) == 0 {
				t.Errorf("%s decides %q, next %v", v.Conclusion, v.Decide, v.Next)
			}
		})
	}
}

func stateOf(v analysis.Verdict, id analysis.ProofID) analysis.State {
	i := slices.IndexFunc(v.Proofs, func(p analysis.Proof) bool { return p.ID == id })
	return v.Proofs[i].State
}

// Evidence adds up: what parts have come to, and the state that follows.
func TestTallies(t *testing.T) {
	type tries [denied + 1]int
	for _, c := range []struct {
		n         tries // too short, shown, glimpsed, missed, between, denied
		elsewhere int   // readings on the other side
		want      analysis.State
	}{
		{tries{}, 9, untested},
		{tries{tooShort: 3}, 9, untested},
		{tries{shown: 1}, 9, proven},
		{tries{tooShort: 4, shown: 1}, 9, proven},
		{tries{shown: 1}, 1, unclear},
		{tries{shown: 1, missed: 1}, 9, unclear},
		{tries{shown: 2, missed: 1}, 9, unclear},
		{tries{shown: 3, missed: 1}, 9, proven},
		{tries{glimpsed: 1}, 9, unclear},
		{tries{glimpsed: 2}, 9, proven},
		{tries{glimpsed: 2}, 1, unclear},
		{tries{glimpsed: 2, shown: 1, missed: 1}, 9, unclear},
		{tries{missed: 1}, 9, unclear},
		{tries{missed: 2}, 9, failed},
		{tries{glimpsed: 1, missed: 2}, 9, unclear},
		{tries{tooShort: 9, missed: 2, between: 3, denied: 5}, 9, failed},
		{tries{between: 2}, 9, unclear},
		{tries{denied: 4}, 9, untested},
	} {
		for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
			w := New(analysis.Config{})
			w.lean.n, w.rich.n = [denied + 1]int(c.n), [denied + 1]int(c.n)
			w.moved.leans, w.moved.riches = c.elsewhere, c.elsewhere
			if got := w.side(side); got.State != c.want || len(got.Why) == 0 {
				t.Errorf("%v, %d elsewhere, %s: %s (%v), want %s", c.n, c.elsewhere, side, got.State, got.Why, c.want)
			}
		}
	}
}

// Bank 2's own fuel system tells of its cuts where it is in use; where byte B is 00, one controls both.
func TestSecondBank(t *testing.T) {
	b2 := func(s string) string { return strings.NewReplacer("O2S12", "O2S22", "FUELSYS1", "FUELSYS2").Replace(s) }
	for _, c := range []struct {
		name    string
		scripts []string
		want    analysis.State
	}{
		{"its own", []string{closed, b2(status)}, proven},
		{"its own is closed", []string{status, b2(closed)}, untested},
		{"one for both", []string{status, "FUELSYS2 0s..60s/500ms 0"}, proven},
	} {
		_, w := played(t, analysis.Config{Sensor: decode.SensorID{Bank: 2, Position: 2}}, append(c.scripts, speeds, loads, b2(reads(0.68, 0.05, 0.85)))...)
		if got := stateOf(w.Verdict(), analysis.ProofSensorLean); got != c.want {
			t.Errorf("%s: lean %s, want %s", c.name, got, c.want)
		}
	}
}

// A step of an hour's drive costs next to nothing and asks for no memory.
func BenchmarkStep(b *testing.B) {
	all := scripttest.Merge(b, speeds, loads, status, front, air, reads(0.68, 0.05, 0.85))
	samples := make([]decode.Sample, len(all))
	for i, s := range all {
		samples[i] = decode.Sample{Signal: decode.ByName(s.Name), Sent: s.At, Received: s.At, Value: s.Value}
	}
	w, turn := New(analysis.Config{By: analysis.ByFuelCut}), time.Duration(0)
	b.ReportAllocs()
	b.ResetTimer()
	for i := 0; i < b.N; i++ {
		s := samples[i%len(samples)]
		if i%len(samples) == 0 && i > 0 {
			turn += time.Minute
		}
		s.Sent, s.Received = s.Sent+turn, s.Received+turn
		w.Step(s)
	}
}

// By hand: a cell with a lag of 1 s falls from 0.55 to 0.2 V, drawn to 0 V, in 1.01 s. What it reads bounds its lag, whatever the catalyst did before,
// and one that falls slowly is not called slow.
func TestLagAtMost(t *testing.T) {
	for _, c := range []struct {
		name   string
		reads  string
		lo, hi float64
	}{
		{"at once", reads(0.7, 0.05, 0.86), 0.05, 0.2},
		{"a lag of 1 s after 3 s of the catalyst's oxygen", "O2S12 0s..23.4s/200ms 0.75; 23.5s..25.1s/100ms 0.705->0.15; 25.2s..30s/200ms 0.08; 31s..60s/200ms 0.85", 0.9, 1.5},
		{"it creeps, as a catalyst may make it", "O2S12 0s..21s/200ms 0.75; 21.2s..28s/200ms 0.74->0.15; 28.2s..30s/200ms 0.1; 31s..60s/200ms 0.85", 3, 9},
		{"it lay lean before", reads(0.06, 0.05, 0.86), 0, 0},
	} {
		_, w := played(t, analysis.Config{Sensor: decode.SensorID{Bank: 1, Position: 2}}, speeds, loads, status, front, air, c.reads)
		v := w.Verdict()
		i := slices.IndexFunc(v.Proofs, func(p analysis.Proof) bool { return p.ID == analysis.ProofSensorLean })
		if got := v.Proofs[i].Evidence["lag_at_most_s"]; got < c.lo || got > c.hi || v.Conclusion == analysis.SensorSlow {
			t.Errorf("%s: %.2f s, %v", c.name, got, v.Proofs[i].Why)
		}
	}
}
