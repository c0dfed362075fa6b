package analysis

import (
	"slices"

	"pushback/analysis/reason"
)

// byItself is the chance from which such a stay is no swing of the mixture by itself: one in a hundred, since a sensor that cycled before has
// shown once already that its mixture follows.
const byItself = 0.01

func (c *assessment) delivery() Proof {
	p := Proof{ID: ProofDelivery, State: Untested, Why: reason.TrimNotFarEnough.Of(), Evidence: evidence()}
	var best *force // of those whose mixture did not show, the one that tested most
	byDown, bySensor, denied := false, false, false
	prove := func(why reason.Reason, ev map[string]float64) {
		if p.State != Proven {
			p.State, p.Why, p.Evidence = Proven, why, ev
		}
	}
	for _, f := range c.forces {
		if !f.commanded() {
			continue
		}
		denied = denied || !f.compensated && f.rel.denies(f.volts.interval)
		// A sensor that does not cycle evenly may be following something else than the loop, as
		// a mixture that swings back by itself: unless it left the side just when trim had gone back.
		believed := f.volts.regular() || c.saysBoth() || f.rel.leftWithTrim() || f.volts.on(f.rel.expect)*f.rel.longStay(f.volts) <= byItself && !f.rel.outlasted()
		switch {
		case c.reports(f) && believed:
			prove(reason.ForcedSensorSaid.Of(f.rel.expect),
				evidence("after_s", f.rel.firstOn.T()-f.rel.at, "reading_v", f.rel.best))
			bySensor = true
		case f.compensated:
			prove(reason.BroughtBack.Of(),
				evidence("moved_pct", f.own.up*(f.own.top-f.own.start)))
			bySensor = true
		case c.reports(f):
			bySensor = true
		}
		if f.down.answered {
			prove(reason.RearWent.Of(f.down.side, f.down.answeredAt-f.begin),
				evidence("after_s", f.down.answeredAt-f.begin))
			byDown = true
		} else if f.shared.answered && f.shared.hasBase && !f.down.seen {
			prove(reason.SharedRearWent.Of(f.shared.side, f.shared.answeredAt-f.begin),
				evidence("after_s", f.shared.answeredAt-f.begin))
			byDown = true
		} else if !c.reports(f) && !f.compensated && (best == nil || f.down.oxygen > best.down.oxygen) {
			best = f
		}
	}
	for _, side := range []Side{Rich, Lean} {
		// Where the banks are crossed the downstream sensor looks at another mixture than the forced one does.
		if c.w.rest.contradicts(side) && len(c.forces) > 0 && !c.bankProof().mayBeCrossed() {
			prove(reason.RearReads.Of(side, c.w.rest.trimThen[sideIndex(side)]),
				evidence("seconds", c.w.rest.mute[sideIndex(side)]))
			byDown = true
		}
	}
	switch {
	case bySensor && !byDown && denied:
		p.State, p.Evidence = Unclear, evidence()
		p.Why = reason.OneShowedOneNot.Of()
		return p
	case bySensor && p.State == Untested:
		p.State = Unclear
		p.Why = reason.UnevenBefore.Of()
		return p
	case best == nil:
		return p
	}
	return c.undelivered(p, best, byDown, bySensor)
}

// undelivered is what the force tells whose mixture did not show.
func (c *assessment) undelivered(p Proof, best *force, byDown, bySensor bool) Proof {
	d := &best.down
	silent := reason.NothingMoved.Of(d.most)
	switch {
	case byDown:
	case bySensor && d.mute():
		p.State, p.Evidence = Unclear, evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
		p.Why = p.Why.And(reason.AtAnotherForce).Then(silent)
	case bySensor:
	case d.mute() && best.rel.doubtful:
		p.State, p.Why = Unclear, silent.And(reason.BranchMayBeOpen)
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
	case d.mute() && !best.volts.switching():
		// A sensor that never cycled may be dead as well as right.
		p.State, p.Why = Unclear, silent.And(reason.MayBeDead)
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
	case d.mute() && min(d.undelivered(), movedElsewise)-c.cyclesEvenly() <= muteOdds:
		p.State, p.Why = Unclear, silent.And(reason.MovedElsewise)
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
	case d.mute():
		p.State, p.Why = Failed, silent
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
	case !d.seen:
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
		p.State, p.Why = Unclear, reason.NoRear.Of()
	case d.blind:
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
		p.State, p.Why = Unclear, reason.RearThereBefore.Of(d.side)
	case !d.enough():
		p.State = Unclear
		p.Why = c.longer(reason.LittleOxygen.Of(d.oxygen), reason.HoldLongerOrFaster)
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "needed_g", enoughOxygen, "away_s", d.away)
	case c.w.cfg.By == ByMixture:
		p.State, p.Why = Unclear, reason.NotBroughtBack.Of()
	default:
		p.State, p.Why = Unclear, reason.RearTooSeldom.Of()
	}
	return p
}

