package wide

import (
	"math"

	"pushback/analysis/stats"
)

// Trace is what the estimate is made of: readings of one force with the rest before and the return
// after it, in order of time, s. Y is the measured excess of fuel λc/λm − 1, U the commanded one
// (short-term trim and what long-term trim has moved), both as fractions.
type Trace struct {
	YT, Y []float64
	UT, U []float64
}

// Shape is when a disturbance of the mixture came and went, s, as the sensor saw it: it rises in a
// straight line through On seconds from Begin, and falls through Off seconds from End.
type Shape struct{ Begin, On, End, Off float64 }

// Estimate is the model
//
//	y(t) = p·S(t; shape, τ)·(1 + d·u) + g·u(t−D; τ) + c + noise
//
// fitted by least squares over a grid of D, τ and the shape (the structure, gain, lag and dead time from
// fuel to measured ratio, is that of SAE 970613, 1997; d is g held to 0…1, for what is fed burns with
// the fuel that trim left). Intervals are 95 %: of D and τ by profile likelihood, of g by a moving block bootstrap of the residuals.
type Estimate struct {
	G, GLow, GHigh             float64 // the ring's gain: measured fraction to a commanded one
	P, C                       float64 // the disturbance as sensed, and the rest, fractions
	Delay, DelayLow, DelayHigh float64 // D, s
	Tau, TauLow, TauHigh       float64 // τ, s
	Shape
	Noise float64 // standard deviation of what is left, a fraction
	N     int
	RSS   float64
}

// The grids, s.
var (
	delays = []float64{0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.7, 0.8, 0.9, 1.0}
	taus   = []float64{0.03, 0.07, 0.12, 0.2, 0.3, 0.4, 0.5, 0.6, 0.75, 0.9, 1.1, 1.4}
	ramps  = []float64{0.3, 0.6, 1, 1.5, 2, 3, 4}
)

// fineStep is the distance of the points through which commanded fuel is filtered, s.
const fineStep = 0.05

// fitter holds a trace and its command filtered by each lag of the grid.
type fitter struct {
	tr    Trace
	from  float64
	lag   [][]float64 // by τ: u filtered, a point each fineStep from 'from' on
	cross float64     // d of the model
	su    []float64   // scratch: the columns
	ss    []float64
}

// Fit estimates the model near a shape that is known to within a few seconds. ok is false where
// the trace is too short.
func Fit(tr Trace, near Shape) (e Estimate, ok bool) {
	if len(tr.Y) < 8 || len(tr.U) < 3 {
		return e, false
	}
	f := newFitter(tr)
	e.Shape, e.Delay, e.Tau = near, 0.35, 0.12
	e.RSS = math.Inf(1)
	coarse := [][2]float64{{3, 0.5}, {0.75, 0.125}, {0.25, 0.05}}
	for round, c := range coarse {
		f.edges(&e, c[0], c[1])
		f.dynamics(&e)
		if round == 0 {
			f.cross = min(max(e.G, 0), 1)
			e.RSS = f.rss(e.Shape, e.Delay, e.Tau)
		}
	}
	f.solve(&e)
	e.N = len(tr.Y)
	e.Noise = math.Sqrt(e.RSS / float64(max(1, e.N-7)))
	f.profiles(&e)
	f.interval(&e)
	return e, true
}

func newFitter(tr Trace) *fitter {
	f := &fitter{tr: tr, from: tr.YT[0] - 3, cross: 1, su: make([]float64, len(tr.Y)), ss: make([]float64, len(tr.Y))}
	n := int((tr.YT[len(tr.YT)-1]-f.from)/fineStep) + 2
	u := make([]float64, n)
	k := 0
	for i := range u {
		t := f.from + float64(i)*fineStep
		for k < len(tr.UT) && tr.UT[k] < t {
			k++
		}
		switch {
		case k == 0:
			u[i] = tr.U[0]
		case k == len(tr.UT):
			u[i] = tr.U[k-1]
		default:
			u[i] = tr.U[k-1] + float64((tr.U[k]-tr.U[k-1])*(t-tr.UT[k-1]))/(tr.UT[k]-tr.UT[k-1])
		}
	}
	f.lag = make([][]float64, len(taus))
	for j, tau := range taus {
		v := make([]float64, n)
		v[0] = u[0]
		a := math.Exp(-fineStep / tau)
		for i := 1; i < n; i++ { // the input is a straight line within a step
			slope := (u[i] - u[i-1]) / fineStep
			v[i] = u[i] - float64(slope*tau) + float64((v[i-1]-u[i-1]+float64(slope*tau))*a)
		}
		f.lag[j] = v
	}
	return f
}

