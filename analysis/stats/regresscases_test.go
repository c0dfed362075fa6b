package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// constant is the design of a mean.
func constant(n int) [][]float64 {
	x := make([][]float64, n)
	for i := range x {
		x[i] = []float64{1}
	}
	return x
}

// The error of a mean after Newey and West (1987), by hand: 1, 2, 3, 6 lie -2, -1, 0 and 3 from their mean, squares 14, neighbours
// 2 + 0 + 0, two apart 0 - 3, three apart -6. Bartlett's weights are 1/2 at lag 1; 2/3 and 1/3 at lag 2; 3/4, 1/2 and 1/4 at lag 3.
func TestNeweyWestByHand(t *testing.T) {
	y := []float64{1, 2, 3, 6}
	for _, c := range []struct {
		lag  int
		want float64 // variance times 16
	}{{0, 14}, {1, 14 + 2*2./2}, {2, 14 + 2*(2.*2/3-3./3)}, {3, 14 + 2*(2*3./4-3./2-6./4)}, {50, 14 + 2*(2*50./51-3*49./51-6*48./51)}} {
		f, err := ols(constant(4), y, c.lag)
		if err != nil || math.Abs(f.Coef[0]-3) > 1e-12 || math.Abs(f.Cov[0][0]*16-c.want) > 1e-9 {
			t.Errorf("lag %d: mean %g, variance %g/16, want %g/16 (%v)", c.lag, f.Coef[0], 16*f.Cov[0][0], c.want, err)
		}
		if want := max(4/float64(c.lag+1)-1, 1); f.DF != want {
			t.Errorf("lag %d: %g degrees of freedom, want %g", c.lag, f.DF, want)
		}
	}
}

// Huber's estimate is least squares where nothing lies out: deviations of one size have the scale 1/0.6745, and 1.345 of that is more
// than any.
func TestHuberWithoutOutliers(t *testing.T) {
	x, y := [][]float64{}, []float64{}
	for i := range 24 {
		x = append(x, []float64{1, float64(i)})
		y = append(y, 5-0.3*float64(i)+[]float64{1, -1, -1, 1}[i%4])
	}
	for lag := range 5 {
		h, err1 := Huber(x, y, lag)
		o, err2 := ols(x, y, lag)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		for i := range h.Coef {
			if math.Abs(h.Coef[i]-o.Coef[i]) > 1e-9 || math.Abs(h.SE(i)-o.SE(i)) > 1e-9 {
				t.Errorf("lag %d: %+v, by least squares %+v", lag, h, o)
			}
		}
	}
}

// How far out a wild reading lies does not matter, only on which side; least squares goes after it. By Huber's
// score each wild one weighs as a good one at 1.345 scales, so a share moves the fit by some two to three times itself, in scales.
func TestHuberIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		n, wild := 60, rapid.IntRange(1, 6).Draw(t, "wild")
		up := float64(2*rapid.IntRange(0, 1).Draw(t, "up") - 1)
		var x [][]float64
		var near, far, clean []float64
		for i := range n {
			v := rng.NormFloat64()
			x, clean = append(x, []float64{1}), append(clean, v)
			if i < wild {
				near, far = append(near, up*1e3), append(far, up*1e9)
				continue
			}
			near, far = append(near, v), append(far, v)
		}
		a, err1 := Huber(x, near, 0)
		b, err2 := Huber(x, far, 0)
		c, err3 := Huber(x, clean, 0)
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		if math.Abs(a.Coef[0]-b.Coef[0]) > 1e-6 || math.Abs(a.Scale-b.Scale) > 1e-6 || math.Abs(a.SE(0)-b.SE(0)) > 1e-6 {
			t.Fatalf("%d at 1e3: %+v, at 1e9: %+v", wild, a, b)
		}
		// From one bend to the other a reading moves the middle by 2·1.345/(2Φ(1.345)−1) = 3.28 of its share (the gross-error sensitivity of
		// P. J. Huber, Robust Statistics, 1981), and what is wild takes a share of those that hold it back.
		share := float64(wild) / float64(n)
		if d := up * (a.Coef[0] - c.Coef[0]); d < -0.1 || d > 3.28*share/(1-2*share)*a.Scale+0.1 {
			t.Fatalf("%d of %d wild readings move it by %g, scale %g", wild, n, d, a.Scale)
		}
	})
}

