package wide

import (
	"math"
	"slices"
)

// Estimate is the model
//
//	y(t) = p·S(t; shape, τ) + g·u(t−D; τ) + c + d·t + noise
//
// by [Law]. The straight line d·t is what else moves the mixture meanwhile, tank vapour or a warming engine: without it what trim does
// about that is taken for a weaker answer. The structure (gain, lag and dead time from fuel to measured ratio, by least squares) is that of SAE 970613, 1997. The loop answers its own
// noise, so that is part of the model, lest the gain be drawn to what the loop makes of it: a share that fades with time
// as a first-order autoregression in continuous time does, beside white noise; the fit is by generalized
// least squares, the noise by the greatest likelihood. Intervals are 95 %, by profile likelihood.
type Estimate struct {
	G, GLow, GHigh             float64 // the ring's gain: measured fraction to a commanded one
	P, C                       float64 // the disturbance as sensed, and the rest, fractions
	Delay, DelayLow, DelayHigh float64 // D, s
	Tau, TauLow, TauHigh       float64 // τ, s
	Shape
	Law
	Fall
	Hue
	Swung
	Lags   FlankLik
	Noise  float64 // standard deviation of what is left, a fraction
	N      int
	LogLik float64 // but for a constant
}

// Hue is how the noise is made: which share of its variance fades, and within what time, s.
type Hue struct{ Share, Fade float64 }

// The hues that are tried.
var (
	hueShares = []float64{0.2, 0.5, 0.8, 0.95, 0.99}
	hueFades  = []float64{0.3, 1, 3, 10, 30}
)

// mostReadings bounds the work: more are joined in neighbouring groups, of which each has the mean.
const mostReadings = 400

// fineStep is the distance of the points through which commanded fuel is filtered, s.
const fineStep = 0.05

// Parameters of the fit that are not linear.
const (
	atBegin = iota
	atOn    // its logarithm, as of all that is a span
	atEnd
	atOff
	atDelay
	atTau
	params
)

// rows is how many equations are solved together at the most: with a sway and what is purged.
const rows = columns + 2*harmonics + 1

// Bounds of the spans, s.
const (
	leastRamp, mostRamp = 0.15, 6
	leastDelay          = 0.05
	mostDelay           = 2
	leastTau, mostTau   = 0.02, 2
)

// point is one set of them, with what it comes to.
type point struct {
	v       [params]float64
	p, g, c float64
	d       float64 // of the straight line, over all readings
	rss     float64 // of what is white
}

// shape reads the spans back.
func (x *point) shape() Shape {
	return Shape{x.v[atBegin], math.Exp(x.v[atOn]), x.v[atEnd], math.Exp(x.v[atOff])}
}

// Fit estimates the model near a shape that is known to within a few seconds; it ends the search there with
// 'brief', without intervals. ok is false where the trace is too short.
func Fit(tr Trace, near Shape, brief bool) (e Estimate, ok bool) {
	if len(tr.Y) < 8 || len(tr.U) < 3 {
		return e, false
	}
	f := newFitter(tr, near, Adds, Straight)
	kind := f.fit(f.seek(f.first(true)), true)
	of := func(law Law, fall Fall) *fitter {
		g := newFitter(tr, near, law, fall)
		g.swing(f.period) // a target sways alike under each
		return g
	}
	try := func(law Law, fall Fall) {
		if e := fit(of(law, fall), true); e.LogLik > kind.LogLik {
			kind = e
		}
	}
	try(Multiplies, Straight)
	if f.ended {
		try(kind.Law, Fading)
	}
	if brief {
		return kind, true
	}
	return fit(of(kind.Law, kind.Fall), false), true
}

// drawn is what the gain of all that trim did may be off by at the least, as a standard deviation; where it lies farther from that of what
// answers the disturbance, by so much.
const drawn = 0.2

// fit takes delay and lag from all that trim did. The gain of that is drawn to zero by the loop's own noise; that of what answers the
// disturbance alone ([fitter.project]) is not, and spreads more, the more the worse the flanks are read: each counts by its variance.
func fit(f *fitter, brief bool) Estimate { return f.fit(f.first(brief), brief) }

// first is the best point without a sway.
func (f *fitter) first(brief bool) point {
	f.tint(Hue{0.8, 1})
	return f.settle(f.improve(f.start(), 12, -1), brief)
}

