package analysis

import (
	"math"

	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

func (w *Watcher) beginForce(h held, k *track, marked bool) {
	volts, base := w.baseBefore(&w.volts, h.hi)
	var after *force
	if f := w.running(); f != nil {
		if !f.resumed && f.own.base.known() && f.volts.switching() {
			after = f
		}
		w.heldAgain(f, h.lo)
		w.closeRelease(f, true)
	}
	f := &force{side: h.side, marked: marked, loose: h.loose, madeWhen: madeWhen{beginLo: h.lo, beginHi: h.hi, begin: (h.lo + h.hi) / 2, after: after},
		level: h.level, share: 1, bank: w.bank, seen: !h.told, weight: h.weight}
	if k == &w.otherVolts {
		f.bank = w.other
	}
	f.volts = w.spaced(volts)
	own, other := w.noises(h.hi-1e-6, volts.halfPeriod())
	f.own.begin(h.side, h.lo, h.hi, base, own)
	f.own.mayTurn = w.cfg.By == ByMixture
	f.own.stood, f.paused = w.trim.standing(h.lo), w.zeroedBefore(h.lo)
	from := max(h.lo-trimBaselineFor, w.restFrom)
	f.other.begin(h.side, h.lo, h.hi, w.trimBaseline(&w.otherTrim, from, h.hi-1e-6), other)
	f.ready = w.ready.heldAt(h.lo)
	f.wasOpen = w.ready.hasStatus && (!isClosed(w.ready.status) || w.ready.openAt > max(0, h.lo-openShortly))
	f.down.begin(h.side.Opposite(), &w.down, h.lo, w.scratchA)
	f.shared.begin(h.side.Opposite(), &w.otherDown, h.lo, w.scratchA)
	w.forces = append(w.forces, f)
	w.rest.wasForced(h.lo, w.now)
	w.own.wasForced(h.lo)
	w.lag.swings.heldSince(h.lo)
	if f.seen {
		w.emit(Event{T: f.begin, Name: ForceBegins, Side: f.side})
	}

	// What came between the beginning and its discovery belongs to the force too.
	if base.known() && base.flatFor >= 5 && w.atLimit(f, base) {
		f.own.state = cannot
	}
	f.fedOwn, f.fedOther = h.hi, h.hi
	if h.until == 0 {
		h.until = w.now
	}
	w.feedTrims(f, h.until)
	for i := w.down.From(h.hi); i < w.down.Len() && w.down.At(i).T() <= h.until; i++ {
		p := w.down.At(i)
		moved := 0.0
		if j := w.trim.short.From(p.T()); j > 0 {
			moved = f.own.up*w.trim.total(w.trim.short.At(j-1), f.begin) - f.own.start
		}
		f.down.addVolts(p, moved)
	}
	if r := &w.ready; r.changedAt >= h.lo && w.now-r.changedAt < 60 {
		w.statusChanged(f, r.changedAt, r.changedFrom)
	}
	if f.own.state == cannot {
		w.emit(Event{T: f.begin, Name: TrimAtLimit, Value: base.last})
		f.emittedLimit = true
	}
	if f.seen {
		w.judgeHold(f)
	}
}

// openShortly is how long before a force the loop may have been seen open for the force to have
// closed it, s: status is read every few seconds.
const openShortly = 5.0

// moved is how far the watched bank's trim has gone in the answer's direction: it tells
// whether the mixture can have moved.
func (f *force) moved() float64 {
	if f.own.n == 0 {
		return 0
	}
	return f.own.moved()
}

// atLimit reports whether trim stood at the computer's limit before the force, so
// that it could not answer: far out on that side and still, the sensor never
// leaving that side.
func (w *Watcher) atLimit(f *force, base trimBase) bool {
	if f.own.up*base.last < farOut {
		return false
	}
	lo, hi, n := w.volts.volts.Span(f.beginLo-5, f.beginLo-1e-6)
	if n < 3 {
		return false
	}
	if f.side == Lean {
		return hi <= richAbove
	}
	return lo >= leanBelow
}

// feedTrims gives the force the trims read since it was last fed, up to the latest
// reading that was still held: the wire may have been let go after that, and what
// trim does then is no answer.
func (w *Watcher) feedTrims(f *force, until float64) {
	s := &w.trim.short
	for i := s.From(f.fedOwn); i < s.Len() && s.At(i).T() <= until; i++ {
		if p := s.At(i); p.T() > f.fedOwn {
			f.own.add(p, w.trim.total(p, f.begin), p.V)
			if f.dropped == 0 && f.seen && (f.own.gaveUp() || w.zeroedInHold(f)) {
				f.dropped = p.T()
			}
			w.settleDrop(f, p.T())
			f.down.addTrim(p.T(), f.pastBalance(f.own.now), w.airflow())
			f.fedOwn = p.T()
		}
	}
	s = &w.otherTrim.short
	for i := s.From(f.fedOther); i < s.Len() && s.At(i).T() <= until; i++ {
		if p := s.At(i); p.T() > f.fedOther {
			f.other.add(p, w.otherTrim.total(p, f.begin), p.V)
			f.fedOther = p.T()
		}
	}
}

// judgeHold says what the trims have decided so far.
func (w *Watcher) judgeHold(f *force) {
	a := &f.own
	since := w.now - f.begin
	switch {
	case a.state == answered && !f.emittedAnswer:
		if a.nowAt-a.rise.T() < 1.2 && !f.ended {
			return // a little more of the ramp, to know its rate
		}
		w.fitAnswer(a, &w.trim, a.ramped(w.now))
		best, lo, hi := a.after()
		f.emittedAnswer = true
		w.emit(Event{T: max(a.onset, f.begin), Name: LoopAnswers, Side: f.side, Toward: toward(f.side),
			After: best, AfterMin: lo, AfterMax: hi, Rate: a.rate})
	case a.state == answered && a.limit && !f.emittedLimit && !f.compensated:
		f.emittedLimit = true
		w.fitAnswer(a, &w.trim, a.limitAt)
		w.emit(Event{T: a.limitAt, Name: TrimAtLimit, Value: a.limitRaw})
	case a.state == wrongWay && !f.emittedWrong && f.firm() && !f.wasOpen && f.letGo == "":
		f.emittedWrong = true
		w.emit(Event{T: a.nowAt, Name: LoopWrongWay, Side: f.side, Toward: toward(f.side.Opposite())})
	case a.state == answerOpen && !f.emittedSilent && f.ready && !f.opened && f.letGo == "" && a.quiet() && f.firm() && w.steered(f):
		if w.wentBack(a) {
			if f.dropped == 0 {
				f.dropped = a.steadyAt
				w.settleDrop(f, a.nowAt)
			}
			return
		}
		f.emittedSilent = true
		if a.now >= farOut && a.nowAt-a.steadyAt >= 3 && a.now >= w.farthest(a.up)-2*trimCount {
			// It stands still far out on the side to which it should go, farther than it
			// ever went: its limit, as far as anyone can tell.
			a.state = cannot
			if !f.emittedLimit {
				f.emittedLimit = true
				w.emit(Event{T: a.steadyAt, Name: TrimAtLimit, Value: a.up * a.now})
			}
			return
		}
		a.state = silent
		w.emit(Event{T: a.nowAt, Name: LoopSilent, Side: f.side, Waited: a.nowAt - f.begin, Moved: a.moved()})
	}
	o := &f.other
	far := 8.0
	if a.state == cannot {
		far = 15 // nothing of its own to compare with, and purge may move trim by some 10 %
	}
	strides := o.moved() >= far && o.drop <= 1.01*trimCount && since >= 8 && o.n >= 4                                           // fewer would not show that it turned back
	if (o.state == answered || strides) && !f.emittedOther && since > 1 && w.cfg.By != ByMixture && !w.heldBeside(f, f.begin) { // propane reaches both banks
		own := a.state == answered || a.n > 0 && a.moved() >= 0.4*o.moved()
		// A disturbance such as purge moves trim too, but not just when the force began.
		inStep := o.lowAt.T() <= f.beginHi+2
		// One that goes back to its middle and stops there answers nothing either.
		beyond := abs(o.raw) >= nearZero && w.otherBeyond(f)
		if !own && inStep && beyond && (strides || a.state == silent && o.moved() >= 5) {
			f.emittedOther = true
			w.fitAnswer(o, &w.otherTrim, w.now)
			w.emit(Event{T: o.onset, Name: OtherBankAnswers, Bank: w.other})
		}
	}
}

// otherBeyond reports whether the other bank's trim has gone farther than it went by itself in the minute before the force.
func (w *Watcher) otherBeyond(f *force) bool {
	o := &f.other
	lo, hi, n := w.otherTrim.short.Span(f.beginLo-baselineFor, f.beginLo)
	return o.now > o.ceiling()+o.margin() && (n == 0 || o.up > 0 && o.raw > hi+trimCount || o.up < 0 && o.raw < lo-trimCount)
}

// steered reports whether the sensor has told the loop to move for as long as silence takes, while trim stood. A held wire does, unless
// the sensor's own voltage is mixed in and brings it to the middle; a mixture that is forced may have been brought back.
func (w *Watcher) steered(f *force) bool {
	if w.cfg.By == ByMixture {
		return f.sideFor >= stuckEnough
	}
	until := w.now
	if f.ended {
		until = f.endLo
	}
	n, between := 0, 0
	for i := w.volts.volts.From(max(f.own.steadyAt, until-stuckEnough)); i < w.volts.volts.Len() && w.volts.volts.At(i).T() <= until; i++ {
		n++
		if v := w.volts.volts.At(i).V - w.offset; v > middleLow && v < middleHigh {
			between++
		}
	}
	return f.bank != w.bank || 2*between <= n
}

// farOut is the trim from which standing still may mean the computer's limit, %:
// authority of less is not known (from memory).
const farOut = 8.0

// farthest is how far trim went in the direction up during earlier forces, %.
func (w *Watcher) farthest(up float64) float64 {
	far := 0.0
	for _, f := range w.forces {
		if f.own.n > 0 && f.own.up == up {
			far = max(far, f.own.top)
		}
	}
	return far
}

// toward is the direction in which trim goes against a force.
func toward(side Side) string {
	if side == Lean {
		return "add"
	}
	return "cut"
}

// stepHold follows the held signal until it is let go.
func (w *Watcher) stepHold(f *force, k *track, p recent.Reading, outside bool) {
	if w.cfg.By == ByMixture {
		w.stepMixtureHold(f, p)
		return
	}
	released := false
	var lo, hi recent.Reading
	if f.loose && !f.lies && f.settles(&k.run) {
		f.lies, f.level = true, k.run.level()
	}
	if f.loose && !f.lies {
		d := &k.dwell
		if d.side != f.side && d.seconds() >= k.returnWithin() || d.side == f.side.Opposite() && w.expect.releaseAt > 0 {
			released, lo, hi = true, d.before, d.first
		}
	} else {
		r := &k.run
		letGo := w.expect.releaseAt > 0 || len(w.asked) > 0 && !w.asksNow() // is said, or asked for: then a level that moves is no longer held
		if abs(r.level()-f.level) > r.half+0.005 && !letGo && f.slides(k) {
			if outside = r.n < 4; !outside {
				f.level, f.share = r.level(), r.share() // the wire is still held
			}
		} else if abs(r.level()-f.level) > r.half+0.005 {
			// The run at the held level is over; the new one began with the release.
			released, lo, hi = true, r.before, r.first
			if !r.hasBefore {
				lo = r.first
			}
			if abs(lo.V-f.level) > r.half+0.005 {
				lo, hi = w.lastHeld(k, f.level)
			}
		} else if outside && w.expect.releaseAt > 0 && sideOf(p.V) == f.side.Opposite() {
			released = true
			lo, hi = w.lastHeld(k, f.level)
		} else if !outside { // a reading beside the level may be the release
			f.level, f.share = r.level(), r.share()
		}
	}
	at := w.expect.releaseAt
	switch {
	case released:
		w.feedTrims(f, lo.T())
		w.endForce(f, lo.Lo, hi.Hi, false)
	case at > 0 && p.T() > at+lateRelease && f.volts.switching() && !f.loose && !f.wasOpen && f.letGo == "":
		w.expect.releaseAt = 0 // a sensor that switches does not lie where it was held while the loop goes by it: it still is
	case at > 0 && p.T() > at+lateRelease:
		w.endForce(f, at, at, true)
	case !outside && at == 0:
		w.feedTrims(f, p.T())
		w.judgeHold(f)
	}
}

// settles reports whether the run is the level at which the wire is held.
func (f *force) settles(r *run) bool {
	return r.n >= 8 && r.seconds() >= settledAfter && r.share() > 0.9 && heldSide(r.level()) == f.side
}

// slides reports whether the run is the held wire at a level that has moved: a sensor that is still joined to it
// pulls it as the mixture changes. Let go, a sensor that cycled is on the other side, or has been there since.
func (f *force) slides(k *track) bool {
	r := &k.run
	if !f.volts.switching() || heldSide(r.level()) != f.side || abs(r.level()-f.level) >= 0.15 {
		return false
	}
	for i := k.volts.From(r.first.T()) - 1; i >= 0 && abs(k.volts.At(i).V-f.level) > r.half+0.005; i-- {
		if onSide(f.side.Opposite(), k.volts.At(i).V) {
			return false
		}
	}
	return true
}

// lateRelease is for how long after a release was said the reading may still be held: who taps first and
// lets go then, s. One that lies there longer lies there by itself.
const lateRelease = 8.0

// lastHeld finds the last reading at the level, and the next.
func (w *Watcher) lastHeld(k *track, level float64) (last, next recent.Reading) {
	next, _ = k.volts.Last()
	for i := k.volts.Len() - 1; i >= 0; i-- {
		if q := k.volts.At(i); abs(q.V-level) <= k.run.half+0.005 {
			return q, next
		} else {
			next = q
		}
	}
	return next, next
}

func (w *Watcher) endForce(f *force, lo, hi float64, byMark bool) {
	w.endForceUntil(f, lo, hi, byMark, math.Inf(1))
}

// endForceUntil is endForce where what was read after until belongs to another force.
func (w *Watcher) endForceUntil(f *force, lo, hi float64, byMark bool, until float64) {
	if !f.seen {
		// Announced, and neither the reading nor trim took notice.
		w.forces = w.forces[:len(w.forces)-1]
		fo := &w.follow[sideIndex(f.side)]
		fo.vague, fo.secs = true, hi-f.begin
		fo.why = reason.NeitherMoved.Of()
		w.expect = expectation{}
		return
	}
	if f.dropped > 0 && !f.opened {
		w.letsGo(f, f.dropped, byTrim) // no more is known of it
	}
	f.ended, f.byMark = true, byMark
	f.endLo, f.endHi, f.end = lo, hi, (lo+hi)/2
	if f.end < f.begin {
		f.end = f.begin
	}
	w.expect.releaseAt = 0
	f.own.finish()
	if f.own.state == answered {
		w.judgeHold(f)
		w.fitAnswer(&f.own, &w.trim, f.own.ramped(f.end))
	}
	w.emit(Event{T: f.end, Name: ForceEnds, Side: f.side})
	w.lookForOffset(f)
	w.beginRelease(f)
	w.cache.valid = false
	w.catchUp(f, hi-1e-6, until)
}

// earlierStays is how likely the stays after the earlier releases of the side of f were by plain switching, all of them;
// 1 if none was left open for that. Chances of stays that do not hang together multiply.
func (w *Watcher) earlierStays(f *force) float64 {
	p := 1.0
	for _, e := range w.forces {
		if e != f && e.side == f.side && e.rel.chance > 0 {
			p *= e.rel.chance
		}
	}
	return p
}