func tauIndex(tau float64) int {
	for i, x := range taus {
		if x >= tau {
			return i
		}
	}
	return len(taus) - 1
}

// risen is a ramp of 'over' seconds from 0 to 1 that began x seconds ago, through a lag of τ.
func risen(x, over, tau float64) float64 {
	in := func(x float64) float64 {
		if x <= 0 {
			return 0
		}
		return x - tau*(1-math.Exp(-x/tau))
	}
	return (in(x) - in(x-over)) / over
}

// columns fills the regressors for a shape, delay and lag.
func (f *fitter) columns(s Shape, delay, tau float64) {
	v := f.lag[tauIndex(tau)]
	for i, t := range f.tr.YT {
		x := (t - delay - f.from) / fineStep
		k := min(max(int(x), 0), len(v)-2)
		u := v[k] + float64((x-float64(k))*(v[k+1]-v[k]))
		f.su[i] = u
		f.ss[i] = (risen(t-s.Begin, s.On, tau) - risen(t-s.End, s.Off, tau)) * (1 + float64(f.cross*u))
	}
}

// normal solves the three normal equations for the columns that stand, and returns p, g, c and the sum of squares.
func (f *fitter) normal() (p, g, c, rss float64) {
	n := float64(len(f.tr.Y))
	var ms, mu, my float64
	for i, y := range f.tr.Y {
		ms, mu, my = ms+f.ss[i], mu+f.su[i], my+y
	}
	ms, mu, my = ms/n, mu/n, my/n
	var ss, uu, su, sy, uy, yy float64
	for i, y := range f.tr.Y {
		a, b, d := f.ss[i]-ms, f.su[i]-mu, y-my
		ss, uu, su = ss+float64(a*a), uu+float64(b*b), su+float64(a*b)
		sy, uy, yy = sy+float64(a*d), uy+float64(b*d), yy+float64(d*d)
	}
	det := float64(ss*uu) - float64(su*su)
	switch {
	case det > 1e-12*float64(ss*uu)+1e-30:
		p, g = (float64(sy*uu)-float64(uy*su))/det, (float64(uy*ss)-float64(sy*su))/det
	case ss > 0:
		p = sy / ss
	}
	c = my - float64(p*ms) - float64(g*mu)
	return p, g, c, max(0, yy-float64(p*sy)-float64(g*uy))
}

func (f *fitter) rss(s Shape, delay, tau float64) float64 {
	f.columns(s, delay, tau)
	_, _, _, r := f.normal()
	return r
}

func (f *fitter) solve(e *Estimate) {
	f.columns(e.Shape, e.Delay, e.Tau)
	e.P, e.G, e.C, e.RSS = f.normal()
}

// edges improves the two flanks one after the other, each within 'within' seconds of where it is.
func (f *fitter) edges(e *Estimate, within, step float64) {
	best := e.Shape
	try := func(s Shape) {
		if s.End < s.Begin+1 {
			return
		}
		if r := f.rss(s, e.Delay, e.Tau); r < e.RSS {
			e.RSS, best = r, s
		}
	}
	n := int(within / step)
	begin, end := e.Shape.Begin, e.Shape.End
	for _, on := range ramps {
		for i := -n; i <= n; i++ {
			try(Shape{begin + float64(i)*step, on, best.End, best.Off})
		}
	}
	e.Shape = best
	if end >= f.tr.YT[len(f.tr.YT)-1] {
		return // it is still on
	}
	for _, off := range ramps {
		for i := -n; i <= n; i++ {
			try(Shape{best.Begin, best.On, end + float64(i)*step, off})
		}
	}
	e.Shape = best
}

// dynamics improves delay and lag over their whole grids.
func (f *fitter) dynamics(e *Estimate) {
	for _, tau := range taus {
		for _, d := range delays {
			if r := f.rss(e.Shape, d, tau); r < e.RSS {
				e.RSS, e.Delay, e.Tau = r, d, tau
			}
		}
	}
	f.solve(e)
}

