package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The special cases that the comments promise, a row each.
func TestSpecialCases(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"median of none", Median(nil), nan},
		{"quantile of none", Quantile([]float64{}, 0.3), nan},
		{"quantile of one", Quantile([]float64{7}, 0.3), 7},
		{"the least", Quantile([]float64{3, 1, 2}, 0), 1},
		{"the largest", Quantile([]float64{3, 1, 2}, 1), 3},
		{"sorted, of none", SortedQuantile(nil, 0.5), nan},
		{"sorted, of one", SortedQuantile([]float64{7}, 1), 7},
		{"SD of none", SD(nil), nan},
		{"SD of one", SD([]float64{4}), nan},
		{"SD of one number", SD([]float64{4, nan, nan}), nan},
		{"SD of two", SD([]float64{1, nan, 3}), math.Sqrt2},
		{"SD of equal ones", SD([]float64{4, 4, 4}), 0},
		{"t at 0", StudentQuantile(0, 5), -inf},
		{"t at 1", StudentQuantile(1, 5), inf},
		{"t of no number", StudentQuantile(nan, 5), nan},
		{"t with many degrees is normal", StudentQuantile(0.975, inf), 1.959963984540054}, // NIST/SEMATECH handbook 1.3.6.7.1 has 1.960
		{"Cauchy's quartile", StudentQuantile(0.75, 1), 1},                                // by symmetry of 1/tan
		{"p of an infinite t", StudentP(-inf, 5), 0},
		{"p of no t", StudentP(nan, 5), 1},
		{"p of zero", StudentP(0, 5), 1},
		{"lag of none", float64(Lag(0, 10, 30)), 0},
		{"lag of three", float64(Lag(3, 10, 30)), 0},
		{"lag without a rate", float64(Lag(100, 0, 30)), 4},
		{"lag of a rate that is not known", float64(Lag(100, nan, 30)), 4},
		{"lag of 30 s at 0.5/s", float64(Lag(100, 0.5, 30)), 15},
		{"at most a quarter", float64(Lag(100, 10, 30)), 25},
		{"H for none is that for one", AlarmLimit(0.5, 0, 0.001), AlarmLimit(0.5, 1, 0.001)},
	} {
		if c.got != c.want && !(math.IsNaN(c.got) && math.IsNaN(c.want)) && !(math.Abs(c.got-c.want) < 1e-9) {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
	if h := AlarmLimit(0.5, 1, 1); h > 1e-9 {
		t.Errorf("an alarm that may come for certain needs a limit of %g", h)
	}
	if got := Holm(nil, 0.05); len(got) != 0 {
		t.Errorf("of no hypothesis: %v", got)
	}
	if got := Holm([]float64{nan, 0.02, nan}, 0.05); !slices.Equal(got, []bool{false, false, false}) {
		t.Errorf("untested ones are not counted: %v", got) // 0.02 > 0.05/3
	}
	if got := Holm([]float64{0.03, 0.01, 0.02}, 0.05); !slices.Equal(got, []bool{true, true, true}) {
		t.Errorf("each that is rejected leaves the others more: %v", got) // 0.05/3, 0.05/2, 0.05
	}
	if got := Holm([]float64{nan, 0.016, nan}, 0.05); !slices.Equal(got, []bool{false, true, false}) {
		t.Errorf("one in three: %v", got)
	}
}

func TestFitSpecialCases(t *testing.T) {
	row := func(x float64) []float64 { return []float64{1, x} }
	for _, c := range []struct {
		name string
		x    [][]float64
		y    []float64
		ok   bool
	}{
		{"none", nil, nil, false},
		{"as many as columns", [][]float64{row(0), row(1)}, []float64{1, 2}, false},
		{"rows missing", [][]float64{row(0), row(1), row(2)}, []float64{1, 2, 3, 4}, false},
		{"all at one place", [][]float64{row(2), row(2), row(2), row(2)}, []float64{1, 2, 3, 4}, false},
		{"one more than columns", [][]float64{row(0), row(1), row(2)}, []float64{1, 3, 5}, true},
	} {
		f, err := Huber(c.x, c.y, 0)
		if (err == nil) != c.ok || err != nil && !errors.Is(err, ErrSingular) {
			t.Errorf("%s: %v", c.name, err)
		}
		if c.ok && (math.Abs(f.Coef[0]-1) > 1e-9 || math.Abs(f.Coef[1]-2) > 1e-9 || f.Scale > 1e-9 || f.SE(0) > 1e-9 || f.SE(1) > 1e-9) {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
}

func TestHingeSpecialCases(t *testing.T) {
	at := []float64{0, 1, 2, 3, 4, 5}
	level := []float64{2, 2, 2, 2, 2, 2}
	if _, ok := FitHinge(at[:3], level[:3], 0, 3, 0.95, 0.01); ok {
		t.Error("three readings are enough")
	}
	for _, span := range [][2]float64{{2, 2}, {3, 2}, {math.NaN(), 4}} {
		if _, ok := FitHinge(at, level, span[0], span[1], 0.95, 0.01); ok {
			t.Errorf("%v is a span", span)
		}
	}
	h, ok := FitHinge(at, level, 1, 4, 0.95, 0.01)
	if !ok || math.Abs(h.Slope) > 1e-9 || math.Abs(h.Level-2) > 1e-9 || h.Low != 1 || h.High != 4 {
		t.Errorf("a level series: %+v, %v", h, ok)
	}
}

// A hinge without noise is found wherever it lies; shifted in time or scaled, so is its fit.
func TestHingeMovesWithItsData(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		onset, level, slope := rapid.Float64Range(3, 9).Draw(t, "onset"), rapid.Float64Range(-10, 10).Draw(t, "level"), rapid.Float64Range(0.5, 5).Draw(t, "slope")
		shift := rapid.Float64Range(0, 5000).Draw(t, "shift")
		if rapid.Bool().Draw(t, "falls") {
			slope = -slope
		}
		var at, y []float64
		for x := 0.0; x < 15; x += 0.25 {
			at, y = append(at, x+shift), append(y, level+slope*max(0, x-onset))
		}
		h, ok := FitHinge(at, y, shift, shift+15, 0.99, 1e-6)
		if !ok || math.Abs(h.Onset-onset-shift) > 15./200 || math.Abs(h.Slope-slope) > 0.05*math.Abs(slope) || math.Abs(h.Level-level) > 0.1*math.Abs(slope) {
			t.Fatalf("%+v, want %g + %g·max(0, t − %g)", h, level, slope, onset+shift)
		}
		if h.Low > h.Onset || h.Onset > h.High {
			t.Fatalf("%+v", h)
		}
	})
}

// A fit is that of its data: shifted and scaled values shift and scale it, and the order of columns does not matter.
func TestHuberMovesWithItsData(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		shift, scale := rapid.Float64Range(-50, 50).Draw(t, "shift"), rapid.Float64Range(0.1, 20).Draw(t, "scale")
		var x, turned [][]float64
		var y, moved []float64
		for range 60 {
			v := rng.Float64() * 10
			x, turned = append(x, []float64{1, v}), append(turned, []float64{v, 1})
			y = append(y, 3-0.4*v+rng.NormFloat64())
		}
		y[7] += 40
		for _, v := range y {
			moved = append(moved, shift+scale*v)
		}
		a, err1 := Huber(x, y, 3)
		b, err2 := Huber(x, moved, 3)
		c, err3 := Huber(turned, y, 3)
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		near := func(p, q float64) bool { return math.Abs(p-q) <= 1e-6*(1+math.Abs(p)) }
		if !near(b.Coef[1], scale*a.Coef[1]) || !near(b.Coef[0], shift+scale*a.Coef[0]) || !near(b.Scale, scale*a.Scale) || !near(b.SE(1), scale*a.SE(1)) {
			t.Fatalf("%+v, moved by %g and %g: %+v", a, shift, scale, b)
		}
		if !near(c.Coef[0], a.Coef[1]) || !near(c.SE(0), a.SE(1)) {
			t.Fatalf("%+v, columns turned round %+v", a, c)
		}
		v, se := a.Predict([]float64{1, 4})
		if !near(v, a.Coef[0]+4*a.Coef[1]) || !near(se*se, a.Cov[0][0]+8*a.Cov[0][1]+16*a.Cov[1][1]) {
			t.Fatalf("at 4 it is %g ± %g", v, se)
		}
	})
}

