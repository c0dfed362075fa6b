package wide

import (
	"pushback/analysis"
	"pushback/analysis/reason"
)

// Verdict returns the verdict on all that was seen so far.
//
// Special cases are: asked for twice at one time it is judged once; before anything was read it is not ready.
func (w *Watcher) Verdict() analysis.Verdict {
	if w.hasVerdict && w.judgedAt == w.now {
		return w.verdict
	}
	r := w.newRing()
	r.weigh()
	v := analysis.Verdict{Conclusion: r.conclude()}
	for _, p := range r.order {
		v.Proofs = append(v.Proofs, *p)
	}
	v.Decide, v.Next = r.next(v.Conclusion)
	w.verdict, w.judgedAt, w.hasVerdict = v, w.now, true
	return v
}

// conclude is the table from proofs to the answer. The first line that fits holds: an arc that fails
// hides all arcs behind it.
func (r *ring) conclude() analysis.Conclusion {
	const proven, failed = analysis.Proven, analysis.Failed
	w := r.w
	lifted := w.cfg.By == analysis.ByFuelCut && w.cuts.tested() // else a cut is the road's, and tested by nobody
	tried := len(r.forces) > 0 || len(w.rears.all) > 0 || len(w.told) > 0 || lifted
	unfit := w.ready.said && !w.ready.everReady || !w.ready.said && !w.holds()
	unfit = unfit || w.status.Len() >= 2 && w.ready.closedAt == 0 // it may have been called ready before that was first read
	switch {
	case w.cfg.By == analysis.ByNothing:
		return analysis.NothingForced
	case w.cfg.By == analysis.ByWire && !w.byRear(), unfit:
		return analysis.ConclusionNotReady
	case r.is(analysis.ProofSensorRich, failed), r.is(analysis.ProofSensorLean, failed):
		return analysis.SensorDead
	case !tried && !r.offset && !r.is(analysis.ProofScale, failed):
		return analysis.NothingForced
	case r.is(analysis.ProofScale, failed) && !tried:
		return analysis.SensorSkewed
	case r.is(analysis.ProofAddsFuel, failed), r.is(analysis.ProofCutsFuel, failed):
		return analysis.NoCommand
	case r.is(analysis.ProofDelivery, failed):
		return analysis.NoDelivery
	case r.slow:
		return analysis.SensorSlow
	case r.is(analysis.ProofScale, failed):
		return analysis.SensorSkewed
	case !r.is(analysis.ProofInput, proven):
		return analysis.ConclusionUnclear
	}
	sides := r.is(analysis.ProofSensorRich, proven) && r.is(analysis.ProofSensorLean, proven)
	commands := r.is(analysis.ProofAddsFuel, proven) && r.is(analysis.ProofCutsFuel, proven)
	sound := r.is(analysis.ProofDelivery, proven) && r.is(analysis.ProofScale, proven)
	switch {
	case w.byRear():
		if r.is(analysis.ProofAddsFuel, proven) && r.is(analysis.ProofDelivery, proven) {
			return analysis.PartlyProven
		}
		return analysis.ConclusionUnclear
	case r.half:
		return analysis.ConclusionUnclear
	case sides && commands && sound && r.is(analysis.ProofRecovery, proven):
		return analysis.LoopProven
	case lifted && len(r.forces) == 0 && r.is(analysis.ProofSensorLean, proven):
		return analysis.PartlyProven
	case sound && r.oneSide():
		return analysis.PartlyProven
	}
	return analysis.ConclusionUnclear
}

// oneSide reports whether all of one side is proven and nothing of the other is in doubt.
func (r *ring) oneSide() bool {
	pair := func(command, sensor analysis.ProofID) (proven, open bool) {
		a, b := r.by[command].State, r.by[sensor].State
		return a == analysis.Proven && b == analysis.Proven, a != analysis.Unclear && b != analysis.Unclear
	}
	lean, leanOpen := pair(analysis.ProofAddsFuel, analysis.ProofSensorLean)
	rich, richOpen := pair(analysis.ProofCutsFuel, analysis.ProofSensorRich)
	return lean && richOpen || rich && leanOpen
}

