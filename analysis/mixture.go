package analysis

import "pushback/analysis/recent"

// ownLonger is how seldom a stay must be the sensor's own for a mixture that is moved to be told while it lasts.
const ownLonger = 1e-5

// lookForMixture: propane or an induced lean moves the sensor's own reading to one
// side for much longer than switching does, with trim against it.
func (w *Watcher) lookForMixture() {
	d := &w.volts.dwell
	if w.marks > 0 || d.side == "" || d.n < 3 || d.seconds() < 4 || d.first.T() < w.lastEnd() {
		return // who makes marks makes them for each force; purge looks the same
	}
	if _, always := w.Barred(); always {
		return // no trim answers this sensor, or the car is never to be tested so
	}
	b, tr := w.baseBefore(&w.volts, d.first.T())
	h := held{side: d.side, level: d.sum / float64(d.n), loose: true}
	h.lo, h.hi = startOf(d.before, d.hasBefore, d.first)
	q, has := w.trim.short.Last()
	if !has || b.stays(d.side).chance(d.seconds()) > ownLonger || !w.mayBeMoved(d.first.T()) ||
		!w.ready.closedDuring(d.first.T()) || w.ready.purged(d.last.T(), d.seconds()+purgeSettles) {
		return
	}
	var a answer
	a.begin(d.side, h.lo, h.hi, tr, noise{})
	u := a.up * w.trim.total(q, d.first.T())
	if u >= a.ceiling()+a.margin() && u-a.up*tr.median >= 8 && tr.seconds >= 8 && w.movedNow(ownLonger) >= oneInThousand && !w.moved.Explains(stateOf(d.side), d.first.T()) {
		w.beginForce(h, &w.volts, false)
	}
}

// stepMixtureHold: while mixture is forced the loop may bring it back and go on
// switching at another trim, so only the technician's word or trim's way back end it.
func (w *Watcher) stepMixtureHold(f *force, p recent.Reading) {
	d := &w.volts.dwell
	w.followMixture(f, d, p)
	if f.marked || f.own.state != answered || d.side != f.side.Opposite() {
		return
	}
	if d.seconds() > max(1.5, 1.3*f.volts.stays(d.side).longest) && f.own.now-f.own.start < 0.6*(f.own.top-f.own.start) {
		w.endForce(f, d.before.Lo, d.first.Hi, false)
	}
}

// followMixture takes a reading while the mixture is forced.
func (w *Watcher) followMixture(f *force, d *dwell, p recent.Reading) {
	f.sideFor = 0
	if d.side == f.side {
		f.sideFor = d.seconds()
	}
	own := f.volts.stays(f.side)
	long := d.side == f.side && d.seconds() > max(1, 1.3*own.habit(own.p95))
	if long && strength(f.side, p.V) == 2 {
		f.strong++
	}
	w.feedTrims(f, p.T())
	if !f.seen && (long && d.seconds() > 1.3*own.habit(own.longest) || f.own.state == answered) {
		f.seen = true
		if t := d.first.T(); long && t > f.begin-2 {
			f.beginLo, f.beginHi = startOf(d.before, d.hasBefore, d.first)
			f.begin = (f.beginLo + f.beginHi) / 2
		}
		w.emit(Event{T: f.begin, Name: ForceBegins, Side: f.side})
	}
	if onSide(f.side, p.V) && (f.level == 0 || (p.V > f.level) == (f.side == Rich)) {
		f.level = p.V // the most extreme reading
	}
	// Brought back: the sensor cycles again and trim has stopped going one way.
	if f.own.state == answered && d.side != "" && d.side != f.turnSide {
		f.turnSide = d.side
		f.turns++
		f.compensated = f.turns >= 3 && f.own.drop > 0.99*trimCount
	}
	if f.seen {
		w.judgeHold(f)
	}
}
