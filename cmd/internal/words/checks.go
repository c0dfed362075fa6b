package words

import (
	"fmt"
	"strings"

	"pushback/analysis/dossier"
	"pushback/analysis/hazard"
	"pushback/analysis/limits"
	"pushback/decode"
)

// What a condition is called in a list of conditions, and where it is told because it is not met.
var checkTitles = map[dossier.CheckID]struct{ title, unmet string }{
	dossier.CheckNamed:    {"sensor reported by the ECM", "the ECM doesn't report this sensor"},
	dossier.CheckNarrow:   {"switching (narrow) sensor", "not a switching (narrow) sensor"},
	dossier.CheckEngine:   {"engine running", "engine not running"},
	dossier.CheckCoolant:  {"coolant warm", "engine still cold"},
	dossier.CheckRuntime:  {"running long enough", "just started"},
	dossier.CheckClosed:   {"closed loop", "not in closed loop"},
	dossier.CheckIdle:     {"steady idle", "idle not steady"},
	dossier.CheckTrims:    {"ECM trims from this sensor", "the ECM doesn't trim from this sensor"},
	dossier.CheckCodes:    {"no codes that affect fuel control", "codes that affect fuel control"},
	dossier.CheckMonitors: {"fuel and sensor monitors complete", "monitors not complete"},
	dossier.CheckHeater:   {"sensor heater, by the ECM's own test", "sensor heater failed the ECM's own test"},
}

// CheckTitle names a condition for a test.
func CheckTitle(id dossier.CheckID) string { return checkTitles[id].title }

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
		return "pick one of these with --sensor; if none are listed, the ECM doesn't report its sensors"
	case dossier.CheckNarrow:
		return hazard.Step("don't force its wire. Change the mixture (propane, vacuum hose) and watch lambda and trim", hazard.Propane, hazard.Hose)
	case dossier.CheckEngine:
		return hazard.Step("start the engine and let it idle", hazard.Running)
	case dossier.CheckCoolant:
		return hazard.Step(fmt.Sprintf("run it at 2500 rpm for two to three minutes, to %d °C or more", limits.WarmCoolant), hazard.Running)
	case dossier.CheckRuntime:
		return hazard.Step("let it run for two minutes; the sensor has to be hot", hazard.Running)
	case dossier.CheckClosed:
		return closedDo(c.Fuel)
	case dossier.CheckIdle:
		return "turn off the A/C and other loads, stay off the pedal; fix a hunting idle first"
	case dossier.CheckTrims:
		return "test the sensor it trims from, the one upstream of the catalyst"
	case dossier.CheckCodes:
		return "write them down and continue with care: while they are set the ECM may ignore the sensor or freeze trim"
	case dossier.CheckMonitors:
		return "with monitors not run, \"no codes\" doesn't mean no faults; the test still counts"
	case dossier.CheckHeater:
		return hazard.Step("measure heater supply and resistance first; a cold sensor fails every test", hazard.Heater)
	}
	return ""
}

// CheckLine is a condition that is not met, in a line.
func CheckLine(c dossier.Check) string {
	head, do := checkTitles[c.ID].unmet, CheckDo(c)
	if found := CheckFound(c); found != "" {
		head += ": " + found
	}
	return InUnits(head + ". " + strings.ToUpper(do[:1]) + do[1:])
}

func closedDo(status byte) string {
	switch status {
	case decode.FuelOpenNotReady:
		return hazard.Step("warm it up; if it stays open when warm, the ECM doesn't see the sensor working: read its codes and voltage", hazard.Running)
	case decode.FuelOpenDriving:
		return hazard.Step("let it idle with no load", hazard.Running)
	case decode.FuelOpenFault:
		return "a fault keeps it in open loop: read the codes, fix that, clear them, test again"
	case 0:
		return "this fuel system is not in use; is it the correct bank?"
	}
	return "read the codes"
}

// Questions are what no data tells, with how to find out.
var Questions = []string{
	"Is it a zirconia sensor? Unplugged, key on, engine off: the ECM side reads about 0.4 to 0.5 V for zirconia, 1 V or 5 V for titania.",
	RaisedReturn,
	NotThese,
	"Which wire is the signal? Find it with a 10 MΩ meter; the two heater wires carry battery voltage.",
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
		return "none listed"
	}
	return strings.Join(names, ", ")
}
