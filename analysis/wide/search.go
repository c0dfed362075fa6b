package wide

import "math"

// start looks for where the search is to begin.
func (f *fitter) start() point {
	v := [params]float64{f.near.Begin, math.Log(f.near.On), f.near.End, math.Log(f.near.Off), 0.4, math.Log(0.12)}
	best := f.at(v)
	try := func(v [params]float64) {
		if x := f.at(v); x.rss < best.rss {
			best = x
		}
	}
	for _, delay := range []float64{0.3, 0.6, 1} {
		for _, on := range []float64{0.4, 1.2, 3} {
			for _, d := range []float64{-2, -1.2, -0.6, -0.2, 0.2, 0.6} {
				x := v
				x[atBegin], x[atOn], x[atDelay] = v[atBegin]+d, math.Log(on), delay
				try(x)
			}
		}
	}
	if !f.ended {
		return best
	}
	v = best.v
	for _, off := range []float64{0.4, 1.2, 3} {
		for _, d := range []float64{-2, -1.2, -0.6, -0.2, 0.2, 0.6} {
			x := v
			x[atEnd], x[atOff] = v[atEnd]+d, math.Log(off)
			try(x)
		}
	}
	return best
}

// clip holds a point within what can be.
func (f *fitter) clip(v [params]float64) [params]float64 {
	hold := func(i int, lo, hi float64) { v[i] = min(max(v[i], lo), hi) }
	hold(atBegin, f.near.Begin-5, f.near.Begin+3)
	hold(atEnd, max(f.near.End-5, v[atBegin]+1), f.near.End+3)
	hold(atOn, math.Log(leastRamp), math.Log(mostRamp))
	hold(atOff, math.Log(leastRamp), math.Log(mostRamp))
	hold(atDelay, leastDelay, mostDelay)
	hold(atTau, math.Log(leastTau), math.Log(mostTau))
	return v
}

// Distances over which slopes are taken: s, and parts of a span.
var slopeOver = [params]float64{0.02, 0.02, 0.02, 0.02, 0.02, 0.02}

// improve goes downhill from a point by the method of Levenberg (Q. Appl. Math. 2, 1944) and Marquardt (J. SIAM 11, 1963)
// in so many steps at the most; the linear part is solved anew at each point (Golub and Pereyra, SIAM J. Numer. Anal. 10, 1973).
// The parameter 'held' stays, −1: none.
func (f *fitter) improve(x point, steps, held int) point {
	damp := 1e-2
	for range steps {
		x = f.at(x.v)
		base := append([]float64(nil), f.r...)
		use := make([]int, 0, params)
		for i := range params {
			if i == held || !f.ended && (i == atEnd || i == atOff) {
				continue
			}
			v := x.v
			v[i] += slopeOver[i]
			f.at(v)
			for k := range base {
				f.jac[i][k] = (f.r[k] - base[k]) / slopeOver[i]
			}
			use = append(use, i)
		}
		var a [rows][rows]float64
		var b [rows]float64
		for m, i := range use {
			for k := range base {
				b[m] -= float64(f.jac[i][k] * base[k])
			}
			for n, j := range use[:m+1] {
				for k := range base {
					a[m][n] += float64(f.jac[i][k] * f.jac[j][k])
				}
				a[n][m] = a[m][n]
			}
		}
		was := x.rss
		for range 6 {
			h := a
			for m := range use {
				h[m][m] += float64(damp*a[m][m]) + 1e-12
			}
			d := solve(&h, b, len(use))
			v := x.v
			for m, i := range use {
				v[i] += min(max(d[m], -1.5), 1.5)
			}
			if y := f.at(f.clip(v)); y.rss < x.rss {
				x = y
				damp = max(damp/5, 1e-6)
				break
			}
			damp *= 6
		}
		if was-x.rss < 1e-4*was {
			break
		}
	}
	return x
}

// solve solves a·d = b for the first n rows by Gauss's elimination; a is symmetric and positive, and is spent.
func solve(a *[rows][rows]float64, b [rows]float64, n int) (d [rows]float64) {
	for i := range n {
		for k := i + 1; k < n; k++ {
			q := a[k][i] / a[i][i]
			for j := i; j < n; j++ {
				a[k][j] -= float64(q * a[i][j])
			}
			b[k] -= float64(q * b[i])
		}
	}
	for i := n - 1; i >= 0; i-- {
		d[i] = b[i]
		for j := i + 1; j < n; j++ {
			d[i] -= float64(a[i][j] * d[j])
		}
		d[i] /= a[i][i]
	}
	return d
}

// likely is how much twice the logarithm of the likelihood may lose within an interval: χ² of one degree at 95 %, times what makes
// the intervals hold on simulated cars, whose engines wander, draw purge and wet their walls as the model does not: overstates.
const (
	likely     = 3.841459 * overstates
	overstates = 3
)

// over is how far a point lies outside an interval about the best one.
func (f *fitter) over(x, best point) float64 {
	return float64(len(f.y))*math.Log((x.rss+1e-12)/(best.rss+1e-12)) - likely
}

// profiles sets the intervals of delay and lag: all the rest is fitted again to each value that is tried.
func (f *fitter) profiles(best point, e *Estimate) {
	side := func(i int, step, to float64) float64 {
		last := best
		return bound(best.v[i], step, to, func(v float64) float64 {
			x := last
			x.v[i] = v
			x = f.improve(x, 3, i)
			over := f.over(x, best)
			if over < 0 {
				last = x
			}
			return over
		})
	}
	e.DelayLow, e.DelayHigh = side(atDelay, -0.05, leastDelay), side(atDelay, 0.05, mostDelay)
	e.TauLow, e.TauHigh = math.Exp(side(atTau, -0.2, math.Log(leastTau))), math.Exp(side(atTau, 0.2, math.Log(mostTau)))
}

// gainProfile sets the interval of the gain in the same way.
func (f *fitter) gainProfile(best point, e *Estimate) {
	f.fixed = true
	gain := func(step, to float64) float64 {
		last := best
		return bound(best.g, step, to, func(g float64) float64 {
			f.fixedG = g
			x := f.improve(last, 3, -1)
			over := f.over(x, best)
			if over < 0 {
				last = x
			}
			return over
		})
	}
	e.GLow, e.GHigh = gain(-0.05, min(-2, best.g-2)), gain(0.05, max(4, best.g+2))
	f.fixed = false
}

// bound goes from x by growing steps until 'over' is above zero, and finds where between; at the most to 'to'.
func bound(x, step, to float64, over func(float64) float64) float64 {
	in, out := x, x
	for k := 0; ; k++ {
		out = in + step
		if (out-to)*step >= 0 {
			out = to
		}
		if over(out) > 0 {
			break
		}
		if out == to {
			return to
		}
		in, step = out, step*1.8
	}
	for range 5 {
		m := (in + out) / 2
		if over(m) > 0 {
			out = m
		} else {
			in = m
		}
	}
	return (in + out) / 2
}
