package wide

import (
	"math"
	"testing"
)

// TestStructureOfSAE970613: at each operating point the ratio answers fuel that is moved on purpose as a gain behind a dead time and one
// lag, found by least squares. Of that paper (1997) the structure alone is taken, from memory of its abstract; its figures are not. A
// search over a grid, written here, finds the plant's three figures from steps of the commanded fuel, and the program's model finds the same.
func TestStructureOfSAE970613(t *testing.T) {
	for _, at := range []struct{ gain, delay, tau float64 }{{1, 0.6, 0.15}, {1, 0.35, 0.1}, {0.9, 0.2, 0.08}, {0.5, 0.35, 0.1}, {1, 0.35, 0.5}} {
		p := sound()
		p.gain, p.delay, p.tauRich, p.tauLn, p.frozen, p.dither = at.gain, at.delay, at.tau, at.tau, true, 0.03
		tr := p.trace(40, 20, 3)
		if g, d, tau := byGrid(tr); math.Abs(g-at.gain) > 0.06 || math.Abs(d-at.delay) > 0.06 || math.Abs(tau-at.tau) > 0.06+0.1*at.tau {
			t.Errorf("%+v: by the grid %.2f, %.2f s, %.2f s", at, g, d, tau)
		}
		f := newFitter(tr, Shape{20, 1, 60, 1}, Adds, Straight) // nothing is fed, and it does not end
		f.tint(Hue{0.5, 1})
		best := f.improve(f.start(), 12, -1)
		if g, d, tau := best.g, best.v[atDelay], math.Exp(best.v[atTau]); math.Abs(g-at.gain) > 0.08 || math.Abs(d-at.delay) > 0.06 || math.Abs(tau-at.tau) > 0.06+0.1*at.tau || math.Abs(best.p) > 0.01 {
			t.Errorf("%+v: by the model %.2f, %.2f s, %.2f s, fed %.3f", at, g, d, tau, best.p)
		}
	}
}

// byGrid is the least sum of squares of y − g·u(t − d; tau) − c over a grid of d and tau.
func byGrid(tr Trace) (g, d, tau float64) {
	least := math.Inf(1)
	for lag := 0.02; lag < 0.8; lag *= 1.2 {
		for late := 0.05; late < 1; late += 0.025 {
			var n, su, sy, suu, suy, syy, k float64
			x, i := tr.U[0], 0
			for m, t := range tr.YT {
				for ; i+1 < len(tr.UT) && tr.UT[i+1] <= t-late; i++ { // held between two readings
					x += (tr.U[i] - x) * (1 - math.Exp(-(tr.UT[i+1]-tr.UT[i])/lag))
				}
				if u := tr.U[i] + (x-tr.U[i])*math.Exp(-max(0, t-late-tr.UT[i])/lag); t > 3 {
					n, su, sy, suu, suy, syy = n+1, su+u, sy+tr.Y[m], suu+u*u, suy+u*tr.Y[m], syy+tr.Y[m]*tr.Y[m]
				}
			}
			k = (suy - su*sy/n) / (suu - su*su/n)
			if s := syy - sy*sy/n - k*(suy-su*sy/n); s < least {
				least, g, d, tau = s, k, late, lag
			}
		}
	}
	return g, d, tau
}
