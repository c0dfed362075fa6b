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

// Mark stands between a step and its cautions.
const Mark = " CAUTION: "

// Advice is what to do, and what can hurt at it in the order in which it is said.
type Advice struct {
	Do      string
	Hazards []Kind
}

// Step is a piece of advice as one text, the cautions for its hazards behind it.
func Step(do string, hazards ...Kind) string { return Advice{do, hazards}.String() }

// Caution joins the sentences for its hazards; "" for none.
func (a Advice) Caution() string { return Cautions(a.Hazards...) }

// String is the advice as one text, the cautions behind it. Special cases are: without hazards it is
// what to do, as it stands.
func (a Advice) String() string {
	if len(a.Hazards) == 0 {
		return a.Do
	}
	return strings.TrimSuffix(a.Do, ".") + "." + Mark + a.Caution()
}

// MarshalText is the advice as one text, in JSON too.
func (a Advice) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// UnmarshalText takes a text that was written as it stands: its cautions are in it.
func (a *Advice) UnmarshalText(text []byte) error {
	*a = Advice{Do: string(text)}
	return nil
}

// Cautions joins the sentences for some hazards; "" for none.
func Cautions(hazards ...Kind) string {
	var out []string
	for _, k := range hazards {
		out = append(out, k.Caution())
	}
	return strings.Join(out, " ")
}

// Together are the hazards of several steps, each once, as they come up.
func Together(steps []Advice) []Kind {
	var out []Kind
	for _, s := range steps {
		for _, k := range Kinds() {
			if slices.Contains(s.Hazards, k) && !slices.Contains(out, k) {
				out = append(out, k)
			}
		}
	}
	return out
}

// Join makes one text of several steps, each caution once and after all advice. It has no full stop.
func Join(steps []Advice, separator string) string {
	do := make([]string, len(steps))
	for i, s := range steps {
		do[i] = strings.TrimSuffix(s.Do, ".")
	}
	return strings.TrimSuffix(Step(strings.Join(do, separator), Together(steps)...), ".")
}
