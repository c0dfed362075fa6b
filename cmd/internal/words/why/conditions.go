package why

import (
	"fmt"

	"pushback/analysis/hazard"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
)

// conditions are the sentences of what keeps a test from counting.
var conditions = sentences{
	reason.WideAtAFifth:    say("wide-range sensor, shown at a fifth of its voltage: it lies at 0.66 V, and trim does not take that for rich; its wire must not be forced", hazard.Propane),
	reason.WideUnjudged:    say("wide-range sensor: it does not switch, so this test cannot judge it; look yourself: propane brings lambda below 1, then trim down, and its end does the opposite", hazard.Propane),
	reason.WideNoWire:      say("wide-range sensor: its wire must not be forced; move the mixture instead, and look at lambda and trim", hazard.Propane, hazard.Hose),
	reason.WideNeverHold:   say("this sensor is a wide-range one: its wire must never be held; move the mixture instead, or let the computer cut the fuel", hazard.Propane, hazard.Hose),
	reason.SensorUnused:    say("the computer does not use this sensor for short-term trim, so no step shows it: judge it in a drive, where it must read lean in a fuel cut and rich at full load (`pushback test --sensor %s --by fuelcut` leads through it)", hazard.Running, hazard.Road),
	reason.CoolantCold:     say(fmt.Sprintf("coolant %%.0f °C: warm the engine up to %d °C or more", limits.WarmCoolant)),
	reason.LoopOpen:        say("open loop: "),
	reason.EngineStopped:   say("the engine stopped: restart it; a hybrid needs its inspection mode, start-stop has to be off"),
	reason.EngineOff:       say("engine not running"),
	reason.Diesel:          say("diesel engine: it has no fuel loop that this test could judge"),
	reason.OnlyGas:         say("the engine runs on gas (LPG, CNG or propane) only: this test is for gasoline"),
	reason.HybridStops:     say("a hybrid: use its inspection mode, or its engine may stop in a hold"),
	reason.OnElectric:      say("the car runs on electricity: a hybrid needs its inspection mode, in which the engine stays on"),
	reason.OnGas:           say("the engine runs on gas (LPG, CNG or propane): switch it to gasoline"),
	reason.SecondaryAir:    say("secondary air is running: wait until it stops"),
	reason.LearningAlcohol: say("the ECM is learning the fuel's alcohol content (%.0f %% now): let it finish"),
	reason.StatusCold:      say("not warm enough yet"),
	reason.StatusDriving:   say("load or deceleration"),
	reason.StatusFault:     say("a fault was found"),
	reason.StatusUnused:    say("fuel system not in use"),
	reason.StatusByte:      say("status 0x%02X"),
}
