package wide

import (
	"math"

	"pushback/analysis"
)

// A force that was said and that no flank showed, since a target sways or purge goes on meanwhile, is sought by the model: are the
// readings likelier with a force where it was said than by what trim and target do alone?

const (
	soughtAfter = 10.0 // s after the word of its end: what comes of it belongs to the fit
	leastSought = 3.0  // s: the shortest that is sought
	saidOdds    = 4.6  // log odds from which one that was said is there: wrong once in a hundred
	forceParams = 5    // describe one: its size, two times and two ramps
)

// seekSaid looks for the forces that were said, are over and were not seen.
func (w *Watcher) seekSaid(now float64) {
	for i := range w.told {
		m := &w.told[i]
		if m.used || m.sought || m.release == 0 || now < m.release+soughtAfter || w.busy() || len(w.forces) >= maxForces {
			continue
		}
		m.sought = true
		if long := m.release - m.at; long < leastSought || long > longestForce || m.cold || w.opened(m.at-2, m.release) {
			continue
		}
		from, to := m.at-20, m.release+soughtAfter
		if n := len(w.forces); n > 0 {
			from = max(from, min(w.forces[n-1].end+wornOff, m.at-8))
		}
		near := Shape{m.at + usualDelay, 0.6, m.release + usualDelay, 0.6}
		e, ok := w.fit(&w.own, from, to, near, true)
		without := math.Inf(-1)
		for _, tr := range w.traces(&w.own, from, to) {
			without = max(without, unforced(tr, near))
		}
		sign := 1.0
		if m.side == analysis.Lean {
			sign = -1
		}
		if ok && e.LogLik-without >= saidOdds && sign*e.P >= leastSaid && e.End > e.Begin+leastSought {
			w.found(m, &e, sign)
		}
	}
}

// found takes down a force that the model has shown.
func (w *Watcher) found(m *told, e *Estimate, sign float64) {
	m.used = true
	w.dropUnsaid()
	w.forces = append(w.forces, force{side: m.side, sign: sign, size: abs(e.P), marked: true, begun: true, seen: true,
		says: map[bool]float64{}, rearSays: map[bool]bool{}, span: span{begin: e.Begin, lo: e.Begin - 0.5, hi: e.Begin + 0.5}})
	f := &w.forces[len(w.forces)-1]
	w.restOf(f, e.Begin-1)
	w.tell(f, analysis.Event{T: f.begin, Name: analysis.ForceBegins, Side: f.side})
	s := &w.own.lambda
	for i := s.From(f.lo); i < s.Len() && s.At(i).T() < e.End; i++ {
		w.follow(f, s.At(i))
	}
	f.end, f.endHi = e.End, e.End
	w.tellEnd(f)
}

// unforced is the logarithm of the likelihood of the readings without a force, with what one's parameters would bring by chance.
func unforced(tr Trace, near Shape) float64 {
	if len(tr.Y) < 8 || len(tr.U) < 3 {
		return math.Inf(1)
	}
	f := newFitter(tr, near, Adds, Straight)
	f.unforced = true
	best := f.seek(f.first(true))
	return f.logLik(best.rss) - f.costs(len(f.raw)) + f.costs(forceParams)
}
