package reason

// What each answer asks for.
const (
	LookElsewhere      Code = "look_elsewhere"
	ReadTotalTrim      Code = "read_total_trim"
	LeakFirst          Code = "leak_first" // total trim, %
	NoCodeLeft         Code = "no_code_left"
	RightSensor        Code = "right_sensor"
	SignalAtComputer   Code = "signal_at_computer"
	CheckTap           Code = "check_tap"
	SuspectInput       Code = "suspect_input"
	StayedClosed       Code = "stayed_closed"
	CodesFreezeTrim    Code = "codes_freeze_trim"
	SilentSideOnce     Code = "silent_side_once"
	WhenItTrims        Code = "when_it_trims"
	PropaneBothSensors Code = "propane_both_sensors"
	FuelPressure       Code = "fuel_pressure"
	Injectors          Code = "injectors"
	PropaneSensorAlone Code = "propane_sensor_alone"
	HeaterAndGround    Code = "heater_and_ground"
	ReplaceAndRepeat   Code = "replace_and_repeat"
	LeakOnlyLean       Code = "leak_only_lean"
	LeakOnlyLeanFirst  Code = "leak_only_lean_first"
	WarmAtSpeed        Code = "warm_at_speed"
	CheckHeater        Code = "check_heater"
	OwnSwitchTimes     Code = "own_switch_times"
	MaybeSlow          Code = "maybe_slow"  // side, lag s
	NeverSwung         Code = "never_swung" // side
	WhichBank          Code = "which_bank"
	CrossedConnectors  Code = "crossed_connectors"
	BringToConditions  Code = "bring_to_conditions"
	HoldBothSides      Code = "hold_both_sides"
	NotZero            Code = "not_zero" // the reading, V
)

// What would settle an open one.
const (
	OtherSide         Code = "other_side" // its name
	PropaneTellsApart Code = "propane_tells_apart"
	Again             Code = "again"
	ShorterHolds      Code = "shorter_holds" // s
	HoldAndSay        Code = "hold_and_say"  // side, side, since s, the reading in V, for s
	FirmerContact     Code = "firmer_contact"
	HoldWireToo       Code = "hold_wire_too"
	FurtherMixture    Code = "further_mixture"
	CloseBranch       Code = "close_branch" // side
	PropaneAtLimit    Code = "propane_at_limit"
	LeanAtLimit       Code = "lean_at_limit"
	HandsOff          Code = "hands_off"
	RepeatLean        Code = "repeat_lean"
	LeanAgain         Code = "lean_again"
	RepeatRich        Code = "repeat_rich"
	EnrichAgain       Code = "enrich_again"
	LeanThenRelease   Code = "lean_then_release"
	EnrichToRich      Code = "enrich_to_rich"
	RichThenRelease   Code = "rich_then_release"
	LeanToLean        Code = "lean_to_lean"
	HoldForRear       Code = "hold_for_rear"
	OtherWayToo       Code = "other_way_too"
	OtherBank         Code = "other_bank"
	CoolDown          Code = "cool_down"
	GaveTrimUp        Code = "gave_trim_up"
	StoppedInHold     Code = "stopped_in_hold"
	LeftClosedLoop    Code = "left_closed_loop"
	SaidFault         Code = "said_fault"
	TookForFault      Code = "took_for_fault" // after s
	SetByTest         Code = "set_by_test"    // codes
)
