package session_test

import (
	"fmt"

	"pushback/analysis/session"
	"pushback/obd"
)

// Where nothing is said, the sensor is the first of bank 1 and its wire is forced.
func ExampleNewSetup() {
	for _, of := range [][2]string{{"B2S1", "mixture"}, {"", ""}, {"B1S1", "magnet"}} {
		if s, err := session.NewSetup(of[0], of[1], obd.Format{}); err != nil {
			fmt.Println(err)
		} else {
			fmt.Println(s.Sensor, s.By, s.Unsaid)
		}
	}
	// Output:
	// B2S1 mixture false
	// B1S1 wire true
	// forced by: "magnet" is none of wire, mixture, fuelcut and nothing
}
