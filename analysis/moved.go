package analysis

import (
	"math"

	"pushback/analysis/reason"
	"pushback/analysis/recent"
	"pushback/analysis/upset"
)

// A mixture that is moved and not announced shows on a switching sensor as a reading that trim does not explain, on one side as it
// begins and on the other as it ends, and by trim that stands elsewhere meanwhile ([upset.Watch]). Vapour, a pedal, a leak that
// opens look alike in part, so what speaks for a test adds up: how seldom this car's mixture moves by itself, size, length and flanks
// of each change, and that people move both sides while vapour moves one. Nothing is told until that is enough, mostly with the
// second force; then each is told with its own times, as if it had been followed from its beginning.

// Odds of tests that nobody announced, where the mixture is moved (common practice, no source).
const (
	OtherSide = 2.5  // ln of 0.6 to 0.05: people move both sides, vapour one
	SameSide  = -0.9 // ln of 0.4 to 0.95
)

const (
	movedTest   = 2.0   // odds that who chooses this kind of test tests
	soon        = 60.0  // s: and begins within so long as often as later, by a rate that falls with the square of the time
	namedWithin = 300.0 // s: in a longer session nobody is told which change looked like a test
	watchEvery  = 8     // slots
	seenWithin  = 10.0  // s
	ownChanges  = 0.5   // a mixture is taken to move by itself so often …
	ownSeconds  = 150.0 // s: … in so long before anything of the car is known
	purgeForce  = -3.0  // a purge valve that has just moved explains much
	changesOver = 10.0  // s: who lets go of a hose takes up the bottle within about so long
	plainly     = 9.0   // log-likelihood by which a change must stand out from what trim explains: the loop is known roughly
	evenFor     = 20.0  // s before it, for which who tests lets the engine run evenly
	standsFor   = 40.0  // s: and for which the car has stood, where its speed is read
	aloneLeast  = 3.0   // log odds of a change, if somebody tests, below which it tells nothing beside others either
)

// movedMixture follows what moves the mixture.
type movedMixture struct {
	upset.Watch
	unreadyAt float64 // s: when the car was last not ready for a test
	slots     int     // that were closed
	watched   float64 // s: for so long a change would have been weighed
}

// unsaid reports whether changes are looked for: who makes marks makes them for each force, and purge looks the same.
func (w *Watcher) unsaid() bool { return w.cfg.By == ByMixture && w.marks == 0 }

func (w *Watcher) movedVolts(p recent.Reading) {
	if !w.unsaid() {
		return
	}
	m := &w.moved
	if !w.ready.holds() {
		m.unreadyAt = p.T()
	}
	if w.running() != nil || m.unreadyAt == p.T() {
		m.Off()
	}
	if !m.Volts(p.T(), p.V) {
		return
	}
	if m.slots++; m.slots%watchEvery == 0 && w.running() == nil && w.mayBeMoved(p.T()-seenWithin) {
		m.watched += watchEvery * upset.Step
	}
	if m.Look(false, w.mayBeMoved) {
		w.lookForMoved(false)
	}
}

func (w *Watcher) movedTrim(p recent.Reading) {
	if w.unsaid() {
		w.moved.Trim(p.T(), w.trim.total(p, 0))
	}
}

func (w *Watcher) movedLast() {
	if w.unsaid() {
		w.moved.Look(true, w.mayBeMoved)
		w.lookForMoved(true)
	}
}

// mayBeMoved reports whether somebody may have begun to test then, s: at a car that was ready and stands, its engine running evenly. What comes
// otherwise has never been enough.
func (w *Watcher) mayBeMoved(from float64) bool {
	return from > w.moved.unreadyAt && w.ready.steady(from-evenFor, w.now) && !w.ready.moved(from-standsFor, w.now)
}

// changedOver is what speaks against a change that comes so soon after another: nobody has a switch from hose to bottle, while trim's way back, which
// is known roughly only, begins just then.
func changedOver(gap float64) float64 {
	return math.Log(0.002 - math.Expm1(-math.Pow(max(0, gap)/changesOver, 2)))
}

