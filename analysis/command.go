package analysis

import (
	"math"
	"slices"

	"pushback/analysis/reason"
)

// command is the proof that trim answers a force of the side.
func (c *assessment) command(side Side) Proof {
	id := ProofAddsFuel
	if side == Rich {
		id = ProofCutsFuel
	}
	p := Proof{ID: id, State: Untested, Why: reason.NotForced.Of(side), Evidence: evidence()}
	switch fo := c.w.follow[sideIndex(side)]; {
	case len(c.on(side)) > 0: // which tells more than a hold that was not seen
	case fo.no:
		p.Why = reason.ReadingUnfollowed.Of()
	case fo.vague:
		p.State, p.Why = Unclear, reason.ReadingUnfollowed.Of()
	case slices.ContainsFunc(c.discounted, func(f *force) bool { return f.side == side }):
		p.State, p.Why = Unclear, reason.ForcedUnfit.Of()
	case c.answersOther(side) && c.w.refused.longest[sideIndex(side)] >= pauseLasts && c.w.cfg.By != ByMixture:
		p.State, p.Why = Unclear, reason.StoodAgainst.Of(side, c.w.refused.longest[sideIndex(side)])
	case c.w.announced(side):
		p.State, p.Why = Unclear, reason.TapsDiffer.Of()
	}
	rank := map[State]int{Untested: 0, Unclear: 1, Failed: 2, Proven: 3}
	for _, f := range c.on(side) {
		q := c.commandBy(f)
		q.ID = id
		if q.State == Failed && abs(f.own.raw) < trimCount/2 && !c.able(side) {
			p = q // where another one answered, it came to zero at the most: that is no authority beyond
			break
		}
		if p.State == Proven && q.State == Failed {
			p.Why = p.Why.And(reason.ElsewhereNot)
		} else if rank[q.State] > rank[p.State] {
			p = q
		}
	}
	tested := len(c.on(side)) > 0 || c.w.announced(side) || c.w.doubts[sideIndex(side)].serious() // else nobody asked for that side
	if stood := c.w.refused.longest[sideIndex(side)]; tested && p.State != Proven && stood >= stuckEnough && !c.letGo() && c.w.cfg.By != ByMixture && c.wentNoFurther(side) {
		p.State, p.Why, p.Evidence = Failed, reason.NoWay.Of(side, stood), evidence("stood_still_s", stood)
	}
	if p.State == Failed && c.able(side) && !c.wrongWay(side) {
		p.State, p.Why = Unclear, p.Why.And(reason.SteeredElsewhen)
	}
	return p
}

// able reports whether short-term trim was read, at any time, where a computer that does not command the side never brings it.
func (c *assessment) able(side Side) bool { return c.w.fig.reach.Able(side, 2*trimCount-roundoff) }

// neverBeyond reports whether short-term trim stood at zero and was not read beyond it against the force in all the session, though it hunted
// before some force, or stood there in two that no pause spans: then it has no authority there.
func (c *assessment) neverBeyond(f *force) bool {
	hunted := func(g *force) bool {
		return g.own.base.known() && g.own.base.shortHigh-g.own.base.shortLow >= 3*trimCount-roundoff
	}
	return abs(f.own.raw) < trimCount/2 && c.w.fig.reach.Farthest(f.side) < trimCount/2 && (slices.ContainsFunc(c.forces, hunted) || !paused(c.forces))
}

// wrongWay reports whether trim went with a force of the side: that is no rest.
func (c *assessment) wrongWay(side Side) bool {
	return slices.ContainsFunc(c.on(side), func(f *force) bool { return f.own.state == wrongWay })
}

// answersOther reports whether trim answered a force of the other side.
func (c *assessment) answersOther(side Side) bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.side == side.Opposite() && f.own.state == answered })
}

// silentOn reports whether trim was silent in a force of the side.
func (c *assessment) silentOn(side Side) bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.side == side && f.own.state == silent })
}

// rested reports whether trim was silent in a force though it had steered before it, or had gone against the force, farther than it hunts,
// and come back: then it may have rested in others too.
func (c *assessment) rested() bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool {
		return f.own.state == silent && (f.steeredBefore() || f.own.top-f.own.start >= 2*minAnswer ||
			f.own.base.known() && f.own.top-max(f.own.start, f.own.ceiling()) >= 2*trimCount-roundoff)
	})
}

// letGo reports whether the computer let go of the sensor in some force, or beside them, so that it may have done so unseen in another.
func (c *assessment) letGo() bool {
	return c.w.ready.gaveUp || slices.ContainsFunc(c.forces, func(f *force) bool { return f.letGo != "" || f.opened })
}

// longer adds to why that a longer hold would tell; not where the computer lets go of the sensor, for then it would show less.
func (c *assessment) longer(why reason.Reason, how reason.Code) reason.Reason {
	if c.letGo() {
		return why
	}
	return why.And(how)
}

