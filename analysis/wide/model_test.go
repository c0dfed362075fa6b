package wide

import (
	"math"
	"testing"
)

// TestFit: what the estimate makes of loops whose gain and lag are known.
func TestFit(t *testing.T) {
	for _, c := range []struct {
		name     string
		edit     func(*plant)
		gain     float64
		slow     bool
		off, lag float64 // how far the gain may be off; the least lag told
	}{
		{"sound", func(*plant) {}, 1, false, 0.15, 0},
		{"half blind", func(p *plant) { p.gain = 0.5 }, 0.5, false, 0.1, 0},
		{"not delivered", func(p *plant) { p.deliver = 0 }, 0, false, 0.05, 0},
		{"slow", func(p *plant) { p.tauRich, p.tauLn = 0.6, 0.6 }, 1, true, 0.2, 0.25},
	} {
		for _, rate := range []float64{3, 5, 10} {
			if testing.Short() && rate != 5 {
				continue
			}
			for seed := range uint64(3) {
				p := sound()
				c.edit(&p)
				p.feed = []feed{{0.07, 20.3 + float64(seed)*0.07, 1 + float64(seed), 34, 0.5}}
				e, ok := Fit(p.trace(50, rate, seed), Shape{21.5, 1, 34.5, 1}, false)
				if !ok {
					t.Fatal("not fitted")
				}
				if math.Abs(e.G-c.gain) > c.off {
					t.Errorf("%s at %.0f/s, seed %d: gain %.2f, truly %.2f", c.name, rate, seed, e.G, c.gain)
				}
				if tau := p.tauRich; c.gain > 0 && (e.TauLow > tau || e.TauHigh < tau || e.DelayLow > p.delay || e.DelayHigh < p.delay) {
					t.Errorf("%s at %.0f/s, seed %d: lag %.2f to %.2f s, delay %.2f to %.2f s", c.name, rate, seed, e.TauLow, e.TauHigh, e.DelayLow, e.DelayHigh)
				}
				if c.slow && e.TauLow < c.lag {
					t.Errorf("%s at %.0f/s, seed %d: lag %.2f to %.2f s", c.name, rate, seed, e.TauLow, e.TauHigh)
				}
				if !c.slow && c.gain > 0 && e.TauLow > 0.2 {
					t.Errorf("%s at %.0f/s, seed %d: lag %.2f s at the least", c.name, rate, seed, e.TauLow)
				}
			}
		}
	}
}

// What cannot be fitted is not.
func TestFitTooShort(t *testing.T) {
	if _, ok := Fit(Trace{YT: []float64{1}, Y: []float64{0}, UT: []float64{1}, U: []float64{0}}, Shape{}, false); ok {
		t.Error("fitted to one reading")
	}
}

// BenchmarkFit is what a force costs when it is over, and each second until then.
func BenchmarkFit(b *testing.B) {
	p := sound()
	p.feed = []feed{{0.07, 20, 1, 34, 0.5}}
	tr := p.trace(50, 5, 1)
	for name, brief := range map[string]bool{"running": true, "over": false} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				Fit(tr, Shape{21, 1, 34.5, 1}, brief)
			}
		})
	}
}