// movedElsewise is ln of the odds against that something else, purge perhaps, took the mixture back by as much as trim made in
// one force: once in 1000 (common practice, no source).
const movedElsewise = 6.9

// cyclesEvenly is ln p(the stays before a force | a loop that the mixture follows) − ln p(the same | a mixture that goes to and fro by
// chance), of the force whose sensor had cycled most evenly.
func (c *assessment) cyclesEvenly() (odds float64) {
	for _, f := range c.forces {
		if f.bank == c.w.bank {
			odds = max(odds, f.volts.lean.evenly()+f.volts.rich.evenly())
		}
	}
	return odds
}

// saysBoth reports whether the sensor has reported what the loop made on both sides.
func (c *assessment) saysBoth() bool { return c.says(Lean) && c.says(Rich) }

// outlasted reports whether the reading left the side when trim was past its balance by more than twice what it had made: what it followed
// then was no trim.
func (r *release) outlasted() bool { return r.left && r.stillLeft < -2-r.hunts }

// says reports whether the sensor has reported what the loop made of a force of the side: trim went far in that force, and
// answered in one of the side.
func (c *assessment) says(forced Side) bool {
	said, answers := false, false
	for _, f := range c.on(forced) {
		said, answers = said || f.rel.says() && !f.rel.outlasted(), answers || f.commanded()
	}
	return said && answers
}

// reports reports whether the sensor, let go from f, said what the loop had made: for longer than it stays there by itself, or for just as long
// as trim was away where it follows the mixture at other releases.
func (c *assessment) reports(f *force) bool {
	r, side := &f.rel, f.rel.expect
	return r.says() || r.byStay && (c.says(side) || c.outstays(side) || c.outstays(side.Opposite()))
}

// cycled reports whether the sensor cycled before some force: then one that lay on one side against trim was held, perhaps, by a
// hand that was not seen.
func (c *assessment) cycled() bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.volts.switching() })
}

// saysByItself reports whether the sensor was read on the side while nobody held it: then it is not dead on it.
func (c *assessment) saysByItself(side Side) bool { return c.w.own.on(side).n > 0 || c.wasOn(side) }

// wasOn reports whether the sensor was read on the side before some force.
func (c *assessment) wasOn(side Side) bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.bank == c.w.bank && f.volts.known() && f.volts.wasOn(side) })
}

// wasOn reports whether the sensor lay on the side for longer than the edge of a force takes.
func (b *voltsBase) wasOn(side Side) bool { return b.stays(side).longest > max(2, 3*b.interval) }

// followedBy is the proof that the sensor reports the side to which the mixture was forced.
func (f *force) followedBy(id ProofID) Proof {
	side := f.side
	switch {
	case f.own.state == answered && f.compensated && (f.volts.showed(side) || strength(side, f.level) > 0):
		return Proof{id, Proven, reason.SaidAndBrought.Of(side),
			evidence("moved_pct", f.own.up*(f.own.top-f.own.start), "held_s", f.seconds())}
	case !f.followed():
		return Proof{id, Unclear, reason.ReadingUnmoved.Of(), evidence("low_v", f.volts.low, "high_v", f.volts.high)}
	case f.strong >= 2:
		return Proof{id, Proven, reason.SaidAt.Of(side, f.level),
			evidence("reading_v", f.level, "held_s", f.seconds())}
	default:
		return Proof{id, Unclear, reason.SideNotFar.Of(), evidence("reading_v", f.level)}
	}
}

// openThen reports whether the branch was open, since the release before, as the downstream sensor contradicted what was read: then that was
// no sensor's word. A sensor that died between the sides reads the same with its branch closed, but never said the other side either.
func (c *assessment) openThen(side Side) bool {
	open, spoke := false, false
	for _, f := range c.w.forces {
		spoke = spoke || f.side == side && f.rel.says()
		if f.ended && f.end < c.w.rest.muteAt[sideIndex(side)] {
			open = f.rel.open
		}
	}
	return open && spoke
}

