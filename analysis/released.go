package analysis

import (
	"math"

	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

func (w *Watcher) beginRelease(f *force) {
	first := w.forces[0]
	f.rel.begin(f, f.own.now, first, w.trim.asAt(f.begin, first.own.base.median, first.begin))
	f.rel.zero, f.rel.input, f.rel.earlier = w.offset, w.open, w.earlierStays(f)
	f.relOn = true
}

// catchUp gives the force what was read since it ended, in order of time.
func (w *Watcher) catchUp(f *force, from, until float64) {
	v, t, d := &w.volts.volts, &w.trim.short, &w.down
	i, j, k := v.From(from), t.From(from), d.From(from)
	next := func(s *recent.Series, i int) float64 {
		if i >= s.Len() {
			return math.Inf(1)
		}
		return s.At(i).T()
	}
	for i < v.Len() || j < t.Len() || k < d.Len() {
		a, b, c := next(v, i), next(t, j), next(d, k)
		if min(a, b, c) >= until {
			return
		}
		switch {
		case a <= b && a <= c:
			w.stepRelease(f, v.At(i))
			i++
		case b <= c:
			w.stepReleaseTrim(f, t.At(j))
			j++
		default:
			w.stepReleaseDown(f, d.At(k))
			k++
		}
	}
}

func (w *Watcher) airflow() float64 {
	p, _ := w.ready.rpm.Last()
	return w.air.flow(p.V)
}

func (w *Watcher) stepReleaseTrim(f *force, p recent.Reading) {
	u := f.own.up * w.trim.total(p, f.begin)
	f.rel.trimNow = u
	f.own.standsOn(p.T(), u)
	f.rel.trimBack(p.T(), f)
	f.down.addTrim(p.T(), f.pastBalance(u), w.airflow())
}

func (w *Watcher) stepReleaseDown(f *force, p recent.Reading) {
	moved := 0.0
	if f.rel.still() > 0.5 {
		moved = f.rel.trimNow - f.own.start
	}
	f.down.addVolts(p, moved)
}

func (w *Watcher) stepRelease(f *force, p recent.Reading) {
	r := &f.rel
	if !f.relOn {
		return
	}
	if last := len(w.hints) - 1; !w.asksNow() && (last < 0 || w.hints[last].at < r.lo) { // else the wire may be held again, unseen
		r.lives.addVolts(r, p)
	}
	if r.addVolts(p, f.volts) {
		w.announceRelease(f)
	}
	if r.turn(p, f.volts) {
		f.resumed = true
		w.restFrom = p.T()
		w.cache.valid = false
		w.emit(Event{T: r.resumedAt, Name: SwitchingResumes, After: max(0, r.resumedAt-r.at)})
	}
	if r.state != sensorOpen && (r.resumed || r.backFor(p.T()) > recoverWithin) {
		w.closeRelease(f, false)
	}
}

// heldAgain takes back what readings since t have told of the release of f: the wire was held on a side again then, which nobody knew.
// What was read before is judged as if no more had come.
func (w *Watcher) heldAgain(f *force, t float64) {
	r := &f.rel
	r.lives.heldAgain(t)
	if r.state == sensorNotYet || r.state != sensorOpen && r.decidedAt <= t {
		return
	}
	lives := r.lives
	w.beginRelease(f)
	v, s := &w.volts.volts, &w.trim.short
	for i, j := v.From(f.endHi-1e-6), s.From(f.endHi-1e-6); i < v.Len() && v.At(i).T() < t; i++ {
		for ; j < s.Len() && s.At(j).T() < v.At(i).T(); j++ {
			r.trimNow = f.own.up * w.trim.total(s.At(j), f.begin)
			r.trimBack(s.At(j).T(), f)
		}
		r.addVolts(v.At(i), f.volts)
	}
	if r.state == sensorOpen {
		r.decide(t, f.volts, true)
	}
	if r.lives = lives; r.state == sensorVague {
		r.again, r.why = true, reason.HeldAgain.Of(max(0, t-r.at))
	}
}

func (w *Watcher) announceRelease(f *force) {
	r := &f.rel
	if f.emittedRelease {
		return
	}
	if r.open {
		f.emittedRelease = true
		w.emit(Event{T: r.decidedAt, Name: BranchOpen, Side: f.side})
	}
	switch r.state {
	case sensorSays, sensorLate:
		f.emittedRelease = true
		w.emit(Event{T: r.firstOn.T(), Name: SensorAnswers, Toward: string(r.expect), After: max(0, r.firstOn.T()-r.at)})
	case sensorMute:
		f.emittedRelease = true
		w.emit(Event{T: r.decidedAt, Name: SensorSilent, Toward: string(r.expect), Waited: max(0, r.decidedAt-r.at)})
	}
}

// closeRelease ends the watch after a release: no more data will be counted.
func (w *Watcher) closeRelease(f *force, last bool) {
	if !f.ended || !f.relOn {
		return
	}
	if f.rel.state == sensorOpen {
		f.rel.decide(w.now, f.volts, true)
		w.announceRelease(f)
	}
	f.relOn = false
	if !f.rel.resumed {
		w.restFrom = max(w.restFrom, w.now)
	}
	w.cache.valid = false
}