// fit goes on from there.
func (f *fitter) fit(best point, brief bool) Estimate {
	e := Estimate{Law: f.law, Fall: f.fall, Delay: best.v[atDelay], Tau: math.Exp(best.v[atTau])}
	e.DelayLow, e.DelayHigh, e.TauLow, e.TauHigh = e.Delay, e.Delay, e.Tau, e.Tau
	if !brief {
		f.profiles(best, &e)
		e.Lags = f.flankLik(best)
	}
	whole := best.g
	e.LogLik = f.logLik(best.rss) - f.costs(len(f.raw))
	f.project(&best)
	best = f.settle(f.at(best.v), brief)
	e.G, e.P, e.C, e.Shape, e.Hue, e.N = best.g, f.fraction(best.p), best.c, best.shape(), f.hue, len(f.y)
	e.Noise = math.Sqrt(best.rss / float64(max(1, len(f.y)-f.free())))
	e.Swung = f.swung(&best, max(0.02, 4*e.Noise))
	e.GLow, e.GHigh = e.G, e.G
	if !brief {
		f.gainProfile(best, &e)
		e.join(whole)
	}
	return e
}

// join takes the gain of all that trim did with that of what answers the disturbance alone.
func (e *Estimate) join(whole float64) {
	off := max(drawn, abs(whole-e.G))
	square := float64(off * off)
	share := square / (square + e.variance())
	// Both are made of the same readings, so their errors may be one: the deviations add up, not the variances.
	lo := float64(share*(e.G-e.GLow)) + float64((1-share)*1.96*off)
	hi := float64(share*(e.GHigh-e.G)) + float64((1-share)*1.96*off)
	e.G = float64(share*e.G) + float64((1-share)*whole)
	e.GLow, e.GHigh = e.G-lo, e.G+hi
}

// settle goes downhill and takes the noise from what is left, in turn, until the noise stays.
func (f *fitter) settle(best point, brief bool) point {
	rounds := 3
	if brief {
		rounds = 1
	}
	for range rounds {
		best = f.improve(best, 12, -1)
		hue := f.bestHue(&best)
		if hue == f.hue {
			break
		}
		f.tint(hue)
		best = f.at(best.v)
		f.scale = math.Sqrt(best.rss / float64(len(f.y)))
		best = f.at(best.v)
	}
	return f.improve(best, 12, -1)
}

// fraction makes a sum's part of fuel again.
func (f *fitter) fraction(p float64) float64 {
	if f.law == Multiplies {
		return math.Expm1(p)
	}
	return p
}

// fitter holds a trace, and for the noise that is assumed what makes it white.
type fitter struct {
	law   Law
	fall  Fall
	t, y  []float64 // readings, as the law has them add up
	from  float64   // s: the first point of u
	u     []float64 // commanded fuel, a point each fineStep
	told  []float64 // the same as it was told
	ahead []float64 // and the part of it that was fed forward
	ended bool      // the force has an end within the readings
	near  Shape
	sways bool

	whitening
	sway
	flank    flanks
	fixed    bool // g is held
	unforced bool // nothing is fed
	fixedG   float64
	scratch
}

// whitening is the noise that is assumed, and the readings made white by it.
type whitening struct {
	scale float64 // standard deviation of what is white
	hue   Hue
	keep  []float64 // by reading: how much of the last one's fading part is left
	gain  []float64 // of the filter
	root  []float64 // 1/√ of the variance of what is new in a reading
	logs  float64   // sum of the logarithms of that variance
	yw    []float64 // y made white
	ow    []float64 // and a constant
	tw    []float64 // and a straight line from −½ to ½
}

// scratch is kept from one point of the search to the next.
type scratch struct {
	lagged, s, uc []float64
	r             []float64 // residuals of the last point
	jac           [params][]float64
	laggedBy      float64
}

