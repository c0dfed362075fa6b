package analysis

import (
	"fmt"
	"math"
	"slices"
)

// Verdict returns the verdict on all that was seen so far.
func (w *Watcher) Verdict() Verdict {
	c := newCase(w)
	proofs := []Proof{
		c.input(), c.command(Lean), c.command(Rich), c.delivery(),
		c.sensor(Rich), c.sensor(Lean), c.bankProof(), c.recovery(),
	}
	if w.cfg.By == ByMixture && proofs[0].State != Proven {
		for i := range proofs {
			if p := &proofs[i]; p.State == Failed && (p.ID == ProofSensorRich || p.ID == ProofSensorLean) {
				p.State = Unclear
				p.Why += "; but whether its wire is read at all is not known"
			}
		}
	}
	conclusion := c.conclude(proofs)
	decide, next := c.next(conclusion, proofs)
	return Verdict{Conclusion: conclusion, Decide: decide, Proofs: proofs, Next: next}
}

// courtCase gathers what the forces of a session have shown.
type courtCase struct {
	w      *Watcher
	forces []*force // those that count
	wasted []*force // while the conditions did not hold
}

func newCase(w *Watcher) *courtCase {
	c := &courtCase{w: w}
	for _, f := range w.forces {
		switch {
		case w.cfg.By == ByMixture && w.marks > 0 && !f.marked:
			// Who makes marks makes them for each force: that was purge or the like.
		case f.bank != w.bank && w.marks > 0 && !f.marked:
			// The other bank's reading lay still for a while, but not when the wire was held.
		case f.ready:
			c.forces = append(c.forces, f)
		default:
			c.wasted = append(c.wasted, f)
		}
	}
	return c
}

func (c *courtCase) on(side Side) []*force {
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

func (c *courtCase) input() Proof {
	p := Proof{ID: ProofInput, State: Untested, Why: "nothing was forced", Evidence: evidence()}
	if len(c.wasted) > 0 && len(c.forces) == 0 {
		p.Why = "it was forced while the conditions for a test did not hold"
	}
	for i, side := range []Side{Lean, Rich} {
		if d := &c.w.doubts[i]; len(c.w.forces) == 0 && d.serious() && p.State == Untested {
			p.State, p.Why = Unclear, fmt.Sprintf("it lay at %.2f V for %.0f s, as a wire that is held does, or a sensor in a mixture that stays %s; nobody said which", d.level, d.secs, side)
			p.Evidence = evidence("begin_s", d.begin, "held_s", d.secs, "held_v", d.level)
		}
		fo := c.w.follow[sideIndex(side)]
		switch {
		case fo.no && p.State != Failed:
			p.State = Failed
			p.Why = fmt.Sprintf("the technician held it %s for %.0f s and the reading went on as before (mean %.2f V)", side, fo.secs, fo.level)
			p.Evidence = evidence("waited_s", fo.secs, "mean_v", fo.level, "readings", float64(fo.n))
		case fo.vague && p.State == Untested:
			p.State, p.Why = Unclear, fo.why
			p.Evidence = evidence("waited_s", fo.secs, "readings", float64(fo.n))
		}
	}
	for _, f := range c.forces {
		why := fmt.Sprintf("held %s at %.2f V for %.1f s", f.side, f.level, f.seconds())
		if c.w.cfg.By == ByMixture {
			if !f.followed() {
				if p.State != Proven {
					p.State, p.Why = Unclear, fmt.Sprintf("the reading lay between %.2f and %.2f V and did not follow the mixture: the sensor, its wire or the computer's input", f.volts.low, f.volts.high)
					p.Evidence = evidence("low_v", f.volts.low, "high_v", f.volts.high, "moved_s", f.seconds())
				}
				continue
			}
			why = fmt.Sprintf("the reading went %s with the mixture for %.1f s", f.side, f.seconds())
		}
		if f.bank != c.w.bank {
			why += fmt.Sprintf(", seen as bank %d", f.bank)
		}
		if p.State != Proven {
			if p.State == Failed {
				why += "; another force was not followed: contact, or a source too weak?"
			}
			p.State, p.Why = Proven, why
			p.Evidence = evidence("held_v", f.level, "held_s", f.seconds(), "begin_s", f.begin)
		}
	}
	if c.w.unjudged > 0 {
		p.Why += fmt.Sprintf("; the first %d forces of the session are judged, %d more were announced: begin another session", maxForces, c.w.unjudged)
	}
	return p
}

// command is the proof that trim answers a force of the side.
func (c *courtCase) command(side Side) Proof {
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
	case slices.ContainsFunc(c.wasted, func(f *force) bool { return f.side == side }):
		p.State, p.Why = Unclear, "it was forced while the conditions for a test did not hold"
	case c.w.announced(side):
		p.State, p.Why = Unclear, "the reading did not begin and end to be held when that was said"
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
func (c *courtCase) answersOther(side Side) bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.side == side.Opposite() && f.own.state == answered })
}

