package wide

import (
	"math"
	"testing"

	"pushback/analysis"
	"pushback/analysis/recent"
)

// Vapour of 5 % comes in while gas is fed, and stays: what trim does about it is no weaker answer where the valve's opening is read.
func TestPurgeIsNoGain(t *testing.T) {
	without, with := 0.0, 0.0
	for seed := range uint64(6) {
		p := sound()
		purge := feed{0.05, 24 + float64(seed), 2, 90, 2}
		p.feed = []feed{{0.08, 20.3, 1, 34, 0.5}, purge}
		tr, near := p.trace(50, 6, seed), Shape{21.2, 1, 34.5, 1}
		o, also := Fit(tr, near, true)
		for _, at := range tr.YT {
			tr.V = append(tr.V, 0.4*min(max((at-purge.from-0.5)/purge.on, 0), 1))
		}
		e, ok := Fit(tr, near, true)
		if !ok || !also {
			t.Fatal("not fitted")
		}
		t.Logf("told %.2f with the valve, %.2f without", e.G, o.G)
		with, without = with+math.Abs(e.G-1), without+math.Abs(o.G-1)
	}
	if with > 6*0.1 || with > without/2 {
		t.Errorf("off by %.2f in the mean; without the valve %.2f", with/6, without/6)
	}
}

// The valve's opening goes into the fit as its vapour comes, where it moved and was read.
func TestVapour(t *testing.T) {
	at := []float64{10, 12, 14, 16, 18, 20}
	for _, c := range []struct {
		name  string
		told  []float64 // %, each two seconds from 10 s on
		want  float64   // at 20 s
		comes bool
	}{
		{"opens by 40 %", []float64{0, 0, 40, 40, 40, 40}, 0.4, true},
		{"stands open", []float64{40, 40, 40, 40, 40, 40}, 0, false},
		{"trembles", []float64{20, 24, 20, 24, 20, 24}, 0, false},
		{"read twice", []float64{0, 40}, 0, false},
		{"not read", nil, 0, false},
	} {
		w := New(analysis.Config{By: analysis.ByMixture})
		for i, v := range c.told {
			w.purge.Add(recent.Reading{Lo: at[i], Hi: at[i], V: v})
		}
		v := w.vapour(at)
		if (v != nil) != c.comes || c.comes && (math.Abs(v[5]-c.want) > 0.02 || v[0] != 0) {
			t.Errorf("%s: %v", c.name, v)
		}
		if tr, _ := w.trace(&w.own, 0, 30, false); tr.V != nil {
			t.Errorf("%s: without a reading of the ratio: %v", c.name, tr.V)
		}
	}
}
