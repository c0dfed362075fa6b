package analysis

import (
	"slices"
	"testing"

	"pushback/analysis/reason"
)

// What was weighed is told with its numbers, and what does not count says why.
func TestReasons(t *testing.T) {
	p := healthy()
	p.marks = true
	w, _ := p.run(Config{})
	told := map[reason.Code][]reason.Clause{}
	for _, r := range w.Reasons() {
		for _, c := range r {
			told[c.Code] = append(told[c.Code], c)
		}
	}
	for _, want := range []reason.Code{reason.AsSaid, reason.RestRead, reason.TrimRestRead, reason.HeldShare, reason.AgainstHunting, reason.Surely,
		reason.Reported, reason.StayedOnSide, reason.RearAway} {
		if len(told[want]) != 2 {
			t.Errorf("%s is told %d times of two forces", want, len(told[want]))
		}
	}
	for i, c := range told[reason.Force] {
		if want := []struct {
			side Side
			at   float64
		}{{Lean, 25}, {Rich, 65}}[i]; c.Figures[0] != i+1 || c.Figures[1] != want.side || abs(c.Figures[2].(float64)-want.at) > 1 {
			t.Errorf("force %d: %v", i+1, c)
		}
	}
	for _, c := range told[reason.AgainstHunting] {
		if c.Figures[6] != 0.0 || c.Figures[7] != 0.0 {
			t.Errorf("not answered one way: %v", c)
		}
	}
	for _, c := range told[reason.AnswerRate] {
		if rate := c.Figures[0].(float64); rate < 2 || rate >= 3 {
			t.Errorf("trim went %g %% a second", rate)
		}
	}
	if c := told[reason.Concluded]; len(c) != 1 || c[0].Figures[0] != LoopProven {
		t.Errorf("concluded %v", c)
	}
	p.status = func(t float64) float64 { // open loop by its status before the second force
		if t > 60 {
			return 4
		}
		return 2
	}
	w, _ = p.run(Config{})
	if all := w.Reasons(); !slices.ContainsFunc(all, func(r reason.Reason) bool { return r.Has(reason.DiscountedUnfit) }) {
		t.Errorf("a force in open loop: %v", all)
	}
}
