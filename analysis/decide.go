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
	if c.stalledAdvice(by, add) || c.letGoAdvice(add) || c.unseenAdvice(by, add) {
		return out
	}
	if by[ProofBank].Why.Has(reason.OtherLayOpposite) {
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
	c.limitAdvice(add)
	c.openAdvice(by, add)
	if len(out) == 0 {
		add(LongerHold, reason.Again.Of().With(c.hazards(Lean, Rich)...))
	}
	return out
}

// stalledAdvice: the engine stopped in a force, and the computer let go of nothing.
func (c *assessment) stalledAdvice(by map[ProofID]Proof, add func(Step, reason.Reason)) bool {
	for _, f := range c.forces {
		proof := ProofAddsFuel
		if f.side == Rich {
			proof = ProofCutsFuel
		}
		if f.stalled && by[proof].State != Proven {
			add(sideStep(f.side), reason.StoppedInHold.Of().With(c.hazards(f.side)...))
			return true
		}
	}
	return false
}

// letGoAdvice: the computer saw the force; longer holds, which all else asks for, would show no more.
func (c *assessment) letGoAdvice(add func(Step, reason.Reason)) bool {
	for _, f := range c.forces {
		at, what := f.letGoAt, reason.GaveTrimUp
		switch {
		case f.stalled:
			continue
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
	for _, f := range c.forces {
		if f.rel.doubtful {
			add(CloseBranch, reason.CloseBranch.Of(f.side).For(f.rel.why).With(c.hazards(f.side)...))
			return
		}
	}
}

// limitAdvice: trim had no room to answer, or came to its limit and the sensor, which had lain on that side, still did not say what it
// had made, or that was too little for it to say anything.
func (c *assessment) limitAdvice(add func(Step, reason.Reason)) {
	for _, f := range c.forces {
		switch {
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
	for _, f := range c.forces {
		if f.bank != c.w.bank || !f.volts.known() {
			continue
		}
		if f.volts.dormant() {
			return false // it was not read lean either
		}
		if known = true; f.volts.high >= richAbove && (f.volts.rich.n > 1 || f.volts.wasOn(Rich)) {
			return false
		}
	}
	g := c.w.Figures()
	return known || g.Readings > 0 && g.High < richAbove
}

// decides says for each proof that is still open what would settle it, the cheapest first.
var decides = []struct {
	id            ProofID
	step          Step
	wire, mixture reason.Code
	moving        bool // mixture holds where the mixture is moved
}{
	{ProofRecovery, HandsOff, reason.HandsOff, "", false},
	{ProofAddsFuel, LeanStep, reason.RepeatLean, reason.LeanAgain, true},
	{ProofCutsFuel, RichStep, reason.RepeatRich, reason.EnrichAgain, true},
	{ProofSensorRich, LeanStep, reason.LeanThenRelease, reason.EnrichToRich, true},
	{ProofSensorLean, RichStep, reason.RichThenRelease, reason.LeanToLean, true},
	{ProofDelivery, LongerHold, reason.HoldForRear, reason.OtherWayToo, true},
	{ProofBank, ForceOther, reason.OtherBank, "", false},
}
