package words

import (
	"fmt"
	"time"

	"pushback/analysis/agenda"
	"pushback/analysis/hazard"
)

// OpenWork words a piece of work that is open, how long it takes, and what can hurt at it.
func OpenWork(i agenda.Item) hazard.Advice {
	about := fmt.Sprintf(" (about %d min)", int(i.Lasts/time.Minute))
	switch i.Work {
	case agenda.Look:
		return hazard.Advice{Do: "ask the car which sensors it has (`pushback vehicle --visit NAME`): whether there is a bank 2 isn't known yet" + about, Hazards: []hazard.Kind{hazard.Running}}
	case agenda.Fitting:
		return hazard.Advice{Do: "find the " + i.Sensor + " signal wire and hook up" + about, Hazards: []hazard.Kind{hazard.Wire, hazard.Heater}}
	case agenda.Wire:
		return hazard.Advice{Do: "wire test on " + i.Sensor + ", lean and rich" + about, Hazards: []hazard.Kind{hazard.Wire, hazard.Running}}
	case agenda.Mixture:
		return hazard.Advice{Do: "mixture test on " + i.Sensor + ": propane, then a small vacuum hose" + about, Hazards: []hazard.Kind{hazard.Propane, hazard.Hose, hazard.Running}}
	case agenda.Drive:
		return hazard.Advice{Do: "drive for " + i.Sensor + ": long fuel cuts, full load (`pushback test --sensor " + i.Sensor + " --by fuelcut`)" + about, Hazards: []hazard.Kind{hazard.Running, hazard.Road}}
	case agenda.Again:
		return hazard.Advice{Do: "repair what the " + i.Sensor + " test found, then retest" + about + ", repair not counted", Hazards: []hazard.Kind{hazard.Wire, hazard.Running}}
	case agenda.Leak:
		return hazard.Advice{Do: "repair what the trims point to (`pushback trims`), then retest" + about + ", repair not counted", Hazards: []hazard.Kind{hazard.Running, hazard.Road}}
	case agenda.Map:
		return hazard.Advice{Do: "drive for the fuel trim map: idle, 1500, 2500, cruise, one long pull" + about, Hazards: []hazard.Kind{hazard.Running, hazard.Road}}
	}
	return hazard.Advice{Do: string(i.Work)}
}

// OtherFault tells the owner of a fault beside what the first page speaks of.
func OtherFault(sensor string) string {
	return "The last test of " + SensorPlace(sensor) + " found a fault. It is not repaired yet, or not tested since."
}

// NothingOpen is said where a visit has all that it needs.
const NothingOpen = "nothing: every test has an answer"

// LookedAt is what a visit keeps of a look at the car.
func LookedAt(sensor string, ready bool, reasons []hazard.Advice) string {
	if ready {
		return "vehicle check: ready for a test of " + sensor
	}
	return "vehicle check: not ready for a test of " + sensor + ": " + hazard.Join(reasons, "; ")
}

// BeforeClearing is asked before trouble codes are cleared; it takes the session's id.
const BeforeClearing = `
This erases, in all computers that answer:
  - the codes above, and the freeze frame: the only trace of when they were set (kept in session %s)
  - the monitors' results: the car is 'not ready' for an inspection until it was driven long enough
  - learned fuel trims and other adaptation: it may idle badly at first
Permanent codes stay until the computer itself finds them gone.
Type yes to clear: `
