package wide

import "math"

// smoothed is what a value that is told in whole counts was, as far as its readings say: counts are an error of the regressor, and
// least squares on it draws the gain towards zero (the more, the more of its readings are weighed against one another). The value is
// taken as a straight line whose slope wanders, read with the error that rounding makes, a twelfth of a count squared, once for all
// readings in a row that tell the same; how much it wanders is by the greatest likelihood. Filter and smoother are those of Kalman (J. Basic Eng. 82, 1960) and of Rauch, Tung and
// Striebel (AIAA J. 3, 1965). Times in s, in order.
func smoothed(t, v []float64, count float64) []float64 {
	if len(v) < 4 {
		return v
	}
	best, most := 0.0, math.Inf(-1)
	noise := make([]float64, len(v))
	for i, j := 0, 0; i < len(v); i = j {
		for j = i + 1; j < len(v) && v[j] == v[i]; j++ {
		}
		for m := i; m < j; m++ {
			noise[m] = count * count / 12 * float64(j-i)
		}
	}
	var k trend
	for _, rate := range slopeRates {
		if l := k.filter(t, v, rate, noise); l > most {
			best, most = rate, l
		}
	}
	k.filter(t, v, best, noise)
	return k.back(t)
}

// slopeRates are the spreads of the slope that are tried, 1/s in one second: from trim at rest to a loop that steps.
var slopeRates = []float64{3e-4, 1e-3, 3e-3, 1e-2, 3e-2, 1e-1}

// trend is a level and its slope, before and after each reading, with their covariances.
type trend struct{ before, after []moment }

type moment struct{ level, slope, ll, ls, ss float64 }

// filter goes through the readings and returns the logarithm of their likelihood, but for a constant.
func (k *trend) filter(t, v []float64, rate float64, noise []float64) (logLik float64) {
	k.before, k.after = k.before[:0], k.after[:0]
	x := moment{level: v[0], ll: 1, ss: 1e-2}
	for i := range v {
		if i > 0 {
			x = x.ahead(t[i]-t[i-1], rate)
		}
		k.before = append(k.before, x)
		s := x.ll + noise[i]
		d := v[i] - x.level
		if i > 1 {
			logLik -= (float64(d*d)/s + math.Log(s)) / 2
		}
		a, b := x.ll/s, x.ls/s
		x = moment{x.level + float64(a*d), x.slope + float64(b*d), x.ll - float64(a*x.ll), x.ls - float64(a*x.ls), x.ss - float64(b*x.ls)}
		k.after = append(k.after, x)
	}
	return logLik
}

// ahead is the state dt seconds later.
func (x moment) ahead(dt, rate float64) moment {
	dt = max(dt, 1e-3)
	q := rate * rate
	return moment{
		x.level + float64(x.slope*dt), x.slope,
		x.ll + float64(2*dt*x.ls) + float64(dt*dt*x.ss) + float64(q*dt*dt*dt)/3,
		x.ls + float64(dt*x.ss) + float64(q*dt*dt)/2,
		x.ss + float64(q*dt),
	}
}

// back goes backwards through what was filtered and returns the levels.
func (k *trend) back(t []float64) []float64 {
	n := len(k.after)
	out := make([]float64, n)
	x := k.after[n-1]
	out[n-1] = x.level
	for i := n - 2; i >= 0; i-- {
		a, b := k.after[i], k.before[i+1]
		dt := max(t[i+1]-t[i], 1e-3)
		// The gain of the smoother is the covariance of this state with the next one, over the next one's.
		det := float64(b.ll*b.ss) - float64(b.ls*b.ls)
		c00, c01 := a.ll+float64(a.ls*dt), a.ls
		c10, c11 := a.ls+float64(a.ss*dt), a.ss
		g00, g01 := (float64(c00*b.ss)-float64(c01*b.ls))/det, (float64(c01*b.ll)-float64(c00*b.ls))/det
		g10, g11 := (float64(c10*b.ss)-float64(c11*b.ls))/det, (float64(c11*b.ll)-float64(c10*b.ls))/det
		dl, ds := x.level-b.level, x.slope-b.slope
		x.level, x.slope = a.level+float64(g00*dl)+float64(g01*ds), a.slope+float64(g10*dl)+float64(g11*ds)
		out[i] = x.level
	}
	return out
}

// project puts in place of trim what of it answers the disturbance: a few lags of its shape, the same for both flanks, and of what is
// purged, by least squares. The rest of trim answers the loop's own noise and has the count's error; as a regressor it would draw the gain to what the
// loop makes of its noise. It is two-stage least squares with the disturbance as the instrument, for closed loops: T. Söderström and
// P. Stoica, Instrumental Variable Methods for System Identification, 1983. What is fed forward is known, and stays.
func (f *fitter) project(x *point) {
	s := x.shape()
	vapour := f.vapourLagged()
	n := len(loopLags) + 1 + len(vapour)
	var a [rows][rows]float64
	var b, c [rows]float64
	column := func(i int) {
		c[0] = 1
		for k, lag := range loopLags {
			c[k+1] = f.seen(&s, f.from+float64(i)*fineStep, lag)
		}
		for k, v := range vapour {
			c[k+1+len(loopLags)] = v[i]
		}
	}
	for i, u := range f.told {
		if f.from+float64(i)*fineStep < f.t[0] {
			continue
		}
		column(i)
		for k := range n {
			b[k] += float64(c[k] * (u - f.ahead[i]))
			for m := range n {
				a[k][m] += float64(c[k] * c[m])
			}
		}
	}
	for k := range n {
		a[k][k] += 1e-6
	}
	d := solve(&a, b, n)
	for i := range f.u {
		column(i)
		f.u[i] = f.ahead[i]
		for k := range n {
			f.u[i] += float64(d[k] * c[k])
		}
	}
	f.laggedBy = -1
}

// vapourLagged is what is purged at the points of u through the lags of a loop.
func (f *fitter) vapourLagged() [][]float64 {
	if f.purged == nil {
		return nil
	}
	out := make([][]float64, len(loopLags))
	for k, lag := range loopLags {
		out[k] = make([]float64, len(f.u))
		j, v, fades := 0, f.purged[0], math.Exp(-fineStep/lag)
		for i := range f.u {
			for j < len(f.t)-1 && f.t[j+1] <= f.from+float64(i)*fineStep {
				j++
			}
			v = f.purged[j] + (v-f.purged[j])*fades
			out[k][i] = v
		}
	}
	return out
}

// loopLags are lags of a loop that answers, s: from one that follows at once to a learned trim.
var loopLags = []float64{1, 3, 9}
