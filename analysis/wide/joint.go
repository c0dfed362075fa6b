package wide

import "math"

// joined is the gain of the ring by all forces that tell it, with a 95 % interval. Forces differ by more than their own intervals
// say, since each has its own flow of gas, purge and wall of fuel: what they differ by adds to the variance of each (R. DerSimonian
// and N. Laird, Control. Clin. Trials 7, 1986). What the model leaves out of every force alike no number of forces shows: alike.
func joined(all []Estimate) (g, low, high float64) {
	if len(all) == 0 {
		return 0, math.Inf(-1), math.Inf(1)
	}
	var weight float64
	mean := func(between float64) (squares float64) {
		var sum float64
		weight = 0
		for _, e := range all {
			k := 1 / (e.whole() + between)
			sum, weight, squares = sum+float64(k*e.G), weight+k, squares+float64(k*k)
		}
		g = sum / weight
		return squares
	}
	between := 0.0
	if squares, n := mean(0), float64(len(all)); n > 1 {
		q := 0.0
		for _, e := range all {
			q += (e.G - g) * (e.G - g) / e.whole()
		}
		between = (q - (n - 1)) / (weight - squares/weight)
	}
	mean(max(between, apart*apart))
	half := 1.96 * math.Sqrt(1/weight+alike*alike)
	return g, g - half, g + half
}

// Standard deviations of the gain by what the model leaves out: of one force, at the least, of all forces of a car alike, and of one
// force by that share of what its fit leaves that fades, in parts of what was fed: it lasts as long as a flank does, so more readings
// do not make it less (M. C. Kennedy and A. O'Hagan, J. R. Stat. Soc. B 63, 2001: discrepancy). They were chosen so that the intervals hold on loops of
// other kinds than the model's; see TestGainHolds.
const (
	apart = 0.12
	alike = 0.10
	unfit = 1.3
)

// variance of the gain by its own interval, 3.92 standard deviations wide.
func (e *Estimate) variance() float64 {
	sd := max((e.GHigh-e.GLow)/3.92, 0.01)
	return sd * sd
}

// whole is that with what the model leaves out of this force.
func (e *Estimate) whole() float64 {
	left := unfit * e.Noise * math.Sqrt(e.Share) / max(abs(e.P), 0.01)
	return e.variance() + left*left
}

// lagging is the sensor's lag by all forces that tell it, s, with a 95 % interval: the mean of the logarithms by their intervals, which
// is widened where they differ by more than these say (R. T. Birge, Phys. Rev. 40, 1932). An interval's ends count as much as its best
// value, since the likelihood is not even; one that reaches to the end of what is sought is open there.
func lagging(all []Estimate) (tau, low, high float64) {
	var sum, weight, off float64
	centre := func(e *Estimate) float64 { return (math.Log(e.TauLow) + 2*math.Log(e.Tau) + math.Log(e.TauHigh)) / 4 }
	weigh := func(e *Estimate) float64 {
		sd := max(math.Log(e.TauHigh/e.TauLow)/3.92, 0.1)
		if e.TauHigh > 0.99*mostTau {
			sd = max(sd, 0.4)
		}
		return 1 / (sd * sd)
	}
	for i := range all {
		w := weigh(&all[i])
		sum, weight = sum+float64(w*centre(&all[i])), weight+w
	}
	m := sum / weight
	for i := range all {
		d := centre(&all[i]) - m
		off += float64(weigh(&all[i]) * d * d)
	}
	half := 1.96 * math.Sqrt(max(1, off/max(1, float64(len(all)-1)))/weight)
	return math.Exp(m), max(leastTau, math.Exp(m-half)), min(mostTau, math.Exp(m+half))
}
