package analysis

import (
	"slices"

	"pushback/analysis/hazard"
	"pushback/analysis/reason"
	"pushback/decode"
)

// next lists what to do now in ordinary trade practice, cheapest separating test
// first, and names the first of it where one step decides.
func (c *assessment) next(conclusion Conclusion, proofs []Proof) (Step, []reason.Reason) {
	if c.w.cfg.By == ByNothing {
		return "", nil
	}
	decide, out := Step(""), c.nextFor(conclusion, proofs)
	if conclusion == ConclusionUnclear || conclusion == PartlyProven {
		a := c.advise(conclusion, proofs)
		decide = a[0].step
		for _, x := range a {
			out = append(out, x.says)
		}
	}
	out = append(out, c.raised()...)
	if conclusion == ConclusionNotReady {
		out = append(c.w.ready.unmet(), out...)
	}
	return decide, out
}

// raised tells a lean force that did not read zero.
func (c *assessment) raised() []reason.Reason {
	for _, f := range c.forces {
		if f.side == Lean && c.w.cfg.By != ByMixture && !f.loose && f.level >= raisedFrom {
			return []reason.Reason{reason.NotZero.Of(f.level)}
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
var nexts = map[Conclusion][]reason.Code{
	LoopProven:         {reason.LookElsewhere, reason.ReadTotalTrim, reason.LeakFirst, reason.NoCodeLeft},
	InputDead:          {reason.RightSensor, reason.SignalAtComputer, reason.CheckTap, reason.SuspectInput},
	NoCommand:          {reason.StayedClosed, reason.CodesFreezeTrim, reason.SilentSideOnce, reason.WhenItTrims},
	NoDelivery:         {reason.PropaneBothSensors, reason.FuelPressure, reason.Injectors},
	SensorDead:         {reason.LeakOnlyLeanFirst, reason.PropaneSensorAlone, reason.HeaterAndGround, reason.ReplaceAndRepeat},
	SensorSlow:         {reason.WarmAtSpeed, reason.CheckHeater, reason.OwnSwitchTimes, reason.ReplaceAndRepeat},
	WrongBank:          {reason.WhichBank, reason.CrossedConnectors},
	ConclusionNotReady: {reason.BringToConditions},
	NothingForced:      {reason.HoldBothSides},
}

// nextFor is what the conclusion asks for in this session.
func (c *assessment) nextFor(conclusion Conclusion, proofs []Proof) (out []reason.Reason) {
	state := func(id ProofID) State {
		if i := slices.IndexFunc(proofs, func(p Proof) bool { return p.ID == id }); i >= 0 {
			return proofs[i].State
		}
		return ""
	}
	adds, cuts := state(ProofAddsFuel), state(ProofCutsFuel)
	for _, code := range nexts[conclusion] {
		a, wanted := code.Of(), true
		switch code {
		case reason.LeakFirst:
			m := decode.TotalTrim(c.w.fig.short.mean(), longOr0(c.w.fig.longT.mean()))
			a, wanted = code.Of(m), m > 10
		case reason.SilentSideOnce:
			silent := Lean
			if adds == Proven {
				silent = Rich
			}
			a, wanted = a.With(c.hazards(silent)...), adds == Failed && cuts == Proven || cuts == Failed && adds == Proven
		case reason.LeakOnlyLeanFirst:
			wanted = c.onlyLean()
		case reason.BringToConditions:
			wanted = !c.w.ready.barredForGood()
		case reason.HoldBothSides:
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