// In no lag the order of readings says nothing, and each read twice is the same fit with half the variance.
func TestOrderAndCopies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4))
		var x, mixed, twice [][]float64
		var y, mixedY, twiceY []float64
		for range 41 {
			v := 10 * rng.Float64()
			x, y = append(x, []float64{1, v}), append(y, 2+v+rng.NormFloat64())
		}
		y[5] -= 30
		for _, i := range rng.Perm(len(y)) {
			mixed, mixedY = append(mixed, x[i]), append(mixedY, y[i])
			twice, twiceY = append(twice, x[i], x[i]), append(twiceY, y[i], y[i])
		}
		a, _ := Huber(x, y, 0)
		b, _ := Huber(mixed, mixedY, 0)
		c, _ := Huber(twice, twiceY, 0)
		for i := range 2 {
			if math.Abs(a.Coef[i]-b.Coef[i]) > 1e-7 || math.Abs(a.SE(i)-b.SE(i)) > 1e-7 {
				t.Fatalf("%+v, in another order %+v", a, b)
			}
			if math.Abs(a.Coef[i]-c.Coef[i]) > 1e-7 || math.Abs(a.SE(i)/math.Sqrt2-c.SE(i)) > 1e-7 {
				t.Fatalf("%+v, each twice %+v", a, c)
			}
		}
	})
}

// One reading that is not a number, in whatever place, leaves no fit rather than one that says NaN.
func TestFitOfWhatIsNoNumber(t *testing.T) {
	for name, v := range map[string]float64{"NaN": math.NaN(), "+Inf": math.Inf(1), "-Inf": math.Inf(-1)} {
		for _, place := range []int{0, 7, 19} {
			for _, in := range []string{"y", "x"} {
				x, y := [][]float64{}, []float64{}
				for i := range 20 {
					x, y = append(x, []float64{1, float64(i)}), append(y, float64(i%3))
				}
				if in == "y" {
					y[place] = v
				} else {
					x[place][1] = v
				}
				if f, err := Huber(x, y, 2); !errors.Is(err, ErrSingular) {
					t.Errorf("%s in %s at %d: %+v, %v", name, in, place, f, err)
				}
			}
		}
	}
}

// A matrix times its inverse is one, of whatever sizes its columns are; by hand, the inverse of (4 2; 2 3) is (3 -2; -2 4)/8. What
// has none is singular.
func TestInvert(t *testing.T) {
	got, err := invert([][]float64{{4, 2}, {2, 3}})
	if err != nil || !slices.EqualFunc(slices.Concat(got...), []float64{3. / 8, -2. / 8, -2. / 8, 4. / 8}, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }) {
		t.Errorf("%v, %v", got, err)
	}
	for name, m := range map[string][][]float64{"zero": {{0}}, "one row twice": {{1, 1}, {1, 1}}, "below zero": {{-1, 0}, {0, 1}}, "no number": {{math.NaN()}},
		"the sum of two": {{1, 0, 1}, {0, 1, 1}, {1, 1, 2}}} {
		if got, err := invert(m); !errors.Is(err, ErrSingular) {
			t.Errorf("%s has the inverse %v, %v", name, got, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "n")
		size := rapid.Float64Range(1e-4, 1e4).Draw(t, "size")
		root, m := square(n), square(n)
		for i := range n {
			for j := range n {
				root[i][j] = rapid.Float64Range(-1, 1).Draw(t, "root")
			}
		}
		scale := func(i int) float64 { return math.Pow(size, float64(i)/4) }
		for i := range n {
			for j := range n {
				for k := range n {
					m[i][j] += root[i][k] * root[j][k] * scale(i) * scale(j)
				}
			}
			m[i][i] += scale(i) * scale(i)
		}
		inv, err := invert(m)
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range multiply(m, inv) {
			for j, v := range row {
				want := 0.0
				if i == j {
					want = 1
				}
				if math.Abs(v-want)*scale(j)/scale(i) > 1e-8 {
					t.Fatalf("%v times its inverse: %g in row %d, column %d", m, v, i, j)
				}
			}
		}
	})
}

