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
			k := 1 / (e.variance() + between)
			sum, weight, squares = sum+float64(k*e.G), weight+k, squares+float64(k*k)
		}
		g = sum / weight
		return squares
	}
	between := 0.0
	if squares, n := mean(0), float64(len(all)); n > 1 {
		q := 0.0
		for _, e := range all {
			q += (e.G - g) * (e.G - g) / e.variance()
		}
		between = (q - (n - 1)) / (weight - squares/weight)
	}
	mean(max(between, apart*apart))
	half := 1.96 * math.Sqrt(1/weight+alike*alike)
	return g, g - half, g + half
}

// Standard deviations of the gain by what the model leaves out: of one force, at the least, and of all forces of a car alike. They were
// chosen so that the intervals hold on loops of other kinds than the model's; see TestGainHolds.
const (
	apart = 0.12
	alike = 0.12
)

// variance of the gain by its own interval, 3.92 standard deviations wide.
func (e *Estimate) variance() float64 {
	sd := max((e.GHigh-e.GLow)/3.92, 0.01)
	return sd * sd
}
