package words

import (
	"strings"
	"testing"

	"pushback/analysis"
)

// The owner reads what was done, whatever was forced, and an answer that is the verdict's, whatever sensor the car has.
func TestOwnerReadsWhatWasDone(t *testing.T) {
	skewed := analysis.Verdict{Conclusion: analysis.SensorSkewed}
	seen := map[string]bool{}
	for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture, analysis.ByFuelCut} {
		o := OwnerText(skewed, by, true)
		if seen[o.Did] || o.Tone != "bad" || !strings.Contains(o.Answer, "wrong amount") {
			t.Errorf("by %s: %+v", by, o)
		}
		seen[o.Did] = true
	}
	for _, by := range []analysis.By{analysis.ByWire, analysis.ByNothing} {
		if o := OwnerText(analysis.Verdict{Conclusion: analysis.NothingForced}, by, false); !strings.Contains(o.Did, "not in this recording") || o.Tone != "doubt" {
			t.Errorf("nothing forced, by %s: %+v", by, o)
		}
	}
}
