package analysis

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/analysis/recent"
	"pushback/analysis/scripttest"
	"pushback/decode"
)

func TestParseBy(t *testing.T) {
	for _, c := range []struct {
		name string
		want By
		ok   bool
	}{{"", ByWire, true}, {"wire", ByWire, true}, {"mixture", ByMixture, true}, {"fuelcut", ByFuelCut, true}, {"nothing", ByNothing, true},
		{"Wire", "", false}, {" wire", "", false}, {"both", "", false}} {
		if got, err := ParseBy(c.name); got != c.want || (err == nil) != c.ok {
			t.Errorf("%q: %q, %v", c.name, got, err)
		}
	}
}

// A reading that comes late takes no time back, and one that nothing here asks for changes nothing.
func TestStepSpecial(t *testing.T) {
	step := func(w *Watcher, name string, at time.Duration, missing bool) []Event {
		return w.Step(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at + 20*time.Millisecond, Value: 0.45, Missing: missing})
	}
	w := NewWatcher(Config{})
	step(w, "O2S11", 5*time.Second, false)
	then := w.now
	step(w, "O2S11", 2*time.Second, false)
	if w.now != then {
		t.Errorf("time went from %v back to %v", then, w.now)
	}
	n := w.volts.volts.Len()
	for _, name := range []string{"O2S11", "BARO"} {
		if e := step(w, name, 6*time.Second, name == "O2S11"); len(e) != 0 || w.volts.volts.Len() != n {
			t.Errorf("%s: %v, %d readings", name, e, w.volts.volts.Len())
		}
	}
}

// Before anything was read nothing is proven and nothing failed, however the test is done.
func TestVerdictOnNothing(t *testing.T) {
	for _, by := range []By{ByWire, ByMixture, ByFuelCut, ByNothing} {
		v := NewWatcher(Config{By: by}).Verdict()
		if v.Conclusion != ConclusionNotReady && v.Conclusion != NothingForced {
			t.Errorf("%s: %s", by, v.Conclusion)
		}
		for _, p := range v.Proofs {
			if p.State == Proven || p.State == Failed {
				t.Errorf("%s: %s is %s", by, p.ID, p.State)
			}
		}
	}
}

// By mixture the word begins a force and the same once more begins none; one that no reading follows is none in the end. By wire a word
// alone is none.
func TestMarkSpecial(t *testing.T) {
	for _, c := range []struct {
		by    By
		marks []Side
		want  int
	}{
		{ByMixture, []Side{Lean}, 1}, {ByMixture, []Side{Lean, Lean}, 1}, {ByMixture, []Side{Rich}, 1},
		{ByWire, []Side{Lean, Rich}, 0},
	} {
		w := NewWatcher(Config{By: c.by})
		for i, side := range c.marks {
			w.Mark(time.Duration(30+20*i)*time.Second, side)
		}
		if len(w.forces) != c.want || w.marks != len(c.marks) {
			t.Errorf("%s, %v: %d forces of %d words", c.by, c.marks, len(w.forces), w.marks)
		}
	}
	w := NewWatcher(Config{By: ByMixture})
	w.Mark(30*time.Second, Lean)
	w.Release(40 * time.Second)
	w.Finish(60 * time.Second)
	if len(w.forces) != 0 || w.Verdict().Conclusion == LoopProven {
		t.Errorf("%d forces of a word that no reading followed", len(w.forces))
	}
}

// What hangs between the sides is of neither, on the limits themselves too.
func TestHeldSide(t *testing.T) {
	for level, want := range map[float64]Side{0: Lean, limits.NeutralLow - 0.005: Lean, limits.NeutralLow: "", limits.SwitchPoint: "",
		limits.NeutralHigh: "", limits.NeutralHigh + 0.005: Rich, 0.9: Rich} {
		if got := heldSide(level); got != want {
			t.Errorf("%.3f V is %q, want %q", level, got, want)
		}
	}
}

// Nobody holds the wire of a car that moves: from the limit on, and as long as its speed was read about then.
func TestMoved(t *testing.T) {
	for _, c := range []struct {
		speed, at float64
		want      bool
	}{{0, 50, false}, {limits.MovingSpeed - 1, 50, false}, {limits.MovingSpeed, 50, true}, {50, 50 - limits.SpeedRead - 1, false}, {50, 60 + limits.SpeedRead - 1, true}, {50, 60 + limits.SpeedRead + 1, false}} {
		r := NewWatcher(Config{}).ready
		r.speed.Add(recent.Reading{Lo: c.at, Hi: c.at, V: c.speed})
		if got := r.moved(50, 60); got != c.want {
			t.Errorf("%v km/h at %v s: %v", c.speed, c.at, got)
		}
	}
	if r := NewWatcher(Config{}).ready; r.moved(50, 60) {
		t.Error("a car whose speed is not read is said to move")
	}
}

