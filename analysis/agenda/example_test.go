package agenda_test

import (
	"fmt"

	"pushback/analysis"
	"pushback/analysis/agenda"
)

// A visit in which the wire has shown that trim adds and cuts; the sensor's own answer is still open.
func ExampleOpen() {
	wire := agenda.Session{Sensor: "B1S1", By: analysis.ByWire, Verdict: analysis.Verdict{Conclusion: analysis.PartlyProven,
		Proofs: []analysis.Proof{{ID: analysis.ProofAddsFuel, State: analysis.Proven}, {ID: analysis.ProofCutsFuel, State: analysis.Proven}}}}
	for _, item := range agenda.Open([]agenda.Session{wire}, nil) {
		fmt.Println(item.Work, item.Sensor, item.Lasts, item.Because)
	}
	// Output:
	// mixture B1S1 5m0s [sensor_rich sensor_lean]
	// map  15m0s []
}