// held says what was done, and for how long.
func (c *courtCase) held(f *force) string {
	if c.w.cfg.By == ByMixture {
		return fmt.Sprintf("the mixture was moved %s for %.1f s", f.side, f.seconds())
	}
	return fmt.Sprintf("held at %.2f V for %.1f s", f.level, f.seconds())
}

// commandBy is what one force has shown of trim.
func (c *courtCase) commandBy(f *force) (q Proof) {
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
	case a.state == cannot:
		say(Unclear, fmt.Sprintf("trim stood at its limit (%+.1f %%) and had no room to answer", a.up*a.now), "limit_pct", a.up*a.now)
	case a.state == wrongWay && f.wasOpen && !f.toldWrong && !f.opened:
		say(Unclear, fmt.Sprintf("trim moved with the force, by %+.1f %%, but the loop was open for some of that time", signed))
	case a.state == wrongWay && (!f.wasOpen || f.toldWrong) && f.firm() && c.w.cfg.By == ByMixture:
		say(Unclear, fmt.Sprintf("trim moved with the force, by %+.1f %%: something else moved the mixture the other way meanwhile, purge perhaps", signed))
	case a.state == wrongWay && (!f.wasOpen || f.toldWrong) && f.firm():
		say(Failed, fmt.Sprintf("trim moved with the force, by %+.1f %%", signed))
	case f.opened:
		say(Unclear, fmt.Sprintf("the computer left closed loop %.1f s after the force began, before trim had answered", f.openedAt-f.begin))
	case f.letGo != "":
		say(Unclear, fmt.Sprintf("the computer let go of the sensor %.1f s after the force began, before trim had answered", f.letGoAt-f.begin))
	case a.state == silent && (a.neverBeyond() || a.stoodFor() >= pauseLasts || c.w.refused.total[sideIndex(side)] >= pauseLasts || !paused(c.forces) && !c.answersOther(side)):
		say(Failed, fmt.Sprintf("%s; trim did not answer (%+.1f %%)", c.held(f), signed), "waited_s", a.nowAt-f.begin, "stood_still_s", a.stuckFor())
	case a.state == silent:
		say(Unclear, fmt.Sprintf("%s; trim did not answer (%+.1f %%), but it may have been paused, as for purge or fuel learning: once more, 30 s later", c.held(f), signed), "waited_s", a.nowAt-f.begin, "stood_still_s", a.stuckFor())
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
		say(Unclear, c.held(f)+" only, too short to say that trim does not answer: do it for 15 s")
	}
	return q
}

// nearZero: a limit this close to zero is no authority at all, %.
const nearZero = 3.0

func upOrDown(side Side) string {
	if side == Rich {
		return "up to"
	}
	return "down to"
}

// span says an interval of seconds in words.
func span(lo, hi float64) string {
	if fmt.Sprintf("%.1f", lo) == fmt.Sprintf("%.1f", hi) {
		return fmt.Sprintf("%.1f s", hi)
	}
	return fmt.Sprintf("%.1f to %.1f s", lo, hi)
}

