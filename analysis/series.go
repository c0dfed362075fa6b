package analysis

import (
	"math"
	"slices"

	"pushback/analysis/stats"
)

// point is one reading: taken at some moment between lo and hi (s).
type point struct {
	lo, hi, v float64
}

// t is the best single time of the reading.
func (p point) t() float64 { return (p.lo + p.hi) / 2 }

// series keeps the latest readings of one signal in a ring of fixed size, so that
// memory does not grow with the session.
type series struct {
	buf  []point
	head int // index of the oldest
	n    int
}

func newSeries(size int) series { return series{buf: make([]point, size)} }

func (s *series) add(p point) {
	if s.n < len(s.buf) {
		s.buf[(s.head+s.n)%len(s.buf)] = p
		s.n++
		return
	}
	s.buf[s.head] = p
	s.head = (s.head + 1) % len(s.buf)
}

// at returns the i-th reading, 0 the oldest.
func (s *series) at(i int) point {
	if i += s.head; i >= len(s.buf) {
		i -= len(s.buf)
	}
	return s.buf[i]
}

func (s *series) last() (point, bool) {
	if s.n == 0 {
		return point{}, false
	}
	return s.at(s.n - 1), true
}

// from returns the index of the first reading at or after t; s.n if there is none.
func (s *series) from(t float64) int {
	if s.n > 0 && s.at(s.n-1).t() < t {
		return s.n // most often
	}
	lo, hi := 0, s.n
	for lo < hi {
		m := (lo + hi) / 2
		if s.at(m).t() < t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

// span returns the smallest and largest value in [from, to], and how many there are.
func (s *series) span(from, to float64) (lo, hi float64, n int) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i := s.from(from); i < s.n; i++ {
		p := s.at(i)
		if p.t() > to {
			break
		}
		lo, hi = min(lo, p.v), max(hi, p.v)
		n++
	}
	return lo, hi, n
}

// appendValues appends the values in [from, to] to dst.
func (s *series) appendValues(dst []float64, from, to float64) []float64 {
	for i := s.from(from); i < s.n; i++ {
		p := s.at(i)
		if p.t() > to {
			break
		}
		dst = append(dst, p.v)
	}
	return dst
}

// quantile sorts values and returns their q-quantile; NaN for none.
func quantile(values []float64, q float64) float64 {
	slices.Sort(values)
	return stats.SortedQuantile(values, q)
}

// theilSen returns the median of the slopes of all pairs of points that differ in
// time: a slope that a quarter of bad points cannot spoil (Sen, Journal of the
// American Statistical Association 63, 1968). Units: of v per s. NaN for fewer than
// two points. At most 200 points are paired; more are thinned evenly.
func theilSen(points []point, slopes []float64) float64 {
	step := (len(points) + 199) / 200
	slopes = slopes[:0]
	for i := 0; i < len(points); i += step {
		for j := i + step; j < len(points); j += step {
			if dt := points[j].t() - points[i].t(); dt > 1e-9 {
				slopes = append(slopes, (points[j].v-points[i].v)/dt)
			}
		}
	}
	return quantile(slopes, 0.5)
}
