package analysis

import (
	"slices"

	"pushback/analysis/recent"
)

// ownStays are the latest whole stays of the sensor on either side in all the rests of a session together: soon after a force
// there is little rest to compare with, and of a few slow stays the law is hardly known.
type ownStays struct {
	side  Side
	since float64 // s
	whole bool    // the stay began while nobody held anything
	ring  [2][48]stay
	n     [2]int // all that were put into the ring
}

type stay struct{ end, secs float64 }

// addVolts takes a reading; free: nobody holds anything, and the loop cycles again after the last release.
func (o *ownStays) addVolts(p recent.Reading, free bool) {
	now := sideOf(p.V)
	switch {
	case !free:
		o.side, o.whole = "", false
	case now == "" || now == o.side:
	default:
		if o.whole {
			i := sideIndex(o.side)
			o.ring[i][o.n[i]%len(o.ring[i])] = stay{p.T(), p.T() - o.since}
			o.n[i]++
		}
		o.whole, o.side, o.since = o.side != "", now, p.T()
	}
}

// wasForced takes out what ended after t: the wire was held since then, which nobody knew.
func (o *ownStays) wasForced(t float64) {
	for i := range o.ring {
		for o.n[i] > 0 && o.ring[i][(o.n[i]-1)%len(o.ring[i])].end > t {
			o.n[i]--
		}
	}
	o.side, o.whole = "", false
}

// on are the stays on a side.
func (o *ownStays) on(side Side) stays {
	i := sideIndex(side)
	var secs []float64
	for _, s := range o.ring[i][:min(o.n[i], len(o.ring[i]))] {
		secs = append(secs, s.secs)
	}
	slices.Sort(secs)
	return staysOf(secs)
}

// enoughStays is how many it takes to set aside the few that a single rest has shown; the law that they follow is taken at the upper bound of its mean.
const enoughStays = 4

// outstays reports whether the stays after the session's releases of this side, each until trim had gone back, hang together with
// trim and not with plain switching, by all the stays that the session has shown.
func (c *assessment) outstays(expect Side) bool {
	own := c.w.own.on(expect)
	if own.n < enoughStays {
		return false
	}
	chance, n := 1.0, 0
	for _, f := range c.forces {
		r := &f.rel
		if r.expect != expect || !r.byStay {
			continue
		}
		chance *= own.chance(r.lastOn.T() - r.firstOn.T())
		n++
	}
	return n > 0 && chance <= ownStay
}
