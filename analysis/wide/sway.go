package wide

import "math"

// sway is a target that the computer moves to and fro to keep the catalyst awake (forced excitation: U. Kiencke and L. Nielsen,
// Automotive Control Systems, 2005), where it is not fed as it is told, since it is read too seldom for that. Ratio and trim both swing
// with it, and what one does of it would be taken for an answer of the other.
type sway struct {
	period     float64     // s; 0: none was found
	raw, white [][]float64 // its columns, and that of what is purged
	purged     []float64   // nil: nothing that is known
}

const (
	harmonics = 3   // it jumps between two levels, and the exhaust mixes the higher ones away
	leastSway = 0.7 // s, periods that are sought (common practice, no source)
	mostSway  = 6.0
)

// swing makes the columns of a period, 0 for none, beside what is purged.
func (f *fitter) swing(period float64) {
	f.period, f.raw = period, nil
	if period > 0 {
		f.raw = make([][]float64, 2*harmonics)
		for k := range f.raw {
			f.raw[k] = make([]float64, len(f.t))
			w, turn := 2*math.Pi*float64(k/2+1)/period, math.Pi/2*float64(k%2)
			for i, t := range f.t {
				f.raw[k][i] = math.Cos(float64(w*(t-f.t[0])) - turn)
			}
		}
	}
	if f.purged != nil {
		f.raw = append(f.raw, f.purged)
	}
	f.whitenSway()
}

func (f *fitter) whitenSway() {
	f.white = make([][]float64, len(f.raw))
	for k, c := range f.raw {
		f.white[k] = make([]float64, len(c))
		f.whiten(f.white[k], c)
	}
}

// seek adds a sway where it makes the readings likelier by more than its own parameters do by chance (G. Schwarz, Ann. Stat. 6, 1978).
func (f *fitter) seek(best point) point {
	if !f.sways {
		return best
	}
	least, period := best, 0.0
	every := 1 / (6 * (f.t[len(f.t)-1] - f.t[0])) // Hz: a sixth of a turn more over all readings
	for hz := 1 / mostSway; hz < 1/leastSway; hz += every {
		f.swing(1 / hz)
		if x := f.at(best.v); x.rss < least.rss {
			least, period = x, f.period
		}
	}
	if f.logLik(least.rss)-f.logLik(best.rss) <= f.costs(2*harmonics+1) {
		f.swing(0)
		return f.at(best.v)
	}
	f.swing(period)
	return f.settle(f.improve(f.start(), 12, -1), true) // what was best without it may be far away
}

// costs is what so many more parameters are expected to add to the logarithm of the likelihood.
func (f *fitter) costs(n int) float64 { return float64(n) / 2 * math.Log(float64(len(f.y))) }

// Swung is what a target that sways hides in the readings: how far the mixture went towards rich and towards lean without the sway.
type Swung struct {
	Period float64    // s; 0: no sway was found
	Since  [2]float64 // s: when what force and command make of the ratio was plain beside the noise, towards lean and rich; 0: never
}

// swung works that out of the best point; from 'enough' on it is plain.
func (f *fitter) swung(x *point, enough float64) (w Swung) {
	w.Period = f.period
	s, tau := x.shape(), math.Exp(x.v[atTau])
	f.lag(tau)
	rest := f.command(s.Begin - x.v[atDelay])
	for _, t := range f.t {
		from := s.Begin
		y := float64(x.p*f.seen(&s, t, tau)) + float64(x.g*(f.command(t-x.v[atDelay])-rest))
		side := 0
		if y > 0 {
			side = 1
		}
		if y*x.p < 0 { // what trim has made of it is seen when it is let go
			from = s.End
		}
		if t > from && w.Since[side] == 0 && abs(y) >= enough {
			w.Since[side] = t
		}
	}
	return w
}

// said is when the sensor reported a side: by its readings, or where a target that sways hides it in them by what the fit makes of these.
func (f *force) said(rich bool) (t float64, has bool) {
	if t, has = f.says[rich]; has || !f.fitted || !f.plain() {
		return t, has
	}
	side := 0
	if rich {
		side = 1
	}
	t = f.fit.Since[side]
	return t, t > 0
}

// dot is the sum of the products of as many as a has.
func dot(a, b []float64) (sum float64) {
	b = b[:len(a)]
	for i, x := range a {
		sum += float64(x * b[i])
	}
	return sum
}
