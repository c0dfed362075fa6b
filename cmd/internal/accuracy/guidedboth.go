package accuracy

import (
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
)

// TwoWires makes guided tests that hold both banks' wires, with hands of all kinds, on sound cars and on others in turn.
func TwoWires(from uint64, n int, progress func(done int)) ([]Result, error) {
	return each(n, progress, func(i int) Result { return RunTwoWires(from + uint64(i)).Result }), nil
}

// RunTwoWires makes the guided test of a seed on both wires of a car with two banks.
func RunTwoWires(seed uint64) GuidedTrial {
	for k := seed; ; k += 1 << 32 {
		cfg, exp := simcar.Random(k)
		beside := map[string]string{"B1S1": "B2S1", "B2S1": "B1S1"}[cfg.Car.Sensor]
		if seed%2 == 0 && exp.Fault != "sound" || strings.HasPrefix(exp.Fault, "wide") || !slices.Contains(cfg.Car.Sensors(), beside) {
			continue
		}
		cfg.Forces, cfg.BranchByHand = nil, true
		style := hands.Random(seed)
		style.Other = "" // each wire has its own tap
		return runGuided(seed, cfg, exp, style, beside)
	}
}

// ofOneBank are the faults that leave the other bank sound; all others are the computer's, or the whole car's.
var ofOneBank = []string{"input dead", "wire open, computer side", "wire open, sensor side", "sensor stuck lean", "sensor stuck rich", "sensor flat",
	"sensor slow", "fuel not delivered", "leak beyond authority", "exhaust leak, large"}

// truths says what may be said of each sensor whose wire was to be held; beside is the second, "" none.
func (t *GuidedTrial) truths(exp simcar.Expected, sensor, beside string) []*truth.Test {
	at := [2][]simcar.ForceTruth{}
	for _, f := range t.Truth {
		i := 0
		if f.Beside != (exp.Fault == "banks crossed" && beside != "") { // on whose reading it shows
			i = 1
		}
		at[i] = append(at[i], f)
	}
	t.Case += ", " + style(t.Style)
	own, properly := t.truth(exp, sensor, at[0])
	out := []*truth.Test{own}
	if beside != "" {
		if slices.Contains(ofOneBank, exp.Fault) {
			exp.Fault, exp.Conclusion = "sound, the other bank is not", string(analysis.LoopProven)
		}
		other, too := t.truth(exp, beside, at[1])
		out, properly = append(out, other), properly && too
	}
	t.properly = properly
	return out
}

// compareAll compares the verdict on each sensor with the truth of it.
func (t *GuidedTrial) compareAll(told []*truth.Test, res session.Result) {
	for i, x := range told {
		of := session.Result{Verdict: res.Verdict.Of(x.Sensor)}
		for _, e := range res.Events {
			if e.Sensor == x.Sensor || e.Sensor == "" && i == 0 {
				of.Events = append(of.Events, e)
			}
		}
		if i == 0 {
			t.compare(x, of)
			continue
		}
		r := Result{}
		r.compare(x, of)
		t.Said += " and " + r.Said
		t.FalseProofs = append(t.FalseProofs, r.FalseProofs...)
		t.Decided, t.Missed, t.Forces, t.FalseForces = t.Decided+r.Decided, t.Missed+r.Missed, t.Forces+r.Forces, t.FalseForces+r.FalseForces
	}
	t.Outcome = outcomeOf(told, res.Verdict)
}

// outcomeOf is the worst of what the verdict says of each sensor.
func outcomeOf(told []*truth.Test, v analysis.Verdict) truth.Outcome {
	worst := truth.Right
	for _, x := range told {
		switch got := x.Outcome(string(v.Of(x.Sensor).Conclusion)); {
		case got == truth.Wrong, got == truth.Undecided && worst == truth.Right:
			worst = got
		}
	}
	return worst
}