// Quantiles rise with q, lie within the values, and are those of the same values in any order, counted or sorted.
func TestQuantilesAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 60).Draw(t, "values")
		q := rapid.Float64Range(0, 1).Draw(t, "q")
		more := rapid.Float64Range(q, 1).Draw(t, "more")
		sorted := slices.Sorted(slices.Values(v))
		var tally Tally
		for _, x := range v {
			tally.Add(x)
		}
		a, b, c := Quantile(slices.Clone(v), q), SortedQuantile(sorted, q), tally.Quantile(q)
		if a != b || a != c {
			t.Fatalf("%g of %v: %g, sorted %g, counted %g", q, v, a, b, c)
		}
		if a < sorted[0] || a > sorted[len(v)-1] || SortedQuantile(sorted, more) < a {
			t.Fatalf("%g of %v: %g, %g of it %g", q, v, a, more, SortedQuantile(sorted, more))
		}
	})
}

// Holm rejects a hypothesis only if it rejects all that are less likely, no more than each alone would be at the whole level, and
// at a lower level no more than at a higher.
func TestHolmIsOrdered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 0.2), 1, 12).Draw(t, "p")
		level := rapid.Float64Range(0.001, 0.2).Draw(t, "level")
		got, strict := Holm(p, level), Holm(p, level/2)
		for i := range p {
			for j := range p {
				if got[i] && !got[j] && p[j] < p[i] {
					t.Fatalf("%v: %g is rejected, %g is not", p, p[i], p[j])
				}
			}
			if got[i] && p[i] > level || strict[i] && !got[i] || !got[i] && p[i] <= level/float64(len(p)) {
				t.Fatalf("%v at %g: %v, at half of it %v", p, level, got, strict)
			}
		}
	})
}

