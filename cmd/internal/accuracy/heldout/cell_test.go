package heldout

import (
	"math"
	"testing"
)

// Equilibrium exhaust of CH1.87 at 700 to 1100 K as computed by others with JANAF's data, mV.
func TestEMF(t *testing.T) {
	for _, c := range []struct {
		kelvin, lambda, want float64
	}{
		{700, 0.90, 1029}, {700, 0.98, 973}, {700, 1.02, 60}, {700, 1.10, 37},
		{900, 0.80, 979}, {900, 0.90, 944}, {900, 0.95, 913}, {900, 0.98, 875}, {900, 0.99, 848}, {900, 1.01, 91}, {900, 1.02, 77}, {900, 1.05, 60}, {900, 1.10, 48},
		{1000, 0.90, 898}, {1000, 0.97, 841}, {1000, 0.98, 822}, {1000, 1.02, 86}, {1000, 1.10, 53},
		{1100, 0.90, 850}, {1100, 0.98, 768}, {1100, 1.02, 95}, {1100, 1.10, 58},
	} {
		if got := 1000 * emf(1/c.lambda, c.kelvin); math.Abs(got-c.want) > 0.02*c.want+3 {
			t.Errorf("%v K, λ %v: %.0f mV, published %v", c.kelvin, c.lambda, got, c.want)
		}
	}
	// A maker's graph: 0.78 V is 13.23 to 1 at 900 °C (λ 0.90) and 14.41 at 650 °C (0.98): hotter is lower.
	if hot, warm := emf(1/0.92, 1173), emf(1/0.92, 923); hot > 0.82 || warm < hot+0.07 {
		t.Errorf("λ 0.92 gives %.3f V at 1173 K, %.3f at 923 K", hot, warm)
	}
}

func TestCellTable(t *testing.T) {
	var c cell
	c.heat(900)
	for phi := 0.0; phi < 1.3; phi += 0.00137 {
		if got, want := c.at(phi), emf(phi, 900); math.Abs(got-want) > 0.02 && math.Abs(phi-1) > 0.001 {
			t.Errorf("φ %.4f: %.4f V by the table, %.4f by the law", phi, got, want)
		}
	}
}

// A heated cell of one maker, as quoted in 1997: 10 Ω at 900 °C, 35 at 750, 120 at 650; from memory: kΩ at 350 to 400 °C, MΩ cold.
func TestOhms(t *testing.T) {
	for _, c := range []struct{ celsius, lo, hi float64 }{{900, 9, 11}, {750, 25, 45}, {650, 119, 121}, {375, 3e3, 3e4}, {200, 1e6, 1e8}} {
		if got := ohms(c.celsius + 273.15); got < c.lo || got > c.hi {
			t.Errorf("%v °C: %.0f Ω, want %v to %v", c.celsius, got, c.lo, c.hi)
		}
	}
}

// Loaded readings by Ohm's law (bias 0.45 V behind 1 MΩ, cell of 0.9 and 0.1 V; 0.45 V in circuit and 0.32 on a meter of
// 10 MΩ in one maker's workshop text), and a dry cell's dividers.
func TestInput(t *testing.T) {
	in := input{bias: 0.45, ohm: 1e6, top: 1.275}
	for _, c := range []struct {
		what             string
		own, inner, want float64
		joined           bool
		hold             *contact
	}{
		{"10 kΩ", 0.9, 10e3, 0.896, true, nil}, {"100 kΩ", 0.9, 100e3, 0.859, true, nil}, {"1 MΩ", 0.1, 1e6, 0.275, true, nil},
		{"10 MΩ", 0.9, 10e6, 0.491, true, nil}, {"open", 0.9, 100, 0.45, false, nil},
		{"600 Ω into the input alone", 0.9, 100, 0.90, false, &contact{0.9, 600}}, {"600 Ω onto a cell of 100 Ω", 0.1, 100, 0.21, true, &contact{0.9, 600}},
		{"60 Ω onto a cell of 100 Ω", 0.1, 100, 0.60, true, &contact{0.9, 60}}, {"jumper", 0.9, 100, 0.01, true, &contact{0, 1}},
	} {
		if got := in.volts(c.own, c.inner, c.joined, c.hold); math.Abs(got-c.want) > 0.005 {
			t.Errorf("%s: %.3f V, want %.3f", c.what, got, c.want)
		}
	}
}

// Published transitions of sound sensors from 0.3 to 0.6 V: 28 to 36 ms on one car, under 94 and 125 ms on
// another's limits.
func TestTransition(t *testing.T) {
	for seed := range uint64(60) {
		c := drawCell(newDice(seed, 0))
		for range 400 {
			c.step(0.98, 0.002)
		}
		up, from := 0.0, -1.0
		for i := range 400 {
			v := c.step(1.04, 0.002)
			if v > 0.3 && from < 0 {
				from = float64(i) * 0.002
			}
			if v > 0.6 && up == 0 {
				up = float64(i)*0.002 - from
			}
		}
		if up > 0.094 || c.volts < 0.7 {
			t.Errorf("seed %d: 0.3 to 0.6 V takes %.0f ms, then %.2f V", seed, 1000*up, c.volts)
		}
	}
}