// steeredBefore reports whether the loop worked shortly before the force: the sensor cycled and trim hunted with it, on the
// side of its middle that the force asks for too. Trim that is then silent rests for a reason of the computer's own: it
// is paused, or the computer has let go of the sensor.
func (f *force) steeredBefore() bool {
	a := &f.own
	b := a.base
	if !f.volts.switching() || !b.known() || b.shortHigh-b.shortLow < 2*trimCount-roundoff {
		return false
	}
	beyond := b.shortHigh
	if a.up < 0 {
		beyond = -b.shortLow
	}
	return beyond >= 2*trimCount-roundoff
}

// stoodFor is how long trim stood about the hold, s; while it was held only, where nothing could have moved it before: the reading lay
// between the sides, or trim at its limit on the other side.
func (c *assessment) stoodFor(f *force) float64 {
	atLimit := f.own.base.known() && f.own.up*f.own.base.median <= -farOut
	if (f.volts.dormant() || atLimit) && c.w.cfg.By != ByMixture {
		return f.own.stuckFor()
	}
	return f.own.stoodFor()
}

// nothingNew reports whether the reading had lain all the time on the side to which it was then held: the loop was asked for nothing
// that it had not been asked for before, and a limit or a sensor that it has let go of looks like no answer.
func (f *force) nothingNew() bool {
	b := f.volts
	return b.known() && !b.switching() && b.stays(f.side).longest >= 0.8*b.seconds
}

// wentNoFurther reports whether trim, having answered a force of the other side, came back to zero after it and stood there while the
// reading lay on this side: the computer steered by the sensor just then, and it did not go beyond, nor did it at rest.
func (c *assessment) wentNoFurther(side Side) bool {
	s, v := &c.w.trim.short, &c.w.volts.volts
	if rest := &c.w.fig; side == Lean && rest.shortH > trimCount || side == Rich && rest.shortLo < -trimCount {
		return false
	}
	for i, f := range c.forces {
		if f.side != side.Opposite() || f.own.state != answered || !f.ended {
			continue
		}
		until := math.Inf(1)
		if i+1 < len(c.forces) {
			until = c.forces[i+1].beginLo
		}
		k := s.From(f.endHi)
		for k < s.Len() && against(side)*s.At(k).V < -trimCount/2 {
			k++
		}
		last := k
		for last+1 < s.Len() && s.At(last+1).T() < until && abs(s.At(last+1).V) <= trimCount/2 {
			last++
		}
		if last >= s.Len() || abs(s.At(k).V) > trimCount/2 || s.At(last).T()-s.At(k).T() < stuckEnough || c.w.trim.jumpedToZero(k, f.own.rate) {
			continue
		}
		lo, hi, n := v.Span(s.At(k).T(), s.At(last).T())
		if n >= 4 && (side == Lean && hi < leanBelow || side == Rich && lo > richAbove) {
			return true
		}
	}
	return false
}

// held says what was done, and for how long.
func (c *assessment) held(f *force) reason.Reason {
	if c.w.cfg.By == ByMixture {
		return reason.MixtureMoved.Of(f.side, f.seconds())
	}
	return reason.HeldAt.Of(f.level, f.seconds())
}

// commandBy is what one force has shown of trim.
func (c *assessment) commandBy(f *force) (q Proof) {
	a, side := &f.own, f.side
	moved, stood := reason.TrimRose, reason.StoodAtMiddleLean
	if side == Rich {
		moved, stood = reason.TrimFell, reason.StoodAtMiddleRich
	}
	signed := a.up * a.moved()
	say := func(s State, why reason.Reason, pairs ...any) {
		q.State, q.Why = s, why
		q.Evidence = evidence(append([]any{"held_s", f.seconds(), "moved_pct", signed}, pairs...)...)
	}
	switch {
	case a.state == answered:
		best, lo, hi := a.after()
		say(Proven, c.held(f).And(moved, reason.Interval{Lo: lo, Hi: hi}, a.rate, a.up*a.top),
			"after_s", best, "after_min_s", lo, "after_max_s", hi, "rate_pct_s", a.rate, "moved_pct", a.up*(a.top-a.start), "from_pct", a.up*a.start)
		c.whereItStopped(f, &q)
	case f.bank != c.w.bank: // what this bank's trim did not do tells nothing
		say(Unclear, reason.ReadingUnfollowed.Of())
	case a.state == cannot:
		say(Unclear, reason.PeggedAlready.Of(a.up*a.now), "limit_pct", a.up*a.now)
	case a.state == wrongWay && f.letGo != "" && !f.emittedWrong:
		say(Unclear, reason.LetGoAfter.Of(f.letGoAt-f.begin))
	case a.state == wrongWay && f.wasOpen && !f.emittedWrong && !f.opened:
		say(Unclear, reason.WithTheForce.Of(signed).And(reason.OpenMeanwhile))
	case a.state == wrongWay && (!f.wasOpen || f.emittedWrong) && f.firm():
		state, why := c.withForce(f, signed)
		say(state, why)
	case f.opened:
		say(Unclear, reason.LeftClosedLoopAfter.Of(f.openedAt-f.begin))
	case f.letGo != "":
		say(Unclear, reason.LetGoAfter.Of(f.letGoAt-f.begin))
	case a.state == silent:
		state, why := c.silence(f, c.held(f).And(reason.NoAnswer, signed))
		say(state, why, "waited_s", a.nowAt-f.begin, "stood_still_s", a.stuckFor())
	case !f.firm():
		say(Unclear, reason.NotSteady.Of(), "contact_share", f.share)
	case a.n == 0:
		say(Unclear, reason.TrimUnread.Of())
	case a.stopsAtZero(1) && c.letGo(): // trim that is given up goes to zero and stands there
		say(Unclear, c.held(f).And(reason.NoAnswer, signed).And(reason.MayBePaused), "stood_still_s", a.stuckFor())
	case a.stopsAtZero(1) && !f.opened && a.n >= 4 && a.moved() >= 2*trimCount-roundoff && !f.wasOpen && c.w.steered(f):
		say(Failed, c.held(f).And(stood, a.moved(), a.stuckFor()),
			"stood_still_s", a.stuckFor())
	case a.moved() >= 2*trimCount-roundoff && a.stuckFor() >= 2 && a.peak-a.now <= 1.01*trimCount:
		say(Unclear, reason.StoodTooShort.Of(a.up*a.now, a.stuckFor()),
			"stood_still_s", a.stuckFor())
	case a.top-a.bottom >= 2*trimCount && f.seconds() > stuckEnough:
		why := reason.PoorContact
		if c.w.cfg.By == ByMixture {
			why = reason.MovedTooLittle
		}
		say(Unclear, c.held(f).And(reason.WentOnHunting, min(a.up*a.bottom, a.up*a.top), max(a.up*a.bottom, a.up*a.top)).And(why))
	default:
		say(Unclear, c.held(f).And(reason.TooShortForSilence))
	}
	return q
}

