package wide

import "math"

// flanks is a sensor whose lag is another towards rich than towards lean (13 CCR 1968.2 has both kinds of slow sensor): a first-order filter
// whose time constant goes by the way in which the gas leads the cell. Once it is known when that turns, the filter is linear in what is fed and
// in what is commanded, so all the rest is fitted as with one lag.
type flanks struct {
	of    *[2]float64 // s: the lags towards lean and rich; nil: there is one
	rises []bool      // by point of u: the cell goes rich
	s, u  []float64   // the columns at the points of u
}

// flankLags are the pairs that are tried, s: lean, rich. A healthy one is 0.05 to 0.1; what is late one way is quick the other or late too.
var flankLags = [...][2]float64{{0.06, 0.06}, {0.12, 0.12}, {0.25, 0.25}, {0.4, 0.4}, {0.6, 0.6}, {0.9, 0.9}, {1.4, 1.4},
	{0.4, 0.12}, {0.6, 0.12}, {0.9, 0.12}, {1.4, 0.12}, {0.12, 0.4}, {0.12, 0.6}, {0.12, 0.9}, {0.12, 1.4}}

// FlankLik is the logarithm of the likelihood of each of them, but for a constant.
type FlankLik [len(flankLags)]float64

// flankLik fits all but the lags to each pair of them.
func (f *fitter) flankLik(best point) (lik FlankLik) {
	n := len(f.u)
	f.flank.rises, f.flank.s, f.flank.u = make([]bool, n), make([]float64, n), make([]float64, n)
	best.v[atTau] = math.Log(usualTau)
	for k := range flankLags {
		f.flank.of = &flankLags[k]
		x := best
		for range 2 { // the moments of turning are those of the fit before
			f.turn(&x)
			x = f.improve(x, 3, atTau)
		}
		lik[k] = f.logLik(x.rss)
	}
	f.flank.of = nil
	return lik
}

// through calls do with what is fed and commanded as it comes to the cell, at each point of u.
func (f *fitter) through(v [params]float64, do func(i int, s, u float64)) {
	const atOnce = 1e-4 // s
	shape := (&point{v: v}).shape()
	for i := range f.u {
		t := f.from + float64(i)*fineStep
		do(i, f.seen(&shape, t, atOnce), f.between(f.u, t-v[atDelay]))
	}
}

// keeps is how much of the distance to the gas is left after a step, by way.
func (x *flanks) keeps() [2]float64 {
	return [2]float64{math.Exp(-fineStep / x.of[0]), math.Exp(-fineStep / x.of[1])}
}

// turn finds when the cell turns under a point.
func (f *fitter) turn(x *point) {
	y, keeps := float64(x.g*f.u[0]), f.flank.keeps()
	f.through(x.v, func(i int, s, u float64) {
		in, k := float64(x.p*s)+float64(x.g*u), keeps[0]
		if f.flank.rises[i] = in >= y; in >= y {
			k = keeps[1]
		}
		y = in + float64((y-in)*k)
	})
}

// lagApart makes the columns at the readings.
func (f *fitter) lagApart(v [params]float64) {
	s, u, keeps := 0.0, f.u[0], f.flank.keeps()
	f.through(v, func(i int, s0, u0 float64) {
		k := keeps[0]
		if f.flank.rises[i] {
			k = keeps[1]
		}
		s, u = s0+float64((s-s0)*k), u0+float64((u-u0)*k)
		f.flank.s[i], f.flank.u[i] = s, u
	})
	for i, t := range f.t {
		f.s[i], f.uc[i] = f.between(f.flank.s, t), f.between(f.flank.u, t)
	}
}

// slowOdds is from which log odds a sensor is slow: wrong once in a hundred.
const slowOdds = 4.6

// slowness is what forces say of the sensor's lags together.
type slowness struct {
	odds           float64    // that it is slow one way at least, a logarithm
	way            [2]float64 // and that it is towards lean, rich
	tau, low, high float64    // s, of the slower way, with a 95 % interval
}

// slowBy weighs the lags of all forces: slow is what is more than a healthy one by slowFrom, beside how old a reading may be.
func slowBy(all []Estimate, refreshed float64) (x slowness) {
	var lik FlankLik
	most := math.Inf(-1)
	for k := range lik {
		for i := range all {
			lik[k] += all[i].Lags[k] / overstates
		}
		most = max(most, lik[k])
	}
	slow := func(tau float64) bool { return tau-refreshed > slowFrom }
	odds := func(is func(lags [2]float64) bool) float64 {
		yes, no := math.Inf(-1), math.Inf(-1)
		for k, lags := range flankLags {
			if is(lags) {
				yes = max(yes, lik[k])
			} else {
				no = max(no, lik[k])
			}
		}
		return yes - no
	}
	x.odds = odds(func(lags [2]float64) bool { return slow(lags[0]) || slow(lags[1]) })
	for way := range x.way {
		x.way[way] = odds(func(lags [2]float64) bool { return slow(lags[way]) })
	}
	var sum, mean, square float64
	for k, lags := range flankLags {
		w, l := math.Exp(lik[k]-most), math.Log(max(lags[0], lags[1]))
		sum, mean, square = sum+w, mean+float64(w*l), square+float64(w*l*l)
	}
	mean /= sum
	half := 1.96 * math.Sqrt(max(0, square/sum-mean*mean)+flankStep*flankStep/12)
	return slowness{x.odds, x.way, math.Exp(mean), math.Exp(mean - half), math.Exp(mean + half)}
}

// flankStep is how far the lags that are tried are apart, of their logarithm.
const flankStep = 0.45
