package reason

// Of a trim map: its pattern, with the trims at the ends.
const (
	NoUsableTrims Code = "no_usable_trims"
	TrimsNormal   Code = "trims_normal"  // ends
	AddsAtIdle    Code = "adds_at_idle"  // ends
	AddsAtLoad    Code = "adds_at_load"  // ends
	AddsAll       Code = "adds_all"      // ends
	CutsAtIdle    Code = "cuts_at_idle"  // ends
	CutsAtLoad    Code = "cuts_at_load"  // ends
	CutsAll       Code = "cuts_all"      // ends
	AddsSomehow   Code = "adds_somehow"  // ends
	CutsSomehow   Code = "cuts_somehow"  // ends
	TurnsToCuts   Code = "turns_to_cuts" // ends
	NoPattern     Code = "no_pattern"    // ends
	TrimAtFlow    Code = "trim_at_flow"  // %, air flow, its unit
	AndAtFlow     Code = "and_at_flow"   // %, air flow, its unit
)

// What it points to: trade practice; vacuum leak and supply as in trade articles, the others common practice.
const (
	ThisBank            Code = "this_bank"
	AllBanks            Code = "all_banks"
	HasItMAF            Code = "has_it_maf"
	VacuumLeak          Code = "vacuum_leak"
	ExhaustLeak         Code = "exhaust_leak"
	MisfireAtIdle       Code = "misfire_at_idle"
	WeakSupply          Code = "weak_supply"
	MAFLow              Code = "maflow"
	RestrictedInjectors Code = "restricted_injectors"
	AirSensorLow        Code = "air_sensor_low"
	LowPressure         Code = "low_pressure"
	MoreEthanol         Code = "more_ethanol"
	FalselyLean         Code = "falsely_lean"
	LeakingInjector     Code = "leaking_injector"
	ClosePurge          Code = "close_purge"
	FuelInOil           Code = "fuel_in_oil"
	LeakingRegulator    Code = "leaking_regulator"
	MAFHighAtLoad       Code = "mafhigh_at_load"
	PressureRises       Code = "pressure_rises"
	PressureHigh        Code = "pressure_high"
	MAFHigh             Code = "mafhigh"
	Purge               Code = "purge"
	FalselyRich         Code = "falsely_rich"
	AddsOpen            Code = "adds_open"
	CutsOpen            Code = "cuts_open"
)

// What two banks say together, with the trims of both at the ends, and what that points to: worked out, and common practice.
const (
	OppositeTrims Code = "opposite_trims" // ends
	OneDrawsLess  Code = "one_draws_less" // ends, bank
	BankEnds      Code = "bank_ends"      // bank, %, air flow, its unit, %, air flow
	AndBankEnds   Code = "and_bank_ends"  // the same
	SensorPlugs   Code = "sensor_plugs"
	WhoseTrim     Code = "whose_trim"
	BackPressure  Code = "back_pressure" // bank
	BreathesBadly Code = "breathes_badly"
	BoostLeak     Code = "boost_leak"
	BoostLost     Code = "boost_lost"
	MAFBothWays   Code = "mafboth_ways"
)

// Of trim at idle with the purge valve open and shut.
const (
	PurgeTrims   Code = "purge_trims" // %, %
	PurgeIsIt    Code = "purge_is_it"
	PurgeFuel    Code = "purge_fuel"
	PurgeAir     Code = "purge_air"
	PurgeIsNot   Code = "purge_is_not"
	PurgeNothing Code = "purge_nothing"
)

// What to drive for it.
const (
	DriveIdle      Code = "drive_idle"
	Drive1500      Code = "drive1500"
	Drive2500      Code = "drive2500"
	DriveCruise    Code = "drive_cruise"
	DrivePull      Code = "drive_pull"
	DriveIdleAgain Code = "drive_idle_again"
)

// What its data do not show.
const (
	OneAirflow    Code = "one_airflow"    // from, to, the unit
	LittleAirflow Code = "little_airflow" // from, to, the unit
	NoShortTrim   Code = "no_short_trim"
	StatusUnread  Code = "status_unread"
	FlowFromMAP   Code = "flow_from_map"
	FlowFromLoad  Code = "flow_from_load"
	FlowUnknown   Code = "flow_unknown"
)

// Of the idle at the start and minutes later.
const (
	IdleSame       Code = "idle_same"
	IdleWalkedBack Code = "idle_walked_back"
	IdleMovedAway  Code = "idle_moved_away"
)

// Of trims before and after.
const (
	SideWithoutTrims Code = "side_without_trims"
	NoMatch          Code = "no_match"
	CloserAndFarther Code = "closer_and_farther" // conditions, conditions
	TrimNearer       Code = "trim_nearer"
	TrimFarther      Code = "trim_farther"
	TrimMoved        Code = "trim_moved"
	TrimWent         Code = "trim_went"
	OnAverage        Code = "on_average" // from %, to %, conditions
	NeitherNearer    Code = "neither_nearer"
	WithinUnchanged  Code = "within_unchanged" // %
)
