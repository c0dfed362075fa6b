package hazard_test

import (
	"fmt"

	"pushback/analysis/hazard"
)

func ExampleStep() {
	fmt.Println(hazard.Step("check the heater", hazard.Heater))
	// Output:
	// check the heater. CAUTION: Key off before unplugging: the heater's wires carry battery voltage. The sensor burns.
}
