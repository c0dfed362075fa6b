package compare_test

import (
	"fmt"
	"slices"

	"pushback/analysis/compare"
	"pushback/analysis/trimmap"
)

// A car that added 18 % at idle before its repair and adds 1 % after it.
func ExampleTrims() {
	idle := func(total float64) trimmap.Readings {
		var out []trimmap.Reading
		for s := range 300 {
			out = append(out, trimmap.Reading{At: float64(s), Bank: 1, RPM: 750, Load: 25, Coolant: 90, Short: total + float64(s%5-2)})
		}
		return slices.Values(out)
	}
	r := compare.Trims([]trimmap.Readings{idle(18)}, []trimmap.Readings{idle(1)})
	fmt.Printf("%s: %.0f to %.0f %%\n", r.Answer, r.Overall.Before.Mean, r.Overall.After.Mean)
	// Output: better: 18 to 1 %
}