// next lists what to do now, the deciding step first, and names that where the verdict is open.
func (r *ring) next(c analysis.Conclusion) (analysis.Step, []reason.Reason) {
	if r.w.cfg.By == analysis.ByNothing {
		return "", nil
	}
	switch c {
	case analysis.LoopProven:
		return "", []reason.Reason{reason.Believe.Of(), reason.ReadTotalTrim.Of(), reason.NoCodeLeft.Of()}
	case analysis.PartlyProven, analysis.ConclusionUnclear:
		step, says := r.deciding(c)
		return step, []reason.Reason{says}
	case analysis.NothingForced:
		switch {
		case r.w.byRear():
			return "", []reason.Reason{reason.HoldRear.Of()}
		case r.w.cfg.By == analysis.ByFuelCut:
			return "", []reason.Reason{reason.LiftOff.Of()}
		}
		return "", []reason.Reason{reason.FeedForRatio.Of()}
	case analysis.ConclusionNotReady:
		out := r.w.unmet()
		if _, always := r.w.Barred(); !always {
			out = append(out, reason.BringToConditions.Of())
		}
		return "", out
	case analysis.NoCommand:
		return "", []reason.Reason{reason.ClosedAllTheTime.Of(), reason.CodesMayFreeze.Of(), reason.WhenThisTrims.Of()}
	case analysis.NoDelivery:
		return "", []reason.Reason{reason.FuelPressure.Of(), reason.Injectors.Of()}
	case analysis.SensorDead:
		return "", []reason.Reason{reason.CheckPump.Of(), reason.ReplaceAndRepeat.Of()}
	case analysis.SensorSlow:
		return "", []reason.Reason{reason.WarmAtSpeed.Of(), reason.HeaterAndCode.Of(), reason.ReplaceAndRepeat.Of()}
	}
	return "", []reason.Reason{reason.LeakAheadOfEither.Of(), reason.PlugAndResistor.Of(), reason.ReplaceAndRepeat.Of()}
}

// deciding is the one step that would settle what is open.
func (r *ring) deciding(c analysis.Conclusion) (analysis.Step, reason.Reason) {
	open := func(id analysis.ProofID) bool { return r.is(id, analysis.Unclear) || r.is(id, analysis.Untested) }
	switch {
	case r.w.byRear():
		if c == analysis.ConclusionUnclear && open(analysis.ProofAddsFuel) {
			return analysis.LongerHold, reason.HoldRear.Of()
		}
		return analysis.FeedPropane, reason.FeedForRatio.Of()
	case r.w.cuts.tested() && len(r.forces) == 0:
		return analysis.FeedPropane, reason.FeedForRatio.Of()
	case r.cold && r.is(analysis.ProofInput, analysis.Unclear):
		return analysis.FeedPropane, reason.FeedForRatio.Of()
	case r.is(analysis.ProofInput, analysis.Unclear):
		return analysis.FuelCut, reason.CutTellsInput.Of()
	case r.half:
		return analysis.FeedPropane, reason.MeteredFeed.Of()
	case r.offset:
		return analysis.LeakCheck, reason.LeakAheadOfEither.Of()
	case r.is(analysis.ProofRecovery, analysis.Unclear) && r.is(analysis.ProofScale, analysis.Proven):
		return analysis.HandsOff, reason.HandsOffAfter.Of()
	case open(analysis.ProofCutsFuel) || open(analysis.ProofSensorRich):
		return analysis.FeedPropane, reason.FeedForRatio.Of()
	case open(analysis.ProofSensorLean) || open(analysis.ProofAddsFuel):
		return analysis.FeedPropane, reason.ShutOffAgain.Of()
	}
	return analysis.FeedPropane, reason.FeedMore.Of() // a longer one decides no more than the same again
}
