package stats

import "math"

// Hinge is a line that is level until Onset and then rises or falls.
type Hinge struct {
	Onset, Low, High float64 // s; the interval holds the onset with the confidence asked
	Level            float64
	Slope            float64 // per s
}

// FitHinge fits y = level + slope·max(0, t − onset) by least squares, the onset between
// from and to, by search over a grid of 1/200 of that span; t ascends. The interval holds all
// onsets whose sum of squares an F test at the given confidence does not refuse (D. V.
// Hinkley, Inference in two-phase regression, Journal of the American Statistical
// Association 66, 1971). least is a variance that the readings have in any case, as by their whole
// counts. Errors that lean as the one before are worth fewer readings: n·(1−ρ)/(1+ρ) of a first-order
// autoregression (M. S. Bartlett, Some aspects of the time-correlation problem, Journal of the Royal
// Statistical Society 98, 1935).
//
// Special cases are: fewer than four readings, and an empty span, are not ok; a level series has a slope of 0 and an
// onset that may lie anywhere.
func FitHinge(t, y []float64, from, to, confidence, least float64) (h Hinge, ok bool) {
	n := len(t)
	if n < 4 || !(to > from) {
		return h, false
	}
	const steps = 200
	var sums [steps + 1]float64
	best := -1
	at := func(i int) float64 { return from + (to-from)*float64(i)/steps }
	for i := range sums {
		level, slope, sum := hingeAt(t, y, at(i))
		sums[i] = sum
		if best < 0 || sum < sums[best] {
			best = i
			h.Onset, h.Level, h.Slope = at(i), level, slope
		}
	}
	repeated := h.repeated(t, y)
	q := StudentQuantile((1+confidence)/2, max(1, float64(n)/repeated-3)) // F with 1 and df degrees is the square of t
	limit := sums[best] + q*q*max(sums[best]/float64(n-3), least)*repeated
	low, high := best, best
	for i := range sums {
		if sums[i] <= limit {
			low, high = min(low, i), max(high, i)
		}
	}
	h.Low, h.High = at(low), at(high)
	return h, true
}

// repeated is how many readings whose errors are like the one before are worth one that stands alone: 1 where they are not alike.
// That likeness is told too small by (2+4ρ)/n beside a level and a slope (F. H. C. Marriott and J. A. Pope, Bias in the
// estimation of autocorrelations, Biometrika 41, 1954).
func (h Hinge) repeated(t, y []float64) float64 {
	var square, product, last float64
	for i := range t {
		e := y[i] - h.Level - h.Slope*math.Max(0, t[i]-h.Onset)
		square, product, last = square+e*e, product+e*last, e
	}
	if product <= 0 {
		return 1
	}
	rho := product / square
	rho = min(rho+(2+4*rho)/float64(len(t)), 0.95)
	return (1 + rho) / (1 - rho)
}

// hingeAt fits level and slope for a known onset; sum is the sum of squares left.
func hingeAt(t, y []float64, onset float64) (level, slope, sum float64) {
	n := float64(len(t))
	var sx, sy, sxx, sxy float64
	for i := range t {
		x := math.Max(0, t[i]-onset)
		sx, sy, sxx, sxy = sx+x, sy+y[i], sxx+x*x, sxy+x*y[i]
	}
	if d := n*sxx - sx*sx; d > 1e-12 {
		slope = (n*sxy - sx*sy) / d
	}
	level = (sy - slope*sx) / n
	for i := range t {
		e := y[i] - level - slope*math.Max(0, t[i]-onset)
		sum += e * e
	}
	return level, slope, sum
}
