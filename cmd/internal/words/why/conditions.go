package why

import (
	"fmt"

	"pushback/analysis/hazard"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
)

// conditions are the sentences of what keeps a test from counting.
var conditions = sentences{
	reason.WideAtAFifth:    {"wide-range sensor, shown at a fifth of its voltage (0.66 V is lambda 1, lean is higher): its wire must not be forced; look yourself: propane brings it below 0.66 V, then trim down, and its end does the opposite", may{hazard.Propane}},
	reason.WideUnjudged:    {"wide-range sensor: it does not switch, so this test cannot judge it; look yourself: propane brings lambda below 1, then trim down, and its end does the opposite", may{hazard.Propane}},
	reason.WideNoWire:      {"wide-range sensor: its wire must not be forced; move the mixture instead, and look at lambda and trim", may{hazard.Propane, hazard.Hose}},
	reason.WideNeverHold:   {"this sensor is a wide-range one: its wire must never be held; move the mixture instead, or let the computer cut the fuel", may{hazard.Propane, hazard.Hose}},
	reason.SensorUnused:    {"the computer does not use this sensor for short-term trim, so no step shows it: judge it in a drive, where it must read lean in a fuel cut and rich at full load (`pushback test --sensor %s --by fuelcut` leads through it)", may{hazard.Running, hazard.Road}},
	reason.CoolantCold:     {text: fmt.Sprintf("coolant %%.0f °C: warm the engine up to %d °C or more", limits.WarmCoolant)},
	reason.LoopOpen:        {text: "open loop: "},
	reason.EngineStopped:   {text: "the engine stopped: restart it; a hybrid needs its inspection mode, start-stop has to be off"},
	reason.EngineOff:       {text: "engine not running"},
	reason.Diesel:          {text: "diesel engine: it has no fuel loop that this test could judge"},
	reason.OnlyGas:         {text: "the engine runs on gas (LPG, CNG or propane) only: this test is for gasoline"},
	reason.HybridStops:     {text: "a hybrid: use its inspection mode, or its engine may stop in a hold"},
	reason.OnElectric:      {text: "the car runs on electricity: a hybrid needs its inspection mode, in which the engine stays on"},
	reason.OnGas:           {text: "the engine runs on gas (LPG, CNG or propane): switch it to gasoline"},
	reason.SecondaryAir:    {text: "secondary air is running: wait until it stops"},
	reason.LearningAlcohol: {text: "the ECM is learning the fuel's alcohol content (%.0f %% now): let it finish"},
	reason.StatusCold:      {text: "not warm enough yet"},
	reason.StatusDriving:   {text: "load or deceleration"},
	reason.StatusFault:     {text: "a fault was found"},
	reason.StatusUnused:    {text: "fuel system not in use"},
	reason.StatusByte:      {text: "status 0x%02X"},
}
