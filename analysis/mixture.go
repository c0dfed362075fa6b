package analysis

import "pushback/analysis/recent"

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
