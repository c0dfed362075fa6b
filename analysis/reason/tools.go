package reason

// Of a bias source that must not be used.
const (
	CarsOwnSupply Code = "cars_own_supply" // V
	WireWorst     Code = "wire_worst"      // V, the most V
	WireAbove     Code = "wire_above"      // fault, V, the most V
	WireBelow     Code = "wire_below"      // fault, V, the least V
	PushesCurrent Code = "pushes_current"  // mA, the most mA
)

// Of one that must be minded.
const (
	WireTooLow    Code = "wire_too_low"    // V, the least V
	OpenForSource Code = "open_for_source" // state, resistance, V
	JointMayBreak Code = "joint_may_break" // V, resistance
)

// Of a meter reading that is not usual.
const (
	ReturnBelow   Code = "return_below"
	ReturnAbove   Code = "return_above"
	HeaterShorted Code = "heater_shorted"
	HeaterOpen    Code = "heater_open"
	SupplyWeak    Code = "supply_weak"
	SupplyStrong  Code = "supply_strong"
	FeedLow       Code = "feed_low"
	FeedHigh      Code = "feed_high"
)
