package wide

import (
	"math"
	"testing"
)

// TestFall: the readings tell how what was fed came to its end, and the gain that comes of it is the loop's.
func TestFall(t *testing.T) {
	const seeds = 5
	for _, c := range []struct {
		name string
		tail float64
		want Fall
	}{{"a valve", 0, Straight}, {"a hose that empties", 1.4, Fading}} {
		p := sound()
		p.tail, p.ki, p.feed = c.tail, 0.6, []feed{{0.08, 20, 2, 33, 2.5}}
		var gains []float64
		odds := 0.0
		for seed := range uint64(seeds) {
			tr, near := p.trace(50, 8, seed), Shape{20.8, 1, 34, 1}
			e, _ := Fit(tr, near, false)
			gains = append(gains, e.G)
			odds += fit(newFitter(tr, near, Multiplies, c.want), true).LogLik - fit(newFitter(tr, near, Multiplies, !c.want), true).LogLik
		}
		if g := median(gains); odds < 5 || math.Abs(g-1) > 0.15 {
			t.Errorf("%s: log odds %.1f of its end, gain %.2f", c.name, odds, g)
		}
	}
}

// TestGone: what has left is all in the end, nothing before, never falls, and goes over into a straight lag where the tail is short.
func TestGone(t *testing.T) {
	for _, over := range []float64{0.15, 0.1, 0.1004, 1, 6} {
		const tau = 0.1
		if gone(0, over, tau) != 0 || gone(-1, over, tau) != 0 || 1-gone(60*over, over, tau) > 1e-6 {
			t.Errorf("over %g s: %g at once, %g in the end", over, gone(0, over, tau), gone(60*over, over, tau))
		}
		last := 0.0
		for x := 0.0; x < 10; x += 0.05 {
			v := gone(x, over, tau)
			// By quadrature: the tail's own rate through the lag.
			sum, n := 0.0, 2000.0
			for k := 0.5; k < n; k++ {
				s := x * k / n
				sum += math.Exp(-s/over) / over * (1 - math.Exp(-(x-s)/tau)) * x / n
			}
			if v < last-1e-12 || math.Abs(v-sum) > 2e-3 {
				t.Fatalf("over %g s, after %g s: %g, before %g, by quadrature %g", over, x, v, last, sum)
			}
			last = v
		}
	}
}
