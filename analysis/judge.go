package analysis

import (
	"math"
	"slices"

	"pushback/analysis/reason"
)

// Verdict returns the verdict on all that was seen so far.
//
// Special cases are: before anything was read it is not ready; where all was ready and nobody forced a side, nothing was forced.
func (w *Watcher) Verdict() Verdict {
	c := assess(w)
	proofs := []Proof{
		c.input(), c.command(Lean), c.command(Rich), c.delivery(),
		c.sensor(Rich), c.sensor(Lean), c.bankProof(), c.recovery(),
	}
	if w.cfg.By == ByMixture && proofs[0].State != Proven {
		for i := range proofs {
			if p := &proofs[i]; p.State == Failed && (p.ID == ProofSensorRich || p.ID == ProofSensorLean) {
				p.State = Unclear
				p.Why = p.Why.And(reason.WireUnknown)
			}
		}
	}
	conclusion := c.conclude(proofs)
	decide, next := c.next(conclusion, proofs)
	return Verdict{Conclusion: conclusion, Decide: decide, Proofs: proofs, Next: next}
}

// assessment gathers what the forces of a session have shown.
type assessment struct {
	w          *Watcher
	forces     []*force // those that count
	discounted []*force // while the conditions did not hold
}

func assess(w *Watcher) *assessment {
	c := &assessment{w: w}
	for _, f := range w.forces {
		switch {
		case w.cfg.By == ByMixture && w.marks > 0 && !f.marked:
			// Who makes marks makes them for each force: that was purge or the like.
		case f.bank != w.bank && w.marks > 0 && !f.marked:
			// The other bank's reading lay still for a while, but not when the wire was held.
		case f.ready:
			c.forces = append(c.forces, f)
		default:
			c.discounted = append(c.discounted, f)
		}
	}
	return c
}

func (c *assessment) on(side Side) []*force {
	var out []*force
	for _, f := range c.forces {
		if f.side == side {
			out = append(out, f)
		}
	}
	return out
}

// evidence leaves out what is not a number.
func evidence(pairs ...any) map[string]float64 {
	m := map[string]float64{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if v := pairs[i+1].(float64); !math.IsNaN(v) && !math.IsInf(v, 0) {
			m[pairs[i].(string)] = round3(v)
		}
	}
	return m
}

func (c *assessment) input() Proof {
	p := Proof{ID: ProofInput, State: Untested, Why: reason.NothingForced.Of(), Evidence: evidence()}
	if len(c.discounted) > 0 && len(c.forces) == 0 {
		p.Why = reason.ForcedUnfit.Of()
	}
	c.w.movedWhy(&p)
	for i, side := range []Side{Lean, Rich} {
		if d := &c.w.doubts[i]; len(c.w.forces) == 0 && d.serious() && p.State == Untested {
			p.State, p.Why = Unclear, reason.LayAsHeld.Of(d.level, d.secs, side)
			p.Evidence = evidence("begin_s", d.begin, "held_s", d.secs, "held_v", d.level)
		}
		fo := c.w.follow[sideIndex(side)]
		switch {
		case fo.no && (c.w.follow[1-i].obeys || p.State == Failed):
		case fo.no:
			p.State = Failed
			if c.w.fig.bothSides() || c.w.heldPerhaps(c.w.bank, 0, c.w.now) { // what shows a sensor that swings, or a wire that is held, is no dead input: the hand had no contact, or another wire
				p.State = Unclear
			}
			p.Why = reason.WentOnAsBefore.Of(side, fo.secs, fo.level)
			p.Evidence = evidence("waited_s", fo.secs, "mean_v", fo.level, "readings", float64(fo.n))
		case fo.vague && p.State == Untested:
			p.State, p.Why = Unclear, fo.why
			p.Evidence = evidence("waited_s", fo.secs, "readings", float64(fo.n))
		}
	}
	for _, f := range c.forces {
		why := reason.HeldSide.Of(f.side, f.level, f.seconds())
		if c.w.cfg.By == ByMixture {
			if !f.followed() {
				if p.State != Proven {
					p.State, p.Why = Unclear, reason.NotWithMixture.Of(f.volts.low, f.volts.high)
					p.Evidence = evidence("low_v", f.volts.low, "high_v", f.volts.high, "moved_s", f.seconds())
				}
				continue
			}
			why = reason.WentWithMixture.Of(f.side, f.seconds())
		}
		state := Proven
		if f.bank != c.w.bank {
			state, why = Unclear, why.And(reason.SeenAsBank, f.bank) // whether this bank's input reads its own wire it does not tell
		}
		if p.State != Proven {
			if p.State == Failed {
				why = why.And(reason.AnotherUnfollowed)
			}
			p.State, p.Why = state, why
			p.Evidence = evidence("held_v", f.level, "held_s", f.seconds(), "begin_s", f.begin)
		}
	}
	if c.w.ready.fifth.shown && p.State == Proven {
		// What lies on that wire is no voltage of a narrow sensor: that it followed once tells nothing.
		p.State, p.Why = Unclear, reason.WideAtAFifth.Of()
	}
	if c.w.unjudged > 0 {
		p.Why = p.Why.And(reason.OnlyFirstForces, maxForces, c.w.unjudged)
	}
	return p
}

