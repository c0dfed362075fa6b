package analysis

import (
	"math"
)

// catchUp gives the force what was read since it ended, in order of time.
func (w *Watcher) catchUp(f *force, from, until float64) {
	v, t, d := &w.volts.volts, &w.trim.short, &w.down
	i, j, k := v.from(from), t.from(from), d.from(from)
	next := func(s *series, i int) float64 {
		if i >= s.n {
			return math.Inf(1)
		}
		return s.at(i).t()
	}
	for i < v.n || j < t.n || k < d.n {
		a, b, c := next(v, i), next(t, j), next(d, k)
		if min(a, b, c) >= until {
			return
		}
		switch {
		case a <= b && a <= c:
			w.stepRelease(f, v.at(i))
			i++
		case b <= c:
			w.stepReleaseTrim(f, t.at(j))
			j++
		default:
			w.stepReleaseDown(f, d.at(k))
			k++
		}
	}
}

func (w *Watcher) airflow() float64 {
	p, _ := w.ready.rpm.last()
	return w.air.flow(p.v)
}

func (w *Watcher) stepReleaseTrim(f *force, p point) {
	u := f.own.up * w.trim.total(p, f.begin)
	f.rel.trimNow = u
	f.own.standsOn(p.t(), u)
	f.rel.trimBack(p.t(), f)
	f.down.addTrim(p.t(), f.pastBalance(u), w.airflow())
}

func (w *Watcher) stepReleaseDown(f *force, p point) {
	moved := 0.0
	if f.rel.still() > 0.5 {
		moved = f.rel.trimNow - f.own.start
	}
	f.down.addVolts(p, moved)
}

func (w *Watcher) stepRelease(f *force, p point) {
	r := &f.rel
	if !f.relOn {
		return
	}
	f.rel.lives.addVolts(r, p)
	if r.addVolts(p, f.volts) {
		w.announceRelease(f)
	}
	if r.turn(p, f.volts) {
		f.resumed = true
		w.restFrom = p.t()
		w.cache.valid = false
		w.emit(Event{T: r.resumedAt, Name: SwitchingResumes, After: max(0, r.resumedAt-r.at)})
	}
	if r.state != sensorOpen && (r.resumed || r.backFor(p.t()) > recoverWithin) {
		w.closeRelease(f, false)
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
		w.emit(Event{T: r.firstOn.t(), Name: SensorAnswers, Toward: string(r.expect), After: max(0, r.firstOn.t()-r.at)})
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
