// Package compare says whether fuel trim is better, worse or no different after a
// repair, under the same conditions. It never calls noise a repair: readings of one
// recording follow each other, and recordings of one unchanged car differ from day to
// day, so both go into the intervals, and many conditions are looked at together at one
// level.
package compare

import (
	"cmp"
	"math"
	"slices"

	"pushback/analysis/reason"
	"pushback/analysis/stats"
	"pushback/analysis/trimmap"
)

// Answer is what a comparison comes to.
type Answer string

const (
	Better        Answer = "better" // total trim is nearer to zero
	Worse         Answer = "worse"
	NoDifference  Answer = "no_difference_shown"
	NotComparable Answer = "not_comparable"
)

// betweenRecordings is how much the mean total trim of one unchanged car differs from recording to
// recording, as a standard deviation in %. It was worked out from 9 recordings of one real
// car (1.98 %) and tried on 17 others of it: of 83 pairs none was called better or worse, 2
// were called moved; the other way round 2.27 % and none of 18 pairs (TestRealCarUnchanged).
// For any other car it remains a guess.
const betweenRecordings = 2.0

const (
	level     = 0.05 // of false answers, for all conditions together
	resamples = 500
	blockTime = 20.0 // s that a block spans at least: several cycles of the loop
	fewest    = 15   // readings, at most one a second, that a condition needs on each side
	hot       = 80.0 // °C: below, a warm engine is still warming
)

// Condition is what must be the same before and after.
type Condition struct {
	Bank int
	trimmap.CellAt
	Warming bool // coolant below 80 °C
}

// Half is one side of a condition.
type Half struct {
	Count   int // readings, at most one a second
	Mean    float64
	SE      float64 // by block bootstrap within the recordings
	Blocks  float64 // that the readings of this condition fill
	samples []float64
}

// Change is one condition before and after. The intervals are of 95 % for this
// condition alone; Answer is at 5 % for all conditions together.
type Change struct {
	Condition
	Before, After Half
	Diff          trimmap.Interval // %, after less before
	Nearer        trimmap.Interval // %, distance from zero, after less before: negative is better
	Answer        Answer
	Shifted       bool // Diff is not zero, at 5 % for all together

	se, df float64
}

// Result is a comparison of trims.
type Result struct {
	Answer  Answer
	Why     reason.Reason
	Cells   []Change // matched conditions
	Overall *Change  // weighted mean of all matched conditions; nil: none matched
	Shifted bool     // trims moved, whether nearer to zero or not
	// Matched is the share of readings, before and after, that lie in matched conditions.
	Matched [2]float64
}

// Trims compares the trims of recordings before with those after.
//
// Special cases are: a side without readings, or none under a condition that the other has too, is
// [NotComparable], with Overall nil; cells that answer against each other leave it to the mean over
// all of them; trims that moved to the other side of zero by as much are [NoDifference] and Shifted.
func Trims(before, after []trimmap.Readings) Result { return trims(before, after, betweenRecordings) }

func trims(before, after []trimmap.Readings, between float64) Result {
	b, nb := side(before, 1)
	a, na := side(after, 2)
	apart := between * between * (1/float64(len(before)) + 1/float64(len(after)))
	var r Result
	var matched [2]int
	for c, hb := range b {
		ha, ok := a[c]
		if !ok || hb.Count < fewest || ha.Count < fewest {
			continue
		}
		r.Cells = append(r.Cells, change(c, hb, ha, apart))
		matched[0] += hb.Count
		matched[1] += ha.Count
	}
	r.Matched = [2]float64{float64(matched[0]) / float64(max(nb, 1)), float64(matched[1]) / float64(max(na, 1))}
	slices.SortStableFunc(r.Cells, func(x, y Change) int {
		return cmp.Or(cmp.Compare(x.Bank, y.Bank), cmp.Compare(x.Speed, y.Speed), cmp.Compare(x.Load, y.Load), order(x.Warming, y.Warming))
	})
	switch {
	case nb == 0 || na == 0:
		r.Answer, r.Why = NotComparable, reason.SideWithoutTrims.Of()
		return r
	case len(r.Cells) == 0:
		r.Answer, r.Why = NotComparable, reason.NoMatch.Of()
		return r
	}
	all := overall(r.Cells, apart)
	decide(append(pointers(r.Cells), &all))
	r.Overall = &all
	r.Answer, r.Why, r.Shifted = conclude(r.Cells, all)
	return r
}

