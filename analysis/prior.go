package analysis

import "math"

// regripped returns the force that just ended at the level of the stretch: a hand slipped and grips again.
func (w *Watcher) regripped(s *stretch) *force {
	n := len(w.forces)
	if n == 0 || s.loose {
		return nil
	}
	if f := w.forces[n-1]; f.ended && f.side == s.side && s.first.T()-f.end < 5 && abs(f.level-s.level) < bandHalf {
		return f
	}
	return nil
}

// prior is the log odds of a force on that side at that time by what was said and by how rare forces are, if somebody
// tests; certain: that is known. What people say is late or early, or of the other side, or not true.
func (w *Watcher) prior(s *stretch) (odds float64, certain, said bool) {
	asked, guided, asks := w.askedFor(s)
	f := w.regripped(s)
	switch {
	case f != nil:
		odds, certain, said = math.Log(regripRate*math.Exp(-max(0, s.first.T()-f.end)/2)), true, f.marked
		if guided && asked > odds {
			odds, said = asked, asks
		}
		if said {
			return odds, certain, said
		}
	case guided:
		odds, certain, said = asked, true, asks
	case len(w.hints) > 0:
		odds, certain = math.Log(forceRate*silentForce)+w.unlikely(s), true // who makes marks tests
	default:
		odds = math.Log(forceRate) + w.unlikely(s)
		if s.track != &w.volts {
			odds += math.Log(besideForce)
		}
		return odds, false, false
	}
	for _, h := range w.hints {
		if s.last.T() < h.at || h.used {
			continue
		}
		d := s.first.T() - h.at
		p := 0.0
		switch {
		case abs(d) <= SayNear:
			p = 0.8
		case abs(d) <= sayFar:
			p = 0.15
		}
		if h.side != s.side {
			p *= otherSide
			if s.first.T() <= h.at+SayNear && s.last.T() > h.at+2*SayNear {
				p *= OtherThanSaid / otherSide // what was said did not come
			}
		}
		if h.release > 0 && (s.last.T() > h.release+lateRelease || s.first.T() > h.release) {
			p *= 0.1 // it goes on where they have let go, or begins then
		}
		if s.track != &w.volts {
			// Nobody said anything of the other bank; but where this one's reading has had its time,
			// they may be crossed.
			p *= 0.05
			if w.now > h.at+SayNear {
				p *= 5
			}
		}
		if o := math.Log(p / (1 - p) / (2 * SayNear)); p > 0 && o > odds {
			odds, certain, said = o, true, p >= 0.15
		}
	}
	return odds, certain, said
}

// unlikely is what speaks against a force that nobody announced, as a logarithm: the session has only begun, nobody holds
// for so short a time, the car moved, or the branch was just said to be open.
func (w *Watcher) unlikely(s *stretch) float64 {
	grown := func(t, by float64) float64 { return math.Log(-math.Expm1(-t*t/by/by) + 1e-3) }
	x := grown(s.first.T(), handsReady) + grown(s.seconds(), handsHold) - math.Log1p(math.Pow(s.seconds()/handsLast, 4))
	if n := len(w.forces); n > 0 && w.forces[n-1].ended && w.forces[n-1].side != s.side {
		x += math.Log(atOnce - (1-atOnce)*math.Expm1(-math.Pow(max(0, s.first.T()-w.forces[n-1].end)/handsChange, 2)))
	}
	if w.ready.moved(s.first.T(), s.last.T()) {
		x += math.Log(MovingForce)
	}
	if o := &w.open; o.said > 0 && !o.known && abs(s.first.T()-o.said) < SayNear {
		x += math.Log(openForce)
	}
	return x
}

// How far from what is said a force may begin, s: most say it within SayNear, some within sayFar (people who tap
// while they work).
const (
	SayNear = 4.0
	sayFar  = 12.0
)

// How often who says one side forces the other: at all, and where nothing of what was said came.
const (
	otherSide     = 0.05
	OtherThanSaid = 0.25
)
