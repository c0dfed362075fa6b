package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// R's package segmented fits the same readings (testdata/hinge.R). Its onset is found by another
// search and its interval from a standard error, so that the two agree, but not to the last digit.
func TestHingeAgainstR(t *testing.T) {
	readings := table(t, "hinge.csv")
	fits := table(t, "hinge_fit.csv")
	for _, f := range fits {
		var at, y []float64
		for _, r := range readings {
			if r[0] == f[0] {
				at, y = append(at, r[1]), append(y, r[2])
			}
		}
		psi, se, level, slope := f[1], f[2], f[3], f[4]
		h, ok := FitHinge(at, y, psi-2, psi+2, 0.95, 0)
		if !ok {
			t.Fatalf("case %g: no fit", f[0])
		}
		if math.Abs(h.Onset-psi) > 0.02+0.1*se {
			t.Errorf("case %g: onset %.3f, R has %.3f", f[0], h.Onset, psi)
		}
		near(t, "level", h.Level, level, 0.02)
		near(t, "slope", h.Slope, slope, 0.01)
		// 95 % is two standard errors to each side where the sums of squares are regular.
		if w := (h.High - h.Low) / (4 * se); w < 0.6 || w > 1.6 {
			t.Errorf("case %g: the interval %.2f to %.2f is %.2f of R's", f[0], h.Low, h.High, w)
		}
		if h.Low > h.Onset || h.High < h.Onset {
			t.Errorf("case %g: %.3f is not in %.3f to %.3f", f[0], h.Onset, h.Low, h.High)
		}
	}
	if _, ok := FitHinge([]float64{1, 2, 3}, []float64{1, 2, 3}, 0, 3, 0.95, 0); ok {
		t.Error("three readings gave a fit")
	}
}

// Errors of which each leans as the one before (a first-order autoregression of 0.7, as a loop's hunting read
// twice in its period): the interval must hold the onset nearly as often as it says (0.91; as if they stood
// alone 0.54).
func TestHingeOfErrorsThatLean(t *testing.T) {
	const rho, trials, n = 0.7, 600, 60
	r := rand.New(rand.NewPCG(7, 7))
	held := 0
	for range trials {
		at, y := make([]float64, n), make([]float64, n)
		e := r.NormFloat64() / math.Sqrt(1-rho*rho)
		onset := 7 + r.Float64()
		for i := range at {
			at[i] = float64(i) * 0.25
			e = rho*e + r.NormFloat64()
			y[i] = e + 1.5*math.Max(0, at[i]-onset)
		}
		h, ok := FitHinge(at, y, 2, 13, 0.95, 0)
		if ok && h.Low <= onset && onset <= h.High {
			held++
		}
	}
	if share := float64(held) / trials; share < 0.9 {
		t.Errorf("the interval holds the onset in %.2f of %d, of 0.95", share, trials)
	}
}
