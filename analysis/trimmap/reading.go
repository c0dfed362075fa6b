package trimmap

import (
	"iter"

	"pushback/decode"
)

// Reading is one short-term trim with the conditions it was read under. What was not
// known is NaN.
type Reading struct {
	At      float64 // s since the session began
	Bank    int
	Short   float64 // %
	Long    float64 // %, 0 where the car has none
	RPM     float64
	Load    float64 // %
	Flow    float64 // by the session's Flow
	Coolant float64 // °C
	Purge   float64 // %, commanded
}

// Total is what the computer adds altogether, %.
func (r Reading) Total() float64 { return decode.TotalTrim(r.Short, r.Long) }

// Readings is readings in order of time. It can be gone through any number of times, and by several
// at once; a slice makes one by slices.Values.
type Readings = iter.Seq[Reading]

// Flow says where a session's air flow is from.
type Flow string

const (
	NoFlow       Flow = "none"
	Metered      Flow = "metered"       // the air meter, g/s
	SpeedDensity Flow = "speed_density" // pressure, speed and intake temperature: g/s, or g/s per litre
	ByLoad       Flow = "load"          // speed × calculated load: proportional to air flow
)

// Left says how many readings were left out, and why.
type Left struct {
	OpenLoop int `json:"open_loop"`
	Cold     int `json:"cold"`
	Forced   int `json:"forced"` // a force was on, or the loop had not yet recovered
	Stopped  int `json:"engine_stopped"`
	Unsteady int `json:"unsteady"`
	Unknown  int `json:"speed_unknown"`
}

// Data is what a session gives to a map.
type Data struct {
	Readings Readings // of all banks
	Count    int      // how many they are
	Left     Left
	Flow     Flow
	FlowUnit string
	Status   bool // fuel status was read
	Seconds  float64

	banks *gathered // what the readings come to; nil: not yet known
}

// Span is a stretch of time, s.
type Span struct{ From, To float64 }

// Conditions of a reading. A trim counts in closed loop, warm and steady; the numbers are
// common practice without a source.
const (
	steadySpeed = 0.15 // of rpm, from reading to reading
	steadyFlow  = 0.35 // of load, pressure or flow
	recovery    = 20.0 // s after a force in which the trims still walk back
	zeros       = 3    // short-term trims of exactly zero in a row are an open loop whose status nobody read
)
