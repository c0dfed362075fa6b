package measure

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The special cases that the comments promise.
func TestSpecialCases(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"propane into no air", PropaneShare(0.3, 0), inf},
		{"none into no air", PropaneShare(0, 0), nan},
		{"none", PropaneShare(0, 3), 0},
		{"no oxygen of no time", Oxygen(3, 0.1, 0), 0},
		{"taken, not brought", Oxygen(3, -0.1, 10), -0.69450},
		{"from no fuel at all", Moved(-100, 5), inf},
		{"from none to none", Moved(-100, -100), nan},
		{"unmoved", Moved(7, 7), 0},
		{"from none to a tenth", Moved(0, 10), 0.1},
		{"from a tenth back", Moved(10, 0), -1. / 11}, // by hand: 1/1.1 - 1
		{"an engine that stands", Filled(40, 0, 20, 2), 0},
		{"a vacuum", Filled(0, 800, 20, 2), 0},
	} {
		if c.got != c.want && !(math.IsNaN(c.got) && math.IsNaN(c.want)) && !(math.Abs(c.got-c.want) < 1e-9) {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
}

// What is said of propane and displacement in notes as people write them.
func TestNotes(t *testing.T) {
	for _, c := range []struct {
		text                  string
		propane, displacement float64 // 0: none
	}{
		{"propane 0.3 L/min", 0.3, 0}, {"Propane 0,5 l/min now", 0.5, 0}, {"propane 2 lpm", 2, 0}, {"propane  1.25 L/min.", 1.25, 0},
		{"propane 0.3 l/min, then propane 0.6 l/min", 0.3, 0},
		{"propane 0 L/min", 0, 0}, {"propane 31 L/min", 0, 0}, {"propane 30 L/min", 30, 0}, {"propane", 0, 0}, {"propane 3", 0, 0}, {"propane 3 L", 0, 0}, {"butane 0.3 L/min", 0, 0},
		{"displacement 2.0 L", 0, 2}, {"Displacement 1,6 litres", 0, 1.6}, {"displacement 3 liter", 0, 3}, {"displacement 21 L", 0, 0}, {"displacement 0 L", 0, 0}, {"displacement 2000", 0, 0},
		{"displacement 2 L, propane 0.4 L/min", 0.4, 2}, {"", 0, 0},
	} {
		p, said := PropaneNote(c.text)
		d, saidToo := DisplacementNote(c.text)
		if said != (c.propane > 0) || said && p != c.propane || saidToo != (c.displacement > 0) || saidToo && d != c.displacement {
			t.Errorf("%q: propane %g (%v), displacement %g (%v)", c.text, p, said, d, saidToo)
		}
	}
}

// Air and propane are amounts: twice the flow is twice the oxygen, shares add up, and a share and its flow are each other's inverse.
func TestAmounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		positive := rapid.Float64Range(0.01, 100)
		flow, share, seconds, litres := positive.Draw(t, "flow"), rapid.Float64Range(-0.5, 0.5).Draw(t, "share"), positive.Draw(t, "seconds"), rapid.Float64Range(0.01, 30).Draw(t, "litres")
		near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*(math.Abs(a)+math.Abs(b)) }
		if !near(Oxygen(2*flow, share, seconds), 2*Oxygen(flow, share, seconds)) || !near(Oxygen(flow, share, seconds/2), Oxygen(flow, share/2, seconds)) || !near(Oxygen(flow, -share, seconds), -Oxygen(flow, share, seconds)) {
			t.Fatalf("oxygen of %g g/s, %g, %g s", flow, share, seconds)
		}
		if !near(PropaneFlow(PropaneShare(litres, flow), flow), litres) || !near(PropaneShare(2*litres, 2*flow), PropaneShare(litres, flow)) {
			t.Fatalf("propane of %g L/min into %g g/s", litres, flow)
		}
		a, b, c := rapid.Float64Range(-40, 40).Draw(t, "a"), rapid.Float64Range(-40, 40).Draw(t, "b"), rapid.Float64Range(-40, 40).Draw(t, "c")
		if got, want := (1+Moved(a, b))*(1+Moved(b, c)), 1+Moved(a, c); math.Abs(got-want) > 1e-9 {
			t.Fatalf("from %g by %g to %g: %g, at once %g", a, b, c, got, want)
		}
		kPa, rpm, litre := rapid.Float64Range(20, 110).Draw(t, "kPa"), rapid.Float64Range(600, 6000).Draw(t, "rpm"), rapid.Float64Range(0.5, 8).Draw(t, "displacement")
		if !near(Filled(kPa, rpm, 20, litre), Filled(kPa/2, rpm*2, 20, litre)) || Filled(kPa, rpm, 40, litre) >= Filled(kPa, rpm, 20, litre) {
			t.Fatalf("%g kPa, %g rpm, %g L", kPa, rpm, litre)
		}
	})
}

// A small torch at idle brings a twentieth of the fuel.
func ExamplePropaneShare() {
	fmt.Printf("%.1f %%\n", 100*PropaneShare(0.3, 2.5))
	// Output: 5.7 %
}

// Trim of a quarter more for 20 s at idle, which empties any catalyst.
func ExampleOxygen() {
	fmt.Printf("%.1f g\n", Oxygen(2.5, 0.25, 20))
	// Output: 2.9 g
}

// Two litres at idle, at a third of an atmosphere.
func ExampleFilled() {
	fmt.Printf("%.1f g/s\n", Filled(33, 800, 40, 2))
	// Output: 4.9 g/s
}

func ExamplePropaneNote() {
	litres, said := PropaneNote("propane 0,3 L/min, hose off")
	fmt.Println(litres, said)
	// Output: 0.3 true
}
