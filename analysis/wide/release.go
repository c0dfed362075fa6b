package wide

import (
	"math"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/recent"
)

// Longest that a force may last to be one, s, where it was said and where it was not: what lasts longer is purge, a leak, another fuel.
const (
	longestForce  = 60.0
	longestUnsaid = 32.0
)

// lookForEnd finds the flank by which the mixture was let go.
func (w *Watcher) lookForEnd(f *force, p recent.Reading) {
	t := p.T()
	d, ok := w.step(t)
	if t < f.begin+stepGap+1 { // the step's own past is still the rest
		if base := w.disturbanceBase(f.begin + stepGap - 1); ok && f.sign*(w.disturbance(p)-base) > f.size {
			f.size = max(f.size, min(f.sign*(w.disturbance(p)-base), 2*f.size))
		}
		if !f.marked && t-f.begin > 1.5 && t-f.begin < 3 && !w.lasts(f, t) {
			f.closed = true // a touch of the throttle
			w.forces = w.forces[:len(w.forces)-1]
			return
		}
		w.announce(f, p)
		return
	}
	w.announce(f, p)
	if ok && f.sign*d < -0.45*f.size && w.plain(d, plainEnd) {
		s := &w.own.lambda
		at, level := s.Len()-1, w.disturbanceBase(t)
		for at > 0 && f.sign*(w.disturbance(s.At(at-1))-level) < -math.Abs(d)/3 && t-s.At(at-1).T() < stepGap+2 {
			at--
		}
		f.end, f.endHi = (s.At(max(0, at-1)).Lo+s.At(at).Hi)/2, s.At(at).Hi
		w.tellEnd(f)
		return
	}
	if !f.marked && ok && t-f.begin > 8 && f.sign*d > max(0.8*f.size, leastUnsaid) {
		w.abandon(f) // that was something else, and here comes another
		return
	}
	if r := w.releaseOf(f); r > 0 && t > r+sayNear {
		f.end, f.endHi = r, r
		w.tellEnd(f)
		return
	}
	if t-f.begin > longestForce || !f.marked && t-f.begin > longestUnsaid {
		w.abandon(f)
	}
}

func (w *Watcher) tellEnd(f *force) {
	w.tell(f, analysis.Event{T: f.end, Name: analysis.ForceEnds, Side: f.side})
	for i := w.own.lambda.From(f.end); i < w.own.lambda.Len(); i++ {
		w.follow(f, w.own.lambda.At(i))
	}
	w.lookAround(f)
}

// lookAround takes down how the engine ran and whether the car moved about a force.
func (w *Watcher) lookAround(f *force) {
	before := evenBefore
	if f.road = w.motion(f.begin, f.end); f.road == standing {
		before = evenStanding
	}
	f.even = w.evenShare(f, before)
	f.cut = w.cuts.during(f.begin, f.end)
}

// lasts reports whether the disturbance is still there.
func (w *Watcher) lasts(f *force, t float64) bool {
	d, ok := w.step(t)
	return !ok || f.sign*d > 0.5*f.size
}

// abandon takes a force back that nobody said and that does not end as one does.
func (w *Watcher) abandon(f *force) {
	if f.marked {
		f.end, f.endHi = w.now, w.now
		w.tellEnd(f)
		w.close(f)
		return
	}
	w.ownSteps++
	w.goes = goingOn{f.side, f.begin, f.size}
	w.forces = w.forces[:len(w.forces)-1]
}

// releaseOf is when the technician said that they let go, 0 if they did not.
func (w *Watcher) releaseOf(f *force) float64 {
	for _, m := range w.told {
		if m.used && m.side == f.side && m.release > f.begin && math.Abs(m.at-f.begin) <= sayNear+2 {
			return m.release
		}
	}
	return 0
}

// Recovery: the ratio is back at its command and trim where it was, within this time, s.
const (
	recoverWithin = float64(limits.Recovery / time.Second)
	ratioBack     = 0.01
	trimBackTo    = 0.02
)

func (w *Watcher) lookForReturn(f *force, p recent.Reading) {
	t := p.T()
	if f.recovered == 0 {
		phi, u := w.mean(t-1.5, t)
		if math.Abs(phi-f.rest) < ratioBack && math.Abs(u-f.u0) < trimBackTo && t > f.end+1.5 {
			f.recovered = max(f.end, t-1.5)
			w.tell(f, analysis.Event{T: f.recovered, Name: analysis.SwitchingResumes, Side: f.side, After: f.recovered - f.end})
		}
	}
	if f.recovered > 0 && t-f.recovered >= 4 || t-f.end > recoverWithin+2 {
		w.close(f)
	}
}

// mean is the measured fuel and the commanded one over [from, to].
func (w *Watcher) mean(from, to float64) (phi, u float64) {
	s := &w.own.lambda
	n := 0.0
	for i := s.From(from); i < s.Len() && s.At(i).T() <= to; i++ {
		phi += w.excess(s.At(i))
		u += w.fuel(&w.own, s.At(i).T())
		n++
	}
	return phi / max(1, n), u / max(1, n)
}

// close ends the watch after a force: it is judged with what was read until now.
func (w *Watcher) close(f *force) {
	if f.closed {
		return
	}
	if f.marked || f.told || w.mayCount(f) {
		w.estimate(f)
	}
	f.closed = true
	w.hasVerdict = false
	w.weighUnsaid(f)
}
