package words

import (
	"fmt"
	"strings"

	"pushback/analysis/dossier"
	"pushback/analysis/hazard"
	"pushback/decode"
)

var checkTitles = map[dossier.CheckID]string{
	dossier.CheckNamed: "sensor named by the computer", dossier.CheckNarrow: "switching (narrow) sensor",
	dossier.CheckEngine: "engine running", dossier.CheckCoolant: "coolant warm", dossier.CheckRuntime: "running long enough",
	dossier.CheckClosed: "closed loop", dossier.CheckIdle: "steady idle", dossier.CheckTrims: "the computer trims by this sensor",
	dossier.CheckCodes: "no code that bears on the loop", dossier.CheckMonitors: "monitors of fuel and sensors complete",
	dossier.CheckHeater: "sensor's heater, by the computer's own test",
}

// CheckTitle names a condition for a test.
func CheckTitle(id dossier.CheckID) string { return checkTitles[id] }

// CheckFound says what was seen of a condition; "" nothing.
func CheckFound(c dossier.Check) string {
	if c.State == dossier.Unknown {
		return ""
	}
	switch c.ID {
	case dossier.CheckNamed:
		return SensorsText(c.Sensors)
	case dossier.CheckNarrow:
		return c.Kind.String()
	case dossier.CheckEngine:
		return fmt.Sprintf("%.0f rpm", c.Value)
	case dossier.CheckCoolant:
		return fmt.Sprintf("%.0f °C", c.Value)
	case dossier.CheckRuntime:
		return fmt.Sprintf("%.0f s since the start", c.Value)
	case dossier.CheckClosed:
		return FuelStatus(c.Fuel)
	case dossier.CheckIdle:
		return fmt.Sprintf("%.0f to %.0f rpm", c.Low, c.High)
	case dossier.CheckCodes:
		codes := make([]string, len(c.Codes))
		for i, x := range c.Codes {
			codes[i] = fmt.Sprintf("%s (%s, %s)", x.Code, decode.Area(x.Code), x.State)
		}
		return strings.Join(codes, ", ")
	case dossier.CheckMonitors:
		return strings.Join(c.Monitors, ", ")
	case dossier.CheckHeater:
		return TestText(c.Test)
	}
	return ""
}

// CheckDo says what to do for a condition that is not met, or whose state is not known; "" nothing.
func CheckDo(c dossier.Check) string {
	if c.State == dossier.Met {
		return ""
	}
	switch c.ID {
	case dossier.CheckNamed:
		return "choose one of these with --sensor; without any, the computer tells nothing of its sensors"
	case dossier.CheckNarrow:
		return hazard.Step("do not force its wire: move the mixture (propane, induced lean) and watch lambda and trim", hazard.Propane, hazard.Hose)
	case dossier.CheckEngine:
		return hazard.Step("start the engine and let it idle", hazard.Running)
	case dossier.CheckCoolant:
		return hazard.Step(fmt.Sprintf("run it at 2500 rpm for two to three minutes, to %d °C or more", dossier.WarmCoolant), hazard.Running)
	case dossier.CheckRuntime:
		return hazard.Step("wait until it has run for two minutes: the sensor itself must be hot", hazard.Running)
	case dossier.CheckClosed:
		return closedDo(c.Fuel)
	case dossier.CheckIdle:
		return "switch off air conditioning and other loads, keep off the pedal; a hunting idle must be put right first"
	case dossier.CheckTrims:
		return "force the sensor that it trims by, the one upstream of the catalyst"
	case dossier.CheckCodes:
		return "note them and go on with care: the computer may not use the sensor, or hold trim, while they stand"
	case dossier.CheckMonitors:
		return "a fault may not have set its code yet: no code says nothing until it was driven long enough; the test counts all the same"
	case dossier.CheckHeater:
		return hazard.Step("measure heater supply and resistance first: a cold sensor fails every test", hazard.Heater)
	}
	return ""
}

// CheckLine is a condition that is not met, in a line.
func CheckLine(c dossier.Check) string {
	return fmt.Sprintf("%s: %s; %s", CheckTitle(c.ID), CheckFound(c), CheckDo(c))
}

func closedDo(status byte) string {
	switch status {
	case decode.FuelOpenNotReady:
		return hazard.Step("warm it up; if it stays so when warm, the computer does not see the sensor work: read its codes and voltage", hazard.Running)
	case decode.FuelOpenDriving:
		return hazard.Step("let it idle without load", hazard.Running)
	case decode.FuelOpenFault:
		return "a fault holds it in open loop: read the codes, put that right, clear them, test again"
	case 0:
		return "this fuel system is not in use: is it the right bank?"
	}
	return "read the codes"
}

// Questions are what no data tells, with how to find out.
var Questions = []string{
	"Is it a zirconia sensor? A titania one works otherwise. Unplugged, key on: the computer's side of a zirconia sensor shows some 0.4 to 0.5 V, of a titania one 1 V or 5 V.",
	RaisedReturn,
	"Which wire is the signal? Find it with a meter of 10 MΩ or more; the heater's two carry battery voltage.",
}

// SensorsText names the sensors that a computer names.
func SensorsText(sensors []decode.Sensor) string {
	names := make([]string, len(sensors))
	for i, s := range sensors {
		names[i] = s.Name
		if s.Kind == decode.WideRange {
			names[i] += " (wide-range)"
		}
	}
	if len(names) == 0 {
		return "none named"
	}
	return strings.Join(names, ", ")
}
