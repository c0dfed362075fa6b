package wide

import (
	"testing"

	"pushback/analysis"
	"pushback/analysis/reason"
)

// Trim that stands as far as it goes cannot answer that way, and is no dead command; short of that, or on the other side, it is one.
func TestAtLimit(t *testing.T) {
	w := New(analysis.Config{By: analysis.ByMixture})
	for _, v := range []float64{0, 24.2, -3, 11} {
		w.fig.short(v, true)
	}
	for _, c := range []struct {
		side  analysis.Side
		short float64
		want  bool
	}{{analysis.Lean, 24.2, true}, {analysis.Lean, 23.4, true}, {analysis.Lean, 11, false}, {analysis.Rich, 24.2, false}, {analysis.Rich, -3, false}} {
		if got := w.atLimit(c.side, c.short); got != c.want {
			t.Errorf("%s at %g %%: %v", c.side, c.short, got)
		}
	}
}

// Where the computer drove trim to its limit and the mixture did not follow, that is said, and not that it does not answer.
func TestLimitIsNotSilence(t *testing.T) {
	w := New(analysis.Config{By: analysis.ByMixture})
	r := w.newRing()
	r.command(&force{side: analysis.Lean, sign: -1, absence: absence{limit: 24}})
	r.silence()
	if p := r.by[analysis.ProofAddsFuel]; p.State != analysis.Unclear || p.Why[0].Code != reason.NoFurther {
		t.Errorf("%s, %v", p.State, p.Why)
	}
}
