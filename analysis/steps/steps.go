// Package steps words what is advised after a test. Who advises hands over a code and its figures;
// the sentence stands here, and beside it what can hurt at the step, so that neither goes without
// the other. Nothing is decided here. Some of it is common practice without a source.
package steps

import (
	"fmt"

	"pushback/analysis/hazard"
	"pushback/analysis/limits"
)

// Code names a sentence.
type Code uint8

// The codes; the figures that a sentence takes are named beside it.
const (
	LookElsewhere Code = iota
	ReadTotalTrim
	LeakFirst // total trim, %
	NoCodeLeft
	RightSensor
	SignalAtComputer
	CheckTap
	SuspectInput
	StayedClosed
	CodesFreezeTrim
	SilentSideOnce
	WhenItTrims
	PropaneBothSensors
	FuelPressure
	Injectors
	PropaneSensorAlone
	HeaterAndGround
	ReplaceAndRepeat
	LeakOnlyLean
	LeakOnlyLeanFirst
	WarmAtSpeed
	CheckHeater
	OwnSwitchTimes
	WhichBank
	CrossedConnectors
	BringToConditions
	HoldBothSides
	NotZero // the reading, V

	OtherSide // its name
	PropaneTellsApart
	Again
	ShorterHolds  // s, what the computer did, after s, what codes it set
	HoldAndSay    // side, side, since s, the reading in V, for s
	FirmerContact // why
	HoldWireToo
	FurtherMixture // why
	CloseBranch    // side, why
	PropaneAtLimit
	LeanAtLimit
	HandsOff
	RepeatLean
	LeanAgain
	RepeatRich
	EnrichAgain
	LeanThenRelease
	EnrichToRich
	RichThenRelease
	LeanToLean
	HoldForRear
	OtherWayToo
	OtherBank
	CoolDown
	codes
)

// Advice is a step that is advised, with the figures of its sentence.
type Advice struct {
	Code    Code
	Figures []any
	Hazards []hazard.Kind // of this case, beside those of the step
	Why     string        // what is open and asks for it; "" nothing
}

// Of advises a step.
func Of(c Code, figures ...any) Advice { return Advice{Code: c, Figures: figures} }

// With adds hazards that only this case has.
func (a Advice) With(h ...hazard.Kind) Advice {
	a.Hazards = append(a.Hazards[:len(a.Hazards):len(a.Hazards)], h...)
	return a
}

// For says what is open and asks for it.
func (a Advice) For(why string) Advice { a.Why = why; return a }

// String is the sentence with its cautions.
//
// Special cases are: a step without hazards has no cautions; a code that is not known, and figures
// that do not fit, are shown as package fmt shows what is wrong.
func (a Advice) String() string {
	if a.Code >= codes {
		return fmt.Sprintf("%%!(step %d)", a.Code)
	}
	s := says[a.Code]
	text := fmt.Sprintf(s.text, a.Figures...)
	if a.Why != "" {
		text += ": " + a.Why
	}
	return hazard.Step(text, append(s.hazards[:len(s.hazards):len(s.hazards)], a.Hazards...)...)
}

// Texts are the sentences of several.
func Texts(all []Advice) []string {
	out := make([]string, len(all))
	for i, a := range all {
		out[i] = a.String()
	}
	return out
}

type sentence struct {
	text    string
	hazards []hazard.Kind
}

func step(text string, h ...hazard.Kind) sentence { return sentence{text, h} }

