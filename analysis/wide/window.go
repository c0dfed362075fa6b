package wide

import (
	"math"
	"slices"
)

// window keeps the middle and the spread of what a reading of the ratio was worth in the seconds before a flank's own
// time, in order of size, so that a new reading costs one insertion and no sorting.
type window struct {
	values []float64 // of the readings, the oldest first
	sorted []float64
	first  int // the oldest one's place among all readings of the ratio
	kept   facts
	whole  bool // no value can change any more
}

// facts are what the worth of an old reading depends on beside itself.
type facts struct{ fed, long, command bool }

// slide moves the window to the readings from 'past' to 'gap' seconds before t.
func (x *window) slide(w *Watcher, t, past, gap float64) {
	s := &w.own.lambda
	dropped := s.Gone()
	now := facts{w.fed, w.own.long.Len() > 0, w.command.Len() > 0}
	if !x.whole || x.kept != now || x.first < dropped {
		from := max(0, s.From(t-past)-1) // by a hair it may still count
		*x = window{values: x.values[:0], sorted: x.sorted[:0], first: dropped + from, kept: now, whole: true}
	}
	for len(x.values) > 0 && t-s.At(x.first-dropped).T() > past {
		i, _ := slices.BinarySearch(x.sorted, x.values[0])
		x.sorted = slices.Delete(x.sorted, i, i+1)
		x.values = x.values[1:]
		x.first++
	}
	last, _ := w.own.trim.Last()
	for i := x.first - dropped + len(x.values); i < s.Len(); i++ {
		r := s.At(i)
		age := t - r.T()
		if age < gap {
			break
		}
		if age > past { // nothing is kept from before a pause
			x.first++
			continue
		}
		x.whole = x.whole && last.T() >= r.T()-usualDelay
		v := w.disturbance(r)
		at, _ := slices.BinarySearch(x.sorted, v)
		x.sorted = slices.Insert(x.sorted, at, v)
		x.values = append(x.values, v)
	}
}

func (x *window) middle() float64 { return middleOf(x.sorted) }

// spread is the robust standard deviation about the middle, as [spread] has it: the distances to both sides are in order
// already, so they are joined until the middle one.
func (x *window) spread() float64 {
	v, m := x.sorted, x.middle()
	n := len(v)
	if n == 0 {
		return 0
	}
	hi, _ := slices.BinarySearch(v, m)
	lo := hi - 1
	var before, d float64
	for range n/2 + 1 {
		before = d
		if hi == n || lo >= 0 && m-v[lo] <= v[hi]-m {
			d = m - v[lo]
			lo--
		} else {
			d = v[hi] - m
			hi++
		}
	}
	if n%2 == 0 {
		d = (before + d) / 2
	}
	return 1.4826 * d
}

// middleOf is the median of what is in order; 0 of none.
func middleOf(v []float64) float64 {
	n := len(v)
	switch {
	case n == 0:
		return 0
	case n%2 == 0:
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[n/2]
}

func abs(x float64) float64 { return max(x, -x) }

// perSecond is how many readings that do not repeat one another's noise a second has at the most: an engine's own is alike for about 0.3 s
// (common practice, no source).
const perSecond = 3

// spreadOfMeans is what means of a second spread by themselves: of what the values spread, that which they differ by from one third of
// a second to the next averages out (the mean square successive difference: J. von Neumann, Ann. Math. Stat. 12, 1941), robustly as
// [spread] is; a target that swings, or a loop that hunts, does not.
func (x *window) spreadOfMeans() float64 {
	rate := float64(len(x.values)) / (stepPast - stepGap)
	far := max(1, int(math.Round(rate/perSecond)))
	var d []float64
	for i := far; i < len(x.values); i++ {
		d = append(d, abs(x.values[i]-x.values[i-far]))
	}
	whole := x.spread()
	fast := min(1.4826*median(d)/math.Sqrt2, whole)
	return math.Sqrt(whole*whole - fast*fast + fast*fast/max(1, min(rate, perSecond)))
}
