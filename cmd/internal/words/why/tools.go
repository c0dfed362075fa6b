package why

import (
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
)

// tools are the sentences of a bias source and of a meter.
var tools = sentences{
	reason.CarsOwnSupply: {text: "%.3g V is the car's own supply or as much: one joint that breaks puts it on an input made for about 1 V"},
	reason.WireWorst:     {text: "the wire can reach %.2f V in the worst case, more than %.1f V"},
	reason.WireAbove:     {text: "when %s the wire can reach %.2f V, more than %.3g V"},
	reason.WireBelow:     {text: "when %s the wire can reach %.2f V, below %.3g V"},
	reason.PushesCurrent: {text: "it can push %.1f mA into what the clip touches, more than %.0f mA"},
	reason.WireTooLow:    {text: "in the worst case the wire gets only %.2f V; below %.2f V a rich step proves nothing: measure before the test"},
	reason.OpenForSource: {text: "with the sensor still connected (%s, %s) the wire gets only %.2f V: open the sensor's branch"},
	reason.JointMayBreak: {text: "should the lower resistor's joint break, the wire gets up to %.2f V through %s: solder it, and measure before each use"},
	reason.ReturnBelow:   {"check the meter's leads: a return below battery minus", may{hazard.Running}},
	reason.ReturnAbove:   {"at about 2.5 V the maker may have raised the return: look it up, and jumper to the return only. Else clean the ECM ground and measure again", may{hazard.Wire, hazard.Running}},
	reason.HeaterShorted: {"look up the heater's resistance: this low it is shorted, and may have taken its fuse along", may{hazard.Heater}},
	reason.HeaterOpen:    {"look up the heater's resistance: this high it is open, and the sensor stays cold at idle", may{hazard.Heater}},
	reason.SupplyWeak:    {"look up the fuel pressure: weak supply; check filter, pump and its voltage", may{hazard.Fuel}},
	reason.SupplyStrong:  {"look up the fuel pressure: too high; check regulator and return line", may{hazard.Fuel}},
	reason.FeedLow:       {"load-test battery and charging, and look for a drop in the feed", may{hazard.Running}},
	reason.FeedHigh:      {"check the charging: more than a 12 V system is to have", may{hazard.Running}},
}