func order(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

func pointers(c []Change) []*Change {
	out := make([]*Change, len(c))
	for i := range c {
		out[i] = &c[i]
	}
	return out
}

// side gathers the conditions of one side's recordings, and how many readings it has.
func side(sessions []trimmap.Readings, seed uint64) (map[Condition]Half, int) {
	out := map[Condition]Half{}
	total := 0
	for n, readings := range sessions {
		for bank := 1; bank <= 4; bank++ {
			at, y, seconds := perSecond(readings, bank)
			if len(y) == 0 {
				continue
			}
			total += len(y)
			index := map[Condition]int{}
			var names []Condition
			group := make([]int, len(y))
			for i, c := range at {
				g, ok := index[c]
				if !ok {
					g = len(names)
					index[c], names = g, append(names, c)
				}
				group[i] = g
			}
			rate := float64(len(y)) / max(seconds, 1)
			block := max(int(math.Ceil(math.Cbrt(float64(len(y))))), int(math.Ceil(rate*blockTime)))
			block = max(min(block, len(y)/2), 1)
			means := stats.BlockMeans(group, y, len(names), block, resamples, seed<<32+uint64(n)<<8+uint64(bank))
			for g, c := range names {
				h := Half{samples: make([]float64, resamples)}
				for i, v := range y {
					if group[i] == g {
						h.Count++
						h.Mean += v
					}
				}
				h.Mean /= float64(h.Count)
				for t := range means {
					h.samples[t] = means[t][g]
				}
				h.Blocks = max(float64(h.Count)/float64(block), 1)
				out[c] = join(out[c], h)
			}
		}
	}
	for c, h := range out {
		h.SE = stats.SD(h.samples)
		out[c] = h
	}
	return out, total
}

// join adds another recording to a half, weighted by readings.
func join(a, b Half) Half {
	if a.Count == 0 {
		return b
	}
	wa, wb := float64(a.Count), float64(b.Count)
	a.Mean = (a.Mean*wa + b.Mean*wb) / (wa + wb)
	for t := range a.samples {
		a.samples[t] = (a.samples[t]*wa + b.samples[t]*wb) / (wa + wb)
	}
	a.Count += b.Count
	a.Blocks += b.Blocks
	return a
}

// perSecond thins a bank's readings to one a second, the mean of those within it that
// share a condition: what is read more often says the same again.
func perSecond(readings trimmap.Readings, bank int) (at []Condition, y []float64, seconds float64) {
	var first, began float64
	var n float64
	for r := range readings {
		cell, ok := trimmap.At(r)
		if r.Bank != bank || !ok {
			continue
		}
		c := Condition{bank, cell, r.Coolant < hot}
		if len(y) == 0 {
			first = r.At
		}
		seconds = r.At - first
		if i := len(y) - 1; i >= 0 && r.At < began+1 && at[i] == c {
			n++
			y[i] += (r.Total() - y[i]) / n
			continue
		}
		began, n = r.At, 1
		at, y = append(at, c), append(y, r.Total())
	}
	return at, y, seconds
}

func change(c Condition, before, after Half, apart float64) Change {
	x := Change{Condition: c, Before: before, After: after}
	x.set(before.SE, after.SE, apart, after.Mean-before.Mean, math.Abs(after.Mean)-math.Abs(before.Mean))
	return x
}

// set works out the intervals: block bootstrap within the recordings, and what
// recordings of an unchanged car differ by (apart, a variance).
func (x *Change) set(seB, seA, apart, diff, nearer float64) {
	v := seB*seB + seA*seA + apart
	x.se = math.Sqrt(v)
	// Welch and Satterthwaite; what recordings differ by counts as known.
	x.df = math.Inf(1)
	if d := sq(seB*seB)/max(x.Before.Blocks-1, 1) + sq(seA*seA)/max(x.After.Blocks-1, 1); d > 0 {
		x.df = max(v*v/d, 1)
	}
	half := stats.StudentQuantile(0.975, x.df) * x.se
	x.Diff = trimmap.Interval{Value: diff, Lo: diff - half, Hi: diff + half}
	x.Nearer = trimmap.Interval{Value: nearer, Lo: nearer - half, Hi: nearer + half}
}

func sq(x float64) float64 { return x * x }

// overall is the mean over the matched conditions, weighted by the smaller half.
func overall(cells []Change, apart float64) Change {
	var x Change
	var w, diff, nearer float64
	sb, sa := make([]float64, resamples), make([]float64, resamples)
	for _, c := range cells {
		k := float64(min(c.Before.Count, c.After.Count))
		w += k
		diff += k * c.Diff.Value
		nearer += k * c.Nearer.Value
		x.Before.Mean += k * c.Before.Mean
		x.After.Mean += k * c.After.Mean
		x.Before.Count += c.Before.Count
		x.After.Count += c.After.Count
		x.Before.Blocks += c.Before.Blocks
		x.After.Blocks += c.After.Blocks
		for t := range sb {
			// A resample that has none of a condition says nothing new of it.
			sb[t] += k * orElse(c.Before.samples[t], c.Before.Mean)
			sa[t] += k * orElse(c.After.samples[t], c.After.Mean)
		}
	}
	for t := range sb {
		sb[t] /= w
		sa[t] /= w
	}
	x.Before.Mean /= w
	x.After.Mean /= w
	x.Before.SE, x.After.SE = stats.SD(sb), stats.SD(sa)
	x.set(x.Before.SE, x.After.SE, apart, diff/w, nearer/w)
	return x
}

func orElse(v, other float64) float64 {
	if math.IsNaN(v) {
		return other
	}
	return v
}

// decide gives each change its answer, at one level for all of them.
func decide(all []*Change) {
	nearer, diff := make([]float64, len(all)), make([]float64, len(all))
	for i, x := range all {
		nearer[i] = stats.StudentP(x.Nearer.Value/x.se, x.df)
		diff[i] = stats.StudentP(x.Diff.Value/x.se, x.df)
	}
	is, moved := stats.Holm(nearer, level), stats.Holm(diff, level)
	for i, x := range all {
		x.Shifted = moved[i]
		switch {
		case !is[i]:
			x.Answer = NoDifference
		case x.Nearer.Value < 0:
			x.Answer = Better
		default:
			x.Answer = Worse
		}
	}
}

func conclude(cells []Change, all Change) (Answer, reason.Reason, bool) {
	better, worse, shifted := 0, 0, all.Shifted
	for _, c := range cells {
		switch c.Answer {
		case Better:
			better++
		case Worse:
			worse++
		}
		shifted = shifted || c.Shifted
	}
	moved := reason.OnAverage.Of(all.Before.Mean, all.After.Mean, reason.Conditions(len(cells)))
	switch {
	case better > 0 && worse > 0:
		return all.Answer, reason.CloserAndFarther.Of(reason.Conditions(better), reason.Conditions(worse)).Then(moved), shifted
	case better > 0 || all.Answer == Better:
		return Better, reason.TrimNearer.Of().Then(moved), shifted
	case worse > 0 || all.Answer == Worse:
		return Worse, reason.TrimFarther.Of().Then(moved), shifted
	case shifted:
		return NoDifference, reason.TrimMoved.Of().Then(moved).And(reason.NeitherNearer), shifted
	}
	return NoDifference, reason.TrimWent.Of().Then(moved).And(reason.WithinUnchanged, (all.Diff.Hi-all.Diff.Lo)/2), shifted
}
