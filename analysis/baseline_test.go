package analysis

import (
	"math"
	"testing"
)

// R 4.2.2: pgamma(t, shape=k, rate=k/1.3, lower.tail=FALSE). The mean is known here for
// certain, so that only the law is compared.
func TestChanceOfAStay(t *testing.T) {
	for _, c := range []struct {
		shape         int
		seconds, want float64
	}{
		{1, 1, 0.46336937}, {1, 3, 0.09949058}, {1, 6, 0.0098983756},
		{2, 1, 0.54503605}, {2, 3, 0.055583186}, {2, 6, 0.0010023887},
		{4, 1, 0.6300035}, {4, 3, 0.018020297}, {4, 6, 1.1889929e-05},
		{8, 1, 0.72254114}, {8, 3, 0.0021499835}, {8, 6, 2.095661e-09},
	} {
		s := stays{n: math.MaxInt32, mean: 1.3, shape: c.shape}
		if got := s.chance(c.seconds); math.Abs(got/c.want-1) > 1e-3 {
			t.Errorf("shape %d, %g s: %.8g, R has %.8g", c.shape, c.seconds, got, c.want)
		}
		if back := s.lasting(c.want); math.Abs(back-c.seconds) > 0.01 {
			t.Errorf("shape %d: the stay with the chance %.3g lasts %.3f s, want %g", c.shape, c.want, back, c.seconds)
		}
	}
}

// What is known from a few stays must not promise more than what is known from many, and
// stays that look alike make the law regular only when there are enough of them.
func TestStaysOfAFew(t *testing.T) {
	few := staysOf([]float64{1, 1.1, 0.9})
	var v []float64
	for range 20 {
		v = append(v, 1, 1.1, 0.9)
	}
	many := staysOf(v)
	if few.shape != 1 || many.shape < 4 {
		t.Errorf("shape %d of 3 stays, %d of 60", few.shape, many.shape)
	}
	for _, secs := range []float64{2, 4, 8} {
		if !(few.chance(secs) > many.chance(secs)) {
			t.Errorf("%g s: chance %.3g by 3 stays, %.3g by 60", secs, few.chance(secs), many.chance(secs))
		}
	}
	if c := (stays{}).chance(1); c != 0 {
		t.Errorf("a side never seen has the chance %g", c)
	}
}

// The evenness of stays against the divergence of an Erlang law from an exponential one of its mean, integrated.
func TestEvenStays(t *testing.T) {
	for k := 1; k <= 8; k++ {
		shape, want := float64(k), 0.0
		lg, _ := math.Lgamma(shape)
		const dx = 1e-3
		for x := dx / 2; x < 20; x += dx { // in units of the mean
			erlang := shape*math.Log(shape) + (shape-1)*math.Log(x) - shape*x - lg
			want += dx * math.Exp(erlang) * (erlang + x)
		}
		want = max(0, 10*want-math.Log(10)/2) // what fitting the shape to ten of them costs
		if got := (stays{n: 10, shape: k}).evenly(); math.Abs(got-want) > 0.01 {
			t.Errorf("shape %d: %.4f, integrated %.4f", k, got, want)
		}
	}
	if got := staysOf(nil).evenly(); got != 0 {
		t.Errorf("no stays are even by %g", got)
	}
}