// proof is that the sensor, let go, reported the side, and by how much it then moved with trim where that is what tells it, V; 0: it is not.
func (r *release) proof(id ProofID, said reason.Code, moved float64, ev map[string]float64) Proof {
	stayed := r.lastOn.T() - r.firstOn.T()
	ev["after_s"], ev["reading_v"], ev["stayed_s"] = round3(max(0, r.firstOn.T()-r.at)), round3(r.best), round3(stayed)
	why := said.Of(r.expect, reason.Interval{Lo: max(0, r.firstOn.Lo-r.hi), Hi: max(0, r.firstOn.Hi-r.lo)}, r.best, stayed)
	if moved > 0 {
		why, ev["moved_v"] = why.And(reason.MovedWithTrim, 1000*moved), round3(moved)
	}
	return Proof{id, Proven, why, ev}
}

// sensor is the proof that the sensor itself reports the side.
func (c *assessment) sensor(side Side) Proof {
	id, forceSide, said := ProofSensorRich, Lean, reason.SaidRich
	if side == Lean {
		id, forceSide, said = ProofSensorLean, Rich, reason.SaidLean
	}
	p := Proof{ID: id, State: Untested, Why: reason.NeedsStep.Of(forceSide), Evidence: evidence()}
	better := func(q Proof) {
		rank := map[State]int{Untested: 0, Unclear: 1, Failed: 2, Proven: 3}
		if p.State == Proven && q.State == Failed || p.State == Failed && q.State == Proven {
			p.State, p.Why = Unclear, reason.OnceAndNot.Of()
			return
		}
		if rank[q.State] > rank[p.State] {
			p = q
		}
	}
	for _, f := range c.forces {
		if c.w.cfg.By == ByMixture && f.side == side {
			better(f.followedBy(id))
		}
		if f.side != forceSide || !f.ended {
			continue
		}
		r := &f.rel
		ev := evidence("trim_made_pct", f.own.up*r.trimMade)
		switch r.state {
		case sensorSays:
			if !r.says() {
				better(Proof{id, Unclear, reason.LeftTooEarly.Of(side, r.lastOn.T()-r.firstOn.T(), 100*(1-r.stillLeft)), ev})
				continue
			}
			better(r.proof(id, said, 0, ev))
		case sensorLate:
			ev["after_min_s"] = round3(max(0, r.lastOff.T()-r.hi))
			better(Proof{id, Unclear, reason.SaidLate.Of(side, r.firstOn.T()-r.at), ev})
		case sensorMute:
			ev["waited_s"] = round3(r.decidedAt - r.at)
			if f.volts.switching() || c.saysByItself(side) {
				better(Proof{id, Unclear, reason.SaidNotButCycled.Of(side), ev})
				continue
			}
			better(Proof{id, Failed, reason.NeverSaid.Of(
				r.bottom, r.top, r.decidedAt-r.at, side, f.own.up*r.trimMade), ev})
		case sensorNotYet:
			if f.opened {
				better(Proof{id, Unclear, reason.GoneBeforeRelease.Of(), ev})
			} else if f.own.state == answered || f.own.moved() > 2 {
				better(Proof{id, Unclear, c.longer(reason.ReleasedTooEarly.Of(), reason.HoldLonger), ev})
			}
		default:
			if moved := c.readsLean(r); moved > 0 || c.reports(f) {
				better(r.proof(id, said, moved, ev))
				continue
			}
			better(Proof{id, Unclear, reason.AfterRelease.Of().Then(r.why), ev})
		}
	}
	if c.w.rest.contradicts(side) && len(c.forces) > 0 && p.State != Proven && !c.openThen(side) && !c.cycled() && !c.saysByItself(side) && !c.bankProof().mayBeCrossed() {
		i := sideIndex(side)
		p = Proof{id, Failed, reason.RearContradicts.Of(
			c.w.rest.trimThen[i], side, c.w.rest.mute[i]), evidence("seconds", c.w.rest.mute[i], "trim_pct", c.w.rest.trimThen[i])}
	}
	if side == Rich && p.State == Failed && c.mayLiveLean() {
		p.State = Unclear
		if _, moved := c.leanLife(); moved > 0 {
			p.Why = p.Why.And(reason.MovedWithTrim, 1000*moved)
			p.Evidence["moved_v"] = round3(moved)
		}
		p.Why = p.Why.And(reason.LeakReadsSo)
	}
	return p
}