func newFitter(tr Trace, near Shape, law Law, fall Fall) *fitter {
	f := &fitter{law: law, fall: fall, near: near, sways: tr.Sways, scratch: scratch{laggedBy: -1}}
	tr = tr.fresh()
	asY := func(y float64) float64 { return y }
	rest, n0 := 0.0, 0.0
	for i, t := range tr.UT {
		if t < near.Begin-1 {
			rest, n0 = rest+tr.U[i], n0+1
		}
	}
	rest /= max(1, n0)
	asU := func(u float64) float64 { return (u - rest) / (1 + rest) }
	if law == Multiplies {
		asY = func(y float64) float64 { return math.Log1p(max(y, -0.9)) }
		asU = asY
	}
	group := (len(tr.Y) + mostReadings - 1) / mostReadings
	for i := 0; i < len(tr.Y); i += group {
		var t, y float64
		k := min(group, len(tr.Y)-i)
		for j := i; j < i+k; j++ {
			t, y = t+tr.YT[j], y+asY(tr.Y[j])
		}
		f.t, f.y = append(f.t, t/float64(k)), append(f.y, y/float64(k))
		if tr.V != nil {
			f.purged = append(f.purged, tr.V[i+k/2])
		}
	}
	n := len(f.y)
	f.ended = near.End < f.t[n-1]-0.3
	f.from = f.t[0] - 3
	m := int((f.t[n-1]-f.from)/fineStep) + 2
	f.u, f.lagged, f.ahead = make([]float64, m), make([]float64, m), make([]float64, m)
	k := 0
	for i := range f.u {
		t := f.from + float64(i)*fineStep
		for k < len(tr.UT) && tr.UT[k] < t {
			k++
		}
		var u float64
		switch {
		case k == 0:
			u = tr.U[0]
		case k == len(tr.UT):
			u = tr.U[k-1]
		default:
			u = tr.U[k-1] + float64((tr.U[k]-tr.U[k-1])*(t-tr.UT[k-1]))/(tr.UT[k]-tr.UT[k-1])
		}
		f.u[i] = asU(u)
		if tr.F != nil {
			f.ahead[i] = asY(tr.F[min(k, len(tr.F)-1)] - 1)
		}
	}
	f.told = slices.Clone(f.u)
	for _, v := range []*[]float64{&f.keep, &f.gain, &f.root, &f.yw, &f.ow, &f.tw, &f.s, &f.uc} {
		*v = make([]float64, n)
	}
	f.r = make([]float64, n+known)
	for i := range f.jac {
		f.jac[i] = make([]float64, n+known)
	}
	f.scale = 0.005
	f.swing(0)
	return f
}

// free is how many parameters are fitted.
func (f *fitter) free() int {
	if f.ended {
		return params + columns + len(f.raw)
	}
	return params + columns - 2 + len(f.raw)
}

// tint sets the noise: the filter of Kalman (J. Basic Eng. 82, 1960) for a first-order process under white noise.
func (f *fitter) tint(h Hue) {
	f.hue, f.logs = h, 0
	p := h.Share // variance of the fading part before a reading
	for i := range f.t {
		f.keep[i] = 0
		if i > 0 {
			a := math.Exp(-(f.t[i] - f.t[i-1]) / h.Fade)
			f.keep[i] = a
			p = float64(a*a*p) + float64(h.Share*(1-a*a))
		}
		v := p + 1 - h.Share
		f.gain[i] = p / v
		f.root[i] = 1 / math.Sqrt(v)
		f.logs += math.Log(v)
		p -= p * f.gain[i]
	}
	f.whiten(f.yw, f.y)
	for i := range f.ow {
		f.ow[i] = 1
	}
	f.whiten(f.ow, f.ow)
	first, long := f.t[0], f.t[len(f.t)-1]-f.t[0]
	for i, t := range f.t {
		f.tw[i] = (t-first)/long - 0.5
	}
	f.whiten(f.tw, f.tw)
	f.whitenSway()
}

// whiten makes a column what it is beside what was to be expected of it; dst may be src.
func (f *fitter) whiten(dst, src []float64) {
	m := 0.0
	for i, x := range src {
		m *= f.keep[i]
		d := x - m
		m += float64(f.gain[i] * d)
		dst[i] = d * f.root[i]
	}
}

// lag filters the command by τ, exactly where it is straight between two points.
func (f *fitter) lag(tau float64) {
	if tau == f.laggedBy {
		return
	}
	f.laggedBy = tau
	a := math.Exp(-fineStep / tau)
	last, slopes := f.u[0], tau/fineStep
	f.lagged[0] = last
	for i := 1; i < len(f.u); i++ {
		late := float64((f.u[i] - f.u[i-1]) * slopes)
		last = f.u[i] - late + float64((last-f.u[i-1]+late)*a)
		f.lagged[i] = last
	}
}

