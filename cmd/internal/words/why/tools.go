package why

import (
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
)

// tools are the sentences of a bias source and of a meter.
var tools = sentences{
	reason.CarsOwnSupply: say("%.3g V is the car's own supply or as much: one joint that breaks puts it on an input made for about 1 V"),
	reason.WireWorst:     say("the wire can reach %.2f V in the worst case, more than %.1f V"),
	reason.WireAbove:     say("when %s the wire can reach %.2f V, more than %.3g V"),
	reason.WireBelow:     say("when %s the wire can reach %.2f V, below %.3g V"),
	reason.PushesCurrent: say("it can push %.1f mA into what the clip touches, more than %.0f mA"),
	reason.WireTooLow:    say("in the worst case the wire gets only %.2f V; below %.2f V a rich step proves nothing: measure before the test"),
	reason.OpenForSource: say("with the sensor still connected (%s, %s) the wire gets only %.2f V: open the sensor's branch"),
	reason.JointMayBreak: say("should the lower resistor's joint break, the wire gets up to %.2f V through %s: solder it, and measure before each use"),
	reason.ReturnBelow:   say("check the meter's leads: a return below battery minus", hazard.Running),
	reason.ReturnAbove:   say("at about 2.5 V the maker may have raised the return: look it up, and jumper to the return only. Else clean the ECM ground and measure again", hazard.Wire, hazard.Running),
	reason.HeaterShorted: say("look up the heater's resistance: this low it is shorted, and may have taken its fuse along", hazard.Heater),
	reason.HeaterOpen:    say("look up the heater's resistance: this high it is open, and the sensor stays cold at idle", hazard.Heater),
	reason.SupplyWeak:    say("look up the fuel pressure: weak supply; check filter, pump and its voltage", hazard.Fuel),
	reason.SupplyStrong:  say("look up the fuel pressure: too high; check regulator and return line", hazard.Fuel),
	reason.FeedLow:       say("load-test battery and charging, and look for a drop in the feed", hazard.Running),
	reason.FeedHigh:      say("check the charging: more than a 12 V system is to have", hazard.Running),
}
