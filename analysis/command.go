package analysis

import (
	"fmt"
	"slices"

	"pushback/analysis/limits"
)

// command is the proof that trim answers a force of the side.
func (c *assessment) command(side Side) Proof {
	id := ProofAddsFuel
	if side == Rich {
		id = ProofCutsFuel
	}
	p := Proof{ID: id, State: Untested, Why: fmt.Sprintf("not forced %s", side), Evidence: evidence()}
	switch fo := c.w.follow[sideIndex(side)]; {
	case fo.no:
		p.Why = "the reading did not follow the force"
	case fo.vague:
		p.State, p.Why = Unclear, "the reading did not follow the force"
	case len(c.on(side)) > 0:
	case slices.ContainsFunc(c.discounted, func(f *force) bool { return f.side == side }):
		p.State, p.Why = Unclear, "it was forced while the conditions for a test did not hold"
	case c.w.announced(side):
		p.State, p.Why = Unclear, "the reading and your taps didn't line up"
	}
	rank := map[State]int{Untested: 0, Unclear: 1, Failed: 2, Proven: 3}
	for _, f := range c.on(side) {
		q := c.commandBy(f)
		q.ID = id
		if p.State == Proven && q.State == Failed {
			p.Why += "; at another force it did not"
		} else if rank[q.State] > rank[p.State] {
			p = q
		}
	}
	return p
}

// answersOther reports whether trim answered a force of the other side.
func (c *assessment) answersOther(side Side) bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.side == side.Opposite() && f.own.state == answered })
}

// letGo reports whether the computer let go of the sensor in some force, so that it may have done so unseen in another.
func (c *assessment) letGo() bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.letGo != "" || f.opened })
}

// steeredBefore reports whether the loop worked shortly before the force: the sensor cycled and trim hunted with it. Trim that
// is then silent rests for a reason of the computer's own.
func (f *force) steeredBefore() bool {
	return f.volts.regular() && f.own.base.known() && f.own.base.width() >= 3*trimCount && f.own.base.flatFor < 3
}

// held says what was done, and for how long.
func (c *assessment) held(f *force) string {
	if c.w.cfg.By == ByMixture {
		return fmt.Sprintf("the mixture was moved %s for %.1f s", f.side, f.seconds())
	}
	return fmt.Sprintf("held at %.2f V for %.1f s", f.level, f.seconds())
}

