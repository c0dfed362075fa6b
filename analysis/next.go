package analysis

import (
	"fmt"
	"strings"

	"pushback/analysis/hazard"
)

// next lists what to do now in ordinary trade practice, cheapest separating test
// first. Some of it is common practice without a source.
func (c *courtCase) next(conclusion Conclusion, proofs []Proof) []string {
	return append(c.nextFor(conclusion, proofs), c.raised()...)
}

// raised tells a lean force that did not read zero.
func (c *courtCase) raised() []string {
	for _, f := range c.forces {
		if f.side == Lean && c.w.cfg.By != ByMixture && !f.loose && f.level >= raisedFrom {
			return []string{hazard.Step(fmt.Sprintf("held lean the reading was %.2f V, not zero: measure the contact's resistance, and the signal return against battery minus with a meter", f.level), hazard.Wire)}
		}
	}
	return nil
}

// hazards are those of forcing these sides.
func (c *courtCase) hazards(sides ...Side) []hazard.Kind {
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

func (c *courtCase) nextFor(conclusion Conclusion, proofs []Proof) []string {
	by := map[ProofID]Proof{}
	for _, p := range proofs {
		by[p.ID] = p
	}
	switch conclusion {
	case LoopProven:
		out := []string{
			"believe the sensor: look for the cause of the mixture elsewhere",
			hazard.Step("read total trim (short plus long) at idle, at 2000 to 2500 rpm and under load: a leak shows at idle, weak supply under load", hazard.Running, hazard.Road),
		}
		if m := c.w.fig.short.mean() + longOr0(c.w.fig.longT.mean()); m > 10 {
			out = append(out, hazard.Step(fmt.Sprintf("total trim lies at %+.0f %%: rule out an exhaust leak ahead of the sensor before anything else; the sensor reports that false air truthfully", m), hazard.Running))
		}
		return append(out, "check that the test itself has left no code")
	case PartlyProven:
		side := Rich
		if by[ProofAddsFuel].State != Proven {
			side = Lean
		}
		return []string{hazard.Step(fmt.Sprintf("force the other side too: hold it %s", side), c.hazards(side)...)}
	case InputDead:
		return []string{
			"check that the sensor under test is the one that you read",
			hazard.Step("measure the signal at the computer's connector while the wire is held: it must be there", hazard.Wire, hazard.Running),
			hazard.Step("check tap, terminal and the wire from tap to computer for an open or a short", hazard.Wire),
			"only then suspect the computer's input",
		}
	case NoCommand:
		out := []string{
			"make sure that the loop was closed all the time and no mode such as fuel cut, purge test or load held trim still",
			"check codes: some computers freeze trim while a code is stored",
		}
		silent := Lean
		if by[ProofAddsFuel].State == Proven {
			silent = Rich
		}
		if by[ProofAddsFuel].State == Failed && by[ProofCutsFuel].State == Proven || by[ProofCutsFuel].State == Failed && by[ProofAddsFuel].State == Proven {
			out = append(out, hazard.Step("it answers on one side only: repeat the silent side once before blaming the computer", c.hazards(silent)...))
		}
		return append(out, "check the maker's service information for the conditions under which this computer trims")
	case NoDelivery:
		return []string{
			hazard.Step("enrich with propane: if both sensors go rich, they are good and the fuel command is not carried out", hazard.Propane),
			hazard.Step("measure fuel pressure and volume while trim is high", hazard.Fuel, hazard.Running),
			hazard.Step("check injectors and their drive (balance or current test)", hazard.Fuel, hazard.Running),
		}
	case SensorDead:
		return []string{
			hazard.Step("enrich with propane and watch the sensor alone: it must go above 0.8 V", hazard.Propane),
			hazard.Step("check the sensor's heater, ground or return, and the wire between sensor and tap", hazard.Heater, hazard.Wire),
			hazard.Step("look for an exhaust leak ahead of the sensor if it only ever says lean", hazard.Running),
			hazard.Step("then replace the sensor and repeat this test", hazard.Heater),
		}
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
	case NotReadyToSay:
		if c.w.ready.wide {
			return c.w.ready.unmet()
		}
		return append(c.w.ready.unmet(), hazard.Step("bring the car to these conditions and test again", hazard.Running))
	case NothingForced:
		return []string{hazard.Step("hold the signal lean, then rich, and watch again", c.hazards(Lean, Rich)...)}
	}
	// Unclear: what would decide it.
	var out []string
	add := func(s string) { out = append(out, s) }
	switch {
	case by[ProofSensorRich].State == Failed || by[ProofSensorLean].State == Failed:
		add("either the fuel is not delivered or the sensor is dead: nothing here tells them apart")
		add(hazard.Step("enrich with propane: if the sensor goes above 0.8 V it is good and the fuel is not delivered; if not, the sensor is dead", hazard.Propane))
	case by[ProofInput].State == Unclear:
		switch {
		case c.w.cfg.By != ByMixture:
			add(hazard.Step("repeat with a firm contact, or a stronger source within its safe limits: "+by[ProofInput].Why, hazard.Wire))
		case len(c.forces) > 0:
			add(hazard.Step("hold the signal wire lean, then rich: if the reading follows, its wire and the computer's input are good and the sensor is dead; if it does not, they are not", hazard.Wire))
			return out
		default:
			add(hazard.Step("move the mixture further: "+by[ProofInput].Why, hazard.Propane, hazard.Hose))
		}
	}
	for _, f := range c.forces {
		if f.opened {
			after := fmt.Sprintf("the computer left closed loop %.0f s after the force began: it saw the force and took it for a fault, which is an answer of its own", f.openedAt-f.begin)
			if len(c.w.codes.setHere) > 0 {
				after += " (" + strings.Join(c.w.codes.setHere, ", ") + " is caused by the test)"
			}
			add(after)
			add(hazard.Step(fmt.Sprintf("read the codes, clear them, and repeat with holds shorter than %.0f s", max(3, f.openedAt-f.begin-2)), c.hazards(f.side)...))
			return out // what else is open asks for longer holds
		}
	}
	for _, f := range c.forces {
		if f.own.state == cannot {
			if f.side == Lean {
				add("trim stood at its upper limit: the mixture is leaner than the computer can correct, or the sensor says so falsely")
				add(hazard.Step("enrich with propane until trim comes down, then repeat the lean force; if the sensor goes rich with propane, believe it and look for the lean cause", hazard.Propane))
			} else {
				add("trim stood at its lower limit: the mixture is richer than the computer can correct, or the sensor says so falsely")
				add(hazard.Step("lean the mixture (a vacuum hose off) until trim comes up, then repeat the rich force", hazard.Hose))
			}
			break
		}
	}
	for _, d := range decides {
		if p := by[d.id]; p.State == Unclear {
			how, hazards := d.wire, []hazard.Kind{hazard.Wire}
			switch {
			case d.id == ProofRecovery:
				hazards = nil // hands off
			case c.w.cfg.By == ByMixture && d.mixture != "":
				how, hazards = d.mixture, d.moving
			}
			add(hazard.Step(how+": "+p.Why, hazards...))
		}
	}
	if len(out) == 0 {
		add(hazard.Step("repeat the test with holds of 15 s and 30 s of rest between", c.hazards(Lean, Rich)...))
	}
	return out
}

// decides says for each proof that is still open what would settle it, the cheapest first.
var decides = []struct {
	id            ProofID
	wire, mixture string
	moving        []hazard.Kind // the mixture's
}{
	{ProofRecovery, "keep your hands off for 30 s after the release", "", nil},
	{ProofAddsFuel, "force lean again, for 15 s and with a firm contact", "lean the mixture again, for 15 s", []hazard.Kind{hazard.Hose}},
	{ProofCutsFuel, "force rich again, for 15 s and with a firm contact", "enrich the mixture again, for 15 s", []hazard.Kind{hazard.Propane}},
	{ProofSensorRich, "force lean until trim is 10 % away, let go at once and watch the sensor for rich",
		"enrich until the sensor reads above 0.8 V; or lean until trim is 10 % away, let go at once and watch it for rich", []hazard.Kind{hazard.Propane, hazard.Hose}},
	{ProofSensorLean, "force rich until trim is 10 % away, let go at once and watch the sensor for lean",
		"lean until the sensor reads below 0.1 V; or enrich until trim is 10 % away, let go at once and watch it for lean", []hazard.Kind{hazard.Propane, hazard.Hose}},
	{ProofDelivery, "hold until trim is 15 % away for 15 s and watch the sensor behind the catalyst",
		"move the mixture to the other side too, less far, until the sensor cycles again", []hazard.Kind{hazard.Propane, hazard.Hose}},
	{ProofBank, "force the sensor of the other bank and see whose trim answers", "", nil},
}

func longOr0(v float64) float64 {
	if v != v {
		return 0
	}
	return v
}
