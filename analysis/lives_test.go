package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"pushback/analysis/recent"
)

// Nernst's law by hand: V = kT/4e · ln(0.209 / p), k/e = 8.617e-5 V/K (CODATA), and lean gas of lambda L holds about
// p = 0.209 (L − 1)/(L + 0.05) of oxygen. A live cell in the gas of a leak follows trim; a dead one, of whatever level and noise, does not.
func TestLives(t *testing.T) {
	nernst := func(kelvin, lambda float64) float64 {
		return 8.617e-5 * kelvin / 4 * math.Log((lambda+0.05)/(lambda-1))
	}
	leak := func(kelvin float64) func(trim float64) float64 {
		return func(trim float64) float64 { return nernst(kelvin, 1.35/(1+trim/100)) }
	}
	for _, c := range []struct {
		name  string
		volts func(trim float64) float64 // at trim, % past its balance
		noise float64                    // V
		rate  float64                    // readings a second
		lasts float64                    // s for which the noise lasts
		alive bool
		dead  bool // and surely so
	}{
		{"a live cell at 900 K", leak(900), 0.002, 10, 0, true, false},
		{"at 700 K, on a slow bus", leak(700), 0.002, 2.5, 0, true, false},
		{"alive, with noise that lasts", leak(900), 0.012, 35, 0.4, false, false},
		{"dead at 0.08 V", func(float64) float64 { return 0.08 }, 0.002, 10, 0, false, true},
		{"dead, with noise", func(float64) float64 { return 0.15 }, 0.008, 10, 0, false, true},
		{"dead, with noise that hides all", func(float64) float64 { return 0.15 }, 0.05, 2.5, 0, false, false},
		{"alive, and where trim is back it swings", func(trim float64) float64 {
			if trim > -2 {
				return 0.45
			}
			return 0.06
		}, 0.05, 10, 3, true, false},
		{"it moves the wrong way", func(trim float64) float64 { return 0.08 - 0.001*trim }, 0.002, 10, 0, false, false},
	} {
		r := rand.New(rand.NewPCG(1, 2))
		l, rel := lives{}, release{expect: Lean, hi: 100, trimThen: 28, trimMade: 28}
		noise := 0.0
		for at := 100.0; at < 130; at += 1 / c.rate {
			keeps := 0.0
			if c.lasts > 0 {
				keeps = math.Exp(-1 / (c.rate * c.lasts))
			}
			noise = keeps*noise + math.Sqrt(1-keeps*keeps)*c.noise*r.NormFloat64()
			trim := max(0, 28-2*max(0, at-101))
			rel.trimNow = trim // mirrored: it was cut
			v := math.Round((c.volts(-trim)+noise)/0.005) * 0.005
			l.addVolts(&rel, recent.Reading{Lo: at, Hi: at, V: v})
		}
		odds, moved := l.odds()
		if (odds > 1.1) != c.alive || (odds < -1) != c.dead {
			t.Errorf("%s: log odds %.1f, moved by %.0f mV", c.name, odds, 1000*moved)
		}
	}
	for _, trimMade := range []float64{7, 28} { // hardly any cut, and nothing read once trim is back
		l, rel := lives{}, release{expect: Lean, hi: 100, trimThen: trimMade, trimNow: trimMade, trimMade: trimMade}
		for at := 100.0; at < 130; at++ {
			l.addVolts(&rel, recent.Reading{Lo: at, Hi: at, V: 0.03})
		}
		if odds, _ := l.odds(); odds != 0 {
			t.Errorf("of nothing it says %.1f", odds)
		}
	}
}

// Nernst's law at 900 K: gas of λ 1.1 is 0.048 V, of λ 1.5 0.022 V; 0.2 V is none that a leak makes.
func TestLeanLevel(t *testing.T) {
	for v, lives := range map[float64]bool{0.048: true, 0.022: true, 0.015: true, 0.13: false, 0.2: false, 0.29: false} {
		if odds := leanLevel(v); (odds > 0) != lives || odds < -4 || odds > 2 {
			t.Errorf("%.3f V: log odds %.1f", v, odds)
		}
	}
}
