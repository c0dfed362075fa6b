package wide

import "math"

// flanks is a sensor that is slower or later towards rich than towards lean (13 CCR 1968.2 has both kinds, one way and both): a first-order
// filter whose time constant and delay go by the way in which the gas leads the cell. Once it is known when that turns, the filter is linear in
// what is fed and in what is commanded, so all the rest is fitted as with one lag.
type flanks struct {
	of         *lateness // nil: both ways have one lag
	rises      []bool    // by point of u: the cell goes rich
	fed, asked []float64 // what comes to the sensor, at the points of u
	s, u       []float64 // and the columns there
}

// lateness is how slow and how late a sensor is, s, towards lean and rich.
type lateness struct{ lag, late [2]float64 }

// quick is a healthy lag, s: 0.05 to 0.10.
const quick = 0.12

// flankKinds are the sensors that are tried: alike both ways, slow one way, late one way. What is late both ways is the engine's own delay.
var flankKinds = kindsOfFlanks()

func kindsOfFlanks() (all [23]lateness) {
	n := 0
	add := func(lean, rich, lateLean, lateRich float64) {
		all[n] = lateness{[2]float64{lean, rich}, [2]float64{lateLean, lateRich}}
		n++
	}
	for _, x := range []float64{0.06, quick, 0.25, 0.4, 0.6, 0.9, 1.4} {
		add(x, x, 0, 0)
	}
	for _, x := range []float64{0.4, 0.6, 0.9, 1.4} {
		add(x, quick, 0, 0)
		add(quick, x, 0, 0)
		add(quick, quick, x, 0)
		add(quick, quick, 0, x)
	}
	return all
}

// FlankLik is the logarithm of the likelihood of each of them, but for a constant.
type FlankLik [len(flankKinds)]float64

// flankLik fits all but the lags to each pair of them.
func (f *fitter) flankLik(best point) (lik FlankLik) {
	n := len(f.u)
	f.flank.rises = make([]bool, n)
	for _, v := range []*[]float64{&f.flank.fed, &f.flank.asked, &f.flank.s, &f.flank.u} {
		*v = make([]float64, n)
	}
	best.v[atTau] = math.Log(usualTau)
	for k := range flankKinds {
		f.flank.of = &flankKinds[k]
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

// arrive works out what is fed and commanded as it comes to the sensor, at each point of u.
func (f *fitter) arrive(v [params]float64) {
	const atOnce = 1e-4 // s
	shape := (&point{v: v}).shape()
	for i := range f.u {
		t := f.from + float64(i)*fineStep
		f.flank.fed[i], f.flank.asked[i] = f.seen(&shape, t, atOnce), f.between(f.u, t-v[atDelay])
	}
}

// steps is, by way, how many points the sensor is late, and how much of the distance to the gas is left after one.
func (x *lateness) steps() (late [2]int, keeps [2]float64) {
	for way := range late {
		late[way], keeps[way] = int(math.Round(x.late[way]/fineStep)), math.Exp(-fineStep/x.lag[way])
	}
	return late, keeps
}

// turn finds when the cell turns under a point; where the two ways disagree, what is newer holds.
func (f *fitter) turn(x *point) {
	f.arrive(x.v)
	late, keeps := f.flank.of.steps()
	newer := 0
	if late[1] < late[0] {
		newer = 1
	}
	y := float64(x.g * f.u[0])
	for i := range f.u {
		var leads [2]float64 // by how much the gas leads
		for way := range leads {
			k := max(0, i-late[way])
			leads[way] = float64(x.p*f.flank.fed[k]) + float64(x.g*f.flank.asked[k]) - y
		}
		way := newer
		if leads[newer] < 0 == (newer == 1) {
			way = 1 - newer
		}
		f.flank.rises[i] = way == 1
		if leads[way] >= 0 == (way == 1) {
			y += float64(leads[way] * (1 - keeps[way]))
		}
	}
}

// lagApart makes the columns at the readings.
func (f *fitter) lagApart(v [params]float64) {
	f.arrive(v)
	late, keeps := f.flank.of.steps()
	s, u := 0.0, f.u[0]
	for i := range f.u {
		way := 0
		if f.flank.rises[i] {
			way = 1
		}
		k := max(0, i-late[way])
		s0, u0 := f.flank.fed[k], f.flank.asked[k]
		s, u = s0+float64((s-s0)*keeps[way]), u0+float64((u-u0)*keeps[way])
		f.flank.s[i], f.flank.u[i] = s, u
	}
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
	tau, low, high float64    // s, by which the slower way comes late, with a 95 % interval
}

// slowBy weighs the lags of all forces: slow is what is more than a healthy one by slowFrom, beside how old a reading may be, or is later by that,
// beside how far apart those that are new are: between two a flank may lie anywhere.
func slowBy(all []Estimate, refreshed, renewed float64) (x slowness) {
	var lik FlankLik
	most := math.Inf(-1)
	for k := range lik {
		for i := range all {
			lik[k] += all[i].Lags[k] / overstates
		}
		most = max(most, lik[k])
	}
	slow := func(k *lateness, way int) bool { return max(k.lag[way]-refreshed, k.late[way]-renewed) > slowFrom }
	odds := func(is func(k *lateness) bool) float64 {
		yes, no := math.Inf(-1), math.Inf(-1)
		for k := range flankKinds {
			if is(&flankKinds[k]) {
				yes = max(yes, lik[k])
			} else {
				no = max(no, lik[k])
			}
		}
		return yes - no
	}
	x.odds = odds(func(k *lateness) bool { return slow(k, 0) || slow(k, 1) })
	for way := range x.way {
		x.way[way] = odds(func(k *lateness) bool { return slow(k, way) })
	}
	var sum, mean, square float64
	for k := range flankKinds {
		c := &flankKinds[k]
		w, l := math.Exp(lik[k]-most), math.Log(max(c.lag[0]+c.late[0], c.lag[1]+c.late[1]))
		sum, mean, square = sum+w, mean+float64(w*l), square+float64(w*l*l)
	}
	mean /= sum
	half := 1.96 * math.Sqrt(max(0, square/sum-mean*mean)+flankStep*flankStep/12)
	return slowness{x.odds, x.way, math.Exp(mean), math.Exp(mean - half), math.Exp(mean + half)}
}

// flankStep is how far what is tried is apart, of the logarithm.
const flankStep = 0.45
