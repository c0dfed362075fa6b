package wide

import (
	"math"
	"slices"

	"pushback/analysis"
	"pushback/analysis/reason"
)

// followSilence: the ratio is away, on average by awayBy and for two seconds never less than half as far, the loop closed,
// and trim stands still. Noise alone brings single readings back. A ratio that is away from its command at rest, as where trim is at its
// limit, is brought nearer to it by a force of the other side: that asks for no answer until it is past.
func (w *Watcher) followSilence(f *force, t, y, moved float64) {
	if rest := f.sign * f.rest; rest <= -awayBy {
		y += rest
	}
	if f.ended() || f.opened {
		f.awaySince = 0
		return
	}
	if y >= awayBy/2 || f.awayLast == 0 {
		f.awayLast = t
	}
	if t-f.awayLast > 2 || f.awaySince > 0 && math.Abs(moved-f.awayAt) > 1.01*trimCount {
		f.awaySince = 0
	}
	if f.awaySince == 0 {
		if y < awayBy {
			return
		}
		f.awaySince, f.awayAt, f.awaySum, f.awayN = t, moved, 0, 0
	}
	f.awaySum, f.awayN = f.awaySum+y, f.awayN+1
	if f.awaySum < awayBy*f.awayN {
		return
	}
	f.away = max(f.away, t-f.awaySince)
	if t-f.awaySince < silentFor || f.silent {
		return
	}
	short := w.own.trim.Line(t)
	if w.atLimit(f.side, short) {
		if f.limit == 0 {
			f.limit = short
			w.tell(f, analysis.Event{T: t, Name: analysis.TrimAtLimit, Value: short})
		}
		return
	}
	f.atZero = f.answered && math.Abs(short) <= middleTrim
	if f.silent = f.atZero || !f.answered; f.silent {
		w.tell(f, analysis.Event{T: t, Name: analysis.LoopSilent, Side: f.side, Waited: t - f.begin, Moved: 100 * moved})
	}
}

// atLimit reports whether short-term trim stands as far against a force of the side as it has ever gone, and that far: it has gone
// there before, or was there, and is no dead command.
func (w *Watcher) atLimit(side analysis.Side, short float64) bool {
	if side == analysis.Rich {
		short = -short
	}
	return short >= limitFrom && short > w.fig.reach.Farthest(side)-1
}

// limitFrom is the least limit of short-term trim that cars have, % (common practice, no source).
const limitFrom = 10.0

// silentFor is how long trim must stand still while the ratio is away by awayBy, s and a fraction.
const (
	silentFor = 8.0
	awayBy    = 0.03
)

// middleTrim is how far from zero short-term trim still stands at its middle, %.
const middleTrim = 1.6

// silence is said of two forces, of either side; or of one in which trim went back to its middle and stopped there, while it
// answers on the other side.
func (r *ring) silence() {
	n, waited := 0, 0.0
	for _, f := range r.forces {
		if f.silent && !f.answered && !f.opened {
			n++
			waited = max(waited, f.away)
		}
	}
	for _, f := range r.forces {
		id := analysis.ProofCutsFuel
		if f.side == analysis.Lean {
			id = analysis.ProofAddsFuel
		}
		switch {
		case f.silent && (f.atZero || n < 2 && !r.answersOn(f.side)) && r.w.able(f.side):
			r.force(id, analysis.Unclear, reason.SilentOnce.Of(f.away), "waited_s", f.away)
		case f.atZero && f.silent:
			r.force(id, analysis.Failed, reason.AtItsMiddle.Of(f.away, f.side), "waited_s", f.away)
		case f.silent && n >= 2:
			r.force(id, analysis.Failed, reason.SilentTimes.Of(n, waited), "waited_s", waited, "forces", float64(n))
		case f.silent && r.answersOn(f.side.Opposite()) && !r.answersOn(f.side):
			// Coming back from the other side is no answer on this one.
			r.force(id, analysis.Failed, reason.AtItsMiddle.Of(f.away, f.side), "waited_s", f.away)
		case f.silent && !r.answersOn(f.side):
			r.force(id, analysis.Unclear, reason.SilentOnce.Of(f.away), "waited_s", f.away)
		}
	}
}

// able reports whether short-term trim was read, at any time, where a computer that does not command the side never brings it.
func (w *Watcher) able(side analysis.Side) bool {
	return w.fig.reach.Able(side, middleTrim+100*trimCount)
}

// answersOn reports whether trim has answered a force of the side itself.
func (r *ring) answersOn(side analysis.Side) bool {
	return slices.ContainsFunc(r.forces, func(f *force) bool { return f.side == side && f.answered && !f.atZero })
}

// stoodOn reports whether a force of the side was plain to see and trim did not answer it.
func (r *ring) stoodOn(side analysis.Side) bool {
	return slices.ContainsFunc(r.forces, func(f *force) bool {
		_, seen := f.says[f.side == analysis.Rich]
		return f.side == side && f.ended() && seen && !f.answered && !f.opened && f.limit == 0 && f.end-f.begin >= silentFor && f.made.off >= ratioBack
	})
}
