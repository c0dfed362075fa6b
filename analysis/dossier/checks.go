package dossier

import (
	"slices"

	"pushback/analysis/limits"
	"pushback/analysis/session"
	"pushback/decode"
)

// CheckID names a condition for a test.
type CheckID string

// The conditions, in the order in which they are told.
const (
	CheckNamed    CheckID = "sensor_named"  // the computer names the sensor
	CheckNarrow   CheckID = "narrow_sensor" // it is a switching one
	CheckEngine   CheckID = "engine_running"
	CheckCoolant  CheckID = "coolant_warm"
	CheckRuntime  CheckID = "run_long_enough" // since the start
	CheckClosed   CheckID = "closed_loop"
	CheckIdle     CheckID = "steady_idle"
	CheckTrims    CheckID = "trims_by_sensor" // the computer trims by this sensor
	CheckCodes    CheckID = "no_codes"        // that bear on the loop
	CheckMonitors CheckID = "monitors_done"   // of fuel and sensors
	CheckHeater   CheckID = "sensor_heater"   // by the computer's own test
)

// CheckState says whether a condition is met.
type CheckState string

// A condition is met, not met, or its state is not known.
const (
	Met     CheckState = "ok"
	Unmet   CheckState = "unmet"
	Unknown CheckState = "unknown"
)

// Check is one condition for a test, with what was found. Of the fields below State those count
// that the condition is about, and none where State is Unknown.
type Check struct {
	ID    CheckID
	State CheckState

	Sensors  []decode.Sensor   // CheckNamed: that the computer names
	Kind     decode.Kind       // CheckNarrow
	Value    float64           // CheckEngine: rpm; CheckCoolant: °C; CheckRuntime: s
	Low      float64           // CheckIdle: rpm
	High     float64           // CheckIdle: rpm
	Fuel     byte              // CheckClosed: fuel system status, also where it is unmet
	Codes    []Code            // CheckCodes
	Monitors []string          // CheckMonitors: not complete
	Test     decode.TestResult // CheckHeater
}

// Look is what a short look at a car showed.
type Look struct {
	Last       map[string]float64 // the last value of each signal, in the standard's unit
	RPM        [2]float64         // lowest and highest
	UnusedTrim bool               // the computer says of this sensor that it trims by another
}

// waitedFor are the conditions that the watcher itself waits for and tells.
var waitedFor = []CheckID{CheckNarrow, CheckEngine, CheckCoolant, CheckClosed, CheckTrims}

// WaitedFor reports whether the watcher itself waits for this condition and tells it.
func (c Check) WaitedFor() bool { return slices.Contains(waitedFor, c.ID) }

// Checks lists the conditions for a test of a sensor (B1S1), from a look at the car, the sensors
// that its computer names, and what it told of itself.
//
// Special cases are: no sensor named at all leaves CheckNamed unknown; CheckNarrow comes only for
// a sensor that is named, CheckIdle only while the engine runs, CheckTrims only where the computer
// tells a trim beside the sensor or says that there is none, CheckMonitors and CheckHeater only
// where they were read.
func Checks(look Look, sensors []decode.Sensor, found *session.Findings, sensor decode.SensorID) []Check {
	var out []Check
	add := func(c Check, ok, known bool) {
		switch {
		case !known:
			c.State = Unknown
		case ok:
			c.State = Met
		default:
			c.State = Unmet
		}
		out = append(out, c)
	}
	name := sensor.String()
	i := slices.IndexFunc(sensors, func(x decode.Sensor) bool { return x.Name == name })
	add(Check{ID: CheckNamed, Sensors: sensors}, i >= 0, len(sensors) > 0)
	if i >= 0 {
		kind := sensors[i].Kind
		add(Check{ID: CheckNarrow, Kind: kind}, kind == decode.Narrow, kind != decode.UnknownKind)
	}
	rpm, hasRPM := look.Last["RPM"]
	add(Check{ID: CheckEngine, Value: rpm}, rpm >= limits.TurningSpeed, hasRPM)
	ect, hasECT := look.Last["ECT"]
	add(Check{ID: CheckCoolant, Value: ect}, ect >= limits.WarmCoolant, hasECT)
	ran, hasRan := look.Last["RUNTM"]
	add(Check{ID: CheckRuntime, Value: ran}, ran >= limits.WarmRuntime, hasRan)
	status, hasStatus := look.Last[fuelStatus(sensor, look.Last)]
	add(Check{ID: CheckClosed, Fuel: byte(status)}, decode.LoopClosed(byte(status)), hasStatus)
	if hasRPM && rpm >= limits.TurningSpeed {
		lo, hi := look.RPM[0], look.RPM[1]
		add(Check{ID: CheckIdle, Low: lo, High: hi}, limits.SteadySpeed(lo, hi), true)
	}
	if _, tied := look.Last[sensor.Trim()]; tied || look.UnusedTrim {
		add(Check{ID: CheckTrims}, !look.UnusedTrim, true)
	}
	touched := bearing(found)
	add(Check{ID: CheckCodes, Codes: touched}, len(touched) == 0, len(found.Codes) > 0)
	if m := found.Readiness; m != nil {
		open := slices.DeleteFunc(m.Incomplete(), func(name string) bool { return !slices.Contains(loopMonitors, name) })
		add(Check{ID: CheckMonitors, Monitors: open}, len(open) == 0, true)
	}
	for _, t := range found.Tests {
		if heater(t) && t.Sensor == name {
			add(Check{ID: CheckHeater, Test: t}, t.Passed(), !t.NotRun)
		}
	}
	return out
}

// heater reports whether a test is of an oxygen sensor's heater: monitors 41 to 50 (SAE J1979,
// annex D, from memory), on CAN only.
func heater(t decode.TestResult) bool { return 0x41 <= t.Monitor && t.Monitor <= 0x50 }

// loopMonitors are the monitors that watch the loop, as decode names them.
var loopMonitors = []string{"fuel system", "oxygen sensors", "oxygen sensor heaters"}

// bearing are the codes that bear on the loop. The catalyst's does not.
func bearing(found *session.Findings) []Code {
	return slices.DeleteFunc(codesOf(found), func(c Code) bool {
		area := decode.Area(c.Code)
		return area == "" || area == "catalyst"
	})
}

// fuelStatus is the name of the status of the sensor's bank. A car may use one system for both.
func fuelStatus(sensor decode.SensorID, last map[string]float64) string {
	if sensor.Bank%2 == 0 && last["FUELSYS2"] != 0 {
		return "FUELSYS2"
	}
	return "FUELSYS1"
}
