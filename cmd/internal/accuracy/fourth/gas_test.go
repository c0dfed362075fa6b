package fourth

import (
	"math"
	"testing"
)

// Equilibrium exhaust of CH1.87 and the Nernst equation: voltages by λ as worked out from
// JANAF's tables elsewhere; the linear ΔG of here is worth some millivolts.
func TestNernst(t *testing.T) {
	for _, c := range []struct{ lambda, kelvin, mV float64 }{
		{0.80, 900, 979}, {0.90, 900, 944}, {0.95, 900, 913}, {0.98, 900, 875}, {0.99, 900, 848}, {1.01, 900, 91}, {1.02, 900, 77}, {1.05, 900, 60}, {1.10, 900, 48},
		{0.90, 700, 1029}, {0.98, 700, 973}, {1.02, 700, 60}, {0.90, 1100, 850}, {0.98, 1100, 768}, {1.02, 1100, 95},
	} {
		if got := 1000 * nernst(c.lambda, c.kelvin); math.Abs(got-c.mV) > 12 {
			t.Errorf("λ %.2f at %.0f K: %.0f mV, published %.0f", c.lambda, c.kelvin, got, c.mV)
		}
	}
}

// A sensor maker's graph of one heated planar cell: 10 Ω at 900 °C, 35 at 750, 120 at 650;
// some kΩ at 350 to 400 °C (from memory).
func TestResistance(t *testing.T) {
	for _, c := range []struct{ celsius, lo, hi float64 }{{900, 9, 11}, {750, 30, 45}, {650, 115, 125}, {400, 2_000, 20_000}, {350, 5_000, 50_000}} {
		if r := resistance(c.celsius + 273.15); r < c.lo || r > c.hi {
			t.Errorf("%.0f °C: %.0f Ω, published %.0f to %.0f", c.celsius, r, c.lo, c.hi)
		}
	}
}
