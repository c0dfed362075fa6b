package analysis

import (
	"fmt"
)

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

func (c *assessment) delivery() Proof {
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
	return c.undelivered(p, best, byDown, bySensor)
}

// undelivered is what the force tells whose mixture did not show.
func (c *assessment) undelivered(p Proof, best *force, byDown, bySensor bool) Proof {
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
		p.State, p.Why = Unclear, "no downstream sensor was read to show it, and this sensor did not report it"
	case d.blind:
		p.Evidence = evidence("most_pct", d.most, "oxygen_g", d.oxygen, "away_s", d.away)
		p.State, p.Why = Unclear, fmt.Sprintf("the downstream sensor read %s already before the step, and this sensor did not report a change", d.side)
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
func (c *assessment) saysBoth() bool {
	var says [2]bool
	for _, f := range c.forces {
		if f.own.state == answered && f.rel.says() {
			says[sideIndex(f.side)] = true
		}
	}
	return says[0] && says[1]
}

// sensor is the proof that the sensor itself reports the side.
func (c *assessment) sensor(side Side) Proof {
	id, forceSide := ProofSensorRich, Lean
	if side == Lean {
		id, forceSide = ProofSensorLean, Rich
	}
	p := Proof{ID: id, State: Untested, Why: fmt.Sprintf("needs a %s step that trim responds to, then a release", forceSide), Evidence: evidence()}
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
				better(Proof{id, Unclear, "the reading didn't move with the mixture", evidence("low_v", f.volts.low, "high_v", f.volts.high)})
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
		p = Proof{id, Failed, fmt.Sprintf("trim held at %+.0f %% and the downstream sensor read %s for %.0f s; this sensor never did",
			c.w.rest.trimThen[i], side, c.w.rest.mute[i]), evidence("seconds", c.w.rest.mute[i], "trim_pct", c.w.rest.trimThen[i])}
	}
	return p
}