// commandBy is what one force has shown of trim.
func (c *assessment) commandBy(f *force) (q Proof) {
	a, side := &f.own, f.side
	verb, beyond := "rise", "above"
	if f.side == Rich {
		verb, beyond = "fall", "below"
	}
	signed := a.up * a.moved()
	say := func(s State, why string, pairs ...any) {
		q.State, q.Why = s, why
		q.Evidence = evidence(append([]any{"held_s", f.seconds(), "moved_pct", signed}, pairs...)...)
	}
	switch {
	case a.state == answered:
		best, lo, hi := a.after()
		say(Proven, fmt.Sprintf("%s; trim began to %s %s after, %.1f %% a second, to %+.1f %%", c.held(f), verb, span(lo, hi), a.rate, a.up*a.top),
			"after_s", best, "after_min_s", lo, "after_max_s", hi, "rate_pct_s", a.rate, "moved_pct", a.up*(a.top-a.start), "from_pct", a.up*a.start)
		c.whereItStopped(f, &q, verb, beyond)
	case a.state == cannot:
		say(Unclear, fmt.Sprintf("trim was already pegged at %+.0f %%", a.up*a.now), "limit_pct", a.up*a.now)
	case a.state == wrongWay && f.wasOpen && !f.emittedWrong && !f.opened:
		say(Unclear, fmt.Sprintf("trim moved with the force, by %+.1f %%, but the loop was open for some of that time", signed))
	case a.state == wrongWay && (!f.wasOpen || f.emittedWrong) && f.firm() && c.w.cfg.By == ByMixture:
		say(Unclear, fmt.Sprintf("trim moved with the force, by %+.1f %%: something else moved the mixture the other way meanwhile, purge perhaps", signed))
	case a.state == wrongWay && (!f.wasOpen || f.emittedWrong) && f.firm():
		say(Failed, fmt.Sprintf("trim moved with the force, by %+.1f %%", signed))
	case f.opened:
		say(Unclear, fmt.Sprintf("the computer left closed loop %.1f s after the force began, before trim had answered", f.openedAt-f.begin))
	case f.letGo != "":
		say(Unclear, fmt.Sprintf("the computer let go of the sensor %.1f s after the force began, before trim had answered", f.letGoAt-f.begin))
	case a.state == silent && a.neverBeyond(), a.state == silent && !f.steeredBefore() && !c.letGo() &&
		(a.stoodFor() >= pauseLasts || c.w.refused.longest[sideIndex(side)] >= pauseLasts || !paused(c.forces) && !c.answersOther(side)):
		say(Failed, fmt.Sprintf("%s; trim did not answer (%+.1f %%)", c.held(f), signed), "waited_s", a.nowAt-f.begin, "stood_still_s", a.stuckFor())
	case a.state == silent && f.steeredBefore():
		say(Unclear, fmt.Sprintf("%s; trim did not answer (%+.1f %%), but it steered while nothing was held: it was paused, or the computer let go of the sensor: once more, 30 s later", c.held(f), signed), "waited_s", a.nowAt-f.begin, "stood_still_s", a.stuckFor())
	case a.state == silent:
		say(Unclear, fmt.Sprintf("%s; trim did not answer (%+.1f %%), but it may have been paused, as for purge or fuel learning: once more, "+limits.RestText+" later", c.held(f), signed), "waited_s", a.nowAt-f.begin, "stood_still_s", a.stuckFor())
	case !f.firm():
		say(Unclear, "the reading was not held steadily enough to say that trim did not answer", "contact_share", f.share)
	case a.n == 0:
		say(Unclear, "trim was not read during the force")
	case a.stopsAtZero(1) && !f.opened && a.n >= 4 && a.moved() >= 2*trimCount-roundoff && !f.wasOpen && c.w.steered(f):
		say(Failed, fmt.Sprintf("%s; trim went back by %.1f %% to its middle and stood there for %.0f s: it does not %s %s it", c.held(f), a.moved(), a.stuckFor(), verb, beyond),
			"stood_still_s", a.stuckFor())
	case a.moved() >= 2*trimCount-roundoff && a.stuckFor() >= 2 && a.peak-a.now <= 1.01*trimCount:
		say(Unclear, fmt.Sprintf("trim went to %+.1f %% and stood there for %.0f s, too short to say that it goes no further: hold for longer", a.up*a.now, a.stuckFor()),
			"stood_still_s", a.stuckFor())
	case a.top-a.bottom >= 2*trimCount && f.seconds() > stuckEnough:
		why := "poor contact, or the computer looks at another sensor"
		if c.w.cfg.By == ByMixture {
			why = "the mixture was moved too little, or the computer looks at another sensor"
		}
		say(Unclear, fmt.Sprintf("%s and trim went on hunting between %+.1f and %+.1f %%: %s", c.held(f), min(a.up*a.bottom, a.up*a.top), max(a.up*a.bottom, a.up*a.top), why))
	default:
		say(Unclear, c.held(f)+" only, too short to say that trim does not answer: do it for "+limits.HoldText)
	}
	return q
}

// whereItStopped is what the end of an answer takes away from it: a limit, or trim's middle.
func (c *assessment) whereItStopped(f *force, q *Proof, verb, beyond string) {
	a := &f.own
	if a.limit {
		q.Evidence["limit_pct"] = round3(a.limitRaw)
		if !f.compensated {
			q.Why += ", where it stopped"
		}
	}
	near := nearZero
	if c.w.cfg.By == ByMixture {
		near = 1 // trim may rest near zero because the mixture is balanced there
	}
	switch {
	case a.stopsAtZero(near) && !f.opened && f.letGo == "" && !f.compensated && f.firm() && c.w.steered(f):
		q.State = Failed
		q.Why = fmt.Sprintf("%s; trim went back to %+.1f %% and stopped there: it does not %s %s its middle", c.held(f), a.raw, verb, beyond)
	case a.toItsMiddle():
		q.State = Unclear
		further := "hold longer"
		if c.w.cfg.By == ByMixture {
			further = "move the mixture further"
		}
		q.Why += "; that is its middle, and it may have no authority beyond: " + further
	case a.stops(near) && !f.compensated:
		q.State = Unclear
		q.Why += "; it went back to its middle and stopped there: hold longer to see whether it goes beyond"
	}
}

// nearZero: a limit this close to zero is no authority at all, %.
const nearZero = 3.0