func (c *courtCase) delivery() Proof {
	p := Proof{ID: ProofDelivery, State: Untested, Why: "trim has not moved far enough to test it", Evidence: evidence()}
	var best *force // of those whose mixture did not show, the one that tested most
	byDown, bySensor, denied := false, false, false
	prove := func(why string, ev map[string]float64) {
		if p.State != Proven {
			p.State, p.Why, p.Evidence = Proven, why, ev
		}
	}
	for _, f := range c.forces {
		if f.own.state != answered {
			continue
		}
		denied = denied || !f.compensated && f.rel.denies(f.volts.interval)
		// A sensor that does not cycle evenly may be following something else than the loop, as
		// a mixture that swings back by itself: unless it left the side just when trim had gone back.
		believed := f.volts.regular() || c.saysBoth() || f.rel.leftWithTrim()
		switch {
		case f.rel.says() && believed:
			prove(fmt.Sprintf("released, the forced sensor itself reported %s, as the loop had made it", f.rel.expect),
				evidence("after_s", f.rel.firstOn.t()-f.rel.at, "reading_v", f.rel.best))
			bySensor = true
		case f.compensated:
			prove("the loop brought the mixture back while it was still being forced",
				evidence("moved_pct", f.own.up*(f.own.top-f.own.start)))
			bySensor = true
		case f.rel.says():
			bySensor = true
		}
		if f.down.answered {
			prove(fmt.Sprintf("the downstream sensor went %s %.1f s after the force began", f.down.side, f.down.answeredAt-f.begin),
				evidence("after_s", f.down.answeredAt-f.begin))
			byDown = true
		} else if !f.rel.says() && !f.compensated && (best == nil || f.down.oxygen > best.down.oxygen) {
			best = f
		}
	}
	for _, side := range []Side{Rich, Lean} {
		if c.w.rest.contradicts(side) && len(c.forces) > 0 {
			prove(fmt.Sprintf("the downstream sensor reads %s while trim stands at %+.0f %%", side, c.w.rest.trimThen[sideIndex(side)]),
				evidence("seconds", c.w.rest.mute[sideIndex(side)]))
			byDown = true
		}
	}
	switch {
	case bySensor && !byDown && denied:
		p.State, p.Evidence = Unclear, evidence()
		p.Why = "one force showed that trim moves the mixture; but after another the sensor did not report what trim had made"
		return p
	case bySensor && p.State == Untested:
		p.State = Unclear
		p.Why = "released, the sensor reported the other side; but it did not cycle evenly before, or not for long enough, so it may have followed something else"
		return p
	case best == nil:
		return p
	}
	d := &best.down
	silent := fmt.Sprintf("trim was up to %.0f %% away and the downstream sensor did not move, nor did the forced sensor report it", d.most)
	switch {
	case byDown:
	case bySensor && d.mute():
		p.State, p.Evidence = Unclear, evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
		p.Why += "; at another force " + silent
	case bySensor:
	case d.mute() && best.rel.doubtful:
		p.State, p.Why = Unclear, silent+"; but the sensor's branch may have been open"
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
	case d.mute() && !best.volts.switching():
		// A sensor that never cycled may be dead as well as right.
		p.State, p.Why = Unclear, silent+"; but that sensor did not cycle before either, so it may be dead"
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
	case d.mute():
		p.State, p.Why = Failed, silent
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
	case !d.seen:
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
		p.State, p.Why = Unclear, "no downstream sensor was read to show it, and the forced sensor did not report it"
	case d.blind:
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
		p.State, p.Why = Unclear, fmt.Sprintf("the downstream sensor read %s already before the force, and the forced sensor did not report a change", d.side)
	case !d.enough():
		p.State = Unclear
		p.Why = fmt.Sprintf("the downstream sensor has not moved, but the force moved %.1f g of oxygen only, and a catalyst may store 3 g: hold longer, or at 2000 to 2500 rpm", d.oxygen)
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "needed_g", enoughOxygen, "away_s", d.away)
	case c.w.cfg.By == ByMixture:
		p.State, p.Why = Unclear, "the loop did not bring the mixture back while it was forced: force it less, or for longer"
	default:
		p.State, p.Why = Unclear, "the downstream sensor was read too seldom"
	}
	return p
}

