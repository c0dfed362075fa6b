package reason

// Of the conditions of a test.
const (
	WideAtAFifth    Code = "wide_at_a_fifth"
	WideUnjudged    Code = "wide_unjudged"
	WideNoWire      Code = "wide_no_wire"
	WideNeverHold   Code = "wide_never_hold"
	SensorUnused    Code = "sensor_unused" // the sensor
	CoolantCold     Code = "coolant_cold"  // °C
	LoopOpen        Code = "loop_open"
	EngineStopped   Code = "engine_stopped"
	EngineOff       Code = "engine_off"
	Diesel          Code = "diesel"
	OnlyGas         Code = "only_gas"
	OnGas           Code = "on_gas"
	HybridStops     Code = "hybrid_stops"
	OnElectric      Code = "on_electric"
	SecondaryAir    Code = "secondary_air"
	LearningAlcohol Code = "learning_alcohol" // %
)

// Of the status of the fuel system.
const (
	StatusCold    Code = "status_cold"
	StatusDriving Code = "status_driving"
	StatusFault   Code = "status_fault"
	StatusUnused  Code = "status_unused"
	StatusByte    Code = "status_byte" // the byte
)
