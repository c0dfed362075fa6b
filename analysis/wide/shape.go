package wide

import "math"

// Shape is when a disturbance of the mixture came and went, s, as the sensor saw it: it rises in a
// straight line through On seconds from Begin, and falls from End by its [Fall].
type Shape struct{ Begin, On, End, Off float64 }

// Fall is how a disturbance ends: in a straight line through Off seconds, as a valve is turned, or fading with the time Off, as
// a hose and an intake empty. Which it was, the readings tell; taken for straight, a tail makes a sound gain read a tenth too small.
type Fall bool

// The ways to end.
const (
	Straight Fall = false
	Fading   Fall = true
)

// Law is how what is fed and what is commanded make the mixture. A flow of gas adds to the fuel, however much that is; a
// flow of air, and gas that the engine draws in proportion, multiply with it: the logarithms add up. Which it was, the readings tell.
type Law bool

// The laws.
const (
	Adds       Law = false
	Multiplies Law = true
)

// risen is a ramp of 'over' seconds from 0 to 1 that began x seconds ago, through a lag of τ.
func risen(x, over, tau float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x > over+30*tau:
		return 1
	case x <= over:
		return (x - tau*(1-math.Exp(-x/tau))) / over
	}
	return 1 - float64(tau*(math.Exp(-(x-over)/tau)-math.Exp(-x/tau)))/over
}

// gone is what has left, x seconds after its end, of what fades with the time 'over', seen through a lag of τ.
func gone(x, over, tau float64) float64 {
	if x <= 0 {
		return 0
	}
	if math.Abs(over-tau) < 1e-3 { // the limit of both alike
		x *= 2 / (over + tau)
		return 1 - float64((1+x)*math.Exp(-x))
	}
	return 1 - (float64(over*math.Exp(-x/over))-float64(tau*math.Exp(-x/tau)))/(over-tau)
}

// seen is the shape at t through a lag of τ, 0 to 1.
func (f *fitter) seen(s *Shape, t, tau float64) float64 {
	v := risen(t-s.Begin, s.On, tau)
	switch {
	case !f.ended:
	case f.fall == Fading:
		v -= gone(t-s.End, s.Off, tau)
	default:
		v -= risen(t-s.End, s.Off, tau)
	}
	return v
}
