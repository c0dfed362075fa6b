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

// fewestEdges transitions a median needs to be steady (our own).
const fewestEdges = 10

// Switching compares how the sensor switched in two recordings, at each kind of engine
// speed that both have. The intervals hold what a recording scatters within itself, and
// not what one sensor differs by from day to day: for that nothing is known.
func Switching(before, after []switching.Band) []Figure {
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
					tested, p = append(tested, len(out)), append(p, stats.StudentP(diff/math.Sqrt(v), df))
				}
				out = append(out, x)
			}
			out = append(out, edges(b.Name, "rise 0.30 to 0.60 V", b.Rise, a.Rise), edges(b.Name, "fall 0.60 to 0.30 V", b.Fall, a.Fall))
		}
	}
	for i, is := range stats.Holm(p, level) {
		if is {
			out[tested[i]].Answer = Differs
		}
	}
	return out
}

// edges compares transitions by their brackets: they differ where the brackets lie apart.
func edges(band, what string, b, a switching.Edge) Figure {
	nan := math.NaN()
	x := Figure{Band: band, What: what, Unit: "s", Before: nan, After: nan, Diff: trimmap.Interval{Value: nan, Lo: nan, Hi: nan}, Answer: NotComparable}
	if b.Shown() {
		x.Before = (b.AtLeast + b.AtMost) / 2
	}
	if a.Shown() {
		x.After = (a.AtLeast + a.AtMost) / 2
	}
	if b.Shown() && a.Shown() && min(b.Count, a.Count) >= fewestEdges {
		x.Diff = trimmap.Interval{Value: x.After - x.Before, Lo: a.AtLeast - b.AtMost, Hi: a.AtMost - b.AtLeast}
		if x.Answer = NoDifference; x.Diff.Sign() != 0 {
			x.Answer = Differs
		}
	}
	return x
}

// variance of a figure: what resampling gives, and that of a value rounded to a step.
func variance(se, step float64) float64 { return se*se + step*step/12 }
