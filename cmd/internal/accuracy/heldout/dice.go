package heldout

import (
	"math"
	"math/rand/v2"
)

// dice are the chances of one seed. Each part of a test draws from dice of its own, so that
// a change of one part leaves the others as they are.
type dice struct{ *rand.Rand }

func newDice(seed, part uint64) dice {
	return dice{rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15*(part+1)))}
}

func (d dice) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// spread is log-uniform: each factor of two is as likely.
func (d dice) spread(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

// pick returns an index, as likely as its weight.
func (d dice) pick(weights ...float64) int {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	x := d.Float64() * sum
	for i, w := range weights {
		if x -= w; x < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// drift is an Ornstein-Uhlenbeck process: noise that lasts.
type drift struct {
	tau, sd float64 // s, and the spread at any time
	x       float64
	dt, a   float64
}

func (o *drift) step(d dice, dt float64) float64 {
	if o.sd == 0 {
		return 0
	}
	if o.dt != dt {
		o.dt, o.a = dt, math.Exp(-dt/o.tau)
	}
	o.x = o.x*o.a + o.sd*math.Sqrt(1-o.a*o.a)*d.NormFloat64()
	return o.x
}

// lag is a first-order lag.
type lag struct{ x float64 }

func (l *lag) step(in, tau, dt float64) float64 {
	l.x += (in - l.x) * part(tau, dt)
	return l.x
}

// part is the share of a first-order lag's way that a step takes, by the trapezoidal rule.
func part(tau, dt float64) float64 { return min(dt/(tau+dt/2), 1) }
