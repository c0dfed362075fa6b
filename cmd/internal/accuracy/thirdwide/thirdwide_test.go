package thirdwide

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"pushback/cmd/internal/accuracy/third"
)

// still is a car at idle of which nothing but loop and force moves the mixture.
func still(seed uint64, fault string) *Car {
	c := NewCar(rand.New(rand.NewPCG(seed, 2)), fault, []third.Leg{{Until: 1e6, Load: 0.2}})
	c.Vapour, c.Hunting, c.Ring.Metered = 0, 0, false
	c.Ring.RearRate = 0
	return c
}

func TestFunctionOfSeed(t *testing.T) {
	for seed := range uint64(4) {
		a, x := Wide(seed)
		b, y := Wide(seed)
		if !reflect.DeepEqual(a, b) || !reflect.DeepEqual(x, y) {
			t.Errorf("seed %d: two draws differ", seed)
		}
		if len(x) < 20 || len(a.Accepted) == 0 {
			t.Errorf("seed %d: %d records, accepted %v", seed, len(x), a.Accepted)
		}
	}
}

// run runs the car and returns the mean φ in the cylinders, λ told, and φ as it were without trims and without what is fed.
func run(c *Car, f force, wait, over float64) (phi, lambda, bare float64) {
	for range int(wait / dt) {
		c.Step(f)
	}
	n := over / dt
	for range int(n) {
		c.Step(f)
		b := c.banks[0]
		p := c.phi(b, f)
		phi, lambda = phi+p/n, lambda+c.lambda(b)/n
		bare += p / (1 + b.short) / (1 + b.long) / (1 + f.Propane*c.idle/c.Flow) / n
	}
	return phi, lambda, bare
}

// At rest trims × fuel is 1, whatever the engine's own error is, and the sensor tells λ = 1/φ; a
// skewed gain does not show there, an offset moves the mixture and not the reading.
func TestBalanceAtRest(t *testing.T) {
	for seed := range uint64(12) {
		for _, fault := range []string{"", "gain", "offset"} {
			c := still(seed, fault)
			phi, lambda, _ := run(c, force{}, 120, 60)
			want := 1 - c.Ring.Offset/c.Ring.Gain
			if math.Abs(phi-want) > 0.01 || math.Abs(lambda-1) > 0.01 {
				t.Errorf("seed %d %s: φ %.4f, want %.4f; λ told %.4f", seed, fault, phi, want, lambda)
			}
		}
	}
}

// A steady feed is taken out again: λ comes back to 1, and trims have gone by as much as it feeds. With
// fuel that follows no command λ stays away by it.
func TestFeed(t *testing.T) {
	for seed := range uint64(12) {
		feed := force{Propane: 0.08}
		c := still(seed, "")
		_, _, before := run(c, force{}, 120, 60)
		phi, lambda, during := run(c, feed, 60, 60)
		if math.Abs(phi-1) > 0.01 || math.Abs(lambda-1) > 0.01 || math.Abs(during/before-1) > 0.02 {
			t.Errorf("seed %d: φ %.4f, λ told %.4f; φ without trims and feed changed by %.3f", seed, phi, lambda, during/before-1)
		}
		c = still(seed, "undelivered")
		rest, _, _ := run(c, force{}, 120, 60)
		fed, told, _ := run(c, feed, 60, 60)
		if fed/rest-1 < 0.04 || fed/rest-1 > 0.085 || math.Abs(1/told-1-c.Ring.Gain*(fed-1)) > 0.01 {
			t.Errorf("seed %d: undelivered, φ rose by %.3f, λ told is %.4f", seed, fed/rest-1, told)
		}
	}
}

// The table of pump current is held to its own points.
func TestCurrent(t *testing.T) {
	for lambda, want := range map[float64]float64{0.80: -0.927, 0.97: -0.106, 1.003: 0, 1.18: 0.329, 1.70: 0.938} {
		if got := current(lambda); math.Abs(got-want) > 1e-6 {
			t.Errorf("%.4f mA at λ %g, want %g", got, lambda, want)
		}
	}
}
