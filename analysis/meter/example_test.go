package meter_test

import (
	"fmt"

	"pushback/analysis/meter"
)

// A drop of 0.4 V in the ground asks for a step.
func ExampleParse() {
	r, err := meter.Parse("return=0,4 V")
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Entry(), r.Side(), len(r.Step()) > 0)
	// Output: meter return=0.4 V 1 true
}

// Of readings in order of time the last of each kind counts.
func ExampleUnusual() {
	for _, r := range meter.Unusual([]string{"meter heater=0.3 ohm", "meter heater=9 ohm", "meter supply=12.1 V"}) {
		fmt.Println(r.Kind, r.Value, r.Unit)
	}
	// Output: supply 12.1 V
}
