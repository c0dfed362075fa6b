package wide

import "math"

// smoothed is what a value that is told in whole counts was, as far as its readings say: counts are an error of the regressor, and
// least squares on it draws the gain towards zero (the more, the more of its readings are weighed against one another). The value is
// taken as what a PI loop makes of its error, which is read too (nil: it is not), and a straight line whose slope wanders, read with the error that rounding makes, a twelfth of a count squared, once for all
// readings in a row that tell the same; how much it wanders, and both parts of the loop, are by the greatest likelihood. Without these a smoother takes
// the steps of a quick loop for counts. Filter and smoother are those of Kalman (J. Basic Eng. 82, 1960) and of Rauch, Tung and
// Striebel (AIAA J. 3, 1965). Times in s, in order.
func smoothed(t, v, off []float64, count float64) []float64 {
	if len(v) < 4 {
		return v
	}
	noise := make([]float64, len(v))
	for i, j := 0, 0; i < len(v); i = j {
		for j = i + 1; j < len(v) && v[j] == v[i]; j++ {
		}
		for m := i; m < j; m++ {
			noise[m] = count * count / 12 * float64(j-i)
		}
	}
	var k trend
	l := newLoopPart(t, v, off)
	rate, most := 0.0, math.Inf(-1)
	for _, r := range slopeRates {
		if lik := l.fit(&k, r, noise); lik > most {
			rate, most = r, lik
		}
	}
	l.fit(&k, rate, noise)
	rest := make([]float64, len(v))
	for i := range v {
		rest[i] = v[i] - l.at(i)
	}
	k.filter(t, rest, rate, noise)
	out := k.back(t)
	for i := range out {
		out[i] += l.at(i)
	}
	return out
}

// loopPart is what a PI loop makes of the error that it reads.
type loopPart struct {
	t, v, off, sum []float64 // what it makes, the error and its sum over time
	kp, ki         float64
	white          [3][]float64 // v, off and sum
}

func newLoopPart(t, v, off []float64) *loopPart {
	l := &loopPart{t: t, v: v, off: off}
	for i := range l.white {
		l.white[i] = make([]float64, len(v))
	}
	if off != nil {
		l.sum = make([]float64, len(v))
		for i := 1; i < len(v); i++ {
			l.sum[i] = l.sum[i-1] + float64((off[i]+off[i-1])/2*(t[i]-t[i-1]))
		}
	}
	return l
}

// fit finds both parts by generalized least squares beside what wanders at that rate, and returns the logarithm of the likelihood.
// No loop takes more than an error at once or in a second: that counts as one more reading each.
func (l *loopPart) fit(k *trend, rate float64, noise []float64) float64 {
	lik := k.filter(l.t, l.v, rate, noise)
	if l.off == nil {
		return lik
	}
	copy(l.white[0], k.white)
	for i, v := range [][]float64{l.off, l.sum} {
		k.filter(l.t, v, rate, noise)
		copy(l.white[i+1], k.white)
	}
	v, p, i := l.white[0], l.white[1], l.white[2]
	pp, pi, ii, pv, iv := dot(p, p)+1, dot(p, i), dot(i, i)+1, dot(p, v), dot(i, v)
	det := float64(pp*ii) - float64(pi*pi)
	l.kp = (float64(pv*ii) - float64(iv*pi)) / det
	l.ki = (float64(iv*pp) - float64(pv*pi)) / det
	return lik + float64(l.kp*pv)/2 + float64(l.ki*iv)/2
}

// at is the loop's part of the i-th reading.
func (l *loopPart) at(i int) float64 {
	if l.off == nil {
		return 0
	}
	return float64(l.kp*l.off[i]) + float64(l.ki*l.sum[i])
}

// slopeRates are the spreads of the slope that are tried, 1/s in one second: from trim at rest to a loop that steps.
var slopeRates = []float64{3e-4, 1e-3, 3e-3, 1e-2, 3e-2, 1e-1}

// trend is a level and its slope, before and after each reading, with their covariances, and what was new in each reading, in its
// standard deviations (of the first two nothing).
type trend struct {
	before, after []moment
	white         []float64
}

type moment struct{ level, slope, ll, ls, ss float64 }

// filter goes through the readings and returns the logarithm of their likelihood, but for a constant.
func (k *trend) filter(t, v []float64, rate float64, noise []float64) (logLik float64) {
	k.before, k.after, k.white = k.before[:0], k.after[:0], k.white[:0]
	x := moment{level: v[0], ll: 1, ss: 1e-2}
	for i := range v {
		if i > 0 {
			x = x.ahead(t[i]-t[i-1], rate)
		}
		k.before = append(k.before, x)
		s := x.ll + noise[i]
		d, white := v[i]-x.level, 0.0
		if i > 1 {
			white = d / math.Sqrt(s)
			logLik -= (float64(white*white) + math.Log(s)) / 2
		}
		k.white = append(k.white, white)
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
