package analysis

import (
	"pushback/analysis/recent"
	"pushback/decode"
)

// How the computer lets go of a sensor that it does not believe.
const (
	byStatus = "status" // the status of the fuel system tells it
	byTrim   = "trim"   // trim is given up while the wire is still held
)

// letsGo notes that the computer has stopped using the sensor while the wire was held: an answer of its own.
func (w *Watcher) letsGo(f *force, at float64, how string) {
	if f.letGo != "" || f.stalled {
		return
	}
	f.letGo, f.letGoAt = how, at
	w.emit(Event{T: at, Name: ComputerLetsGo, Side: f.side, After: max(0, at-f.begin), How: how})
}

// settleDrop says that trim was given up once the status of the fuel system was read after it fell back and is still closed
// loop: an engine that stops, or a loop that opens, drops trim too. Where no status comes for a while, or none was ever read,
// trim alone tells.
func (w *Watcher) settleDrop(f *force, now float64) {
	switch {
	case f.dropped == 0 || f.letGo != "" || f.opened:
	case !w.ready.hasStatus, w.ready.statusAt > f.dropped && isClosed(w.ready.status), now > f.dropped+stallKnown:
		w.letsGo(f, f.dropped, byTrim)
	}
}

// gaveUp reports whether trim, having answered, has fallen most of its way back within a second or two: no
// loop does that by its own rate. (Makers' computers do it 3 to 10 s into a hold.)
func (a *answer) gaveUp() bool {
	way := a.peak - a.start
	return a.state == answered && !a.mayTurn && way >= 2*minAnswer && a.peak-a.now >= 0.6*way && a.nowAt-a.highAt <= 2.5
}

// jumpedToZero reports whether short-term trim came to zero at reading k faster than it goes by itself, at rate, % per s: it was
// given up, or is paused (found on makers' computers). Where a loop has no authority beyond zero it gets there at its own rate. What
// was read seldom may have jumped; but one that has come to zero so time and again steps there when its sensor crosses.
func (t *trimStream) jumpedToZero(k int, rate float64) bool {
	if !t.jumpsToZero(k, rate) {
		return false
	}
	before := 0
	for i := k - 1; i > 0 && t.short.At(k).T()-t.short.At(i).T() < baselineFor; i-- {
		if abs(t.short.At(i).V) <= trimCount/2 && abs(t.short.At(i-1).V) > trimCount/2 && t.jumpsToZero(i, rate) {
			before++
		}
	}
	return before < 2
}

func (t *trimStream) jumpsToZero(k int, rate float64) bool {
	if k < 1 || k >= t.short.Len() {
		return false
	}
	p, j := t.short.At(k), k-1
	for j > 0 && t.short.At(j).T() > p.T()-dropsWithin {
		j--
	}
	q := t.short.At(j)
	way := abs(q.V) - abs(p.V)
	return way >= minAnswer && way > 1.5*max(rate, minLoopRate)*(p.Hi-q.Lo)+trimCount
}

// dropsWithin is how long trim that is given up takes to zero, s: most of it.
const dropsWithin = 1.2

// zeroedInHold reports whether trim stands at zero where it has jumped to while the wire was held. A loop that jumps when it
// turns, late perhaps, may come to zero too, but goes on from there, but for one that by itself turns there.
func (w *Watcher) zeroedInHold(f *force) bool {
	a, s := &f.own, &w.trim.short
	if abs(a.raw) > trimCount/2 || a.stuckFor() < 2 || a.judgedAt == a.steadyAt {
		return false
	}
	k, i := s.From(a.steadyAt), s.From(f.beginHi)
	if j := s.From(a.steadyAt - dropsWithin); a.steadyAt <= f.beginHi+slowestTurn && a.up*s.At(j).V < 0 && (a.stuckFor() < stuckEnough || a.base.turnsAtZero(a.up)) {
		return false
	}
	a.judgedAt = a.steadyAt
	rate, travel := a.base.activity, 0.0
	for j := max(i, 1); j < k && s.At(j).T() <= a.steadyAt-dropsWithin; j++ {
		travel += abs(s.At(j).V - s.At(j-1).V)
		rate = max(rate, travel/max(s.At(j).T()-f.beginLo, dropsWithin))
	}
	return w.trim.jumpedToZero(k, rate)
}

