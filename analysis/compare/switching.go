package compare

import (
	"math"

	"pushback/analysis/stats"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
)

// Differs is the answer for a figure that has no better or worse.
const Differs Answer = "differs"

// Figure is a figure of the sensor's switching before and after. Answer is [Differs],
// [NoDifference] or [NotComparable], at 5 % for all figures together.
type Figure struct {
	Band          string
	What, Unit    string
	Before, After float64          // NaN: not measured
	Diff          trimmap.Interval // after less before, 95 % for this figure alone; NaN where not comparable
	Answer        Answer
}

// fewestBlocks of some 10 s a recording must have of a band: with fewer its spread is not
// known (our own).
const fewestBlocks = 6

// margin is how much a figure may differ before it is said to: one sound sensor differs
// from day to day too, by fuel, load and temperature, and nobody has published by how much
// (our own). A share of the greater value for times and counts.
func margin(f switching.Figure, x Figure) float64 {
	switch f {
	case switching.Lowest, switching.Highest, switching.Mean:
		return 0.05 // V
	case switching.ShareRich:
		return 0.10
	case switching.RiseTime, switching.FallTime:
		return max(0.05, 0.25*max(x.Before, x.After)) // s
	}
	return 0.25 * max(x.Before, x.After)
}

// Switching compares how the sensor switched in two recordings, at each kind of engine
// speed that both have. The intervals hold what a recording scatters within itself; a figure
// differs where it does by more than that and a margin.
func Switching(before, after []switching.SpeedBand) []Figure {
	var out []Figure
	var tested []int
	var p []float64
	for _, b := range before {
		for _, a := range after {
			if a.Name != b.Name {
				continue
			}
			eb, ea := b.Errors(resamples, 1), a.Errors(resamples, 2)
			for _, f := range switching.Figures() {
				x := Figure{Band: b.Name, What: f.String(), Unit: f.Unit(), Before: f.Of(b), After: f.Of(a), Answer: NotComparable}
				nan := math.NaN()
				x.Diff = trimmap.Interval{Value: nan, Lo: nan, Hi: nan}
				vb, va := variance(eb[f], f.Step(b)), variance(ea[f], f.Step(a))
				diff := x.After - x.Before
				if v := vb + va; min(b.Blocks(), a.Blocks()) >= fewestBlocks && v > 0 && !math.IsNaN(diff+v) {
					df := v * v / (vb*vb/float64(b.Blocks()-1) + va*va/float64(a.Blocks()-1)) // Welch and Satterthwaite
					half := stats.StudentQuantile(0.975, df) * math.Sqrt(v)
					x.Diff = trimmap.Interval{Value: diff, Lo: diff - half, Hi: diff + half}
					x.Answer = NoDifference
					tested, p = append(tested, len(out)), append(p, stats.StudentP(max(math.Abs(diff)-margin(f, x), 0)/math.Sqrt(v), df))
				}
				out = append(out, x)
			}
		}
	}
	for i, is := range stats.Holm(p, level) {
		if is {
			out[tested[i]].Answer = Differs
		}
	}
	return out
}

// variance of a figure: what resampling gives, and that of a value rounded to a step.
func variance(se, step float64) float64 { return se*se + step*step/12 }