// at works out a point: the columns, made white, and the linear part.
func (f *fitter) at(v [params]float64) point {
	x := point{v: v}
	s, tau := x.shape(), math.Exp(v[atTau])
	f.lag(tau)
	if f.flank.of != nil {
		f.lagApart(v)
	} else {
		for i, t := range f.t {
			f.uc[i], f.s[i] = f.command(t-v[atDelay]), f.seen(&s, t, tau)
		}
	}
	if f.unforced {
		clear(f.s)
	}
	f.whiten(f.s, f.s)
	f.whiten(f.uc, f.uc)
	f.linear(&x)
	return x
}

// command is what was commanded at t, lagged.
func (f *fitter) command(t float64) float64 { return f.between(f.lagged, t) }

// between is the value at t of what has one at each point of u.
func (f *fitter) between(of []float64, t float64) float64 {
	k := (t - f.from) / fineStep
	j := min(max(int(k), 0), len(of)-2)
	return of[j] + float64((k-float64(j))*(of[j+1]-of[j]))
}

// Columns of the linear part; those of a sway follow, and the command's is the last.
const (
	colConstant = iota
	colLine
	colFed
	colSway
	columns = colSway + 1
)

// linear solves the normal equations of the columns, or of all but the command's where g is held.
func (f *fitter) linear(x *point) {
	all := [rows][]float64{f.ow, f.tw, f.s}
	command := colSway + copy(all[colSway:], f.white)
	n := command
	copy(f.r, f.yw)
	if f.fixed {
		for i, u := range f.uc {
			f.r[i] -= float64(f.fixedG * u)
		}
	} else {
		all[n] = f.uc
		n++
	}
	var a [rows][rows]float64
	var b [rows]float64
	for k := range n {
		b[k] = dot(all[k], f.r)
		for m := range k + 1 {
			a[k][m] = dot(all[k], all[m])
			a[m][k] = a[k][m]
		}
		// A column that tells nothing, as a force that lies outside, gets no weight.
		a[k][k] += float64(1e-9*a[k][k]) + 1e-12
	}
	if !f.fixed {
		sure := f.scale / gainWide
		a[command][command] += float64(sure * sure)
		b[command] += float64(sure * sure)
	}
	v := solve(&a, b, n)
	if f.fixed {
		v[command] = f.fixedG
	}
	x.c, x.d, x.p, x.g = v[colConstant], v[colLine], v[colFed], v[command]
	for k := range n {
		for i, c := range all[k] {
			f.r[i] -= float64(v[k] * c)
		}
	}
	x.rss = dot(f.r[:len(f.y)], f.r)
	for k, before := range [known]struct{ v, usual, wide float64 }{
		{x.v[atDelay], usualDelay, delayWide}, {x.v[atTau], math.Log(usualTau), tauWide}, {x.g, 1, gainWide},
	} {
		d := f.scale * (before.v - before.usual) / before.wide
		f.r[len(f.y)+k] = d
		x.rss += float64(d * d)
	}
}

// What is known of delay, lag and gain before anything is read counts as one more reading each, with such a spread: a delay at idle is
// 0.3 to 0.7 s, a healthy lag 0.05 to 0.2 s, and a gain is 0, where nothing is delivered, to 2. Without it the loop's answer to its own noise is taken for
// a late and weak one, and a target that sways makes a gain of 3 and more with a disturbance as large against it.
const known = 3 // of them

var (
	usualTau  = 0.12
	delayWide = 0.15 // s
	tauWide   = 1.2  // of the logarithm
	gainWide  = 0.5
)

// logLik is the logarithm of the likelihood, but for a constant.
func (f *fitter) logLik(rss float64) float64 {
	n := float64(len(f.y))
	return -n/2*math.Log(rss/n+1e-12) - f.logs/2
}

// bestHue is the noise under which what a point leaves is likeliest.
func (f *fitter) bestHue(x *point) Hue {
	was, best := f.hue, f.hue
	most := math.Inf(-1)
	for _, share := range hueShares {
		for _, fade := range hueFades {
			f.tint(Hue{share, fade})
			y := f.at(x.v)
			if l := f.logLik(y.rss); l > most {
				most, best = l, f.hue
			}
		}
	}
	f.tint(was)
	return best
}