// Even is as limits has it, over the two seconds before too; an engine whose speed is never read is taken as even, one
// whose speed was not read then is not.
func TestSteady(t *testing.T) {
	for _, c := range []struct {
		name   string
		speeds []recent.Reading
		want   bool
	}{
		{"never read", nil, true},
		{"not read then", []recent.Reading{{Lo: 10, Hi: 10, V: 750}}, false},
		{"even", []recent.Reading{{Lo: 50, Hi: 50, V: 750}, {Lo: 55, Hi: 55, V: 900}}, true},
		{"a blip", []recent.Reading{{Lo: 50, Hi: 50, V: 750}, {Lo: 55, Hi: 55, V: 1100}}, false},
		{"a blip just before", []recent.Reading{{Lo: 48.5, Hi: 48.5, V: 1100}, {Lo: 55, Hi: 55, V: 750}}, false},
		{"a blip long before", []recent.Reading{{Lo: 47, Hi: 47, V: 1100}, {Lo: 55, Hi: 55, V: 750}}, true},
	} {
		r := NewWatcher(Config{}).ready
		for _, p := range c.speeds {
			r.rpm.Add(p)
		}
		if got := r.steady(50, 60); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// A car that burns another fuel is barred for good, and so is one whose loop is open for a fault from the beginning; once the car was
// ready the fault may be the test's own.
func TestBarred(t *testing.T) {
	for _, c := range []struct {
		name, script string
		now, always  bool
	}{
		{"nothing is known", "1s O2S11 0.45", false, false},
		{"a diesel", "1s FUEL_TYP 4", true, true},
		{"petrol", "1s FUEL_TYP 1", false, false},
		{"open for a fault", "1s FUELSYS1 8", true, true},
		{"open for a fault, after it was ready", "1s FUELSYS1 2; 20s FUELSYS1 2; 21s FUELSYS1 8; 22s FUELSYS1 8", false, false},
		{"open while it warms up", "1s FUELSYS1 1", false, false},
		{"the engine stands", "1s RPM 0; 2s RPM 0", false, false},
		{"a wide-range sensor at a fifth", "1s FUELSYS1 2; 2s SHRTFT1 1; 3s O2S11 0.66; 6s O2S11 0.66; 9s O2S11 0.66; 12s O2S11 0.66", true, true},
	} {
		w := NewWatcher(Config{Sensor: decode.SensorID{Bank: 1, Position: 1}})
		for _, s := range scripttest.Steps(t, c.script) {
			words := strings.Fields(s.Words)
			v, err := strconv.ParseFloat(words[1], 64)
			if err != nil {
				t.Fatal(err)
			}
			w.Step(decode.Sample{Signal: decode.ByName(words[0]), Sent: s.At, Received: s.At, Value: v})
		}
		if now, always := w.Barred(); now != c.now || always != c.always {
			t.Errorf("%s: barred %v, always %v", c.name, now, always)
		}
		w.Finish(30 * time.Second)
		v := w.Verdict()
		if v.Conclusion != ConclusionNotReady {
			continue
		}
		// A fault may be mended; another fuel or another kind of sensor stays.
		asksAgain := slices.ContainsFunc(v.Next, func(r reason.Reason) bool { return r.Has(reason.BringToConditions) })
		if asksAgain != (!c.always || strings.HasPrefix(c.name, "open for a fault")) {
			t.Errorf("%s: bring it to these conditions: %v", c.name, asksAgain)
		}
	}
}

// A gap is told with its cause, and takes time forward only.
func TestGapTold(t *testing.T) {
	w := NewWatcher(Config{})
	w.now = 30
	for _, to := range []time.Duration{20 * time.Second, 40 * time.Second} {
		e := w.Gap(10*time.Second, to, "unplugged")
		if len(e) != 1 || e[0].Name != GapSeen || e[0].From != 10 || e[0].To != to.Seconds() || e[0].Cause != "unplugged" {
			t.Errorf("to %v: %+v", to, e)
		}
		if want := max(30, to.Seconds()); w.now != want {
			t.Errorf("to %v: now is %v, want %v", to, w.now, want)
		}
	}
}

// Of a session's own stays those count that began and ended while nobody held anything; what is found out to have been held is taken
// out again.
func TestOwnStays(t *testing.T) {
	add := func(o *ownStays, script string, free bool) {
		for _, p := range scripted(t, script, 0, same) {
			o.addVolts(p, free)
		}
	}
	const swings = "0s 0.1; 2s 0.8; 5s 0.45; 6s 0.1; 7s 0.8; 9s 0.1"
	for _, c := range []struct {
		name       string
		play       func(*ownStays)
		rich, lean string
	}{
		{"whole ones, through the middle too", func(o *ownStays) { add(o, swings, true) }, "[2 4]", "[1]"},
		{"while something is held", func(o *ownStays) { add(o, swings, false) }, "[]", "[]"},
		{"the first after a hold has no beginning", func(o *ownStays) {
			add(o, "0s 0.1; 2s 0.8", false)
			add(o, "3s 0.8; 4s 0.1; 9s 0.8", true)
		}, "[]", "[5]"},
		{"it was held from 6.5 s on, as is found out later", func(o *ownStays) {
			add(o, swings, true)
			o.wasForced(6.5)
		}, "[4]", "[]"},
	} {
		var o ownStays
		c.play(&o)
		for side, want := range map[Side]string{Rich: c.rich, Lean: c.lean} {
			var secs []float64
			i := sideIndex(side)
			for _, s := range o.ring[i][:o.n[i]] {
				secs = append(secs, s.secs)
			}
			slices.Sort(secs)
			if got := fmt.Sprint(secs); got != want || o.on(side).n != len(secs) {
				t.Errorf("%s: %s stays %s, %d in all, want %s", c.name, side, got, o.on(side).n, want)
			}
		}
	}
	var many ownStays
	for i := range 200 {
		many.addVolts(recent.Reading{Lo: float64(i), Hi: float64(i), V: []float64{0.1, 0.8}[i%2]}, true)
	}
	if n := many.on(Lean).n; n != len(many.ring[0]) {
		t.Errorf("%d stays are kept of a long session, there is room for %d", n, len(many.ring[0]))
	}
}
