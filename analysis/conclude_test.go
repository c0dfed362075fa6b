package analysis

import (
	"testing"

	"pushback/analysis/recent"
)

// The table from proofs to the conclusion, over every state of every proof: what other programs rely on of
// each conclusion must hold of all that lead to it, and an arc that failed hides those behind it.
func TestConcludeEveryState(t *testing.T) {
	if testing.Short() {
		t.Skip("walks 131072 verdicts")
	}
	states := [4]State{Proven, Failed, Unclear, Untested}
	seen := map[Conclusion]int{}
	for _, by := range []By{ByWire, ByMixture} {
		w := NewWatcher(Config{By: by})
		w.ready.said, w.ready.everReady = true, true
		w.lag = *lagCar{0.1, 0.06, 0, 1.5, 0, 20, 0, 30}.run()
		f := &force{side: Lean}
		w.forces = []*force{f}
		c := &assessment{w: w, forces: w.forces}
		proofs := make([]Proof, len(ProofOrder))
		for n := range 1 << (2 * len(ProofOrder)) {
			is := map[ProofID]State{}
			for i, id := range ProofOrder {
				proofs[i] = Proof{ID: id, State: states[n>>(2*i)&3]}
				is[id] = proofs[i].State
			}
			got := c.conclude(proofs)
			seen[got]++
			if why := contradicts(got, is, by); why != "" {
				t.Fatalf("by %s, %v: %s, although %s", by, is, got, why)
			}
		}
	}
	for _, want := range []Conclusion{LoopProven, PartlyProven, WrongBank, InputDead, NoCommand, NoDelivery, SensorDead, ConclusionUnclear} {
		if seen[want] == 0 {
			t.Errorf("nothing leads to %s", want)
		}
	}
}

// contradicts says what a conclusion promises and the proofs do not keep; "" nothing. The promises are
// those of the table of conclusions in the README.
func contradicts(got Conclusion, is map[ProofID]State, by By) string {
	both := func(s State, ids ...ProofID) bool {
		for _, id := range ids {
			if is[id] != s {
				return false
			}
		}
		return true
	}
	failed := ""
	for _, id := range ProofOrder {
		if is[id] == Failed && failed == "" {
			failed = string(id)
		}
	}
	switch got {
	case LoopProven:
		switch {
		case failed != "":
			return failed + " failed"
		case !both(Proven, ProofInput, ProofAddsFuel, ProofCutsFuel, ProofDelivery):
			return "an arc is not proven"
		case !both(Proven, ProofSensorRich, ProofSensorLean):
			return "the sensor has not reported both sides"
		}
	case PartlyProven:
		switch {
		case failed != "":
			return failed + " failed"
		case is[ProofAddsFuel] != Untested && is[ProofCutsFuel] != Untested:
			return "both sides were tested"
		case is[ProofAddsFuel] != Proven && is[ProofCutsFuel] != Proven:
			return "trim answered on no side"
		case by == ByWire && is[ProofAddsFuel] == Proven && is[ProofSensorRich] != Proven:
			return "the sensor did not report rich after the lean force"
		}
	case WrongBank:
		if is[ProofBank] != Failed {
			return "the bank did not fail"
		}
	case InputDead:
		if is[ProofInput] != Failed {
			return "the input did not fail"
		}
	case NoCommand:
		if is[ProofAddsFuel] != Failed && is[ProofCutsFuel] != Failed || is[ProofInput] != Proven {
			return "trim did not fail behind an input that is proven"
		}
	case NoDelivery:
		if is[ProofDelivery] != Failed || is[ProofInput] != Proven {
			return "delivery did not fail behind an input that is proven"
		}
	case SensorDead:
		if is[ProofSensorRich] != Failed && is[ProofSensorLean] != Failed || is[ProofDelivery] != Proven {
			return "no side failed with a mixture that followed"
		}
	case ConclusionNotReady, NothingForced:
		return "it was forced, in a car that was ready"
	}
	if is[ProofBank] == Failed && got != WrongBank {
		return "the other bank answered"
	}
	return ""
}

// A slow sensor is slow each time: one that answered a release at once, though it left again soon, is not late.
func TestLate(t *testing.T) {
	late := func(f *force) { f.rel.state, f.rel.lastOff = sensorLate, recent.Reading{Lo: 28, Hi: 28, V: 0.3} }
	left := func(f *force) { f.rel.left, f.rel.stillLeft = true, 0.9 }
	for _, c := range []struct {
		name   string
		forces []*force
		want   bool
	}{
		{"at once", []*force{with(Lean)}, false},
		{"late", []*force{with(Lean, late)}, true},
		{"late twice", []*force{with(Lean, late), with(Rich, late)}, true},
		{"once at once", []*force{with(Lean, late), with(Rich)}, false},
		{"once at once, and left early", []*force{with(Lean, late), with(Lean, left)}, false},
	} {
		w := NewWatcher(Config{By: ByWire})
		if got := (&assessment{w: w, forces: c.forces}).late(); got != c.want {
			t.Errorf("%s: late %v", c.name, got)
		}
	}
}