// given is the log odds of a change if somebody tests; the car has made so many by itself, some of them like this one.
func (w *Watcher) given(c *upset.Suspect, own float64, set []*upset.Suspect) float64 {
	again := 0.0
	for i := range w.moved.Past {
		again += c.Like(&w.moved.Past[i])
	}
	for _, o := range set {
		if o != c && o.Real() {
			again += c.Like(&o.Change)
		}
	}
	rate, _, _ := w.askedThen(c.Begin, sideMoved(&c.Change))
	long := w.moved.watched + ownSeconds
	x := c.Evidence(rate, own/long, again/long)
	if end := w.lastEnd(); end >= 0 {
		x += changedOver(c.Begin - end)
	}
	if w.ready.purged(c.End+2, c.End-c.Begin+4+purgeSettles) {
		x += purgeForce
	}
	return x
}

// beginsTest are the log odds that somebody who has not said so tests and begins then, s, beside those of one more force of a test.
func beginsTest(t float64) float64 {
	return math.Log(movedTest * soon / ((t + soon) * (t + soon)) / forceRate)
}

// movedApart returns the changes that are over and stand out, of those that overlap the likeliest.
func (w *Watcher) movedApart(last bool, room []*upset.Suspect) []*upset.Suspect {
	m := &w.moved
	likely := func(c *upset.Suspect) float64 { return c.Evidence(forceRate, ownChanges/ownSeconds, 0) }
	for i := range m.Suspects {
		c := &m.Suspects[i]
		if !m.Over(c, last) || c.Begin < w.lastEnd() || c.Hand < plainly {
			continue
		}
		overlap := func(o *upset.Suspect) bool { return c.Begin < o.End && o.Begin < c.End }
		worse, k := false, 0
		for _, o := range room {
			worse = worse || overlap(o) && likely(o) >= likely(c)
		}
		if worse {
			continue
		}
		for _, o := range room {
			if !overlap(o) {
				room[k] = o
				k++
			}
		}
		room = append(room[:k], c)
	}
	return room
}

// sideMoved is the side of a change.
func sideMoved(c *upset.Change) Side {
	if c.Side == upset.Rich {
		return Rich
	}
	return Lean
}

func stateOf(s Side) upset.State {
	if s == Rich {
		return upset.Rich
	}
	return upset.Lean
}

// movedItself is how often this car's mixture has moved by itself, by what was looked at.
func (w *Watcher) movedItself(set []*upset.Suspect) float64 {
	own := float64(w.moved.Own) + ownChanges
	for _, c := range set {
		if c.Real() {
			own++
		}
	}
	return own
}

// lookForMoved asks whether changes that are over were forces, one by itself or one of each side: one side twice is what vapour does.
func (w *Watcher) lookForMoved(last bool) {
	if w.holding() != nil || len(w.forces) >= maxForces-1 {
		return
	}
	if _, always := w.Barred(); always {
		return
	}
	var room [upset.MaxSuspects]*upset.Suspect
	set := w.movedApart(last, room[:0])
	own := w.movedItself(set)
	tests, told := len(w.asked) > 0, Side("")
	for _, f := range w.forces {
		if f.seen && w.now-f.end < testLasts {
			tests, told = true, f.side
		}
	}
	prior := func(c *upset.Suspect) float64 {
		if tests {
			return 0
		}
		return beginsTest(c.Begin)
	}
	best, first, second := oneInThousand, (*upset.Suspect)(nil), (*upset.Suspect)(nil)
	for i, c := range set {
		if !w.kept(c) {
			continue
		}
		x := prior(c) + w.given(c, max(own-1, ownChanges), set)
		switch told {
		case "":
		case sideMoved(&c.Change):
			x += SameSide
		default:
			x += OtherSide
		}
		if x >= best {
			best, first, second = x, c, nil
		}
		for _, d := range set[:i] {
			if !w.kept(d) {
				continue
			}
			a, b := d, c
			if b.Begin < a.Begin {
				a, b = b, a
			}
			n := max(own-2, ownChanges)
			x, y := w.given(a, n, set), w.given(b, n+1, set)
			if a.Side == b.Side || min(x, y) < aloneLeast || b.Begin-a.Begin > testLasts {
				continue
			}
			if x += y + prior(a) + OtherSide + changedOver(b.Begin-a.End); x >= best {
				best, first, second = x, a, b
			}
		}
	}
	if first != nil {
		w.tellMoved(first, second)
	}
}

