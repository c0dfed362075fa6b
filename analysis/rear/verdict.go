package rear

import (
	"math"

	"pushback/analysis"
	"pushback/analysis/reason"
)

// Verdict returns the verdict on all that was seen so far.
func (w *Watcher) Verdict() analysis.Verdict {
	lean, rich := w.side(analysis.Lean), w.side(analysis.Rich)
	var v analysis.Verdict
	for _, id := range analysis.ProofOrder {
		switch id {
		case analysis.ProofSensorLean:
			v.Proofs = append(v.Proofs, lean)
		case analysis.ProofSensorRich:
			v.Proofs = append(v.Proofs, rich)
		default:
			v.Proofs = append(v.Proofs, analysis.Proof{ID: id, State: analysis.Untested, Why: reason.DriveHoldsNone.Of(), Evidence: map[string]float64{}})
		}
	}
	v.Conclusion = w.conclude(lean.State, rich.State)
	v.Decide, v.Next = w.next(v.Conclusion, lean.State, rich.State)
	return v
}

// side is the proof of one side. Evidence adds up: one part that was missed says little, two say it; where one has shown it, more
// than twice as many must have as have not.
func (w *Watcher) side(side analysis.Side) analysis.Proof {
	a, alive := &w.lean, w.moved.riches >= 2
	p := analysis.Proof{ID: analysis.ProofSensorLean, State: analysis.Unclear, Evidence: map[string]float64{}}
	wants, untested := reason.NoCutDriven, reason.CutsTooShort
	followed, not := reason.CutReadLean, reason.CutNotLean
	if side == analysis.Rich {
		a, alive = &w.rich, w.moved.leans >= 2
		p.ID = analysis.ProofSensorRich
		wants, untested = reason.NoPullDriven, reason.PullsTooShort
		followed, not = reason.PullReadRich, reason.PullNotRich
	}
	n, all := &a.n, a.counted()
	seen, whole := a.showed()
	switch {
	case all == 0:
		p.State, p.Why = analysis.Untested, wants.Of()
	case seen > 0 && !alive:
		p.Why = reason.LayThereAlways.Of(side, w.moved.low, w.moved.high)
	case whole > 2*n[missed]:
		p.State, p.Why = analysis.Proven, followed.Of(seen, all, a.best)
	case seen > 0 && n[missed] > 0:
		p.Why = followed.Of(seen, all, a.best).And(reason.MissedInOthers, n[missed])
	case seen > 0:
		p.Why = followed.Of(seen, all, a.best).And(reason.OneReadingOnly)
	case n[missed] >= 2:
		p.State, p.Why = analysis.Failed, not.Of(n[missed], a.longest, a.best)
	case n[missed] == 1:
		p.Why = not.Of(n[missed], a.longest, a.best).And(reason.OnceOnly)
	case n[between] > 0:
		p.Why = reason.DriveBetween.Of(a.best)
	default:
		p.State, p.Why = analysis.Untested, untested.Of(n[tooShort])
	}
	if a.lag > 0 && seen > 0 {
		p.Why = p.Why.And(reason.RearLagAtMost, a.lag)
		p.Evidence["lag_at_most_s"] = math.Round(a.lag*1000) / 1000
	}
	if all > 0 {
		tell := func(key string, v float64) { p.Evidence[key] = math.Round(v*1000) / 1000 }
		tell("times", float64(all))
		tell("shown_times", float64(seen))
		tell("missed_times", float64(n[missed]))
		if seen+n[missed]+n[between] > 0 {
			tell("reading_v", a.best)
		}
		if seen > 0 {
			tell("after_s", a.after)
		}
		if n[missed] > 0 {
			tell("waited_s", a.longest)
		}
	}
	return p
}

// conclude is the table from proofs to the answer. Of the loop nothing was tested: at best it is proven in part.
func (w *Watcher) conclude(lean, rich analysis.State) analysis.Conclusion {
	is := func(s analysis.State) bool { return lean == s || rich == s }
	unfit := w.ready.said && !w.ready.everReady || !w.ready.said && !w.holds() || w.ready.fit.Never()
	switch {
	case unfit:
		return analysis.ConclusionNotReady
	case is(analysis.Failed):
		return analysis.SensorDead
	case is(analysis.Unclear):
		return analysis.ConclusionUnclear
	case is(analysis.Proven):
		return analysis.PartlyProven
	case w.lean.counted()+w.rich.counted() > 0:
		return analysis.ConclusionUnclear
	}
	return analysis.NothingForced
}

// next lists what to do now, the deciding step first, and names that where the verdict is open.
func (w *Watcher) next(c analysis.Conclusion, lean, rich analysis.State) (analysis.Step, []reason.Reason) {
	cut, pull := reason.RearCut.Of(), reason.RearPull.Of()
	switch c {
	case analysis.ConclusionNotReady:
		out := w.unmet()
		if _, always := w.Barred(); !always {
			out = append(out, reason.BringToConditions.Of())
		}
		return "", out
	case analysis.NothingForced:
		return "", []reason.Reason{cut, pull}
	case analysis.SensorDead:
		out := []reason.Reason{reason.RearWiring.Of(), reason.HeaterAndCode.Of(), reason.ReplaceAndRepeat.Of()}
		if rich == analysis.Failed && w.moved.riches == 0 {
			out = append([]reason.Reason{reason.LeakAheadOfRear.Of()}, out...)
		}
		return "", out
	}
	seen, _ := w.lean.showed()
	switch {
	case w.fig.Figures().Readings == 0:
		return analysis.MoreReading, []reason.Reason{reason.RearUnread.Of()}
	case lean == analysis.Unclear && seen > 0 && w.moved.riches < 2: // it lay lean already
		return analysis.FullLoad, []reason.Reason{pull}
	case lean != analysis.Proven:
		return analysis.FuelCut, []reason.Reason{cut}
	case rich != analysis.Proven:
		return analysis.FullLoad, []reason.Reason{pull}
	}
	return analysis.FrontSensor, []reason.Reason{reason.TestTheFront.Of()}
}

// Reasons tells what the judgement weighed, part by part, the latest; see [analysis.Watcher.Reasons].
func (w *Watcher) Reasons() []reason.Reason {
	var out []reason.Reason
	for i := range w.parts {
		x := &w.parts[i]
		code := reason.DriveCutSeen
		if x.side == analysis.Rich {
			code = reason.DrivePullSeen
		}
		line := code.Of(x.begin, x.last)
		if x.nearest >= 0 {
			line = line.And(reason.NearestRead, x.nearest)
		}
		out = append(out, line.And(outcomes[x.came]))
	}
	return append(out, analysis.Follows(w.Verdict()))
}

var outcomes = map[outcome]reason.Code{
	tooShort: reason.PartTooShort, shown: reason.PartShown, glimpsed: reason.PartGlimpsed, missed: reason.PartMissed, between: reason.PartBetween, denied: reason.PartDenied,
}
