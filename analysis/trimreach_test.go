package analysis

import "testing"

// A count of trim is 1/128 (SAE J1979).
func TestTrimReach(t *testing.T) {
	for _, c := range []struct {
		name       string
		read       []float64 // %
		beyond     float64
		lean, rich bool
	}{
		{"nothing", nil, 1.5, false, false},
		{"stood beyond", []float64{3.9, 3.9}, 1.5, false, false},
		{"moved beyond one side", []float64{0, 2.34}, 1.5, true, false},
		{"and the other", []float64{-3.1, 0, 2.34}, 1.5, true, true},
		{"not so far", []float64{-3.1, 0, 2.34}, 2.4, false, true},
		{"two counts as they are told", []float64{0, 1.6}, 2*trimCount - roundoff, true, false},
		{"on one side alone", []float64{-4, -1}, 1.5, false, true},
	} {
		var r TrimReach
		for _, v := range c.read {
			r.Add(v)
		}
		if lean, rich := r.Able(Lean, c.beyond), r.Able(Rich, c.beyond); lean != c.lean || rich != c.rich {
			t.Errorf("%s: lean %v, rich %v", c.name, lean, rich)
		}
	}
}
