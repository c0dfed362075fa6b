package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/words"
	"pushback/decode"
)

// check is one condition for a test, and what to do when it is not met.
type check struct {
	What  string `json:"what"`
	State string `json:"state"` // ok, unmet, unknown
	Found string `json:"found"` // what was seen; "" nothing
	Do    string `json:"do"`    // "" nothing to do
}

const (
	checkOK      = "ok"
	checkUnmet   = "unmet"
	checkUnknown = "unknown"
)

// Limits of readiness (common practice, no source, but for the two minutes of preheating,
// which several test procedures name).
const (
	warmCoolant = 60  // °C
	warmTime    = 120 // s since the start
)

// readyChecks lists the conditions for a test of a sensor, from what a survey saw.
func readyChecks(s *survey, d *decode.Decoder, found *session.Findings, sensor string, by analysis.By) []check {
	var out []check
	add := func(what string, ok, known bool, seen, do string) {
		c := check{what, checkOK, seen, ""}
		switch {
		case !known:
			c.State, c.Found, c.Do = checkUnknown, "", do
		case !ok:
			c.State, c.Do = checkUnmet, do
		}
		out = append(out, c)
	}
	named, kind := false, decode.UnknownKind
	for _, x := range d.Sensors() {
		if x.Name == sensor {
			named, kind = true, x.Kind
		}
	}
	add("sensor named by the computer", named, len(d.Sensors()) > 0, sensorText(d), "choose one of these with --sensor; without any, the computer tells nothing of its sensors")
	if named {
		add("switching (narrow) sensor", kind == decode.Narrow, kind != decode.UnknownKind, kind.String(),
			"do not force its wire: move the mixture (propane, induced lean) and watch lambda and trim")
	}
	rpm, hasRPM := s.last["RPM"]
	add("engine running", rpm >= 400, hasRPM, fmt.Sprintf("%.0f rpm", rpm), "start the engine and let it idle")
	ect, hasECT := s.last["ECT"]
	add("coolant warm", ect >= warmCoolant, hasECT, fmt.Sprintf("%.0f °C", ect), fmt.Sprintf("run it at 2500 rpm for two to three minutes, to %d °C or more", warmCoolant))
	ran, hasRan := s.last["RUNTM"]
	add("running long enough", ran >= warmTime, hasRan, fmt.Sprintf("%.0f s since the start", ran), "wait until it has run for two minutes: the sensor itself must be hot")
	status, hasStatus := s.last[fuelStatus(sensor, s.last)]
	closed := byte(status)&(decode.FuelClosed|decode.FuelClosedFault) != 0
	add("closed loop", closed, hasStatus, words.FuelStatus(byte(status)), closedAdvice(byte(status)))
	if hasRPM && rpm >= 400 {
		lo, hi := s.rpm[0], s.rpm[1]
		add("steady idle", hi <= 1.25*lo+50, true, fmt.Sprintf("%.0f to %.0f rpm", lo, hi), "switch off air conditioning and other loads, keep off the pedal; a hunting idle must be put right first")
	}
	if _, tied := s.last["SHRTFT"+sensor[1:2]]; tied || s.unusedTrim {
		add("the computer trims by this sensor", !s.unusedTrim, true, "", "force the sensor that it trims by, the one upstream of the catalyst")
	}
	var touched []string
	for _, state := range []string{"stored", "pending", "permanent"} {
		for _, code := range found.Codes[state] {
			if area := decode.Area(code); area != "" && area != "catalyst" {
				touched = append(touched, fmt.Sprintf("%s (%s, %s)", code, area, state))
			}
		}
	}
	add("no code that bears on the loop", len(touched) == 0, len(found.Codes) > 0, strings.Join(touched, ", "),
		"note them and go on with care: the computer may not use the sensor, or hold trim, while they stand")
	if m := found.Readiness; m != nil {
		var open []string
		for _, name := range m.Incomplete() {
			if slices.Contains([]string{"fuel system", "oxygen sensors", "oxygen sensor heaters"}, name) {
				open = append(open, name)
			}
		}
		add("monitors of fuel and sensors complete", len(open) == 0, true, strings.Join(open, ", "),
			"a fault may not have set its code yet: no code says nothing until it was driven long enough; the test counts all the same")
	}
	for _, t := range found.Tests {
		if strings.HasPrefix(t.What, "oxygen sensor heater") && t.Sensor == sensor {
			add("sensor's heater, by the computer's own test", t.Passed(), !t.NotRun, resultText(t), "measure heater supply and resistance first: a cold sensor fails every test")
		}
	}
	return out
}

