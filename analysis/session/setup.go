package session

import (
	"fmt"

	"pushback/analysis"
	"pushback/decode"
	"pushback/obd"
)

// Setup says what a session tests and how its replies were printed: all that judging
// needs to know beside the records.
type Setup struct {
	Sensor decode.SensorID // the one that is forced
	By     analysis.By     // what is forced
	Unsaid bool            // nobody said what is
	Kind   decode.Kind     // of the sensor, as far as the car told; it may be unknown
	Format obd.Format      // zero of imported rows
}

// NewSetup reads a setup as it is stored and as flags have it: a sensor such as "B1S1",
// "wire" or "mixture". The error says which name is wrong.
//
// Special cases are: an empty sensor is B1S1; an empty by is the wire, and Unsaid.
func NewSetup(sensor, by string, f obd.Format) (Setup, error) {
	s := Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}, Format: f}
	var err error
	if sensor != "" {
		if s.Sensor, err = decode.ParseSensorID(sensor); err != nil {
			return Setup{}, err
		}
	}
	s.Unsaid = by == ""
	if s.By, err = analysis.ParseBy(by); err != nil {
		return Setup{}, fmt.Errorf("forced by: %w", err)
	}
	return s, nil
}
