package analysis

import (
	"math"
	"testing"

	"pushback/analysis/recent"
)

// NIST StRD 'Norris': 36 points. The slope by Theil and Sen was computed apart from
// this code over the 629 pairs that differ in x; the certified least-squares slope is
// 1.00211681802045.
var norrisX = []float64{.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777, 558.2, .4, .6, 775.5, 666.9, 338, 447.5, 11.6,
	556, 228.1, 995.8, 887.6, 120.2, .3, .3, 556.8, 339.1, 887.2, 999, 779, 11.1, 118.3, 229.2, 669.1, 448.9, .5}
var norrisY = []float64{.1, 338.8, 118.1, 888, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, .3, .1, 778.1, 668.8, 339.3, 448.9, 10.8,
	557.7, 228.3, 998, 888.8, 119.6, .3, .6, 557.6, 339.3, 888, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, .2}

func TestTheilSen(t *testing.T) {
	var norris []recent.Reading
	for i, x := range norrisX {
		norris = append(norris, recent.Reading{Lo: x, Hi: x, V: norrisY[i]})
	}
	// One wild point among nine does not move the slope: 2.0 by hand, least squares 2.2933.
	var small []recent.Reading
	for i, y := range []float64{2.1, 3.9, 6.2, 7.8, 10.1, 30, 14.0, 16.1, 17.9} {
		small = append(small, recent.Reading{Lo: float64(i + 1), Hi: float64(i + 1), V: y})
	}
	for _, c := range []struct {
		name string
		in   []recent.Reading
		want float64
	}{
		{"NIST StRD Norris", norris, 1.00219683656},
		{"one outlier", small, 2.0},
	} {
		// The pairs of later points first: the order of the points must not matter.
		ordered := append([]recent.Reading(nil), c.in...)
		for i := 1; i < len(ordered); i++ {
			for j := i; j > 0 && ordered[j].T() < ordered[j-1].T(); j-- {
				ordered[j], ordered[j-1] = ordered[j-1], ordered[j]
			}
		}
		if got := theilSen(ordered, nil); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %.11f, want %.11f", c.name, got, c.want)
		}
	}
	if got := theilSen(nil, nil); !math.IsNaN(got) {
		t.Errorf("no points: %v", got)
	}
}

// Quantiles by definition 7 of Hyndman and Fan: R's quantile(c(1,2,3,4,10), …) and
// NumPy's default give the same.
func TestQuantile(t *testing.T) {
	for _, c := range []struct{ q, want float64 }{{0, 1}, {0.25, 2}, {0.5, 3}, {0.9, 7.6}, {1, 10}} {
		if got := quantile([]float64{10, 3, 1, 4, 2}, c.q); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("quantile %g: %g, want %g", c.q, got, c.want)
		}
	}
}
