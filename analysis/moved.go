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
	unsaidTest   = 0.2   // that somebody tests
	unsaidWithin = 300.0 // s: who tests has done so by then; later there were more chances to look like it, and fewer begin
	OtherSide    = 2.5   // ln of 0.6 to 0.05: people move both sides, vapour one
	SameSide     = -0.9  // ln of 0.4 to 0.95
)

const (
	ownChanges  = 0.5   // a mixture is taken to move by itself so often …
	ownSeconds  = 150.0 // s: … in so long before anything of the car is known
	purgeForce  = -3.0  // a purge valve that has just moved explains much
	changesOver = 10.0  // s: who lets go of a hose takes up the bottle within about so long
	plainly     = 9.0   // log-likelihood by which a change must stand out from what trim explains: the loop is known roughly
	evenFor     = 20.0  // s before it, for which who tests lets the engine run evenly
	standsFor   = 40.0  // s: and for which the car has stood, where its speed is read
	aloneLeast  = 3.0   // log odds of a change, if somebody tests, below which it tells nothing beside others either
)

// movedNow are the log odds of a force where the reading stays on a side so long that the sensor seldom does so by itself, by the chance seldom.
func (w *Watcher) movedNow(seldom float64) float64 {
	var room [upset.MaxSuspects]*upset.Suspect
	return UnsaidOdds(w.now) - math.Log(seldom) - math.Log(w.movedItself(w.movedApart(false, room[:0]))/ownChanges)
}

// UnsaidOdds are the log odds that somebody tests by mixture who has not said so by now, s.
func UnsaidOdds(now float64) float64 {
	return math.Log(unsaidTest) - 2*math.Log(max(1, now/unsaidWithin))
}

// movedMixture follows what moves the mixture.
type movedMixture struct {
	upset.Watch
	unreadyAt float64 // s: when the car was last not ready for a test
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
	if m.Volts(p.T(), p.V) && m.Look(false, w.mayBeMoved) {
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

// given is the log odds of a change if somebody tests; the car has made so many by itself.
func (w *Watcher) given(c *upset.Suspect, own float64) float64 {
	x := c.Evidence(forceRate, own/(w.now+ownSeconds))
	if end := w.lastEnd(); end >= 0 {
		x += changedOver(c.Begin - end)
	}
	if w.ready.purged(c.End+2, c.End-c.Begin+4+purgeSettles) {
		x += purgeForce
	}
	return x
}

// movedApart returns the changes that are over and stand out, of those that overlap the likeliest.
func (w *Watcher) movedApart(last bool, room []*upset.Suspect) []*upset.Suspect {
	m := &w.moved
	likely := func(c *upset.Suspect) float64 { return c.Evidence(forceRate, ownChanges/ownSeconds) }
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
func sideMoved(c *upset.Suspect) Side {
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
	prior, told := UnsaidOdds(w.now), Side("")
	for _, f := range w.forces {
		if f.seen && w.now-f.end < testLasts {
			prior, told = 0, f.side
		}
	}
	best, first, second := oneInThousand, (*upset.Suspect)(nil), (*upset.Suspect)(nil)
	for i, c := range set {
		x := prior + w.given(c, max(own-1, ownChanges))
		switch told {
		case "":
		case sideMoved(c):
			x += SameSide
		default:
			x += OtherSide
		}
		if x >= best {
			best, first, second = x, c, nil
		}
		for _, d := range set[:i] {
			a, b := d, c
			if b.Begin < a.Begin {
				a, b = b, a
			}
			n := max(own-2, ownChanges)
			x, y := w.given(a, n), w.given(b, n+1)
			if a.Side == b.Side || min(x, y) < aloneLeast || b.Begin-a.Begin > testLasts {
				continue
			}
			if x += y + prior + OtherSide + changedOver(b.Begin-a.End); x >= best {
				best, first, second = x, a, b
			}
		}
	}
	if first != nil {
		w.tellMoved(first, second)
	}
}

// tellMoved makes forces of a change, and of a later one if there is any, in order of time. Those whose readings are kept no more only count.
func (w *Watcher) tellMoved(first, second *upset.Suspect) {
	a, until := first.Change, math.Inf(1)
	if second == nil {
		w.makeMoved(a, until)
		return
	}
	b := second.Change
	w.makeMoved(a, b.Begin-beginsBefore)
	w.makeMoved(b, until)
}

// The mixture that is moved takes its time to the sensor, and slots are coarse, s.
const (
	beginsBefore = 1.5
	slotsAbout   = 0.5
	endsBefore   = 1.0
)

func (w *Watcher) makeMoved(c upset.Change, until float64) {
	lo := max(c.Begin-beginsBefore, w.lastEnd())
	v, d, t := &w.volts.volts, &w.down, &w.trim.short
	if v.Gone() > 0 && v.At(0).T() > lo || t.Gone() > 0 && t.At(0).T() > lo {
		return
	}
	side := Lean
	if c.Side == upset.Rich {
		side = Rich
	}
	w.beginForce(held{side: side, lo: lo, hi: max(c.Begin+slotsAbout, lo), loose: true, until: lo}, &w.volts, false)
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
	w.endForceUntil(f, c.End-endsBefore, c.End+slotsAbout, false, until)
}

// movedWhy names the change that looked most like a force, where none counts as one.
func (w *Watcher) movedWhy(p *Proof) {
	if !w.unsaid() || w.now > unsaidWithin || len(w.forces) > 0 {
		return
	}
	var room [upset.MaxSuspects]*upset.Suspect
	best := 0.0
	for _, c := range w.movedApart(true, room[:0]) {
		if x := w.given(c, ownChanges); x > best {
			best = x
			p.Why = reason.MovedUnsaid.Of(c.Size, c.Begin)
		}
	}
}