// turnsAtZero reports whether trim, mirrored, hunts up to its middle and no farther.
func (b trimBase) turnsAtZero(up float64) bool {
	most := b.shortHigh
	if up < 0 {
		most = -b.shortLow
	}
	return b.known() && b.shortHigh-b.shortLow >= 2*trimCount-roundoff && abs(most) <= trimCount+roundoff
}

// wentBack reports whether trim, which stands at zero, has jumped there from the side to which the force asks it to go. While the wire is
// held no loop turns, however it jumps where it turns by itself.
func (w *Watcher) wentBack(a *answer) bool {
	s := &w.trim.short
	k := s.From(a.steadyAt)
	return abs(a.raw) <= trimCount/2 && a.steadyAt > a.hi && a.up*s.At(s.From(a.steadyAt-dropsWithin)).V > 0 && w.trim.jumpsToZero(k, 0)
}

// zeroedBefore reports whether trim stood at zero at time t where it had jumped to, as in a pause.
func (w *Watcher) zeroedBefore(t float64) bool {
	s := &w.trim.short
	k := s.From(t) - 1
	if k < 1 || abs(s.At(k).V) > trimCount/2 {
		return false
	}
	for k > 0 && abs(s.At(k-1).V) <= trimCount/2 && t-s.At(k-1).T() < pauseLasts {
		k--
	}
	at := s.At(k).T() - dropsWithin
	return w.trim.jumpedToZero(k, w.trimBaseline(&w.trim, at-trimBaselineFor, at).activity)
}

// zeroesAgainst notes trim that has just jumped to zero from a side on which the reading still asked for more, whether a wire was held or
// not: no loop that steers by its sensor does that. A loop that opens does, so the status that is read next must tell that it has not.
func (w *Watcher) zeroesAgainst(p recent.Reading) {
	s := &w.trim.short
	k := s.Len() - 1
	if k < 1 || abs(p.V) > trimCount/2 || abs(s.At(k-1).V) <= trimCount/2 || !w.trim.jumpsToZero(k, 0) { // nor by any rate of its own
		return
	}
	from := p.T() - dropsWithin
	was := s.At(max(s.From(from)-1, 0)).V
	lo, hi, n := w.volts.volts.Span(from-slowestTurn/2, p.T())
	if n < 4 || was > 0 && hi > leanBelow || was < 0 && lo < richAbove {
		return
	}
	if w.trim.jumpedToZero(k, w.trimBaseline(&w.trim, from-trimBaselineFor, from).activity) {
		w.ready.zeroed = p.T()
	}
}

// stepStatus takes the status of the fuel system.
func (w *Watcher) stepStatus(p recent.Reading) {
	r := &w.ready
	was, had := r.status, r.hasStatus
	r.status, r.hasStatus, r.statusAt = int(p.V), true, p.Lo
	if isClosed(r.status) {
		r.closedAt, r.everClosed = p.Lo, true
	} else {
		r.openAt = p.Hi
		if f := w.holding(); f != nil {
			f.wasOpen = true
		}
	}
	if r.zeroed > 0 && p.Lo > r.zeroed {
		r.gaveUp, r.zeroed = r.gaveUp || isClosed(r.status), 0
	}
	if !had || r.status == was {
		return
	}
	r.changedAt, r.changedFrom = p.T(), was
	if f := w.running(); f != nil {
		w.statusChanged(f, p.T(), was)
	}
}

// statusChanged takes a change of status that fell into the force or shortly after it.
func (w *Watcher) statusChanged(f *force, at float64, was int) {
	now := w.ready.status
	if isClosed(was) && !isClosed(now) && (!f.ended || at-f.end < 20) && !f.opened {
		f.opened, f.openedAt, f.wasOpen = true, at, true
		w.emit(Event{T: at, Name: OpenLoop, Status: FuelStatus(now)})
	}
	if (!f.ended || at < f.endLo) && was == int(decode.FuelClosed) && (now == int(decode.FuelOpenFault) || now == int(decode.FuelClosedFault)) {
		w.letsGo(f, at, byStatus)
	}
}

