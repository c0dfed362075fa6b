// Package fourth draws cars, technicians and drives that the watcher was not worked out
// with at first: written from published figures by someone who had read neither the watcher
// nor obd/simcar. They gave the last figure until what they show had to be learned from;
// now they are tuned on. It yields records as an import would, and the truth of each.
//
// Units: s, g/s, g, V, Ω, K, relative excess of fuel φ = 1/λ, trims as fractions of fuel.
package fourth

import (
	"math"
	"math/rand/v2"
)

// dt is the step of time, s. The fastest lag in the model is 20 ms.
const dt = 0.01

// source is where a draw's chances come from.
type source struct{ *rand.Rand }

func newSource(seed, of uint64) source { return source{rand.New(rand.NewPCG(seed, of))} }

func (s source) between(a, b float64) float64 { return a + (b-a)*s.Float64() }

// logBetween draws evenly on a logarithmic scale.
func (s source) logBetween(a, b float64) float64 {
	return math.Exp(s.between(math.Log(a), math.Log(b)))
}

func (s source) chance(p float64) bool { return s.Float64() < p }

// pick draws one of the weighted choices.
func pick[T any](s source, from []weighted[T]) T {
	sum := 0.0
	for _, w := range from {
		sum += w.weight
	}
	x := s.Float64() * sum
	for _, w := range from {
		if x -= w.weight; x < 0 {
			return w.of
		}
	}
	return from[len(from)-1].of
}

type weighted[T any] struct {
	weight float64
	of     T
}

// lag moves y towards x as a first-order lag does in dt.
func lag(y, x, tau float64) float64 {
	if tau <= dt/4 {
		return x
	}
	return y + (x-y)*(1-math.Exp(-dt/tau))
}

func clamp(x, lo, hi float64) float64 { return min(max(x, lo), hi) }

// drifting is noise with a memory: an Ornstein-Uhlenbeck process of standard deviation sd.
type drifting struct{ x, sd, tau float64 }

func (d *drifting) step(s source) float64 {
	a := math.Exp(-dt / d.tau)
	d.x = d.x*a + d.sd*math.Sqrt(1-a*a)*s.NormFloat64()
	return d.x
}
