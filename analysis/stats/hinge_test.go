package stats

import (
	"math"
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
