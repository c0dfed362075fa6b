package bias

import "math"

// What a ground must bring the reading down to.
const (
	GroundWant = 0.06 // V: makers' workshop texts of 2006 to 2009 expect less than this on the data list with the signal jumped to its return
	GroundMost = 0.20 // V: above it a reading no longer proves lean (common practice, no source)
)

// Ground is the lean side with one sensor: how much resistance the ground may have.
type Ground struct {
	Sensor Sensor
	Want   float64 // Ω for GroundWant; +Inf: any
	Most   float64 // Ω for GroundMost
	Amps   float64 // through a perfect ground, from the cell
}

// groundThrough returns the largest resistance from wire to return with which the
// wire stays at or below limit V.
//
// Special cases are: a wire that stays below without any ground has +Inf.
func groundThrough(limit float64, s Sensor, c Computer) float64 {
	// What flows into the wire at the limit must leave through the ground.
	in := (s.EMF-limit)/s.Ohms + (c.PullVolts.Hi-limit)/c.PullOhms.Lo - limit/c.Input.Hi
	if in <= 0 {
		return math.Inf(1)
	}
	return limit / in
}

// Grounds is the lean side with the sensor's branch open and with a rich sensor from
// cold to very hot: a rich sensor is the one that pulls a ground up.
func Grounds(c Computer) []Ground {
	all := []Sensor{OpenBranch}
	for _, s := range Sensors {
		if s.EMF > 0.45 {
			all = append(all, s)
		}
	}
	out := make([]Ground, len(all))
	for i, s := range all {
		out[i] = Ground{s, groundThrough(GroundWant, s, c), groundThrough(GroundMost, s, c), s.EMF / s.Ohms}
	}
	return out
}

// Chassis is what the computer reads when the signal, held at held V against the
// chassis, is measured against a return that lies at raised V against the chassis.
func Chassis(held, raised float64) float64 { return held - raised }