// heldPerhaps reports whether the input of a bank was more likely held than not at some time from since to by, s, though not by the odds at
// which that is called a force.
func (w *Watcher) heldPerhaps(bank int, since, by float64) bool {
	return slices.ContainsFunc(w.passedOver, func(x Weighed) bool {
		return x.Bank == bank && x.LogOdds > 0 && x.Begin <= by && x.End >= since
	})
}

func (c *assessment) bankProof() Proof {
	if c.w.both != nil {
		return c.bankOfBoth()
	}
	p := Proof{ID: ProofBank, State: Untested, Why: reason.NoTrimAnswered.Of(), Evidence: evidence()}
	// A hold that was seen on the own reading had the wire of this bank: another that the other bank's reading showed was on another wire.
	heldHere := c.w.cfg.By != ByMixture && slices.ContainsFunc(c.forces, func(f *force) bool { return f.bank == c.w.bank && (f.seen || f.own.state == answered) })
	for _, fo := range c.w.follow {
		if fo.other && !heldHere {
			return Proof{ProofBank, Failed, reason.OtherReadingFollowed.Of(c.w.bank, c.w.other),
				evidence("held_v", fo.otherLevel)}
		}
	}
	// Were the plugs exchanged, each hold would show on the other bank: where one showed on neither, the wrong wire was taken once.
	onNeither := func(f *force) bool {
		far := !f.own.base.known() || abs(f.own.base.median) >= farOut
		return slices.ContainsFunc(c.w.follow[:], func(fo markOutcome) bool { return fo.onNeither(c.w, far) })
	}
	beside := false
	for _, f := range c.forces {
		switch {
		case f.bank != c.w.bank && heldHere:
			// That its own trim moved, or not, tells nothing of this bank.
			beside = true
		case f.bank != c.w.bank && onNeither(f):
			p.State, p.Why = Unclear, reason.OtherReadingFollowed.Of(c.w.bank, f.bank).And(reason.AnotherUnfollowed)
		case f.emittedOther && f.own.state != answered && c.ownReacted(f):
			p.State, p.Why = Unclear, reason.OtherTrimAnswered.Of(c.w.bank, c.w.other).And(reason.ElsewhereOwn)
		case f.emittedOther && f.own.state != answered:
			return Proof{ProofBank, Failed, reason.OtherTrimAnswered.Of(c.w.bank, c.w.other),
				evidence("moved_pct", f.other.up*f.other.moved(), "own_moved_pct", f.own.up*f.own.moved())}
		case f.bank != c.w.bank && (f.own.state != answered || c.w.marks > 0): // with marks it was in step
			return Proof{ProofBank, Failed, reason.OtherReadingFollowed.Of(c.w.bank, f.bank),
				evidence("held_v", f.level)}
		case f.own.state == answered && p.State == Untested:
			p.State = Proven
			p.Why = reason.BankAnswered.Of(c.w.bank)
			p.Evidence = evidence("own_moved_pct", f.own.up*(f.own.top-f.own.start))
			if x := c.w.otherWay(&c.w.volts, f.side, f.begin+1, f.begin+f.seconds()); x > 0 && x < 0.2 && c.w.cfg.By != ByMixture {
				p.State, p.Why = Unclear, reason.OtherLayOpposite.Of(c.w.other, f.side.Opposite())
				continue
			}
			mayBoth := c.w.cfg.By == ByMixture && !f.other.unmoved()
			if mayBoth {
				p.State, p.Why = Untested, reason.MayReachBothBanks.Of()
			}
			if f.other.n == 0 {
				p.Why = p.Why.And(reason.OtherTrimUnread)
				continue
			}
			p.Evidence["other_moved_pct"] = round3(f.other.up * f.other.moved())
			switch {
			case mayBoth:
			case f.other.state == answered:
				p.State = Unclear
				p.Why = p.Why.And(reason.OtherWithIt, c.w.other)
			default:
				p.Why = p.Why.And(reason.OtherDidNot, c.w.other)
			}
		case f.own.state == answered && p.State == Proven && f.other.state == answered && c.w.cfg.By != ByMixture:
			p.State = Unclear
			p.Why = p.Why.And(reason.OtherOnceWithIt, c.w.other)
		}
	}
	if beside && p.State == Untested {
		p.State, p.Why = Unclear, reason.OtherReadingFollowed.Of(c.w.bank, c.w.other)
	}
	for _, fo := range c.w.follow {
		if fo.why.Has(reason.OtherBankOnSide) {
			p.State, p.Why = Unclear, fo.why
		}
	}
	return p
}