// saysBoth reports whether the sensor has reported what the loop made on both sides.
func (c *courtCase) saysBoth() bool {
	var says [2]bool
	for _, f := range c.forces {
		if f.own.state == answered && f.rel.says() {
			says[sideIndex(f.side)] = true
		}
	}
	return says[0] && says[1]
}

// sensor is the proof that the sensor itself reports the side.
func (c *courtCase) sensor(side Side) Proof {
	id, forceSide := ProofSensorRich, Lean
	if side == Lean {
		id, forceSide = ProofSensorLean, Rich
	}
	p := Proof{ID: id, State: Untested, Why: fmt.Sprintf("needs a force %s that trim answers, and its release", forceSide), Evidence: evidence()}
	better := func(q Proof) {
		rank := map[State]int{Untested: 0, Unclear: 1, Failed: 2, Proven: 3}
		if p.State == Proven && q.State == Failed || p.State == Failed && q.State == Proven {
			p.State, p.Why = Unclear, "it reported after one release and not after another"
			return
		}
		if rank[q.State] > rank[p.State] {
			p = q
		}
	}
	for _, f := range c.forces {
		if c.w.cfg.By == ByMixture && f.side == side {
			switch {
			case f.own.state == answered && f.compensated && (f.volts.showed(side) || strength(side, f.level) > 0):
				better(Proof{id, Proven, fmt.Sprintf("the mixture was moved %s, the sensor said so and steered trim until it had brought it back", side),
					evidence("moved_pct", f.own.up*(f.own.top-f.own.start), "held_s", f.seconds())})
			case !f.followed():
				better(Proof{id, Unclear, "the reading lay where it lay, whatever the mixture was", evidence("low_v", f.volts.low, "high_v", f.volts.high)})
			case f.strong >= 2:
				better(Proof{id, Proven, fmt.Sprintf("the mixture was moved %s and the sensor said so, at %.2f V", side, f.level),
					evidence("reading_v", f.level, "held_s", f.seconds())})
			default:
				better(Proof{id, Unclear, "the reading went to the side, but not far enough to prove it", evidence("reading_v", f.level)})
			}
		}
		if f.side != forceSide || !f.ended {
			continue
		}
		r := &f.rel
		ev := evidence("trim_made_pct", f.own.up*r.trimMade)
		switch r.state {
		case sensorSays:
			if !r.says() {
				better(Proof{id, Unclear, fmt.Sprintf("released, it read %s, but left it again after %.1f s while trim had gone back by %.0f %% only: it follows something else",
					side, r.lastOn.t()-r.firstOn.t(), 100*(1-r.stillLeft)), ev})
				continue
			}
			after := max(0, r.firstOn.t()-r.at)
			ev["after_s"], ev["reading_v"], ev["stayed_s"] = round3(after), round3(r.best), round3(r.lastOn.t()-r.firstOn.t())
			better(Proof{id, Proven, fmt.Sprintf("released, it read %s at once (%s, %s %.2f V) and stayed for %.1f s while trim went back",
				side, span(max(0, r.firstOn.lo-r.hi), max(0, r.firstOn.hi-r.lo)), upOrDown(side), r.best, r.lastOn.t()-r.firstOn.t()), ev})
		case sensorLate:
			ev["after_min_s"] = round3(max(0, r.lastOff.t()-r.hi))
			better(Proof{id, Unclear, fmt.Sprintf("released, it read %s, but only after %.1f s", side, r.firstOn.t()-r.at), ev})
		case sensorMute:
			ev["waited_s"] = round3(r.decidedAt - r.at)
			if f.volts.switching() {
				better(Proof{id, Unclear, fmt.Sprintf("released, it did not say %s; but it cycled before the force, so perhaps the mixture did not follow", side), ev})
				continue
			}
			better(Proof{id, Failed, fmt.Sprintf("released, it read %.2f to %.2f V for %.1f s; it never said %s although trim was still %+.0f %% away",
				r.bottom, r.top, r.decidedAt-r.at, side, f.own.up*r.trimMade), ev})
		case sensorNotYet:
			if f.opened {
				better(Proof{id, Unclear, "the computer left closed loop, and what trim had made was gone before the release", ev})
			} else if f.own.state == answered || f.own.moved() > 2 {
				better(Proof{id, Unclear, "released before trim had moved enough to make a mixture to report: hold longer", ev})
			}
		default:
			better(Proof{id, Unclear, "after the release: " + r.why, ev})
		}
	}
	if c.w.rest.contradicts(side) && len(c.forces) > 0 && p.State != Proven {
		i := sideIndex(side)
		p = Proof{id, Failed, fmt.Sprintf("trim stood at %+.0f %% and the downstream sensor read %s for %.0f s; this sensor never did",
			c.w.rest.trimThen[i], side, c.w.rest.mute[i]), evidence("seconds", c.w.rest.mute[i], "trim_pct", c.w.rest.trimThen[i])}
	}
	return p
}

