package unseenwide

import (
	"math"
	"math/rand/v2"
)

// dice are chances of one kind; kinds are kept apart so that a car and its twin meet the same ones.
type dice struct{ *rand.Rand }

func roll(seed, kind uint64) dice { return dice{rand.New(rand.NewPCG(seed, 0x77a1c5+kind))} }

func (d dice) span(a, b float64) float64 { return a + (b-a)*d.Float64() }

// scale is evenly spread by its logarithm.
func (d dice) scale(a, b float64) float64 { return a * math.Pow(b/a, d.Float64()) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

func (d dice) sign() float64 {
	if d.chance(0.5) {
		return -1
	}
	return 1
}

func clamp(x, lo, hi float64) float64 { return min(max(x, lo), hi) }

// toward moves x by a first-order lag.
func toward(x, to, dt, tau float64) float64 {
	if tau <= dt {
		return to
	}
	return x + (to-x)*dt/tau
}

// wander is an Ornstein-Uhlenbeck process of standard deviation 1 and time constant tau.
func wander(x, dt, tau, gauss float64) float64 {
	a := math.Exp(-dt / tau)
	return a*x + math.Sqrt(1-a*a)*gauss
}
