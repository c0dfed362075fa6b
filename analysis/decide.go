package analysis

import (
	"fmt"
	"strings"

	"pushback/analysis/hazard"
	"pushback/analysis/limits"
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

// advice is a step with its text.
type advice struct {
	step Step
	text string
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
	add := func(s Step, text string, h ...hazard.Kind) { out = append(out, advice{s, hazard.Step(text, h...)}) }
	if conclusion == PartlyProven {
		side := Rich
		if by[ProofAddsFuel].State != Proven {
			side = Lean
		}
		add(sideStep(side), fmt.Sprintf("do the other side too: the %s step", side), c.hazards(side)...)
		return out
	}
	if c.letGoAdvice(add) || c.unseenAdvice(by, add) {
		return out
	}
	c.branchAdvice(add)
	if by[ProofSensorRich].State == Failed || by[ProofSensorLean].State == Failed {
		if c.onlyLean() {
			add(LeakCheck, "look for an exhaust leak ahead of the sensor: it has only ever read lean, as unmetered air makes it do", hazard.Running)
		}
		add(FeedPropane, "enrich with propane: if the sensor goes above 0.8 V it is good and the fuel is not delivered; if not, the sensor is dead (nothing here tells the two apart)", hazard.Propane)
	}
	c.limitAdvice(add)
	c.openAdvice(by, add)
	if len(out) == 0 {
		add(LongerHold, "repeat the test with "+limits.HoldText+" steps and "+limits.RestText+" of rest between", c.hazards(Lean, Rich)...)
	}
	return out
}

// letGoAdvice: the computer saw the force; longer holds, which all else asks for, would show no more.
func (c *assessment) letGoAdvice(add func(Step, string, ...hazard.Kind)) bool {
	for _, f := range c.forces {
		at, what := f.letGoAt, "gave trim up"
		switch {
		case f.opened:
			at, what = f.openedAt, "left closed loop"
		case f.letGo == byStatus:
			what = "said that it runs with a fault in the sensor's circuit"
		case f.letGo == "":
			continue
		}
		codes := ""
		if len(c.w.codes.SetHere) > 0 {
			codes = " (" + strings.Join(c.w.codes.SetHere, ", ") + " is caused by the test)"
		}
		add(ShorterHold, fmt.Sprintf("read the codes, clear them, and repeat with holds shorter than %.0f s: the computer %s %.0f s after the force began; it saw the force and took it for a fault, which is an answer of its own%s",
			max(3, at-f.begin-2), what, at-f.begin, codes), c.hazards(f.side)...)
		return true
	}
	return false
}

// unseenAdvice: nothing, or not all that was said, was seen of a force.
func (c *assessment) unseenAdvice(by map[ProofID]Proof, add func(Step, string, ...hazard.Kind)) bool {
	for i, side := range []Side{Lean, Rich} {
		if d := &c.w.doubts[i]; d.serious() && len(c.on(side)) == 0 && c.w.marks == 0 && c.w.cfg.By != ByMixture {
			add(sideStep(side), fmt.Sprintf("hold it %s once more and say so (mark %s): at %.0f s it lay at %.2f V for %.0f s, as if it were held", side, side, d.begin, d.level, d.secs), c.hazards(side)...)
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
		add(sideStep(side), "repeat with a firm contact, or a stronger source within its safe limits: "+by[ProofInput].Why, hazard.Wire)
	case len(c.forces) > 0:
		add(HoldWire, "hold the signal wire lean, then rich: if the reading follows, its wire and the computer's input are good and the sensor is dead; if it does not, they are not", hazard.Wire)
		return true
	default:
		add(FeedPropane, "move the mixture further: "+by[ProofInput].Why, hazard.Propane, hazard.Hose)
	}
	return false
}

// branchAdvice: what was read after a release may not have been the sensor.
func (c *assessment) branchAdvice(add func(Step, string, ...hazard.Kind)) {
	for _, f := range c.forces {
		if f.rel.doubtful {
			add(CloseBranch, fmt.Sprintf("close the sensor's branch when you let go, and force %s once more: %s", f.side, f.rel.why), c.hazards(f.side)...)
			return
		}
	}
}

// limitAdvice: trim had no room to answer.
func (c *assessment) limitAdvice(add func(Step, string, ...hazard.Kind)) {
	for _, f := range c.forces {
		switch {
		case f.own.state != cannot:
		case f.side == Lean:
			add(FeedPropane, "enrich with propane until trim comes down, then repeat the lean step; if the sensor goes rich with propane, it is good, find the lean cause; trim was pegged high, too lean for the ECM to correct, or a false lean reading", hazard.Propane)
			return
		default:
			add(InduceLean, "lean the mixture (a vacuum hose off) until trim comes up, then repeat the rich step; trim was pegged low, too rich for the ECM to correct, or a false rich reading", hazard.Hose)
			return
		}
	}
}

// openAdvice: what each proof that is still open asks for.
func (c *assessment) openAdvice(by map[ProofID]Proof, add func(Step, string, ...hazard.Kind)) {
	for _, d := range decides {
		p := by[d.id]
		if p.State != Unclear {
			continue
		}
		step, how, hazards := d.step, d.wire, []hazard.Kind{hazard.Wire}
		switch {
		case d.id == ProofRecovery:
			hazards = nil // hands off
		case c.w.cfg.By == ByMixture && d.mixture != "":
			how, hazards = d.mixture, d.moving
		case d.id == ProofSensorRich && c.hot():
			step, how = CoolDown, "let the engine idle for some minutes, so that the exhaust cools, and force lean again; or enrich with propane"
			hazards = []hazard.Kind{hazard.Running, hazard.Wire, hazard.Propane}
		}
		add(step, how+": "+p.Why, hazards...)
	}
}

// hot reports whether the sensor said rich after a release, but as a hot cell does, below 0.80 V.
func (c *assessment) hot() bool {
	for _, f := range c.on(Lean) {
		if r := &f.rel; r.state == sensorVague && r.hasOn && r.strong == 0 && r.grey > 0 {
			return true
		}
	}
	return false
}

// onlyLean reports whether the sensor by itself was never read rich.
func (c *assessment) onlyLean() bool {
	g := c.w.Figures()
	return g.Readings > 0 && g.High < richAbove
}

// decides says for each proof that is still open what would settle it, the cheapest first.
var decides = []struct {
	id            ProofID
	step          Step
	wire, mixture string
	moving        []hazard.Kind // the mixture's
}{
	{ProofRecovery, HandsOff, "hands off for " + limits.RestText + " after the release", "", nil},
	{ProofAddsFuel, LeanStep, "repeat the lean step, " + limits.HoldText + ", good connection", "lean the mixture again, for " + limits.HoldText, []hazard.Kind{hazard.Hose}},
	{ProofCutsFuel, RichStep, "repeat the rich step, " + limits.HoldText + ", good connection", "enrich the mixture again, for " + limits.HoldText, []hazard.Kind{hazard.Propane}},
	{ProofSensorRich, LeanStep, "drive it lean until trim has moved 10 %, then release and watch the sensor for rich",
		"enrich until the sensor reads above 0.8 V; or drive it lean until trim has moved 10 %, then release and watch it for rich", []hazard.Kind{hazard.Propane, hazard.Hose}},
	{ProofSensorLean, RichStep, "drive it rich until trim has moved 10 %, then release and watch the sensor for lean",
		"lean until the sensor reads below 0.1 V; or enrich until trim has moved 10 %, then release and watch it for lean", []hazard.Kind{hazard.Propane, hazard.Hose}},
	{ProofDelivery, LongerHold, "hold until trim has moved 15 % for 15 s and watch the rear sensor",
		"move the mixture to the other side too, less far, until the sensor cycles again", []hazard.Kind{hazard.Propane, hazard.Hose}},
	{ProofBank, ForceOther, "test the other bank's sensor and see whose trim responds", "", nil},
}
