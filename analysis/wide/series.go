package wide

import "slices"

// reading is one value of a signal: read at some moment between lo and hi, s.
type reading struct{ lo, hi, v float64 }

// t is the best single time of the reading, s.
func (r reading) t() float64 { return (r.lo + r.hi) / 2 }

// series keeps the latest readings of a signal in a ring, so that memory does not grow with the session.
type series struct {
	buf   []reading
	head  int // of the oldest
	n     int
	total int // that were ever added
}

func newSeries(size int) series { return series{buf: make([]reading, size)} }

func (s *series) add(r reading) {
	s.total++
	if s.n < len(s.buf) {
		s.buf[(s.head+s.n)%len(s.buf)] = r
		s.n++
		return
	}
	s.buf[s.head] = r
	s.head = (s.head + 1) % len(s.buf)
}

// at returns the i-th reading, 0 the oldest.
func (s *series) at(i int) reading {
	if i += s.head; i >= len(s.buf) {
		i -= len(s.buf)
	}
	return s.buf[i]
}

func (s *series) last() (reading, bool) {
	if s.n == 0 {
		return reading{}, false
	}
	return s.at(s.n - 1), true
}

// from returns the index of the first reading at or after t, s.n if there is none. What is asked for is mostly new, so the
// search begins at the newest.
func (s *series) from(t float64) int {
	lo, hi := 0, s.n
	for step := 1; hi > 0; step *= 2 {
		i := max(0, hi-step)
		if s.at(i).t() < t {
			lo = i + 1
			break
		}
		hi = i
	}
	for lo < hi {
		if m := (lo + hi) / 2; s.at(m).t() < t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

// values appends to dst what was read in [from, to].
func (s *series) values(dst []float64, from, to float64) []float64 {
	for i := s.from(from); i < s.n && s.at(i).t() <= to; i++ {
		dst = append(dst, s.at(i).v)
	}
	return dst
}

// hold returns the latest value read at or before t, and otherwise that which was read first; def of none.
func (s *series) hold(t, def float64) float64 {
	switch i := s.from(t + 1e-9); {
	case s.n == 0:
		return def
	case i == 0:
		return s.at(0).v
	default:
		return s.at(i - 1).v
	}
}

// line returns the value at t on straight lines between the readings; beyond the ends it stays.
func (s *series) line(t float64) float64 {
	i := s.from(t)
	switch {
	case s.n == 0:
		return 0
	case i == 0:
		return s.at(0).v
	case i == s.n:
		return s.at(s.n - 1).v
	}
	a, b := s.at(i-1), s.at(i)
	if b.t() <= a.t() {
		return b.v
	}
	return a.v + (b.v-a.v)*(t-a.t())/(b.t()-a.t())
}

// interval is the middle distance between the readings in [from, to], s; 0 where it cannot be told.
func (s *series) interval(from, to float64) float64 {
	var d []float64
	for i := s.from(from) + 1; i < s.n && s.at(i).t() <= to; i++ {
		d = append(d, s.at(i).t()-s.at(i-1).t())
	}
	return median(d)
}

// refresh is the middle distance between changes of the value in [from, to], s: what the computer tells
// is not newer than that. 0 where it cannot be told.
func (s *series) refresh(from, to float64) float64 {
	var d []float64
	last := -1.0
	for i := s.from(from) + 1; i < s.n && s.at(i).t() <= to; i++ {
		if s.at(i).v != s.at(i-1).v {
			if t := s.at(i).t(); last >= 0 {
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