// mayBeCrossed reports, of the proof of the bank, whether the banks' plugs are exchanged, or may be: then the sensor behind the catalyst looks at
// another mixture than the forced one.
func (p Proof) mayBeCrossed() bool {
	return p.State == Failed || p.Why.Has(reason.OtherLayOpposite) || p.Why.Has(reason.OtherReadingFollowed) || p.Why.Has(reason.OtherBankOnSide)
}

// ownReacted reports whether in a force other than f this bank's own computer answered, or let go of the sensor: then it reads this wire,
// and what the other bank's trim did in f was by chance.
func (c *assessment) ownReacted(f *force) bool {
	return slices.ContainsFunc(c.forces, func(g *force) bool {
		return g != f && g.bank == c.w.bank && (g.own.state == answered || g.letGo != "")
	})
}

// steers reports whether trim was seen to move, in a force or before one: a reading that swings about trim that stands is no loop that cycles.
func (c *assessment) steers() bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.own.state == answered || f.steeredBefore() })
}

func (c *assessment) recovery() Proof {
	p := Proof{ID: ProofRecovery, State: Untested, Why: reason.NothingReleased.Of(), Evidence: evidence()}
	for i, f := range c.forces {
		if !f.ended {
			continue
		}
		watched := f.rel.backFor(c.w.now)
		switch {
		case f.resumed && !c.steers():
			p = Proof{ProofRecovery, Unclear, reason.NoTrimAnswered.Of(), evidence()}
		case f.resumed && c.standsFar(i):
			p = Proof{ProofRecovery, Unclear, reason.StandsFarOut.Of(), evidence()}
		case f.resumed:
			p = Proof{ProofRecovery, Proven, reason.CycledAgain.Of(max(0, f.rel.resumedAt-f.rel.at)),
				evidence("after_s", f.rel.resumedAt-f.rel.at)}
		case !f.volts.switching():
			p = Proof{ProofRecovery, Unclear, reason.NoCycleBefore.Of(), evidence()}
		case f.opened:
			p = Proof{ProofRecovery, Unclear, reason.HadLeftClosedLoop.Of(), evidence()}
		case f != c.forces[len(c.forces)-1] || watched < recoverWithin || recoverWithin < turnsAgain*max(f.volts.lean.longest, f.volts.rich.longest):
			if p.State != Proven {
				p = Proof{ProofRecovery, Unclear, reason.WatchedTooShort.Of(), evidence("watched_s", min(watched, recoverWithin))}
			}
		default:
			p = Proof{ProofRecovery, Failed, reason.BackNoCycle.Of(watched), evidence("waited_s", watched)}
		}
	}
	return p
}

// standsFar reports whether trim came to stand far out after force i, until the next one or the end: a loop that cycles goes on turning, so what
// changed side there was a reading that came and went.
func (c *assessment) standsFar(i int) bool {
	if i+1 < len(c.forces) {
		a := &c.forces[i+1].own
		return a.stood >= slowestTurn && abs(a.start) >= farOut
	}
	last, has := c.w.trim.short.Last()
	return has && abs(last.V) >= farOut && c.w.trim.standing(c.w.now) >= slowestTurn
}