// lookForAsked tells a change while it lasts where a guide asks for it, on the side on which the reading stays.
func (w *Watcher) lookForAsked() {
	d := &w.volts.dwell
	if len(w.asked) == 0 || !w.unsaid() || d.side == "" || d.first.T() < w.lastEnd() || !w.mayBeMoved(d.first.T()) {
		return
	}
	rate, _, said := w.askedThen(d.first.T(), d.side)
	if _, always := w.Barred(); always || !said {
		return
	}
	c := w.moved.Going(stateOf(d.side), d.first.T())
	if c.Evidence(rate, w.movedItself(nil)/(w.moved.watched+ownSeconds), 0) < oneInHundred {
		return
	}
	h := held{side: d.side, level: d.sum / float64(d.n), loose: true}
	h.lo, h.hi = startOf(d.before, d.hasBefore, d.first)
	w.beginForce(h, &w.volts, false)
}

// tellMoved makes forces of a change, and of a later one if there is any, in order of time.
func (w *Watcher) tellMoved(first, second *upset.Suspect) {
	a, until := first.Change, math.Inf(1)
	reached := w.moved.Reaches(first) >= oneInThousand
	if second == nil {
		w.makeMoved(a, until, reached)
		return
	}
	b, then := second.Change, w.moved.Reaches(second) >= oneInThousand
	w.makeMoved(a, b.Begin-beginsBefore, reached)
	w.makeMoved(b, until, then)
}

// The mixture that is moved takes its time to the sensor, and slots are coarse, s.
const (
	beginsBefore = 1.5
	slotsAbout   = 0.5
	endsBefore   = 1.0
)

// kept reports whether all that was read since the change began is kept, so that it can be told.
func (w *Watcher) kept(c *upset.Suspect) bool {
	from := c.Begin - beginsBefore
	v, t := &w.volts.volts, &w.trim.short
	return (v.Gone() == 0 || v.At(0).T() <= from) && (t.Gone() == 0 || t.At(0).T() <= from)
}

// makeMoved makes a force of a change; reached: trim brought the mixture back, not the hand that let go.
func (w *Watcher) makeMoved(c upset.Change, until float64, reached bool) {
	lo := max(c.Begin-beginsBefore, w.lastEnd())
	v, d := &w.volts.volts, &w.down
	w.beginForce(held{side: sideMoved(&c), lo: lo, hi: max(c.Begin+slotsAbout, lo), loose: true, until: lo}, &w.volts, false)
	f := w.forces[len(w.forces)-1]
	var on dwell
	var before recent.Reading
	k := d.From(lo)
	for i := v.From(lo); i < v.Len() && v.At(i).T() <= c.End; i++ {
		p := v.At(i)
		for ; k < d.Len() && d.At(k).T() <= p.T(); k++ {
			f.down.addVolts(d.At(k), f.moved())
		}
		on.add(before, i > 0, p)
		before = p
		w.followMixture(f, &on, p)
	}
	f.compensated = f.compensated && reached
	w.endForceUntil(f, c.End-endsBefore, c.End+slotsAbout, false, until)
}

// movedWhy names the change that looked most like a force, where none counts as one.
func (w *Watcher) movedWhy(p *Proof) {
	if !w.unsaid() || w.now > namedWithin || len(w.forces) > 0 {
		return
	}
	var room [upset.MaxSuspects]*upset.Suspect
	best := 0.0
	for _, c := range w.movedApart(true, room[:0]) {
		if x := w.given(c, ownChanges, nil); x > best {
			best = x
			p.Why = reason.MovedUnsaid.Of(c.Size, c.Begin)
		}
	}
}
