package analysis

import (
	"slices"

	"pushback/decode"
)

// What a fuel cut is, for the watchers of drives. The limits of speed are common practice, without a source.

// FarLean is the lambda from which on a reading means that no fuel comes: the ceilings that real cars tell lie at 1.27 to 2.0.
const FarLean = 1.20

// LiftedIn is the time, s, in which the engine's speed tells a lifted throttle.
const LiftedIn = 5.0

// statusHolds is how long the fuel status that was read last is taken to hold, s.
const statusHolds = 4.0

// OpenForDriving reports whether the fuel status that was read age seconds ago says open loop for load or deceleration: a fuel cut has
// it, and so has full load.
func OpenForDriving(status byte, age float64) bool {
	return status == decode.FuelOpenDriving && age < statusHolds
}

// Lifted reports whether an engine has been falling in speed, as it does with the throttle shut: its speed now, and the highest in
// the last [LiftedIn], rpm.
func Lifted(now, highest float64) bool { return now < highest-100 && highest >= 1500 }

// ShutLoad is the calculated load, %, up to which the throttle is shut.
const ShutLoad = 25.0

// GainsIn is the time, s, in which the engine's speed tells a throttle that was opened.
const GainsIn = 2.0

// Gains reports whether an engine gains speed as none does without fuel, by its speeds in the last [GainsIn], rpm, in order of time: by 300 rpm.
// A car that rolls in gear down a slope of one in ten gains 1 m/s², which is less in any gear.
func Gains(speeds []float64) bool {
	n := len(speeds)
	return n > 1 && speeds[n-1] == slices.Max(speeds) && speeds[n-1] > slices.Min(speeds)+300
}

// HowDrive is the How of events that a drive makes by itself: no step of anybody's. No JSON has it.
const HowDrive = "drive"

// Steps of a drive.
const (
	FuelCut     Step = "fuel_cut"     // let the computer cut the fuel
	FullLoad    Step = "full_load"    // drive at full load for some seconds
	FrontSensor Step = "front_sensor" // test the loop by the sensor in front of the catalyst
)
