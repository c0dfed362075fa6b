package analysis

import "slices"

// slowness measures how long the sensor takes to cross from 0.30 to 0.60 V or
// back, as far as the readings can show it: between two readings inside that
// window at least the time between them has passed.
type slowness struct {
	from        Side // where the latest full swing ended
	inWindow    int
	first, last point // readings inside the window since then
	bounds      [64]float64
	n, next     int
}

const (
	crossLow  = 0.30
	crossHigh = 0.60
	fullLow   = 0.25 // a full swing begins and ends beyond these, so that it is
	fullHigh  = 0.70 // the mixture that has moved well past the cell's step
	minCross  = 6    // full swings needed to say anything
)

func (s *slowness) volts(p point, held bool) {
	if held {
		*s = slowness{bounds: s.bounds, n: s.n, next: s.next}
		return
	}
	if p.v > crossLow && p.v < crossHigh {
		if s.inWindow == 0 || s.turned(p.v) {
			s.first = p
		}
		s.inWindow++
		s.last = p
		return
	}
	switch side := fullSide(p.v); {
	case side == "":
	case side != s.from:
		if s.from != "" {
			bound := 0.0
			if s.inWindow > 0 {
				bound = max(0, s.last.lo-s.first.hi)
			}
			s.bounds[s.next] = bound
			s.next = (s.next + 1) % len(s.bounds)
			s.n = min(s.n+1, len(s.bounds))
		}
		s.from, s.inWindow = side, 0
	default:
		s.inWindow = 0 // it turned back before it had crossed
	}
}

// turned reports whether the reading goes back towards where the swing came from:
// then the crossing has not begun yet.
func (s *slowness) turned(v float64) bool {
	return s.from == Rich && v > s.last.v+0.02 || s.from == Lean && v < s.last.v-0.02
}

func fullSide(v float64) Side {
	switch {
	case v <= fullLow:
		return Lean
	case v >= fullHigh:
		return Rich
	}
	return ""
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
	return n >= minCross && t >= max(0.5, 2*(0.15+0.5/rate))
}