// Two-sided 5 % points of Student's t: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2.
func TestStudentAgainstTheHandbook(t *testing.T) {
	for df, want := range map[float64]float64{1: 12.706, 2: 4.303, 3: 3.182, 5: 2.571, 10: 2.228, 20: 2.086, 30: 2.042, 60: 2.000, 100: 1.984} {
		if got := StudentQuantile(0.975, df); math.Abs(got-want) > 6e-4 {
			t.Errorf("%g degrees: %.4f, in the table %.3f", df, got, want)
		}
		if p := StudentP(want, df); math.Abs(p-0.05) > 5e-5 {
			t.Errorf("%g degrees: t of %g has p %.5f", df, want, p)
		}
		if f := (Fit{DF: df}); math.Abs(f.T(0.95)-want) > 6e-4 {
			t.Errorf("%g degrees: an interval has the factor %g", df, f.T(0.95))
		}
	}
	if got, want := (Fit{DF: 0.2}).T(0.95), 12.706; math.Abs(got-want) > 1e-3 { // never fewer than one
		t.Errorf("with less than one degree %g", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		v, df := rapid.Float64Range(0, 20).Draw(t, "t"), rapid.Float64Range(1, 200).Draw(t, "df")
		p := StudentP(v, df)
		if p < 0 || p > 1+1e-9 || StudentP(-v, df) != p || StudentP(v+0.1, df) > p+1e-9 || StudentP(v, df+5) > p+1e-6 {
			t.Fatalf("t %g with %g degrees: p %g; %g of -t, %g of more, %g with more degrees", v, df, p, StudentP(-v, df), StudentP(v+0.1, df), StudentP(v, df+5))
		}
	})
}

// Resampled means lie among the readings, go with them when they are shifted and stretched, and need no readings and no block at all.
func TestBlockMeansMoveWithTheirData(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := rapid.SliceOfN(rapid.Float64Range(-10, 10), 0, 30).Draw(t, "y")
		group := make([]int, len(y))
		moved := slices.Clone(y)
		shift, scale := rapid.Float64Range(-50, 50).Draw(t, "shift"), rapid.Float64Range(0.1, 9).Draw(t, "scale")
		least, most := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
		for i := range y {
			moved[i] = shift + scale*y[i]
			if group[i] = rapid.IntRange(-1, 1).Draw(t, "group"); group[i] >= 0 {
				least[group[i]], most[group[i]] = min(least[group[i]], y[i]), max(most[group[i]], y[i])
			}
		}
		block := rapid.IntRange(-2, 40).Draw(t, "block")
		a, b := BlockMeans(group, y, 2, block, 6, 7), BlockMeans(group, moved, 2, block, 6, 7)
		if len(a) != 6 || len(BlockMeans(group, y, 2, block, 0, 7)) != 0 {
			t.Fatalf("%d resamples", len(a))
		}
		for i := range a {
			for g, m := range a[i] {
				if math.IsNaN(m) {
					if block >= len(y) && !math.IsInf(least[g], 1) || !math.IsNaN(b[i][g]) {
						t.Fatalf("block %d: no mean of group %d of %v", block, g, group)
					}
					continue
				}
				if m < least[g]-1e-9 || m > most[g]+1e-9 || math.Abs(b[i][g]-shift-scale*m) > 1e-7 {
					t.Fatalf("block %d: a mean of %g and, moved, %g, of readings from %g to %g", block, m, b[i][g], least[g], most[g])
				}
			}
		}
	})
}

// What resampled means spread by, known beforehand: singly it is the deviation of the readings over √n; where each is read k times in a
// row, blocks of k and more keep that the n readings are only n/k, and single ones do not (√k times too small).
func TestBlockMeansSpread(t *testing.T) {
	const n, k, times = 400, 8, 3000
	rng := rand.New(rand.NewPCG(5, 6))
	var y []float64
	for range n / k {
		v := rng.NormFloat64()
		for range k {
			y = append(y, v)
		}
	}
	mean, ss := 0.0, 0.0
	for _, v := range y {
		mean += v / n
	}
	for _, v := range y {
		ss += (v - mean) * (v - mean) / n
	}
	for _, c := range []struct {
		block  int
		want   float64
		within float64 // a share
	}{{1, math.Sqrt(ss / n), 0.06}, {10 * k, math.Sqrt(ss / (n / k)), 0.35}} {
		var means []float64
		for _, m := range BlockMeans(make([]int, n), y, 1, c.block, times, 2) {
			means = append(means, m[0])
		}
		if got := SD(means); math.Abs(got/c.want-1) > c.within {
			t.Errorf("blocks of %d: the means spread by %.4f, want %.4f", c.block, got, c.want)
		}
	}
}
