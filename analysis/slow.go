package analysis

import "slices"

// slowness measures how long the sensor takes to cross from 0.30 to 0.60 V or
// back, as far as the readings can show it: between two readings inside that
// window at least the time between them has passed.
type slowness struct {
	inside  bool
	rising  bool
	first   point
	last    point
	from    float64 // level outside the window before the crossing
	bounds  [64]float64
	n, next int
}

const (
	crossLow  = 0.30
	crossHigh = 0.60
	minCross  = 6 // crossings needed to say anything
)

func (s *slowness) volts(p point, held bool) {
	if held {
		s.inside = false
		s.from = 0
		return
	}
	in := p.v > crossLow && p.v < crossHigh
	switch {
	case in && !s.inside:
		s.inside, s.first, s.last = true, p, p
	case in:
		s.last = p
	case s.inside || s.from != 0 && (p.v >= crossHigh) != (s.from >= crossHigh):
		// It left the window: a crossing if it came out on the other side.
		if s.from != 0 && (p.v >= crossHigh) != (s.from >= crossHigh) {
			bound := 0.0
			if s.inside {
				bound = max(0, s.last.lo-s.first.hi)
			}
			s.bounds[s.next] = bound
			s.next = (s.next + 1) % len(s.bounds)
			s.n = min(s.n+1, len(s.bounds))
		}
		s.inside = false
	}
	if !in {
		s.from = max(p.v, 1e-9)
	}
}

// typical is the median of the least times that crossings took, s, and how many
// crossings were seen.
func (s *slowness) typical() (float64, int) {
	var b [64]float64
	copy(b[:], s.bounds[:s.n])
	slices.Sort(b[:s.n])
	return sortedQuantile(b[:s.n], 0.5), s.n
}

// shown reports whether crossings certainly took longer than a healthy sensor and
// this loop can explain. A healthy cell crosses in 0.15 s at most (trade figure
// 0.1 s); a slow loop moves the mixture through the cell's step, about half a per
// cent wide, at its own rate (% per s), and a healthy cell follows that.
func (s *slowness) shown(rate, interval float64) bool {
	if rate <= 0 || interval > 0.26 {
		return false
	}
	t, n := s.typical()
	return n >= minCross && t >= max(0.4, 1.5*(0.15+0.5/rate))
}