// profiles sets the intervals of delay and lag: where twice the log-likelihood lies within 3.84 of the
// best (χ², one degree, 95 %), with the number of readings lowered to that of independent ones.
func (f *fitter) profiles(e *Estimate) {
	n := f.independent(e)
	limit := 3.84
	within := func(rss float64) bool { return n*math.Log((rss+1e-12)/(e.RSS+1e-12)) <= limit }
	// The flanks may move along with what is looked at.
	least := func(delay, tau float64) float64 {
		x := *e
		x.Delay, x.Tau = delay, tau
		x.RSS = f.rss(x.Shape, delay, tau)
		f.edges(&x, 0.6, 0.2)
		return x.RSS
	}
	e.TauLow, e.TauHigh = e.Tau, e.Tau
	for _, tau := range taus {
		best := math.Inf(1)
		for _, d := range delays {
			best = min(best, f.rss(e.Shape, d, tau))
		}
		for _, d := range []float64{e.Delay - 0.2, e.Delay - 0.1, e.Delay, e.Delay + 0.1, e.Delay + 0.2} {
			if best <= 0 || within(best) || d < delays[0] {
				continue
			}
			best = min(best, least(d, tau))
		}
		if within(best) {
			e.TauLow, e.TauHigh = min(e.TauLow, tau), max(e.TauHigh, tau)
		}
	}
	e.DelayLow, e.DelayHigh = e.Delay, e.Delay
	for _, d := range delays {
		best := math.Inf(1)
		for _, tau := range taus {
			best = min(best, f.rss(e.Shape, d, tau))
		}
		if within(best) {
			e.DelayLow, e.DelayHigh = min(e.DelayLow, d), max(e.DelayHigh, d)
		}
	}
}

// residuals are what the estimate leaves.
func (f *fitter) residuals(e *Estimate) []float64 {
	f.columns(e.Shape, e.Delay, e.Tau)
	r := make([]float64, len(f.tr.Y))
	for i, y := range f.tr.Y {
		r[i] = y - float64(e.P*f.ss[i]) - float64(e.G*f.su[i]) - e.C
	}
	return r
}

// independent is how many independent readings the residuals are worth: n(1−ρ)/(1+ρ) for a first-order
// autoregression (Bayley and Hammersley, J. R. Stat. Soc. Suppl. 8, 1946).
func (f *fitter) independent(e *Estimate) float64 {
	r := f.residuals(e)
	var a, b float64
	for i := 1; i < len(r); i++ {
		a += float64(r[i] * r[i-1])
		b += float64(r[i] * r[i])
	}
	rho := 0.0
	if b > 0 {
		rho = min(max(a/b, 0), 0.95)
	}
	return max(4, float64(len(r))*(1-rho)/(1+rho))
}

// Blocks of the bootstrap, s, and how often it is drawn.
const (
	blockSeconds = 1.5
	draws        = 200
)

// interval sets that of g: the residuals are drawn again in blocks and p, g, c fitted to each, at the
// best delay, lag and shape; then what the neighbours within the likelihood's interval of the delay say is added.
func (f *fitter) interval(e *Estimate) {
	r := f.residuals(e)
	n := len(r)
	block := max(1, min(n/3, int(blockSeconds*float64(n)/max(1, f.tr.YT[n-1]-f.tr.YT[0]))))
	fitted := make([]float64, n)
	for i := range fitted {
		fitted[i] = f.tr.Y[i] - r[i]
	}
	real := f.tr.Y
	y := make([]float64, n)
	f.tr.Y = y
	gs := make([]float64, draws)
	seed := uint64(1)
	for k := range gs {
		for i := 0; i < n; i += block {
			seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator: the same each time
			from := int(seed>>33) % (n - block + 1)
			for j := 0; j < block && i+j < n; j++ {
				y[i+j] = fitted[i+j] + r[from+j]
			}
		}
		_, gs[k], _, _ = f.normal()
	}
	f.tr.Y = real
	e.GLow, e.GHigh = min(e.G, stats.Quantile(gs, 0.025)), max(e.G, stats.Quantile(gs, 0.975))
	for _, d := range delays {
		if d < e.DelayLow || d > e.DelayHigh || f.rss(e.Shape, d, e.Tau) > e.RSS*(1+3.84/f.independentOnce(e, r)) {
			continue
		}
		f.columns(e.Shape, d, e.Tau)
		_, g, _, _ := f.normal()
		e.GLow, e.GHigh = min(e.GLow, g), max(e.GHigh, g)
	}
	f.columns(e.Shape, e.Delay, e.Tau)
}

func (f *fitter) independentOnce(e *Estimate, r []float64) float64 {
	var a, b float64
	for i := 1; i < len(r); i++ {
		a += float64(r[i] * r[i-1])
		b += float64(r[i] * r[i])
	}
	rho := 0.0
	if b > 0 {
		rho = min(max(a/b, 0), 0.95)
	}
	return max(4, float64(len(r))*(1-rho)/(1+rho))
}