var says = [codes]sentence{
	LookElsewhere:      step("the sensor is good: the rich or lean condition comes from something else"),
	ReadTotalTrim:      step("read total trim (short plus long) at idle, at 2000 to 2500 rpm and under load: a leak shows at idle, weak supply under load", hazard.Running, hazard.Road),
	LeakFirst:          step("total trim lies at %+.0f %%: rule out an exhaust leak ahead of the sensor before anything else; the sensor is correctly reading that unmetered air", hazard.Running),
	NoCodeLeft:         step("make sure the test itself left no code"),
	RightSensor:        step("make sure the sensor you are biasing is the one you are reading"),
	SignalAtComputer:   step("measure the signal at the ECM connector during a step: it must be there", hazard.Wire, hazard.Running),
	CheckTap:           step("check the test point, the terminal and the wire to the ECM for an open or a short", hazard.Wire),
	SuspectInput:       step("only then suspect the ECM input"),
	StayedClosed:       step("make sure it stayed in closed loop and no mode such as fuel cut, purge test or load froze trim"),
	CodesFreezeTrim:    step("check codes: some ECMs freeze trim while a code is stored"),
	SilentSideOnce:     step("it responds on one side only: repeat the silent side once before blaming the ECM"),
	WhenItTrims:        step("check the service information for the conditions under which this ECM trims"),
	PropaneBothSensors: step("enrich with propane: if both sensors go rich, they are good and the fuel command is not carried out", hazard.Propane),
	FuelPressure:       step("measure fuel pressure and volume while trim is high", hazard.Fuel, hazard.Running),
	Injectors:          step("check injectors and their drive (balance or current test)", hazard.Fuel, hazard.Running),
	PropaneSensorAlone: step("enrich with propane and watch the sensor alone: it must go above 0.8 V", hazard.Propane),
	HeaterAndGround:    step("check the sensor's heater, ground or return, and the wire between sensor and tap", hazard.Heater, hazard.Wire),
	ReplaceAndRepeat:   step("then replace the sensor and repeat this test", hazard.Heater),
	LeakOnlyLean:       step("look for an exhaust leak ahead of the sensor: it has only ever read lean, as unmetered air makes it do", hazard.Running),
	LeakOnlyLeanFirst:  step("look for an exhaust leak ahead of the sensor before anything else: it has only ever read lean, as unmetered air makes it do", hazard.Running),
	WarmAtSpeed:        step("repeat at 2000 to 2500 rpm after two minutes: a cold sensor is slow too", hazard.Running),
	CheckHeater:        step("check the heater", hazard.Heater),
	OwnSwitchTimes:     step("read the computer's own switch times (service 05, or 06 on CAN) where it offers them"),
	WhichBank:          step("check which bank is bank 1 in the maker's service information, and that you forced that one"),
	CrossedConnectors:  step("check that the sensor connectors of the two banks are not crossed", hazard.Heater),
	BringToConditions:  step("bring the car to these conditions and test again", hazard.Running),
	HoldBothSides:      step("hold the signal lean, then rich, and watch again"),
	NotZero:            step("held lean the reading was %.2f V, not zero: measure the contact's resistance, and the signal return against battery minus with a meter", hazard.Wire),

	OtherSide:         step("do the other side too: the %s step"),
	PropaneTellsApart: step("enrich with propane: if the sensor goes above 0.8 V it is good and the fuel is not delivered; if not, the sensor is dead (nothing here tells the two apart)", hazard.Propane),
	Again:             step("repeat the test with " + limits.HoldText + " steps and " + limits.RestText + " of rest between"),
	ShorterHolds:      step("read the codes, clear them, and repeat with holds shorter than %.0f s: the computer %s %.0f s after the force began; it saw the force and took it for a fault, which is an answer of its own%s"),
	HoldAndSay:        step("hold it %s once more and say so (mark %s): at %.0f s it lay at %.2f V for %.0f s, as if it were held"),
	FirmerContact:     step("repeat with a firm contact, or a stronger source within its safe limits: %s", hazard.Wire),
	HoldWireToo:       step("hold the signal wire lean, then rich: if the reading follows, its wire and the computer's input are good and the sensor is dead; if it does not, they are not", hazard.Wire),
	FurtherMixture:    step("move the mixture further: %s", hazard.Propane, hazard.Hose),
	CloseBranch:       step("close the sensor's branch when you let go, and force %s once more: %s"),
	PropaneAtLimit:    step("enrich with propane until trim comes down, then repeat the lean step; if the sensor goes rich with propane, it is good, find the lean cause; trim was pegged high, too lean for the ECM to correct, or a false lean reading", hazard.Propane),
	LeanAtLimit:       step("lean the mixture (a vacuum hose off) until trim comes up, then repeat the rich step; trim was pegged low, too rich for the ECM to correct, or a false rich reading", hazard.Hose),
	HandsOff:          step("hands off for " + limits.RestText + " after the release"),
	RepeatLean:        step("repeat the lean step, "+limits.HoldText+", good connection", hazard.Wire),
	LeanAgain:         step("lean the mixture again, for "+limits.HoldText, hazard.Hose),
	RepeatRich:        step("repeat the rich step, "+limits.HoldText+", good connection", hazard.Wire),
	EnrichAgain:       step("enrich the mixture again, for "+limits.HoldText, hazard.Propane),
	LeanThenRelease:   step("drive it lean until trim has moved 10 %%, then release and watch the sensor for rich", hazard.Wire),
	EnrichToRich:      step("enrich until the sensor reads above 0.8 V; or drive it lean until trim has moved 10 %%, then release and watch it for rich", hazard.Propane, hazard.Hose),
	RichThenRelease:   step("drive it rich until trim has moved 10 %%, then release and watch the sensor for lean", hazard.Wire),
	LeanToLean:        step("lean until the sensor reads below 0.1 V; or enrich until trim has moved 10 %%, then release and watch it for lean", hazard.Propane, hazard.Hose),
	HoldForRear:       step("hold until trim has moved 15 %% for "+limits.HoldText+" and watch the rear sensor", hazard.Wire),
	OtherWayToo:       step("move the mixture to the other side too, less far, until the sensor cycles again", hazard.Propane, hazard.Hose),
	OtherBank:         step("test the other bank's sensor and see whose trim responds", hazard.Wire),
	CoolDown:          step("let the engine idle for some minutes, so that the exhaust cools, and force lean again; or enrich with propane", hazard.Running, hazard.Wire, hazard.Propane),
}
