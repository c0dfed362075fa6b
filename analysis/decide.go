package analysis

import (
	"slices"
	"strings"

	"pushback/analysis/reason"
)

// Step names the one step that would settle an open verdict. The names are promised to other programs.
type Step string

const (
	LeanStep    Step = "lean_step"    // force lean (once more)
	RichStep    Step = "rich_step"    // force rich (once more)
	FeedPropane Step = "feed_propane" // enrich with propane
	InduceLean  Step = "induce_lean"  // take a vacuum hose off
	LongerHold  Step = "longer_hold"
	ShorterHold Step = "shorter_hold"
	CloseBranch Step = "close_branch" // close the sensor's branch again after the release
	OpenCheck   Step = "open_level"   // read the input with the branch open
	CoolDown    Step = "cool_down"
	LeakCheck   Step = "leak_check" // look for an exhaust leak ahead of the sensor
	MoreReading Step = "more_readings"
	HandsOff    Step = "hands_off" // wait for the loop to cycle again
	ForceOther  Step = "other_bank"
	HoldWire    Step = "hold_wire" // by mixture: force the wire too
)

// advice is a step with what is said of it.
type advice struct {
	step Step
	says reason.Reason
}

// sideStep is the step that forces the side.
func sideStep(side Side) Step {
	if side == Rich {
		return RichStep
	}
	return LeanStep
}

// proofsOf are what a force of the side is for: that trim answers it, and what the sensor says once it is let go.
func proofsOf(side Side) (command, sensor ProofID) {
	if side == Rich {
		return ProofCutsFuel, ProofSensorLean
	}
	return ProofAddsFuel, ProofSensorRich
}

// advise lists what would decide an open verdict, first what decides most: what hides all else behind it comes
// before what is open besides. Never empty.
func (c *assessment) advise(conclusion Conclusion, proofs []Proof) []advice {
	by := map[ProofID]Proof{}
	for _, p := range proofs {
		by[p.ID] = p
	}
	var out []advice
	add := func(s Step, a reason.Reason) {
		if !slices.ContainsFunc(out, func(x advice) bool { return x.says.Same(a) }) {
			out = append(out, advice{s, a})
		}
	}
	if conclusion == PartlyProven {
		side := Rich
		if by[ProofAddsFuel].State != Proven {
			side = Lean
		}
		add(sideStep(side), reason.OtherSide.Of(side).With(c.hazards(side)...))
		return out
	}
	if c.stalledAdvice(by, add) || c.letGoAdvice(by, add) || c.unseenAdvice(by, add) {
		return out
	}
	if by[ProofBank].mayBeCrossed() {
		add(ForceOther, reason.OtherBank.Of().For(by[ProofBank].Why)) // what the arcs behind it show may be the other bank's
	}
	c.branchAdvice(add)
	failed := by[ProofSensorRich].State == Failed || by[ProofSensorLean].State == Failed
	if c.onlyLean() && (failed || by[ProofSensorRich].State == Unclear) {
		add(LeakCheck, reason.LeakOnlyLean.Of())
	}
	if failed {
		add(FeedPropane, reason.PropaneTellsApart.Of())
	}
	c.limitAdvice(by, add)
	if len(out) == 0 && c.onlyLean() && c.farAdded() && by[ProofSensorRich].State != Proven {
		add(LeakCheck, reason.LeakOnlyLean.Of())
	}
	c.openAdvice(by, add)
	c.lagAdvice(by, add)
	if len(out) == 0 {
		add(LongerHold, reason.Again.Of().With(c.hazards(Lean, Rich)...))
	}
	return out
}

// stalledAdvice: the engine stopped in a force, and the computer let go of nothing.
func (c *assessment) stalledAdvice(by map[ProofID]Proof, add func(Step, reason.Reason)) bool {
	for _, f := range c.forces {
		if proof, _ := proofsOf(f.side); f.stalled && by[proof].State != Proven {
			add(sideStep(f.side), reason.StoppedInHold.Of().With(c.hazards(f.side)...))
			return true
		}
	}
	return false
}