func (c *courtCase) bankProof() Proof {
	p := Proof{ID: ProofBank, State: Untested, Why: "no trim has answered", Evidence: evidence()}
	for _, fo := range c.w.follow {
		if fo.other {
			return Proof{ProofBank, Failed, fmt.Sprintf("the sensor of bank %d was forced and the reading of bank %d followed", c.w.bank, c.w.other),
				evidence("held_v", fo.otherLevel)}
		}
	}
	for _, f := range c.forces {
		switch {
		case f.toldOther:
			return Proof{ProofBank, Failed, fmt.Sprintf("bank %d was forced and the trim of bank %d answered", c.w.bank, c.w.other),
				evidence("moved_pct", f.other.up*f.other.moved(), "own_moved_pct", f.own.up*f.own.moved())}
		case f.bank != c.w.bank && (f.own.state != answered || c.w.marks > 0): // with marks it was in step
			return Proof{ProofBank, Failed, fmt.Sprintf("the sensor of bank %d was forced and the reading of bank %d followed", c.w.bank, f.bank),
				evidence("held_v", f.level)}
		case f.own.state == answered && p.State == Untested:
			p.State = Proven
			p.Why = fmt.Sprintf("the trim of bank %d answered", c.w.bank)
			p.Evidence = evidence("own_moved_pct", f.own.up*(f.own.top-f.own.start))
			if f.other.n == 0 {
				p.Why += "; no other bank's trim was read"
				continue
			}
			p.Evidence["other_moved_pct"] = round3(f.other.up * f.other.moved())
			switch {
			case c.w.cfg.By == ByMixture:
				p.State, p.Why = Untested, "the mixture was moved, which may reach both banks: only the wire tells whose trim answers this sensor"
			case f.other.state == answered:
				p.State = Unclear
				p.Why += fmt.Sprintf(", and bank %d's with it: both may have one trim", c.w.other)
			default:
				p.Why += fmt.Sprintf(" and bank %d's did not", c.w.other)
			}
		case f.own.state == answered && p.State == Proven && f.other.state == answered && c.w.cfg.By != ByMixture:
			p.State = Unclear
			p.Why += fmt.Sprintf("; but at another force bank %d's answered with it", c.w.other)
		}
	}
	return p
}

func (c *courtCase) recovery() Proof {
	p := Proof{ID: ProofRecovery, State: Untested, Why: "nothing was forced and released", Evidence: evidence()}
	for _, f := range c.forces {
		if !f.ended {
			continue
		}
		watched := f.rel.backFor(c.w.now)
		switch {
		case f.resumed:
			p = Proof{ProofRecovery, Proven, fmt.Sprintf("the loop cycled again %.1f s after the release", max(0, f.rel.resumedAt-f.rel.at)),
				evidence("after_s", f.rel.resumedAt-f.rel.at)}
		case !f.volts.switching():
			p = Proof{ProofRecovery, Unclear, "the sensor did not cycle before the force either", evidence()}
		case f.opened:
			p = Proof{ProofRecovery, Unclear, "the computer had left closed loop", evidence()}
		case f != c.forces[len(c.forces)-1] || watched < recoverWithin:
			if p.State != Proven {
				p = Proof{ProofRecovery, Unclear, "not watched for long enough after the release", evidence("watched_s", min(watched, recoverWithin))}
			}
		default:
			p = Proof{ProofRecovery, Failed, fmt.Sprintf("trim has been back for %.0f s and the loop does not cycle", watched), evidence("waited_s", watched)}
		}
	}
	return p
}