// checklist is a sink that looks at the car in a test's first seconds as `vehicle` does, and
// tells the conditions that are not met beyond those that the watcher itself waits for.
type checklist struct {
	*survey
	judge  *session.Judge
	found  *session.Findings
	sensor string
	by     analysis.By
	tell   func(check)
	told   bool
	unmet  []check
}

func newChecklist(judge *session.Judge, found *session.Findings, asked func() bool, sensor string, by analysis.By, tell func(check)) *checklist {
	return &checklist{survey: newSurvey(sensor, asked, func() {}), judge: judge, found: found, sensor: sensor, by: by, tell: tell}
}

// waited are the conditions that the watcher waits for and says itself.
var waited = []string{"switching (narrow) sensor", "engine running", "coolant warm", "closed loop", "the computer trims by this sensor"}

func (l *checklist) Write(f session.Frame) error {
	if l.told {
		return nil
	}
	if err := l.survey.Write(f); err != nil || !l.stopped {
		return err
	}
	l.told = true
	for _, c := range readyChecks(l.survey, l.judge.Decoder(), l.found, l.sensor, l.by) {
		if c.State == checkUnmet && !slices.Contains(waited, c.What) {
			l.unmet = append(l.unmet, c)
			l.tell(c)
		}
	}
	return nil
}

// text is a check that is not met, in a line.
func (c check) text() string { return fmt.Sprintf("%s: %s; %s", c.What, c.Found, c.Do) }

// fuelStatus is the name of the status of the sensor's bank.
func fuelStatus(sensor string, last map[string]float64) string {
	if (sensor[1] == '2' || sensor[1] == '4') && last["FUELSYS2"] != 0 {
		return "FUELSYS2"
	}
	return "FUELSYS1"
}

func closedAdvice(status byte) string {
	switch status {
	case decode.FuelOpenNotReady:
		return "warm it up; if it stays so when warm, the computer does not see the sensor work: read its codes and voltage"
	case decode.FuelOpenDriving:
		return "let it idle without load"
	case decode.FuelOpenFault:
		return "a fault holds it in open loop: read the codes, put that right, clear them, test again"
	case 0:
		return "this fuel system is not in use: is it the right bank?"
	}
	return "read the codes"
}

// questions are what no data tells, with how to find out.
var questions = []string{
	"Is it a zirconia sensor? A titania one works otherwise. Unplugged, key on: the computer's side of a zirconia sensor shows some 0.4 to 0.5 V, of a titania one 1 V or 5 V.",
	"Does the sensor return lie at 0 V? Measure it against the chassis, key on and running. About 2.5 V: a raised return; then ground and source go to the return only.",
	"Which wire is the signal? Find it with a meter of 10 MΩ or more; the heater's two carry battery voltage.",
}

// resultText words one of the computer's own figures.
func resultText(t decode.TestResult) string {
	if t.NotRun {
		return "not completed since the codes were cleared"
	}
	text := strings.TrimSpace(fmt.Sprintf("%.4g %s", t.Value, t.Unit))
	noMin, noMax := math.IsNaN(t.Min), math.IsNaN(t.Max)
	switch {
	case noMin && noMax, constant(t):
	case noMin:
		text += fmt.Sprintf(" (at most %.4g)", t.Max)
	case noMax:
		text += fmt.Sprintf(" (at least %.4g)", t.Min)
	default:
		text += fmt.Sprintf(" (limits %.4g to %.4g)", t.Min, t.Max)
	}
	if !t.Passed() {
		text += " FAILED"
	}
	if !t.Known {
		text += ", raw count"
	}
	return text
}

// constant reports whether a figure is one of the computer's constants: off CAN it comes
// without limits, on CAN with limits as itself.
func constant(t decode.TestResult) bool {
	return math.IsNaN(t.Min) && math.IsNaN(t.Max) || t.Min == t.Value && t.Max == t.Value
}