// letGoAdvice: the computer saw the force; longer holds, which all else asks for, would show no more.
func (c *assessment) letGoAdvice(by map[ProofID]Proof, add func(Step, reason.Reason)) bool {
	for _, f := range c.forces {
		at, what := f.letGoAt, reason.GaveTrimUp
		command, sensor := proofsOf(f.side)
		switch {
		case f.stalled, f.opened && f.ended && f.openedAt > f.endHi && by[command].State == Proven && by[sensor].State == Proven:
			continue // or it has shown all, and the loop opened later
		case f.opened:
			at, what = f.openedAt, reason.LeftClosedLoop
		case f.letGo == byStatus:
			what = reason.SaidFault
		case f.letGo == "":
			continue
		}
		says := reason.ShorterHolds.Of(max(3, at-f.begin-2)).And(what).And(reason.TookForFault, at-f.begin)
		if len(c.w.codes.SetHere) > 0 {
			says = says.And(reason.SetByTest, strings.Join(c.w.codes.SetHere, ", "))
		}
		add(ShorterHold, says.With(c.hazards(f.side)...))
		return true
	}
	return false
}

// unseenAdvice: nothing, or not all that was said, was seen of a force.
func (c *assessment) unseenAdvice(by map[ProofID]Proof, add func(Step, reason.Reason)) bool {
	for i, side := range []Side{Lean, Rich} {
		if d := &c.w.doubts[i]; d.serious() && len(c.on(side)) == 0 && c.w.marks == 0 && c.w.cfg.By != ByMixture {
			add(sideStep(side), reason.HoldAndSay.Of(side, side, d.begin, d.level, d.secs).With(c.hazards(side)...))
			return len(c.forces) == 0
		}
	}
	if by[ProofInput].State != Unclear {
		return false
	}
	side := Lean
	if f := &c.w.follow[1]; (f.vague || f.no) && !c.w.follow[0].vague {
		side = Rich
	}
	switch {
	case c.w.cfg.By != ByMixture:
		add(sideStep(side), reason.FirmerContact.Of().For(by[ProofInput].Why))
	case len(c.forces) > 0:
		add(HoldWire, reason.HoldWireToo.Of())
		return true
	default:
		add(FeedPropane, reason.FurtherMixture.Of().For(by[ProofInput].Why))
	}
	return false
}

// branchAdvice: what was read after a release may not have been the sensor.
func (c *assessment) branchAdvice(add func(Step, reason.Reason)) {
	for i, f := range c.forces {
		closed := func(g *force) bool { return g.side == f.side && g.rel.state == sensorSays && !g.rel.doubtful }
		if f.rel.doubtful && !slices.ContainsFunc(c.forces[i+1:], closed) {
			add(CloseBranch, reason.CloseBranch.Of(f.side).For(f.rel.why).With(c.hazards(f.side)...))
			return
		}
	}
}

// limitAdvice: trim had no room to answer, or came to its limit and the sensor, which had lain on that side, still did not say what it
// had made, or that was too little for it to say anything.
func (c *assessment) limitAdvice(by map[ProofID]Proof, add func(Step, reason.Reason)) {
	for _, f := range c.forces {
		command, _ := proofsOf(f.side)
		switch {
		case f.own.state == cannot && f.after != nil && f.after.side == f.side && f.own.up*f.own.base.median < farOut: // a hand slipped: at rest there is room
		case f.own.limit && by[command].State == Unclear: // where it stopped may be no limit
		case f.own.state != cannot && !(f.own.limit && f.ended && (f.nothingNew() || f.rel.state == sensorNotYet && !f.opened && f.letGo == "") && !f.rel.says()):
		case f.side == Lean:
			add(FeedPropane, reason.PropaneAtLimit.Of())
			return
		default:
			add(InduceLean, reason.LeanAtLimit.Of())
			return
		}
	}
}

