package analysis

import (
	"math"
	"slices"
)

// When the readings are weighed: while a stretch lasts, each time it has grown by a tenth; and when it is
// over, with what came of it.

// Least that a stretch must have before it is weighed: less has never been enough.
const (
	leastUnsaid = 1.5  // s
	leastSaid   = 0.8  // s
	growth      = 1.1  // of its length, between two weighings
	awaited     = 12.0 // s: for so long what follows a stretch is waited for
	// What the release may still add; a stretch that lacks more when it is over is not waited for.
	releaseAdds = 3.0
)

// candidate is a stretch that is over and did not decide by itself; it waits for what follows.
type candidate struct {
	stretch  stretch
	weight   weight
	said     bool
	mature   bool    // what followed it was weighed
	turned   bool    // the reading was on the other side at once
	left     float64 // s: and left it again then; 0: not yet
	fromTrim float64 // total trim before, as it ended, %
	atEnd    float64
}

// maxCandidates is how many are kept: the oldest goes.
const maxCandidates = 6

// lookForForce asks of the latest reading of the track whether a signal is being held.
func (w *Watcher) lookForForce(k *track) {
	if len(w.forces) >= maxForces || w.cfg.By == ByMixture {
		if w.cfg.By == ByMixture && w.holding() == nil {
			w.lookForMixture()
		}
		return
	}
	if k == &w.otherVolts && k.interval > readOften && len(w.told) == 0 {
		return
	}
	if k == &w.volts && len(w.cands) > 0 {
		w.stepCandidates(false)
	}
	if k.hasDone {
		k.hasDone = false
		if s, ok := k.atLevel(&k.done); ok {
			s.next = k.run.first
			w.lookAtFinished(s)
		}
	}
	if w.holding() != nil {
		return
	}
	if s, ok := k.atLevel(&k.run); ok && w.worthWeighing(&s, &k.looked) {
		x, said := w.weigh(&s)
		if w.sum(&s, x, said) >= w.enough(said) {
			w.beginStretch(&s, x)
			return
		}
		w.note(&s, x)
	}
	if k != &w.volts || !w.hinted() {
		return
	}
	h := w.told[len(w.told)-1]
	if s, ok := k.onOneSide(); ok && s.side == h.side && s.seconds() >= 2 && w.worthWeighing(&s, &k.lookedSide) {
		if r := &k.run; r.n >= 2 && heldSide(r.level()) == s.side && r.seconds() < 3 {
			return // perhaps the hold is just beginning: its level will date it
		}
		if x, said := w.weigh(&s); said && x.sum() >= w.enough(said) {
			w.beginStretch(&s, x)
		}
	}
}

// hinted reports whether the latest thing that was said has not been seen yet.
func (w *Watcher) hinted() bool {
	n := len(w.told)
	return n > 0 && !w.told[n-1].used && (w.told[n-1].release == 0 || w.now-w.told[n-1].release < awaited)
}

// worthWeighing reports whether the stretch has grown enough to be weighed (again).
func (w *Watcher) worthWeighing(s *stretch, looked *look) bool {
	least := leastUnsaid
	if w.hinted() {
		least = leastSaid
	}
	secs := s.seconds()
	if secs < least || s.n < 3 || s.first.t() < w.lastEnd() {
		return false
	}
	if looked.first != s.first.t() {
		*looked = look{first: s.first.t()}
	}
	if secs < looked.at*growth {
		return false
	}
	looked.at = secs
	return true
}

// look is when a stretch was weighed last.
type look struct{ first, at float64 }

// sum is the log odds of the stretch with what others say of a test.
func (w *Watcher) sum(s *stretch, x weight, said bool) float64 {
	switch {
	case said || x.readings() < w.alone():
		return x.sum()
	case w.tested(s): // what is left to ask is whether this stretch is a force too
		return max(x.sum(), w.enough(false))
	}
	return x.sum() + w.partners(s)
}

func (w *Watcher) beginStretch(s *stretch, x weight) {
	w.beginPartners(s, x)
	// What came before the stretch and did not decide will not.
	w.cands = slices.DeleteFunc(w.cands, func(c candidate) bool { return c.stretch.first.t() <= s.first.t() })
	w.beginForce(held{side: s.side, lo: s.lo, hi: s.hi, level: s.level, loose: s.loose, until: s.last.t(), weight: x}, s.track, w.use(s))
}

// beginPartners makes forces of the candidates before s that it speaks for: where one side was forced, so was
// the other.
func (w *Watcher) beginPartners(s *stretch, x weight) {
	for i := range w.cands {
		c := w.cands[i] // a copy: the list changes below
		d := &c.stretch
		if !c.mature || d.side == s.side || d.track != s.track || d.first.t() < w.lastEnd() || d.first.t() >= s.first.t() ||
			s.first.t()-d.last.t() > testLasts || c.weight.readings() < w.alone() {
			continue
		}
		if c.weight.sum()+x.readings()+math.Log(forceRate) >= w.enough(false) || x.sum() >= w.enough(false) {
			w.cands[i].mature = false
			w.beginForce(held{side: d.side, lo: d.lo, hi: d.hi, level: d.level, until: d.last.t(), weight: c.weight}, d.track, w.use(d))
			w.endStretch(d, s.lo)
		}
	}
}

// note keeps with what was said near the stretch how much its readings speak for a force.
func (w *Watcher) note(s *stretch, x weight) {
	for i := range w.told {
		if h := &w.told[i]; s.track == &w.volts && s.last.t() >= h.at && s.first.t() >= h.at-sayNear && (h.release == 0 || s.first.t() <= h.release) {
			h.most = max(h.most, x.free)
		}
	}
}

