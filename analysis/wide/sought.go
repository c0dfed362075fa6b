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
		if ok && e.LogLik-without >= saidOdds && e.End > e.Begin+leastSought {
			w.found(m, &e)
		}
	}
}

// found takes down a force that the model has shown, on the side on which it was.
func (w *Watcher) found(m *told, e *Estimate) {
	f := force{side: analysis.Rich, sign: 1, size: abs(e.P), marked: true, begun: true, seen: true,
		says: map[bool]float64{}, rearSays: map[bool]bool{}, span: span{begin: e.Begin, lo: e.Begin - 0.5, hi: e.Begin + 0.5, end: e.End}}
	if e.P < 0 {
		f.side, f.sign = analysis.Lean, -1
	}
	f.otherwise = f.side != m.side
	if f.vented = w.purged(f.begin); f.otherwise {
		if w.lookAround(&f); w.otherwiseOdds(m, &f) < saidOdds {
			return
		}
	} else if f.size < leastSaid {
		return
	}
	m.used, f.end = true, 0
	w.dropUnsaid()
	w.forces = append(w.forces, f)
	w.foundIn(&w.forces[len(w.forces)-1], e.End)
}

// foundIn follows what was read of a force that was found.
func (w *Watcher) foundIn(f *force, end float64) {
	w.restOf(f, f.begin-1)
	w.tell(f, analysis.Event{T: f.begin, Name: analysis.ForceBegins, Side: f.side})
	s := &w.own.lambda
	for i := s.From(f.lo); i < s.Len() && s.At(i).T() < end; i++ {
		w.follow(f, s.At(i))
	}
	f.end, f.endHi = end, end
	w.tellEnd(f)
}

// otherwiseOdds are the log odds that who said one side moved the other, where nothing of what was said is seen: against steps that the car
// makes by itself, which mind nobody's word. Said is as early and as late as [analysis.SayNear] has it, both ways fading.
func (w *Watcher) otherwiseOdds(m *told, f *force) float64 {
	late := analysis.SayNear / math.Log(5) // so that four in five are within it
	near := func(t, said float64) float64 { return math.Exp(-abs(t-said)/late) / (2 * late) }
	x := math.Log(analysis.OtherThanSaid/(1-analysis.OtherThanSaid)) + f.sized() + f.around()
	x += math.Log(near(f.begin, m.at) * (w.now + ownSeconds) / w.stepsBy(nil))
	own := 0.5*bell(f.long(), usualLength) + 0.5*ownLength(f.long())
	return x + math.Log(near(f.end, m.release)/own)
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
