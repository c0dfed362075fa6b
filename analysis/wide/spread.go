package wide

import (
	"slices"

	"pushback/analysis/recent"
)

// interval is the middle distance between the readings in [from, to], s; 0 where it cannot be told.
func interval(s *recent.Series, from, to float64) float64 {
	var d []float64
	for i := s.From(from) + 1; i < s.Len() && s.At(i).T() <= to; i++ {
		d = append(d, s.At(i).T()-s.At(i-1).T())
	}
	return median(d)
}

// refresh is the middle distance between changes of the value in [from, to], s: what the computer tells
// is not newer than that. 0 where it cannot be told.
func refresh(s *recent.Series, from, to float64) float64 {
	var d []float64
	last := -1.0
	for i := s.From(from) + 1; i < s.Len() && s.At(i).T() <= to; i++ {
		if s.At(i).V != s.At(i-1).V {
			if t := s.At(i).T(); last >= 0 {
				d = append(d, t-last)
				last = t
			} else {
				last = t
			}
		}
	}
	return median(d)
}

// median sorts v and returns its middle; 0 of none.
func median(v []float64) float64 {
	slices.Sort(v)
	return middleOf(v)
}

// spread is a robust standard deviation about the middle: 1.4826 times the median distance (the
// factor for a normal law; Rousseeuw and Croux, J. Am. Stat. Assoc. 88, 1993). It sorts v.
func spread(v []float64) (middle, sd float64) {
	middle = median(v)
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = max(x-middle, middle-x)
	}
	return middle, 1.4826 * median(d)
}
