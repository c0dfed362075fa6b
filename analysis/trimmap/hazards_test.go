package trimmap

import (
	"testing"

	"pushback/analysis/hazard/hazardtest"
)

// What a pattern points to, and what to drive next, carry their cautions.
func TestAdviceCarriesItsCautions(t *testing.T) {
	var all []string
	for _, p := range []Pattern{NoData, Normal, AddsAtIdle, AddsAtLoad, AddsAll, CutsAtIdle, CutsAtLoad, CutsAll, AddsSomehow, CutsSomehow, Undecided} {
		for _, f := range []Flow{NoFlow, Metered, SpeedDensity, ByLoad} {
			all = append(all, points(p, f, true, true)...)
		}
	}
	for _, c := range conditions {
		all = append(all, c.What)
	}
	for _, step := range all {
		for _, m := range hazardtest.Missing(step, false) {
			t.Errorf("%q lacks %q", step, m)
		}
	}
}
