package analysis

import (
	"slices"

	"pushback/analysis/hazard"
	"pushback/analysis/steps"
	"pushback/decode"
)

// next lists what to do now in ordinary trade practice, cheapest separating test
// first, and names the first of it where one step decides.
func (c *assessment) next(conclusion Conclusion, proofs []Proof) (Step, []string) {
	if c.w.cfg.By == ByNothing {
		return "", nil
	}
	decide, out := Step(""), c.nextFor(conclusion, proofs)
	if conclusion == ConclusionUnclear || conclusion == PartlyProven {
		a := c.advise(conclusion, proofs)
		decide = a[0].step
		for _, x := range a {
			out = append(out, x.Advice)
		}
	}
	texts := steps.Texts(append(out, c.raised()...))
	if conclusion == ConclusionNotReady {
		texts = append(c.w.ready.unmet(), texts...)
	}
	return decide, texts
}

// raised tells a lean force that did not read zero.
func (c *assessment) raised() []steps.Advice {
	for _, f := range c.forces {
		if f.side == Lean && c.w.cfg.By != ByMixture && !f.loose && f.level >= raisedFrom {
			return []steps.Advice{steps.Of(steps.NotZero, f.level)}
		}
	}
	return nil
}

// hazards are those of forcing these sides.
func (c *assessment) hazards(sides ...Side) []hazard.Kind {
	if c.w.cfg.By != ByMixture {
		return []hazard.Kind{hazard.Wire}
	}
	var out []hazard.Kind
	for _, s := range sides {
		if s == Rich {
			out = append(out, hazard.Propane)
		} else {
			out = append(out, hazard.Hose)
		}
	}
	return out
}

// nexts says what each answer asks for, in order.
var nexts = map[Conclusion][]steps.Code{
	LoopProven:         {steps.LookElsewhere, steps.ReadTotalTrim, steps.LeakFirst, steps.NoCodeLeft},
	InputDead:          {steps.RightSensor, steps.SignalAtComputer, steps.CheckTap, steps.SuspectInput},
	NoCommand:          {steps.StayedClosed, steps.CodesFreezeTrim, steps.SilentSideOnce, steps.WhenItTrims},
	NoDelivery:         {steps.PropaneBothSensors, steps.FuelPressure, steps.Injectors},
	SensorDead:         {steps.LeakOnlyLeanFirst, steps.PropaneSensorAlone, steps.HeaterAndGround, steps.ReplaceAndRepeat},
	SensorSlow:         {steps.WarmAtSpeed, steps.CheckHeater, steps.OwnSwitchTimes, steps.ReplaceAndRepeat},
	WrongBank:          {steps.WhichBank, steps.CrossedConnectors},
	ConclusionNotReady: {steps.BringToConditions},
	NothingForced:      {steps.HoldBothSides},
}

// nextFor is what the conclusion asks for in this session.
func (c *assessment) nextFor(conclusion Conclusion, proofs []Proof) (out []steps.Advice) {
	state := func(id ProofID) State {
		if i := slices.IndexFunc(proofs, func(p Proof) bool { return p.ID == id }); i >= 0 {
			return proofs[i].State
		}
		return ""
	}
	adds, cuts := state(ProofAddsFuel), state(ProofCutsFuel)
	for _, code := range nexts[conclusion] {
		a, wanted := steps.Of(code), true
		switch code {
		case steps.LeakFirst:
			m := decode.TotalTrim(c.w.fig.short.mean(), longOr0(c.w.fig.longT.mean()))
			a, wanted = steps.Of(code, m), m > 10
		case steps.SilentSideOnce:
			silent := Lean
			if adds == Proven {
				silent = Rich
			}
			a, wanted = a.With(c.hazards(silent)...), adds == Failed && cuts == Proven || cuts == Failed && adds == Proven
		case steps.LeakOnlyLeanFirst:
			wanted = c.onlyLean()
		case steps.BringToConditions:
			wanted = !c.w.ready.wide
		case steps.HoldBothSides:
			a = a.With(c.hazards(Lean, Rich)...)
		}
		if wanted {
			out = append(out, a)
		}
	}
	return out
}

func longOr0(v float64) float64 {
	if v != v {
		return 0
	}
	return v
}