// stallKnown is how long after a force its engine may be found to stand, s: the loop opens at once, engine speed is
// read now and then while an answer is awaited.
const stallKnown = 6.0

// stall takes an engine that stood at a time, s.
func (w *Watcher) stall(at float64) {
	if f := w.running(); f != nil && at > f.begin && (!f.ended || at < f.end+stallKnown) {
		f.stalled = true
	}
}

// stepRuntime takes the time since the engine's start, s: what goes back was started anew since it was read last.
func (w *Watcher) stepRuntime(p recent.Reading) {
	if p.V < w.ready.ran-1 {
		w.stall(p.Lo - p.V)
	}
	w.ready.ran = p.V
}

func (w *Watcher) stepPurge(p recent.Reading) {
	w.ready.purge.Add(p)
	if f := w.running(); f != nil && !f.ended && w.ready.purged(p.T(), p.T()-f.begin) {
		f.purged = true
	}
}

// purged reports whether the purge valve was commanded open or shut within so many seconds before t: that moves the
// mixture, and some computers pause trim for it.
func (r *readiness) purged(t, within float64) bool {
	lo, hi, n := r.purge.Span(t-within, t)
	return n > 1 && hi-lo >= purgeMoves
}

// Common practice, no source: purgeMoves is less than any valve opens by, %, purgeSettles how long its vapour takes, s.
const (
	purgeMoves   = 8.0
	purgeSettles = 12.0
)

// pauseLasts is for how long a computer may pause trim, s: 10 to 20 s for purge, idle or fuel learning (found
// on makers' computers). One silence is none where it can be such a pause.
const pauseLasts = 30.0

// stoodFor is how long trim stood within a count about the hold, before and after it too, s.
func (a *answer) stoodFor() float64 {
	if abs(a.now-a.start) > 1.01*trimCount {
		return a.stuckFor()
	}
	return a.stuckFor() + a.stood + max(0, a.stoodTo-a.nowAt)
}

// standsOn follows trim after the force for as long as it stands where it stood.
func (a *answer) standsOn(t, u float64) {
	if abs(u-a.now) > 1.01*trimCount {
		a.leftAfter = true
	}
	if !a.leftAfter {
		a.stoodTo = t
	}
}

// refusal is for how long at most the sensor said one side while trim stood still, held or not: what a loop that
// steers does not do, and a pause does not for so long.
type refusal struct {
	side    Side
	since   float64
	last    float64
	trim    float64
	longest [2]float64 // s, by the side that was read
}

// trimRead takes short-term plus long-term trim, in whose counts it is told to stand still, while the reading lies on
// the side, "" for neither.
func (r *refusal) trimRead(t, v float64, side Side) {
	if side == "" || side != r.side || abs(v-r.trim) > 1.01*trimCount || t-r.last > 3 {
		r.side, r.since, r.trim = side, t, v
	} else {
		k := sideIndex(side)
		r.longest[k] = max(r.longest[k], t-r.since)
	}
	r.last = t
}

// paused reports whether the silence of the forces may be a pause: no two of them lie far enough apart.
func paused(forces []*force) bool {
	first := -1.0
	for _, f := range forces {
		if f.own.state != silent || f.purged { // that is such a pause
			continue
		}
		if first < 0 {
			first = f.begin
		} else if f.begin-first >= pauseLasts {
			return false
		}
	}
	return true
}

// standing is for how long short-term trim has kept within a count when it was time t, s.
func (t *trimStream) standing(at float64) float64 {
	i := t.short.From(at) - 1
	if i < 0 {
		return 0
	}
	last := t.short.At(i)
	since := last.T()
	for ; i >= 0; i-- {
		p := t.short.At(i)
		if abs(t.total(p, at)-t.total(last, at)) > 1.01*trimCount || last.T()-p.T() > 2*pauseLasts {
			break
		}
		since = p.T()
	}
	return last.T() - since
}
