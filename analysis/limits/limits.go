// Package limits holds the limits that mean safety or readiness, each once. Where no
// document is named they are common practice, without a source.
package limits

import "time"

// How long a wire or a mixture is held. The times after which a computer sets a code for a
// held sensor differ by maker, from a few seconds up; beyond half a minute it may declare
// the sensor faulty, and long-term trim learns the lie.
const (
	Hold     = 15 * time.Second // as a rule
	HoldLong = 25 * time.Second // where trim answers but the proof is not done yet; a hold that nobody guides is told to end then
	HoldMost = 30 * time.Second // never longer
	Rest     = 30 * time.Second // between two of one side, and after the mixture was moved
	Forces   = 2                // of one side: more teaches long-term trim the lie and sets codes
)

// The same, as sentences say it.
const (
	HoldText    = "15 s"
	MostText    = "30 s"
	RestText    = "30 s"
	HoldAndRest = HoldText + ", then rest " + RestText
)

// TrimEnough is how far from where it was trim should be on release, %, so that the sensor
// has a mixture to tell of.
const TrimEnough = 10

// Recovery is how long a mixture and trim may take to be back where they were after they were let go.
const (
	Recovery     = 15 * time.Second
	RecoveryText = "15 s"
)

// When a test counts.
const (
	WarmCoolant  = 60   // °C: below it an engine may still be enriched for its warm-up
	TurningSpeed = 400  // rpm: below it no engine runs by itself
	WarmRuntime  = 120  // s since the start: the sensor is hot; several test procedures name two minutes
	SpeedRead    = 20.0 // s: speed is read so far apart at the most, as a rule
	MovingSpeed  = 3    // km/h: from it on the car is driven, and nobody is at its wires
)

// SwitchPoint is the reading of a zirconia cell between lean and rich, V: where the
// mixture is stoichiometric.
const SwitchPoint = 0.45

// Between these a reading is on its way from one side to the other, V, and is called neither.
const (
	NeutralLow  = 0.35
	NeutralHigh = 0.55
)

// SteadySpeed reports whether an engine that turned at lo at the least and hi at the most, rpm, ran evenly: within a quarter
// of its slowest, and 50 rpm for the rounding and hunting of a slow idle.
//
// Special cases are: an engine that stood throughout is even.
func SteadySpeed(lo, hi float64) bool { return hi <= 1.25*lo+50 }
