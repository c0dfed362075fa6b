package analysis

import (
	"fmt"

	"pushback/analysis/hazard"
)

// next lists what to do now in ordinary trade practice, cheapest separating test
// first, and names the first of it where one step decides. Some of it is common practice without a source.
func (c *assessment) next(conclusion Conclusion, proofs []Proof) (Step, []string) {
	decide, out := Step(""), c.nextFor(conclusion, proofs)
	if conclusion == ConclusionUnclear || conclusion == PartlyProven {
		a := c.advise(conclusion, proofs)
		decide = a[0].step
		for _, x := range a {
			out = append(out, x.text)
		}
	}
	return decide, append(out, c.raised()...)
}

// raised tells a lean force that did not read zero.
func (c *assessment) raised() []string {
	for _, f := range c.forces {
		if f.side == Lean && c.w.cfg.By != ByMixture && !f.loose && f.level >= raisedFrom {
			return []string{hazard.Step(fmt.Sprintf("held lean the reading was %.2f V, not zero: measure the contact's resistance, and the signal return against battery minus with a meter", f.level), hazard.Wire)}
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

func (c *assessment) nextFor(conclusion Conclusion, proofs []Proof) []string {
	by := map[ProofID]Proof{}
	for _, p := range proofs {
		by[p.ID] = p
	}
	switch conclusion {
	case LoopProven:
		out := []string{
			"the sensor is good: the rich or lean condition comes from something else",
			hazard.Step("read total trim (short plus long) at idle, at 2000 to 2500 rpm and under load: a leak shows at idle, weak supply under load", hazard.Running, hazard.Road),
		}
		if m := c.w.fig.short.mean() + longOr0(c.w.fig.longT.mean()); m > 10 {
			out = append(out, hazard.Step(fmt.Sprintf("total trim lies at %+.0f %%: rule out an exhaust leak ahead of the sensor before anything else; the sensor is correctly reading that unmetered air", m), hazard.Running))
		}
		return append(out, "make sure the test itself left no code")
	case InputDead:
		return []string{
			"make sure the sensor you are biasing is the one you are reading",
			hazard.Step("measure the signal at the ECM connector during a step: it must be there", hazard.Wire, hazard.Running),
			hazard.Step("check the test point, the terminal and the wire to the ECM for an open or a short", hazard.Wire),
			"only then suspect the ECM input",
		}
	case NoCommand:
		out := []string{
			"make sure it stayed in closed loop and no mode such as fuel cut, purge test or load froze trim",
			"check codes: some ECMs freeze trim while a code is stored",
		}
		silent := Lean
		if by[ProofAddsFuel].State == Proven {
			silent = Rich
		}
		if by[ProofAddsFuel].State == Failed && by[ProofCutsFuel].State == Proven || by[ProofCutsFuel].State == Failed && by[ProofAddsFuel].State == Proven {
			out = append(out, hazard.Step("it responds on one side only: repeat the silent side once before blaming the ECM", c.hazards(silent)...))
		}
		return append(out, "check the service information for the conditions under which this ECM trims")
	case NoDelivery:
		return []string{
			hazard.Step("enrich with propane: if both sensors go rich, they are good and the fuel command is not carried out", hazard.Propane),
			hazard.Step("measure fuel pressure and volume while trim is high", hazard.Fuel, hazard.Running),
			hazard.Step("check injectors and their drive (balance or current test)", hazard.Fuel, hazard.Running),
		}
	case SensorDead:
		leak := hazard.Step("look for an exhaust leak ahead of the sensor before anything else: it has only ever read lean, as unmetered air makes it do", hazard.Running)
		out := []string{
			hazard.Step("enrich with propane and watch the sensor alone: it must go above 0.8 V", hazard.Propane),
			hazard.Step("check the sensor's heater, ground or return, and the wire between sensor and tap", hazard.Heater, hazard.Wire),
			hazard.Step("then replace the sensor and repeat this test", hazard.Heater),
		}
		if c.onlyLean() {
			return append([]string{leak}, out...)
		}
		return out
	case SensorSlow:
		return []string{
			hazard.Step("repeat at 2000 to 2500 rpm after two minutes: a cold sensor is slow too", hazard.Running),
			hazard.Step("check the heater", hazard.Heater),
			"read the computer's own switch times (service 05, or 06 on CAN) where it offers them",
			hazard.Step("then replace the sensor and repeat this test", hazard.Heater),
		}
	case WrongBank:
		return []string{
			"check which bank is bank 1 in the maker's service information, and that you forced that one",
			hazard.Step("check that the sensor connectors of the two banks are not crossed", hazard.Heater),
		}
	case ConclusionNotReady:
		if c.w.ready.wide {
			return c.w.ready.unmet()
		}
		return append(c.w.ready.unmet(), hazard.Step("bring the car to these conditions and test again", hazard.Running))
	case NothingForced:
		return []string{hazard.Step("hold the signal lean, then rich, and watch again", c.hazards(Lean, Rich)...)}
	}
	return nil
}

func longOr0(v float64) float64 {
	if v != v {
		return 0
	}
	return v
}