// openAdvice: what each proof that is still open asks for.
func (c *assessment) openAdvice(by map[ProofID]Proof, add func(Step, reason.Reason)) {
	if p := by[ProofRecovery]; p.State == Failed {
		add(HandsOff, reason.HandsOff.Of().For(p.Why))
	}
	for _, d := range decides {
		p := by[d.id]
		if p.State != Unclear {
			continue
		}
		step, how := d.step, d.wire
		switch {
		case c.w.cfg.By == ByMixture && d.moving:
			how = d.mixture
		case p.Why.Has(reason.NothingNew):
			side := Rich
			if d.id == ProofCutsFuel {
				side = Lean
			}
			add(sideStep(side), reason.OtherSide.Of(side).With(c.hazards(side)...).For(p.Why))
			continue
		case d.id == ProofSensorRich && c.hot():
			step, how = CoolDown, reason.CoolDown
		}
		add(step, how.Of().For(p.Why))
	}
}

// lagAdvice: all was shown but that the sensor is quick; more of its own swings, or closer readings of them, tell it.
func (c *assessment) lagAdvice(by map[ProofID]Proof, add func(Step, reason.Reason)) {
	for _, id := range []ProofID{ProofAddsFuel, ProofCutsFuel, ProofDelivery, ProofSensorRich, ProofSensorLean} {
		if by[id].State != Proven {
			return
		}
	}
	step := HandsOff
	if c.w.volts.interval > seldomRead {
		step = MoreReading
	}
	switch side, lag, open := c.lag().maybeSlow(); {
	case open && lag > 0:
		add(step, reason.MaybeSlow.Of(side, lag))
	case open:
		add(step, reason.NeverSwung.Of(side))
	}
}

// hot reports whether the sensor said rich after a release, but as a hot cell does, below 0.80 V, and never above that by itself.
func (c *assessment) hot() bool {
	if slices.ContainsFunc(c.forces, func(f *force) bool { return f.bank == c.w.bank && f.volts.known() && f.volts.high >= strongRich }) {
		return false
	}
	for _, f := range c.on(Lean) {
		if r := &f.rel; r.state == sensorVague && r.hasOn && r.strong == 0 && r.grey > 0 {
			return true
		}
	}
	return false
}

// onlyLean reports whether the sensor by itself was never read rich: before each force, but for the
// edge of it, or in all where none was made.
func (c *assessment) onlyLean() bool {
	known := false
	for i, f := range c.forces {
		if f.bank != c.w.bank || !f.volts.known() {
			continue
		}
		if f.volts.dormant() {
			return false // it was not read lean either
		}
		made := i > 0 && c.forces[i-1].side == Lean // one stay after that is what the loop had made
		if known = true; f.volts.high >= richAbove && (f.volts.rich.n > 1 || !made && f.volts.wasOn(Rich)) {
			return false
		}
	}
	g := c.w.Figures()
	return known || g.Readings > 0 && g.High < richAbove
}

// farAdded reports whether trim stood far out before a force, adding.
func (c *assessment) farAdded() bool {
	return slices.ContainsFunc(c.forces, func(f *force) bool { return f.own.base.known() && f.own.base.median >= farOut })
}

// decides says for each proof that is still open what would settle it, the cheapest first; that the loop cycles again last, for only
// where it was seen not to does that keep a verdict open.
var decides = []struct {
	id            ProofID
	step          Step
	wire, mixture reason.Code
	moving        bool // mixture holds where the mixture is moved
}{
	{ProofAddsFuel, LeanStep, reason.RepeatLean, reason.LeanAgain, true},
	{ProofCutsFuel, RichStep, reason.RepeatRich, reason.EnrichAgain, true},
	{ProofSensorRich, LeanStep, reason.LeanThenRelease, reason.EnrichToRich, true},
	{ProofSensorLean, RichStep, reason.RichThenRelease, reason.LeanToLean, true},
	{ProofDelivery, LongerHold, reason.HoldForRear, reason.OtherWayToo, true},
	{ProofBank, ForceOther, reason.OtherBank, "", false},
	{ProofRecovery, HandsOff, reason.HandsOff, "", false},
}
