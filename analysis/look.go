package analysis

import (
	"slices"

	"pushback/analysis/recent"
)

// readOften is how often the other bank's sensor must be read, s, before a hold on it is taken
// from its readings alone: a few that are alike prove little.
const readOften = 1.5

// When the readings are weighed: while a stretch lasts, each time it has grown by a tenth; and when it is
// over, with what came of it.

// Least that a stretch must have before it is weighed: less has never been enough.
const (
	leastUnsaid = 1.5  // s
	leastSaid   = 0.8  // s
	growth      = 1.1  // of its length, between two weighings
	awaited     = 12.0 // s: for so long what follows a stretch is waited for
	// The most that the release may still add, ln(staysAsleep/sleepsAgain); a stretch that lacks more when it is over is not waited for.
	releaseAdds = 3.6
)

// lookForForce asks of the latest reading of the track whether a signal is being held.
func (w *Watcher) lookForForce(k *track) {
	if w.cfg.By == ByNothing {
		return
	}
	if len(w.forces) >= maxForces || w.cfg.By == ByMixture {
		if w.cfg.By == ByMixture && w.holding() == nil {
			w.lookForAsked()
		}
		return
	}
	if k == &w.otherVolts && k.interval > readOften && len(w.hints) == 0 {
		return
	}
	if k == &w.volts && len(w.cands) > 0 {
		w.stepCandidates(false)
	}
	if k.hasDone {
		k.hasDone = false
		if s, ok := k.atLevel(&k.done); ok {
			s.lo, s.hi = k.dated(&k.done)
			s.next = k.run.first
			w.lookAtFinished(s)
		}
	}
	if !w.handsFree(k) {
		return
	}
	shortest := leastUnsaid
	if len(w.hints) > 0 {
		shortest = leastSaid
	}
	if k.run.seconds() < k.looked.least(&k.run.first, shortest) {
		// nearly always: no stretch that could be weighed
	} else if s, ok := k.atLevel(&k.run); ok && w.worthWeighing(&s, &k.looked) {
		s.lo, s.hi = k.dated(&k.run)
		x, said := w.weigh(&s)
		if w.isForce(&s, x, said) {
			w.beginStretch(&s, x)
			return
		}
		w.note(&s, x)
	}
	if k != &w.volts || !w.hinted() {
		return
	}
	h := w.hints[len(w.hints)-1]
	if s, ok := k.onOneSide(); ok && s.side == h.side && s.seconds() >= 2 && w.worthWeighing(&s, &k.lookedSide) {
		if r := &k.run; r.n >= 2 && heldSide(r.level()) == s.side && r.seconds() < 3 {
			return // perhaps the hold is just beginning: its level will date it
		}
		if x, said := w.weigh(&s); said && w.isForce(&s, x, said) {
			w.beginStretch(&s, x)
		}
	}
}

// hinted reports whether the latest thing that was said has not been seen yet.
func (w *Watcher) hinted() bool {
	n := len(w.hints)
	return n > 0 && !w.hints[n-1].used && (w.hints[n-1].release == 0 || w.now-w.hints[n-1].release < awaited)
}

// worthWeighing reports whether the stretch has grown enough to be weighed (again).
func (w *Watcher) worthWeighing(s *stretch, looked *look) bool {
	least := leastUnsaid
	if w.hinted() {
		least = leastSaid
	}
	secs := s.seconds()
	if secs < least || s.n < 3 || s.first.T() < max(w.lastEnd(), w.open.left) {
		return false
	}
	if looked.first != s.first.T() {
		*looked = look{first: s.first.T()}
	}
	if secs < looked.at*growth {
		return false
	}
	looked.at = secs
	return true
}

// look is when a stretch was weighed last.
type look struct{ first, at float64 }

// least is how long a stretch that begins there must be for worthWeighing not to refuse it, s, where it refuses all below shortest.
func (l *look) least(first *recent.Reading, shortest float64) float64 {
	if l.first != first.T() {
		return shortest
	}
	return max(shortest, l.at*growth)
}

// handsFree reports whether a hold that the track shows may begin. One that only the other bank's reading shows keeps nobody from holding
// the watched wire: nobody holds two at a time, so it was let go by then, though that sensor may lie on where it was held.
func (w *Watcher) handsFree(k *track) bool {
	f := w.holding()
	return f == nil || k == &w.volts && f.bank != w.bank
}

func (w *Watcher) beginStretch(s *stretch, x weight) {
	if f := w.holding(); f != nil {
		w.endForceUntil(f, s.lo, s.lo, false, s.lo)
	}
	w.beginPartners(s, x)
	// What came before the stretch and did not decide will not.
	w.cands = slices.DeleteFunc(w.cands, func(c candidate) bool { return c.stretch.first.T() <= s.first.T() })
	w.beginForce(held{side: s.side, lo: s.lo, hi: s.hi, level: s.level, loose: s.loose, until: s.last.T(), weight: x}, s.track, w.use(s))
}

// note keeps with what was said near the stretch how much its readings speak for a force.
func (w *Watcher) note(s *stretch, x weight) {
	for i := range w.hints {
		if h := &w.hints[i]; s.track == &w.volts && s.last.T() >= h.at && s.first.T() >= h.at-SayNear && (h.release == 0 || s.first.T() <= h.release) {
			h.most = max(h.most, x.free)
		}
	}
}

// use takes the hint that fits the stretch; it reports whether there is one.
func (w *Watcher) use(s *stretch) bool {
	best, far := -1, sayFar
	for i, h := range w.hints {
		d := abs(s.first.T() - h.at)
		if s.side != h.side {
			d += SayNear
		}
		if !h.used && d <= far {
			best, far = i, d
		}
	}
	if best < 0 {
		return false
	}
	h := &w.hints[best]
	if h.used = true; h.asked == "" {
		h.side = s.side // a slip of the tongue, which leaves no other side to be judged
	}
	return true
}

// trimOf is the trim of the bank whose sensor the track follows.
func (w *Watcher) trimOf(k *track) *trimStream {
	if k == &w.otherVolts {
		return &w.otherTrim
	}
	return &w.trim
}

// totalAt is total trim at time t, %; 0 if none was read.
func (t *trimStream) totalAt(at float64) float64 {
	i := t.short.From(at)
	if i == t.short.Len() || i > 0 && t.short.At(i).T() > at {
		i--
	}
	if i < 0 {
		return 0
	}
	p := t.short.At(i)
	return t.totalOf(p)
}

// against is the sign of trim that goes against a force of the side.
func against(side Side) float64 {
	if side == Rich {
		return -1
	}
	return 1
}
