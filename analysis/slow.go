package analysis

import (
	"slices"

	"pushback/analysis/stats"
)

// crossingTimes measures how long the sensor takes to cross from 0.35 to 0.60 V or
// back, as far as the readings can show it: between two readings inside that
// window at least the time between them has passed.
type crossingTimes struct {
	from        Side // the side of the extreme from which a swing may begin; "": none
	inWindow    int
	first, last point // readings inside the window since then
	bounds      [64]float64
	n, next     int
}

const (
	crossLow  = 0.35
	crossHigh = 0.60
	fullLow   = 0.25 // a swing begins beyond one of these, where the mixture is well
	fullHigh  = 0.70 // past the cell's step, and ends beyond the window
	minCross  = 6    // full swings needed for their median to count; fewer must all be slow
)

func (s *crossingTimes) addVolts(p point, held bool) {
	if held {
		*s = crossingTimes{bounds: s.bounds, n: s.n, next: s.next}
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
	side := Lean
	if p.v >= crossHigh {
		side = Rich
	}
	if s.from != "" && side != s.from {
		bound := 0.0
		if s.inWindow > 0 {
			bound = max(0, s.last.lo-s.first.hi)
		}
		s.bounds[s.next] = bound
		s.next = (s.next + 1) % len(s.bounds)
		s.n = min(s.n+1, len(s.bounds))
		s.from = ""
	}
	s.inWindow = 0
	if p.v <= fullLow || p.v >= fullHigh {
		s.from = side
	}
}

// turned reports whether the reading goes back towards where the swing came from:
// then the crossing has not begun yet.
func (s *crossingTimes) turned(v float64) bool {
	return s.from == Rich && v > s.last.v+0.02 || s.from == Lean && v < s.last.v-0.02
}

// typical is what the full swings took at least, s, and how many were seen: their
// median, or their least where there are few.
func (s *crossingTimes) typical() (float64, int) {
	var b [64]float64
	copy(b[:], s.bounds[:s.n])
	slices.Sort(b[:s.n])
	if s.n < minCross {
		return b[0], s.n
	}
	return stats.SortedQuantile(b[:s.n], 0.5), s.n
}

// shown reports whether crossings certainly took longer than a healthy sensor and
// this loop can explain. A healthy cell crosses in 0.15 s at most (trade figure
// 0.1 s); a slow loop moves the mixture through the cell's step, about half a per
// cent wide with the breath of the cylinders, at its own rate (% per s), and a healthy cell follows that.
func (s *crossingTimes) shown(rate, interval float64) bool {
	if rate <= 0 || interval > 0.35 {
		return false
	}
	t, n := s.typical()
	return n >= 2 && t >= max(0.45, 1.7*(0.15+0.5/rate))
}
