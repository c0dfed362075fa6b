package third

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// still is a sound car at idle of which nothing but the loop moves the mixture.
func still(seed uint64) *Car {
	c := NewCar(rand.New(rand.NewPCG(seed, 1)), "", []Leg{{Until: 1e6, Load: 0.2}})
	c.Vapour, c.Hunting, c.Miss, c.Loop.LetsGo = 0, 0, 0, 0
	c.Loop.Skew, c.Loop.Dwell = 0, 0
	return c
}

func TestFunctionOfSeed(t *testing.T) {
	for seed := range uint64(4) {
		a, x := Narrow(seed)
		b, y := Narrow(seed)
		if !reflect.DeepEqual(a, b) || !reflect.DeepEqual(x, y) {
			t.Errorf("seed %d: two draws differ", seed)
		}
		if len(x) < 20 || len(a.Accepted) == 0 {
			t.Errorf("seed %d: %d records, accepted %v", seed, len(x), a.Accepted)
		}
	}
}

// Left alone a loop makes the mixture stoichiometric: fuel error × trims × air is 1 over a minute.
func TestBalanceAtRest(t *testing.T) {
	for seed := range uint64(25) {
		c := still(seed)
		phi, n := 0.0, 0
		for range int(240 / Dt) {
			c.Step(nil)
			if c.t > 120 && c.Status == 2 {
				b := c.banks[0]
				k := c.cell()
				want := (1 + b.err[k]) * (1 + b.short) * (1 + b.long[k]) * (1 + c.Extra) * c.Flow / (c.Flow + c.Leak)
				if got := c.phi(b); math.Abs(got-want) > 1e-12 {
					t.Fatalf("seed %d: φ %g is not fuel by trims by air, %g", seed, got, want)
				}
				phi, n = phi+want, n+1
			}
		}
		if phi /= float64(n); math.Abs(phi-1) > 0.012 {
			t.Errorf("seed %d, %s: φ %.4f over two minutes at rest", seed, c.Loop.Kind, phi)
		}
	}
}

// A wire held lean makes the computer add and the mixture rich, as much as the trims say; held
// rich it cuts. Of a joint of sources the voltage is Millman's.
func TestHeldWire(t *testing.T) {
	for seed := range uint64(25) {
		for _, side := range []float64{1, -1} {
			c := still(seed)
			g := &grip{V: 0.5 - 0.45*side, Ohm: 1, Open: true}
			for range int(60 / Dt) {
				c.Step(nil)
			}
			before := c.phi(c.banks[0])
			for range int(60 / Dt) {
				c.Step(g)
			}
			b := c.banks[0]
			if moved := (c.phi(b) - before) * side; moved < 0.05 {
				t.Errorf("seed %d, %s, side %g: φ moved by %.3f only in a minute", seed, c.Loop.Kind, side, moved)
			}
			if v := b.volts - c.Sensor.Return; math.Abs(v-g.V) > 0.06 {
				t.Errorf("seed %d: reads %.3f V of %.3f V held", seed, v, g.V)
			}
			if (b.emf-0.45)*side < 0.2 {
				t.Errorf("seed %d, side %g: the cell reads %.3f V at φ %.3f", seed, side, b.emf, b.mixed)
			}
		}
	}
}

// 225 per cent seconds are 0.8 g of oxygen at 1.5 g/s of air and 3.1 g at 6 g/s.
func TestOxygen(t *testing.T) {
	for _, c := range []struct{ air, want float64 }{{1.5, 0.8}, {6, 3.1}} {
		if got := -Oxygen(c.air, 1.25) * 9; math.Abs(got-c.want) > 0.05 {
			t.Errorf("%.2f g at %g g/s, want %g", got, c.air, c.want)
		}
	}
}
