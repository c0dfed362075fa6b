package hazard_test

import (
	"fmt"

	"pushback/analysis/hazard"
)

func ExampleStep() {
	advice, caution := hazard.Cut(hazard.Step("check the heater", hazard.Heater))
	fmt.Println(advice)
	fmt.Println(caution)
	// Output:
	// check the heater.
	// Key off before unplugging: the heater's wires carry battery voltage. The sensor burns.
}
