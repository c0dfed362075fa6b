// Package truth is what is known of a recording beside its readings: what was wrong with
// the car, what the technician did, and what may therefore be said of it. It is decided
// from the car and the technician, never by asking the watcher.
package truth

import "slices"

// Test is the truth of one recording.
type Test struct {
	Seed   uint64  `json:"seed"`
	Rate   float64 `json:"rate"`  // readings/s of the watched sensor
	Fault  string  `json:"fault"` // what is wrong with the car
	Style  string  `json:"style"` // what the technician did
	Marks  bool    `json:"marks"` // they said what they did
	Sensor string  `json:"sensor,omitempty"`
	By     string  `json:"by,omitempty"` // wire (also when empty), mixture or fuelcut
	// Conclusions that a master technician would accept, and those by which the watcher
	// does not commit itself though it might; any other is wrong.
	Accepted  []string `json:"accepted"`
	Undecided []string `json:"undecided"`
	// False has, by proof, the states that it would be false to claim.
	False  map[string][]string `json:"false"`
	Forces []Force             `json:"forces"`
	Hours  float64             `json:"hours,omitempty"` // of driving, where nothing is forced
	Wide   *Wide               `json:"wide,omitempty"`
}

// Wide is what a wide-range sensor's ring is like. Pairs are towards rich, then towards lean.
type Wide struct {
	Gain  float64    `json:"gain"`    // measured fraction of φ to a commanded one of fuel
	Tau   [2]float64 `json:"tau_s"`   // the sensor's lag
	Delay [2]float64 `json:"delay_s"` // and its own pure delay
}

// Force is one hold.
type Force struct {
	Side  string  `json:"side"` // lean or rich
	Begin float64 `json:"begin"`
	End   float64 `json:"end,omitempty"`
	Faint bool    `json:"faint,omitempty"` // too short or too weak a hold to be missed
	// Commanded is when the computer first moved trim against the force, Told when the
	// port first showed that, s from the force's beginning; both 0 where unknown.
	Commanded float64 `json:"commanded,omitempty"`
	Told      float64 `json:"told,omitempty"`
}

// Outcome is what a conclusion is worth beside the truth.
type Outcome string

const (
	Right     Outcome = "right"
	Undecided Outcome = "undecided"
	Wrong     Outcome = "wrong"
	Broken    Outcome = "broken off" // the session did not end as it should
)

// Outcome says what the conclusion is worth.
func (t *Test) Outcome(conclusion string) Outcome {
	switch {
	case slices.Contains(t.Accepted, conclusion):
		return Right
	case slices.Contains(t.Undecided, conclusion):
		return Undecided
	}
	return Wrong
}

// IsFalse reports whether it would be false to claim that a proof is in a state.
func (t *Test) IsFalse(proof, state string) bool { return slices.Contains(t.False[proof], state) }
