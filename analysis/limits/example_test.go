package limits_test

import (
	"fmt"

	"pushback/analysis/limits"
)

// A slow idle may hunt by 50 rpm beside a quarter of itself; a blip of the throttle is no idle.
func ExampleSteadySpeed() {
	fmt.Println(limits.SteadySpeed(700, 900), limits.SteadySpeed(700, 2500))
	// Output: true false
}