// withForce is what trim that went with a force, by so many per cent, tells of the command.
func (c *assessment) withForce(f *force, signed float64) (State, reason.Reason) {
	why := reason.WithTheForce.Of(signed)
	switch {
	case c.w.cfg.By == ByMixture:
		return Unclear, why.And(reason.MovedElsewise)
	case c.answersOther(f.side), // a computer that confuses the sides does so on both
		c.w.otherTrim.short.Len() > 0 && !f.other.unmoved(): // exchanged banks move it so too
		return Unclear, why.And(reason.PoorContact)
	}
	return Failed, why
}

// silence is what trim that was silent in a force tells of the command; why says that it was.
func (c *assessment) silence(f *force, why reason.Reason) (State, reason.Reason) {
	side := f.side
	rested, gone := c.rested(), c.letGo()
	alone := !c.silentOn(side.Opposite())
	switch {
	case f.paused, !alone && c.able(side.Opposite()): // what kept trim still on the other side, where it can go, keeps it here
	case alone && !gone && c.neverBeyond(f):
		return Failed, why
	case alone && f.nothingNew() && !c.wentNoFurther(side):
		return Unclear, why.And(reason.NothingNew, side)
	case rested:
		return Unclear, why.And(reason.SteeredBefore)
	case !gone && (c.stoodFor(f) >= pauseLasts || c.w.refused.longest[sideIndex(side)] >= pauseLasts || !paused(c.forces) && !c.answersOther(side)):
		return Failed, why
	}
	return Unclear, why.And(reason.MayBePaused)
}

// whereItStopped is what the end of an answer takes away from it: a limit, or trim's middle.
func (c *assessment) whereItStopped(f *force, q *Proof) {
	a := &f.own
	if a.limit {
		q.Evidence["limit_pct"] = round3(a.limitRaw)
		if !f.compensated {
			q.Why = q.Why.And(reason.WhereItStopped)
		}
	}
	near := nearZero
	if a.stuckFor() < pauseLasts {
		near = trimCount + roundoff // a pause stops it anywhere, a loop without authority at zero
	}
	if c.w.cfg.By == ByMixture {
		near = 1 // trim may rest near zero because the mixture is balanced there
	}
	switch {
	case a.stopsAtZero(near) && !f.opened && f.letGo == "" && !f.compensated && f.firm() && c.w.steered(f) && !c.w.ready.gaveUp:
		q.State = Failed
		stopped := reason.StoppedAtMiddleLean
		if f.side == Rich {
			stopped = reason.StoppedAtMiddleRich
		}
		q.Why = c.held(f).And(stopped, a.raw)
	case a.toItsMiddle():
		q.State = Unclear
		if c.w.cfg.By == ByMixture {
			q.Why = q.Why.And(reason.MiddleMoveFurther)
		} else {
			q.Why = c.longer(q.Why.And(reason.MiddleNoFurther), reason.HoldLonger)
		}
	case a.stops(nearZero) && !f.compensated:
		q.State = Unclear
		q.Why = c.longer(q.Why.And(reason.BackAtMiddle), reason.HoldLonger)
	}
}

// nearZero: a limit this close to zero is no authority at all, %.
const nearZero = 3.0
