// Package hazard says what can hurt at a step that is advised. Who writes a step names its
// hazards, and from there on the step's text carries their cautions: a view that shows the step
// shows them, and none can forget them. Nothing here decides anything.
//
// The cautions are common practice. That raw fuel overheats a catalyst, and that propane is
// explosive from 2.1 to 9.5 % in air and heavier than it, is handbook knowledge (from memory).
package hazard

import (
	"slices"
	"strings"

	"pushback/analysis/limits"
)

// Kind is one way in which a step can hurt a person or the car.
type Kind int

// The kinds, the worst first.
const (
	Propane Kind = iota // gas fed into the intake or around its joints
	Fuel                // the fuel system is opened or under test
	Hose                // a vacuum hose is taken off
	Running             // hands are near a running engine, or it runs where people are
	Road                // the car is driven while somebody must look at a screen
	Wire                // something is joined to the sensor's signal wire
	Heater              // the sensor or its heater is touched or unplugged
	kinds
)

var cautions = [kinds]string{
	Propane: "Propane explodes: no flame, sparks or hot parts near it; ventilate. " + limits.HoldAndRest + ": raw fuel overheats the catalyst.",
	Fuel:    "Fuel sprays and burns: relieve the pressure first, no flame or sparks, extinguisher at hand.",
	Hose:    "One small hose, never the brake booster's. " + limits.HoldAndRest + ": it may stall, and misfires overheat the catalyst.",
	Running: "Carbon monoxide: ventilate. Park or Neutral, parking brake on; keep off belts, fan, hot exhaust.",
	Road:    "A second person drives or watches the screen; a safe place, within traffic law.",
	Wire:    "Never 12 V, 5 V or a heater feed on the wire; no fingers in the circuit. " + limits.HoldAndRest + ".",
	Heater:  "Key off before unplugging: the heater's wires carry battery voltage. The sensor burns.",
}

// Caution is the one sentence for a hazard.
func (k Kind) Caution() string { return cautions[k] }

// Kinds returns all of them.
func Kinds() []Kind {
	out := make([]Kind, kinds)
	for i := range out {
		out[i] = Kind(i)
	}
	return out
}

// mark stands between a step and its cautions.
const mark = " CAUTION: "

// Step is a piece of advice with the cautions for its hazards, in the order given. The advice
// comes first. Special cases are: a step without hazards is left as it is.
func Step(advice string, hazards ...Kind) string {
	text := Cautions(hazards...)
	if text == "" {
		return advice
	}
	return strings.TrimSuffix(advice, ".") + "." + mark + text
}

// Cautions joins the sentences for some hazards; "" for none.
func Cautions(hazards ...Kind) string {
	var out []string
	for _, k := range hazards {
		out = append(out, k.Caution())
	}
	return strings.Join(out, " ")
}

// Join makes one text of several steps, each caution once and after all advice.
func Join(steps []string, separator string) string {
	var advice, cautions []string
	for _, s := range steps {
		a, c := Cut(s)
		advice = append(advice, strings.TrimSuffix(a, "."))
		for _, k := range Kinds() { // several hazards of a step stand in one text
			if said := k.Caution(); strings.Contains(c, strings.TrimSuffix(said, ".")) && !slices.Contains(cautions, said) {
				cautions = append(cautions, said)
			}
		}
	}
	text := strings.Join(advice, separator)
	if len(cautions) > 0 {
		text += "." + mark + strings.TrimSuffix(strings.Join(cautions, " "), ".")
	}
	return text
}

// Cut parts a step into the advice and its cautions, for a view that sets them apart.
func Cut(step string) (advice, caution string) {
	advice, caution, _ = strings.Cut(step, mark)
	return advice, caution
}
