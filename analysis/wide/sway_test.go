package wide

import (
	"math"
	"math/rand/v2"
	"testing"
)

// unread is what is read of a loop whose target nobody reads.
func (p plant) unread(seconds, rate float64, seed uint64) (tr Trace) {
	rng := rand.New(rand.NewPCG(seed, 99))
	nextAt := 0.0
	p.run(seconds, seed, func(s state) {
		if s.t < nextAt {
			return
		}
		nextAt = s.t + (0.9+0.2*rng.Float64())/rate
		tr.YT, tr.Y = append(tr.YT, s.t), append(tr.Y, 1/s.lambda-1)
		tr.UT, tr.U = append(tr.UT, s.t), append(tr.U, math.Round(s.trim*128)/128)
	})
	tr.Sways = true
	return tr
}

// A target that sways by 2.5 % and is not read makes no gain: a sound ring is told from a half-blind one, where without it
// the loop's swing is taken for its answer.
func TestSwayIsNoGain(t *testing.T) {
	without, with := 0.0, 0.0
	for seed := range uint64(6) {
		p := sound()
		p.dither, p.kp = 0.025, 0.25
		p.feed = []feed{{0.08, 20.3, 1, 34, 0.5}}
		if seed%2 == 1 {
			p.gain = 0.5
		}
		tr, near := p.unread(50, 6, seed), Shape{21.2, 1, 34.5, 1}
		e, ok := Fit(tr, near, true)
		tr.Sways = false
		o, also := Fit(tr, near, true)
		if !ok || !also {
			t.Fatal("not fitted")
		}
		t.Logf("gain %.2f, told %.2f with a sway, %.2f without", p.gain, e.G, o.G)
		with, without = with+math.Abs(e.G-p.gain), without+math.Abs(o.G-p.gain)
	}
	if with > 6*0.15 || with > without/2 {
		t.Errorf("off by %.2f in the mean; without a sway %.2f", with/6, without/6)
	}
}

// A period is found where there is one, a tenth of a second beside it at most, and none is found in noise.
func TestSeek(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, period := range []float64{0, 1.3, 2.2, 4.5} {
		var tr Trace
		for at := 0.0; at < 45; at += 0.1 + 0.1*rng.Float64() {
			y := 0.004 * rng.NormFloat64()
			if period > 0 {
				y += math.Copysign(0.01, math.Sin(2*math.Pi*at/period))
			}
			tr.YT, tr.Y, tr.UT, tr.U = append(tr.YT, at), append(tr.Y, y), append(tr.UT, at), append(tr.U, 0)
		}
		tr.Sways = true
		f := newFitter(tr, Shape{20, 1, 32, 1}, Adds, Straight)
		f.seek(f.first(true))
		if math.Abs(f.period-period) > 0.1 {
			t.Errorf("a period of %.1f s is found as %.2f", period, f.period)
		}
	}
}