// use takes the hint that fits the stretch; it reports whether there is one.
func (w *Watcher) use(s *stretch) bool {
	best, far := -1, sayFar
	for i, h := range w.told {
		d := abs(s.first.t() - h.at)
		if s.side != h.side {
			d += sayNear
		}
		if !h.used && d <= far {
			best, far = i, d
		}
	}
	if best < 0 {
		return false
	}
	w.told[best].used = true
	return true
}

// lookAtFinished weighs a stretch that is over and was not called a force while it lasted.
func (w *Watcher) lookAtFinished(s stretch) {
	if s.seconds() < leastUnsaid && !(w.hinted() && s.seconds() >= leastSaid) || s.first.t() < w.lastEnd() || w.holding() != nil {
		return
	}
	x, said := w.weigh(&s)
	w.note(&s, x)
	switch {
	case w.sum(&s, x, said) >= w.enough(said):
		w.beginStretch(&s, x)
		w.endStretch(&s, math.Inf(1))
	case x.sum()+releaseAdds >= w.enough(said) || x.readings()+releaseAdds >= w.alone():
		c := candidate{stretch: s, weight: x, said: said, fromTrim: w.totalAt(s.first.t()), atEnd: w.totalAt(s.last.t())}
		if len(w.cands) == maxCandidates {
			w.cands = slices.Delete(w.cands, 0, 1)
		}
		w.cands = append(w.cands, c)
	}
}

// totalAt is the watched bank's total trim at time t, %.
func (w *Watcher) totalAt(t float64) float64 {
	i := w.trim.short.from(t)
	if i == w.trim.short.n || i > 0 && w.trim.short.at(i).t() > t {
		i--
	}
	if i < 0 {
		return 0
	}
	p := w.trim.short.at(i)
	return p.v + w.trim.longAt(p.t())
}

// endStretch ends the force that was made of the stretch; what was read after until belongs to another.
func (w *Watcher) endStretch(s *stretch, until float64) {
	if f := w.holding(); f != nil {
		w.endForceUntil(f, s.last.lo, s.next.hi, false, until)
	}
}

// stepCandidates asks of the latest readings whether what followed a stretch decides; at the latest when
// last is said.
func (w *Watcher) stepCandidates(last bool) {
	p, _ := w.volts.volts.last()
	for i := 0; i < len(w.cands); i++ {
		c := &w.cands[i]
		if c.mature || !c.follow(p, w.totalAt(w.now), w.volts.interval, last) {
			continue
		}
		s := c.stretch
		if w.holding() == nil && s.first.t() >= w.lastEnd() && w.sum(&s, c.weight, c.said) >= w.enough(c.said) {
			x := c.weight
			w.beginStretch(&s, x)
			w.endStretch(&s, math.Inf(1))
			return
		}
		w.doubts[sideIndex(s.side)].weigh(&s, c.weight)
	}
}

// doubt is the stretch of one side that spoke most for a force and was not called one.
type doubt struct {
	odds        float64 // log odds
	begin, secs float64
	level       float64
}

func (d *doubt) weigh(s *stretch, x weight) {
	if d.secs == 0 || x.sum() > d.odds {
		*d = doubt{odds: x.sum(), begin: (s.lo + s.hi) / 2, secs: s.seconds(), level: s.level}
	}
}

// serious reports whether it was a force more likely than not, five to one.
func (d *doubt) serious() bool { return d.secs > 0 && d.odds > 1.5 }

// against is the sign of trim that goes against a force of the side.
func against(side Side) float64 {
	if side == Rich {
		return -1
	}
	return 1
}

// moved is how far trim went against the stretch, %.
func (c *candidate) moved() float64 { return against(c.stretch.side) * (c.atEnd - c.fromTrim) }

// follow takes a reading after the stretch; it reports whether what followed has been weighed now.
func (c *candidate) follow(p point, total, interval float64, last bool) bool {
	s := &c.stretch
	since := p.t() - s.next.lo
	if since < 0 {
		return false
	}
	if !c.turned && since <= max(promptWithin, 2.2*interval) {
		c.turned = onSide(s.side.Opposite(), p.v)
	}
	if c.turned && c.left == 0 && (p.v > switchPoint) == (s.side == Rich) {
		c.left = p.t()
	}
	moved, back := c.moved(), 0.0
	if moved > 0 {
		back = against(s.side) * (c.atEnd - total) / moved
	}
	settled := c.turned && back >= 0.6 && c.left == 0 || c.left > 0 && since > 1
	if !settled && !last && since < awaited {
		return false
	}
	c.mature = true
	c.weight.release = releaseSpeaks(c.turned, moved, back)
	return true
}

// releaseSpeaks is the log of how much likelier what came after the stretch is where a wire was let go.
// A sound car then says the other side at once and goes on doing so until trim has come back most of the
// way. A mixture that the loop has brought back leaves trim where it is; one that ends suddenly looks
// like a release, but that is the rarer case. turned: the other side was read at once; moved: by how much
// trim had gone against the stretch, %; back: the part of it that was taken back meanwhile.
func releaseSpeaks(turned bool, moved, back float64) float64 {
	if moved < 3 {
		return 0
	}
	const sound, sudden = 0.6, 0.15
	kind := 0 // neither
	switch {
	case turned && back >= 0.5:
		kind = 1
	case back < 0.25:
		kind = 2
	}
	released := [3]float64{0.15, 0.80, 0.05}
	brought := [3]float64{0.13, 0.02, 0.85}
	else_ := [3]float64{0.4, 0.2, 0.4} // dead sensor, fuel not delivered
	return math.Log((sound*released[kind] + (1-sound)*else_[kind]) / (sudden*released[kind] + (1-sudden)*brought[kind]))
}
