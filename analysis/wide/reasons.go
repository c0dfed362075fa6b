package wide

import (
	"pushback/analysis"
	"pushback/analysis/reason"
)

// Reasons tells what the judgement weighed, force by force; see [analysis.Watcher.Reasons].
func (w *Watcher) Reasons() []reason.Reason {
	var out []reason.Reason
	add := func(c reason.Code, figures ...any) { out = append(out, c.Of(figures...)) }
	v := w.Verdict()
	for i := range w.forces {
		f := &w.forces[i]
		if !f.seen {
			continue
		}
		how := analysis.HowSeen(f.marked)
		if f.otherwise {
			how = reason.TapsDiffer
		}
		out = append(out, reason.Force.Of(i+1, f.side, f.begin, f.lo, f.hi, endOr(f, w.now)).And(how).And(reason.Stop))
		add(reason.WideRest, 100*f.rest, 100*f.noise, 100*f.u0)
		if !f.fitted {
			add(reason.NoFit)
			continue
		}
		if f.broken {
			add(reason.CameBackEarly)
		}
		e := &f.fit
		add(reason.Model, e.G, e.GLow, e.GHigh, e.Delay, e.DelayLow, e.DelayHigh, e.Tau, e.TauLow, e.TauHigh, 100*e.P, e.Begin, e.On, e.End, e.Off)
		add(reason.Residue, 100*e.Noise, e.N)
		if f.hasBeside {
			add(reason.Beside, f.beside.G, f.beside.GLow, f.beside.GHigh, 100*f.beside.P)
		}
	}
	r := w.newRing()
	if all, last := r.lags(); last != nil {
		_, low, high := lagging(all)
		x := slowBy(all, r.refreshed(last), r.renewed(last))
		add(reason.LagOpen, low, high)
		add(reason.LagOdds, x.odds, x.way[1], x.way[0])
	}
	for i := range w.cuts.all {
		c := &w.cuts.all[i]
		add(reason.Cut, c.begin, c.end, c.top, c.up.least, c.down.least, c.rearLow, c.slope)
	}
	return append(out, analysis.Follows(v))
}
