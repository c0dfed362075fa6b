package analysis

import (
	"math"
	"slices"

	"pushback/analysis/recent"
)

// candidate is a stretch that is over and did not decide by itself; it waits for what follows.
type candidate struct {
	stretch  stretch
	weight   weight
	said     bool
	even     bool    // the engine ran evenly
	dormant  bool    // the sensor slept before
	mature   bool    // what followed it was weighed
	turned   bool    // the reading was on the other side at once
	left     float64 // s: and left it again then; 0: not yet
	fromTrim float64 // total trim before, as it ended, %
	atEnd    float64
}

// sleepsBy is when a sensor that slept and was held lies at its bias again, s: a filtered reading is there after a few tenths.
const sleepsBy = 1.5

// maxCandidates is how many are kept: the oldest goes.
const maxCandidates = 6

// beginPartners makes forces of the candidates before s that it speaks for: where one side was forced, so was
// the other.
func (w *Watcher) beginPartners(s *stretch, x weight) {
	for i := range w.cands {
		c := w.cands[i] // a copy: the list changes below
		d := &c.stretch
		if _, guided, asked := w.askedFor(d); guided && !asked {
			continue // that one side was forced when it was asked for says nothing of when it was not
		}
		if !c.mature || !c.even || !w.even(s) || d.side == s.side || d.track != s.track || d.first.T() < w.lastEnd() || d.first.T() >= s.first.T() ||
			s.first.T()-d.last.T() > testLasts {
			continue
		}
		if c.weight.given() >= oneInHundred && w.testLogOdds(c.weight, x.given()) >= oneInThousand {
			w.cands[i].mature = false
			w.beginForce(held{side: d.side, lo: d.lo, hi: d.hi, level: d.level, until: d.last.T(), weight: c.weight}, d.track, w.use(d))
			w.endStretch(d, s.lo)
		}
	}
}

// lookAtFinished weighs a stretch that is over and was not called a force while it lasted.
func (w *Watcher) lookAtFinished(s stretch) {
	if s.seconds() < leastUnsaid && !(w.hinted() && s.seconds() >= leastSaid) || s.first.T() < max(w.lastEnd(), w.open.left) || !w.handsFree(s.track) {
		return
	}
	x, said := w.weigh(&s)
	w.note(&s, x)
	switch {
	case w.isForce(&s, x, said):
		w.beginStretch(&s, x)
		w.endStretch(&s, math.Inf(1))
	case x.given()+releaseAdds >= oneInHundred:
		b, _ := w.baseBefore(s.track, s.first.T())
		c := candidate{stretch: s, weight: x, said: said, even: w.even(&s), dormant: b.dormant(), fromTrim: w.trimOf(s.track).totalAt(s.first.T()), atEnd: w.trimOf(s.track).totalAt(s.last.T())}
		if len(w.cands) == maxCandidates {
			w.cands = slices.Delete(w.cands, 0, 1)
		}
		w.cands = append(w.cands, c)
	default:
		w.passOver(&s, x)
		if s.track == &w.volts && s.seconds() >= leastUnsaid && w.leftCycle(&s) {
			w.excursions++
		}
	}
}

// leftCycle reports whether the stretch was more than one of the sensor's own stays, which were known.
func (w *Watcher) leftCycle(s *stretch) bool {
	b, _ := w.baseBefore(s.track, s.first.T())
	own := b.stays(s.side)
	return b.switching() && own.n >= 3 && outlasts(s.seconds(), own.n, own.mean*float64(own.n), own.shape) < 1e-3 && math.IsInf(w.afterRelease(s, s.seconds()), -1)
}

// endStretch ends the force that was made of the stretch; what was read after until belongs to another.
func (w *Watcher) endStretch(s *stretch, until float64) {
	if f := w.holding(); f != nil {
		w.endForceUntil(f, s.last.Lo, s.next.Hi, false, until)
	}
}

// stepCandidates asks of the latest readings whether what followed a stretch decides; at the latest when
// last is said.
func (w *Watcher) stepCandidates(last bool) {
	for i := 0; i < len(w.cands); i++ {
		c := &w.cands[i]
		k := c.stretch.track
		if p, _ := k.volts.Last(); c.mature || !c.follow(p, w.trimOf(k).totalAt(w.now), k.interval, last) {
			continue
		}
		s := c.stretch
		if w.handsFree(s.track) && s.first.T() >= w.lastEnd() && w.isForce(&s, c.weight, c.said) {
			x := c.weight
			w.beginStretch(&s, x)
			w.endStretch(&s, math.Inf(1))
			return
		}
		w.doubts[sideIndex(s.side)].weigh(&s, c.weight)
		w.passOver(&s, c.weight)
		w.excursions++
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

// moved is how far trim went against the stretch, %.
func (c *candidate) moved() float64 { return against(c.stretch.side) * (c.atEnd - c.fromTrim) }

// follow takes a reading after the stretch; it reports whether what followed has been weighed now.
func (c *candidate) follow(p recent.Reading, total, interval float64, last bool) bool {
	s := &c.stretch
	since := p.T() - s.next.Lo
	if since < 0 {
		return false
	}
	if !c.turned && since <= max(promptWithin, 2.2*interval) {
		c.turned = onSide(s.side.Opposite(), p.V)
	}
	if c.turned && c.left == 0 && (p.V > switchPoint) == (s.side == Rich) {
		c.left = p.T()
	}
	moved, back := c.moved(), 0.0
	if moved > 0 {
		back = against(s.side) * (c.atEnd - total) / moved
	}
	settled := c.turned && back >= 0.6 && c.left == 0 || c.left > 0 && since > 1 || c.dormant && since > sleepsBy
	if !settled && !last && since < awaited {
		return false
	}
	c.mature = true
	c.weight.release = releaseSpeaks(c.turned, moved, back, c.even)
	if asleep := p.V > middleLow && p.V < middleHigh; c.dormant && asleep {
		c.weight.release = math.Log(staysAsleep / sleepsAgain)
	} else if c.dormant {
		c.weight.release += math.Log((1 - staysAsleep) / (1 - sleepsAgain))
	}
	return true
}

// releaseSpeaks is the log of how much likelier what came after the stretch is where a wire was let go.
// A sound car then says the other side at once and goes on doing so until trim has come back most of the
// way. A mixture that the loop has brought back leaves trim where it is; one that ends suddenly looks
// like a release, but that is the rarer case. turned: the other side was read at once; moved: by how much
// trim had gone against the stretch, %; back: the part of it that was taken back meanwhile; even: the engine ran evenly.
func releaseSpeaks(turned bool, moved, back float64, even bool) float64 {
	if moved < 3 {
		return 0
	}
	const sound = 0.6
	sudden := 0.15
	if even { // and no change of load can have been the end
		sudden = 0.05
	}
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
