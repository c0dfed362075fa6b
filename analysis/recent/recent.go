// Package recent keeps the latest readings of one signal, so that memory does not grow with the
// session. It is pure.
package recent

import "math"

// Reading is one value of a signal, taken at some moment between Lo and Hi, s: between the request and the reply.
type Reading struct{ Lo, Hi, V float64 }

// T is the best single time of the reading, s.
func (r Reading) T() float64 { return (r.Lo + r.Hi) / 2 }

// Series is a ring of so many readings as it was made for, in the order in which they were added, which is that of time. One that was
// not made by [New] takes none. Not even reading is safe beside reading: a search leaves where it ended.
type Series struct {
	buf     []Reading
	head, n int // the oldest; how many there are
	gone    int
	found   int // what From gave last, counted from the first reading ever added
}

// New returns a series that keeps the latest size readings.
func New(size int) Series { return Series{buf: make([]Reading, size)} }

// Add adds a reading; where the ring is full the oldest one goes.
func (s *Series) Add(r Reading) {
	if s.n < len(s.buf) { // none has gone yet, so the oldest is the first
		s.buf[s.n] = r
		s.n++
		return
	}
	s.buf[s.head] = r
	if s.head++; s.head == len(s.buf) {
		s.head = 0
	}
	s.gone++
}

// AddChange adds a reading to those of a signal that seldom changes: of several on end with one value the first and the latest are kept, between
// which [Series.Line] and [Series.Hold] are the same.
func (s *Series) AddChange(r Reading) {
	if s.n >= 2 && s.At(s.n-1).V == r.V && s.At(s.n-2).V == r.V {
		s.buf[(s.head+s.n-1)%len(s.buf)] = r
		return
	}
	s.Add(r)
}

// Len is how many readings are kept.
func (s *Series) Len() int { return s.n }

// Gone is how many readings were added that are kept no more.
func (s *Series) Gone() int { return s.gone }

// At returns reading i, 0 the oldest.
func (s *Series) At(i int) Reading {
	if i += s.head; i >= len(s.buf) {
		i -= len(s.buf)
	}
	return s.buf[i]
}

// Last returns the newest reading, and whether there is one.
func (s *Series) Last() (Reading, bool) {
	if s.n == 0 {
		return Reading{}, false
	}
	return s.At(s.n - 1), true
}

// From returns the index of the first reading at or after t, s; Len where there is none. What is asked for is mostly near what
// was asked for before, so the search begins there.
func (s *Series) From(t float64) int {
	lo, hi := 0, s.n
	near := min(max(s.found-s.gone, 0), s.n)
	if near == 0 || s.At(near-1).T() < t {
		lo = near
		for step := 1; lo < hi; step *= 2 {
			i := min(lo+step, hi) - 1
			if s.At(i).T() >= t {
				hi = i
				break
			}
			lo = i + 1
		}
	} else {
		hi = near - 1
		for step := 1; hi > 0; step *= 2 {
			i := max(0, hi-step)
			if s.At(i).T() < t {
				lo = i + 1
				break
			}
			hi = i
		}
	}
	for lo < hi {
		if m := (lo + hi) / 2; s.At(m).T() < t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	s.found = s.gone + lo
	return lo
}

// Span returns the smallest and the largest value in [from, to], s, and how many there are.
func (s *Series) Span(from, to float64) (lo, hi float64, n int) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i := s.From(from); i < s.n; i++ {
		r := s.At(i)
		if r.T() > to {
			break
		}
		lo, hi = min(lo, r.V), max(hi, r.V)
		n++
	}
	return lo, hi, n
}

// Values appends to dst what was read in [from, to], s.
func (s *Series) Values(dst []float64, from, to float64) []float64 {
	for i := s.From(from); i < s.n && s.At(i).T() <= to; i++ {
		dst = append(dst, s.At(i).V)
	}
	return dst
}

// Hold returns the latest value read at or before t, s, and otherwise that which was read first; def of none.
func (s *Series) Hold(t, def float64) float64 {
	switch i := s.From(t + 1e-9); {
	case s.n == 0:
		return def
	case i == 0:
		return s.At(0).V
	default:
		return s.At(i - 1).V
	}
}

// Line returns the value at t, s, on straight lines between the readings; beyond the ends it stays; 0 of none.
func (s *Series) Line(t float64) float64 {
	switch last, has := s.Last(); {
	case !has:
		return 0
	case last.T() < t: // most often
		return last.V
	}
	i := s.From(t)
	if i == 0 {
		return s.At(0).V
	}
	a, b := s.At(i-1), s.At(i)
	if b.T() <= a.T() {
		return b.V
	}
	return a.V + (b.V-a.V)*(t-a.T())/(b.T()-a.T())
}