// conclude is the table from proofs to the answer. The first line that fits holds:
// an arc that fails hides all arcs behind it.
func (c *assessment) conclude(proofs []Proof) Conclusion {
	standing := map[ProofID]State{}
	for _, p := range proofs {
		standing[p.ID] = p.State
	}
	is := func(id ProofID, s State) bool { return standing[id] == s }
	w := c.w
	nothing := len(w.forces) == 0 && w.marks == 0
	// (A guide that had to stop before anything was held ends a test that was not ready, though it once was.)
	stopped := len(w.asked) > 0 && w.ready.said && !w.ready.holds()
	unfit := stopped || w.ready.said && !w.ready.everReady || !w.ready.said && !w.ready.holds() || w.NeverForce() && len(w.forces) == 0
	switch {
	case w.cfg.By == ByNothing:
		return NothingForced
	case is(ProofInput, Failed) && !is(ProofBank, Failed) && !w.NeverForce():
		return InputDead // no loop need be closed for that: it may be open for this very fault
	case nothing && unfit, len(c.forces) == 0 && (len(c.discounted) > 0 || unfit):
		return ConclusionNotReady
	case nothing && (w.doubts[0].serious() || w.doubts[1].serious()):
		return ConclusionUnclear
	case nothing:
		return NothingForced
	case is(ProofBank, Failed):
		return WrongBank
	case !is(ProofInput, Proven):
		return ConclusionUnclear
	case is(ProofAddsFuel, Failed), is(ProofCutsFuel, Failed):
		return NoCommand
	case is(ProofDelivery, Failed):
		return NoDelivery
	case is(ProofSensorRich, Failed), is(ProofSensorLean, Failed):
		if is(ProofDelivery, Proven) {
			return SensorDead
		}
		return ConclusionUnclear
	case c.late() && is(ProofDelivery, Proven), len(c.forces) > 0 && c.lag().tells(is(ProofDelivery, Proven) || c.evenly()):
		return SensorSlow // its own swings tell that whether or not the forces show the rest of the ring
	}
	return c.bySides(standing)
}

// bySides is the conclusion where no arc has failed: what the sides that were tested have shown.
func (c *assessment) bySides(standing map[ProofID]State) Conclusion {
	w := c.w
	is := func(id ProofID, s State) bool { return standing[id] == s }
	proven := func(ids ...ProofID) bool {
		return !slices.ContainsFunc(ids, func(id ProofID) bool { return !is(id, Proven) })
	}
	lean, rich := !is(ProofAddsFuel, Untested), !is(ProofCutsFuel, Untested)
	leanOK := proven(ProofAddsFuel, ProofSensorRich)
	richOK := proven(ProofCutsFuel, ProofSensorLean)
	if w.cfg.By == ByMixture {
		// The mixture that is forced shows the sensor on that side itself; what it says after the
		// release is the other side, which one force need not show.
		sensor := proven(ProofSensorRich) || proven(ProofSensorLean)
		leanOK, richOK = proven(ProofAddsFuel) && sensor, proven(ProofCutsFuel) && sensor
		if leanOK && richOK && !proven(ProofSensorRich, ProofSensorLean) {
			return ConclusionUnclear
		}
	}
	switch {
	case is(ProofRecovery, Failed), !is(ProofDelivery, Proven):
		return ConclusionUnclear
	case leanOK && richOK && c.maybeSlow():
		return ConclusionUnclear
	case leanOK && richOK:
		return LoopProven
	case leanOK && !rich && w.doubts[1].serious(), richOK && !lean && w.doubts[0].serious():
		return ConclusionUnclear // the other side was forced, perhaps
	case leanOK && !rich, richOK && !lean:
		return PartlyProven
	}
	return ConclusionUnclear
}

// evenly reports whether the sensor cycled before some force as a loop makes it, its stays much alike: then the mixture follows trim.
func (c *assessment) evenly() bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.volts.regular() })
}

// late reports whether the sensor answered later than a healthy one can, and never at once, however soon it left again.
func (c *assessment) late() bool {
	prompt, late := false, false
	for _, f := range c.forces {
		late = late || f.rel.state == sensorLate
		prompt = prompt || f.rel.state == sensorSays
	}
	return late && !prompt && !c.lag().sound()
}

// lag is what the sensor's own swings tell of its lag.
func (c *assessment) lag() lagWeight {
	return c.w.lag.weigh(c.loopRates(), c.w.volts.interval, c.w.volts.renewed, c.portLag())
}

// maybeSlow reports whether the sensor's own swings leave open that it is slow: a wire that is let go shows what the cell had long come to.
func (c *assessment) maybeSlow() bool {
	_, _, open := c.lag().maybeSlow()
	return open && c.w.cfg.By != ByMixture
}

// loopRates are how fast this car's loop moves trim, towards rich and towards lean, % per s; 0 where it never answered.
func (c *assessment) loopRates() (rates [2]float64) {
	for _, f := range c.forces {
		r := &rates[sideIndex(f.side)] // held lean, it adds
		if f.own.state == answered && f.own.rate > 0 && (*r == 0 || f.own.rate < *r) {
			*r = f.own.rate
		}
	}
	return rates
}