// A block that is longer than the series is the series, turned; a mean over it is its mean. A group that is never named has none.
func TestBlockMeansSpecialCases(t *testing.T) {
	y, group := []float64{1, 2, 3, 6}, []int{0, 0, 1, -1}
	for _, m := range BlockMeans(group, y, 3, 10, 20, 3) {
		if m[0] != 1.5 || m[1] != 3 || !math.IsNaN(m[2]) {
			t.Fatalf("%v", m)
		}
	}
	if a, b := BlockMeans(group, y, 2, 2, 5, 3), BlockMeans(group, y, 2, 2, 5, 3); len(a) != 5 || !slices.EqualFunc(a, b, func(p, q []float64) bool {
		return slices.EqualFunc(p, q, func(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) })
	}) {
		t.Errorf("the same seed gives %v and %v", a, b)
	}
}

// The sum never falls below zero and forgets what was before; an alarm is where it is above H, and comes no later for a larger shift.
func TestCUSUMIsAWalk(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-4, 4), 1, 50).Draw(t, "values")
		more := rapid.Float64Range(0, 2).Draw(t, "more")
		a, b := CUSUM{K: 0.5, H: 5}, CUSUM{K: 0.5, H: 5}
		for _, x := range values {
			before := a.Sum
			alarm := a.Add(x)
			if a.Sum < 0 || a.Sum > before+max(0, x-0.5)+1e-12 || alarm != (a.Sum > 5) || alarm != a.Alarm() {
				t.Fatalf("from %g by %g to %g, alarm %v", before, x, a.Sum, alarm)
			}
			if b.Add(x + more); b.Sum < a.Sum {
				t.Fatalf("shifted by %g it is %g, not above %g", more, b.Sum, a.Sum)
			}
		}
	})
	for _, n := range []int{10, 100, 1000} { // more values, or a smaller chance, ask for a higher limit
		if !(AlarmLimit(0.5, n, 0.01) < AlarmLimit(0.5, 10*n, 0.01)) || !(AlarmLimit(0.5, n, 0.01) < AlarmLimit(0.5, n, 0.001)) || !(AlarmLimit(0.5, n, 0.01) > AlarmLimit(1, n, 0.01)) {
			t.Errorf("limits for %d values are out of order", n)
		}
	}
}
