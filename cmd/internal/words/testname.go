package words

import (
	"fmt"

	"pushback/decode"
)

// sensorTests are the oxygen sensor tests that the standard defines, TIDs 01 to 0A (SAE J1979; names as
// in published service texts).
var sensorTests = [...]string{
	1: "rich to lean threshold", "lean to rich threshold", "low voltage for switch time", "high voltage for switch time",
	"rich to lean switch time", "lean to rich switch time", "minimum voltage in the test cycle", "maximum voltage in the test cycle",
	"time between transitions", "sensor period",
}

// monitors by what they test; %d is the bank or cylinder.
var monitors = map[decode.Monitored]string{
	decode.SensorMonitor: "oxygen sensor", decode.HeaterMonitor: "oxygen sensor heater", decode.CatalystMonitor: "catalyst, bank %d",
	decode.FuelSystemMonitor: "fuel system, bank %d", decode.MisfireMonitor: "misfire, cylinder %d",
}

// TestName says what a computer's own test is about.
func TestName(t decode.TestResult) string {
	named := 0 < t.Test && int(t.Test) < len(sensorTests)
	switch {
	case t.Service == 5 && named:
		return sensorTests[t.Test]
	case t.Service == 5:
		return fmt.Sprintf("test %02X (the maker's)", t.Test)
	case t.Monitor == 0: // not on CAN
		return fmt.Sprintf("test %02X of part %02X (the maker defines it)", t.Test, t.Part)
	}
	kind, number, _ := decode.Monitor06(t.Monitor)
	switch {
	case kind == decode.OtherMonitor:
		return fmt.Sprintf("monitor %02X, test %02X", t.Monitor, t.Test)
	case kind == decode.SensorMonitor && named:
		return sensorTests[t.Test]
	}
	what := monitors[kind]
	switch {
	case kind == decode.MisfireMonitor && number == 0:
		what = "misfire"
	case number > 0:
		what = fmt.Sprintf(what, number)
	}
	return fmt.Sprintf("%s: test %02X", what, t.Test)
}