// conclude is the table from proofs to the answer. The first line that fits holds:
// an arc that fails hides all arcs behind it.
func (c *courtCase) conclude(proofs []Proof) Conclusion {
	is := func(id ProofID, s ...State) bool {
		for _, p := range proofs {
			if p.ID == id {
				for _, x := range s {
					if p.State == x {
						return true
					}
				}
			}
		}
		return false
	}
	tested := func(ids ...ProofID) bool {
		for _, id := range ids {
			if !is(id, Untested) {
				return true
			}
		}
		return false
	}
	proven := func(ids ...ProofID) bool {
		for _, id := range ids {
			if !is(id, Proven) {
				return false
			}
		}
		return true
	}
	w := c.w
	nothing := len(w.forces) == 0 && w.marks == 0
	unfit := w.ready.said && !w.ready.everReady || !w.ready.said && !w.ready.holds()
	switch {
	case nothing && unfit, len(c.forces) == 0 && (len(c.wasted) > 0 || unfit):
		return NotReadyToSay
	case nothing && (w.doubts[0].serious() || w.doubts[1].serious()):
		return UnclearResult
	case nothing:
		return NothingForced
	case is(ProofBank, Failed):
		return WrongBank
	case is(ProofInput, Failed):
		return InputDead
	case !is(ProofInput, Proven):
		return UnclearResult
	case is(ProofAddsFuel, Failed), is(ProofCutsFuel, Failed):
		return NoCommand
	case is(ProofDelivery, Failed):
		return NoDelivery
	case is(ProofSensorRich, Failed), is(ProofSensorLean, Failed):
		if is(ProofDelivery, Proven) {
			return SensorDead
		}
		return UnclearResult
	case c.late() && is(ProofDelivery, Proven):
		return SensorSlow
	}
	lean, rich := tested(ProofAddsFuel), tested(ProofCutsFuel)
	leanOK := proven(ProofAddsFuel, ProofSensorRich)
	richOK := proven(ProofCutsFuel, ProofSensorLean)
	if w.cfg.By == ByMixture {
		// The mixture that is forced shows the sensor on that side itself; what it says after the
		// release is the other side, which one force need not show.
		sensor := proven(ProofSensorRich) || proven(ProofSensorLean)
		leanOK, richOK = proven(ProofAddsFuel) && sensor, proven(ProofCutsFuel) && sensor
		if leanOK && richOK && !proven(ProofSensorRich, ProofSensorLean) {
			return UnclearResult
		}
	}
	switch {
	case is(ProofRecovery, Failed), !is(ProofDelivery, Proven):
		return UnclearResult
	case leanOK && richOK:
		return LoopProven
	case leanOK && !rich && w.doubts[1].serious(), richOK && !lean && w.doubts[0].serious():
		return UnclearResult // the other side was forced, perhaps
	case leanOK && !rich, richOK && !lean:
		return PartlyProven
	}
	return UnclearResult
}

// late reports whether the sensor answered later than a healthy one can.
func (c *courtCase) late() bool {
	says, late := false, false
	for _, f := range c.forces {
		late = late || f.rel.state == sensorLate
		says = says || f.rel.says()
	}
	if late && !says {
		return true
	}
	return says && c.w.slow.shown(c.loopRate(), c.w.volts.interval)
}

// loopRate is how fast this car's loop moves trim, % per s; 0 if it never answered.
func (c *courtCase) loopRate() float64 {
	r := 0.0
	for _, f := range c.forces {
		if f.own.state == answered && f.own.rate > 0 && (r == 0 || f.own.rate < r) {
			r = f.own.rate
		}
	}
	return r
}
