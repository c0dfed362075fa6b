package words

import (
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/reason"
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

// An owner hears of warming up only where that makes the car fit for the test.
func TestOwnerReadsWhatConditionsLack(t *testing.T) {
	for _, c := range []struct {
		next []reason.Reason
		want string
	}{
		{[]reason.Reason{reason.CoolantCold.Of(40.0), reason.BringToConditions.Of()}, "fully warm"},
		{[]reason.Reason{reason.WideNeverHold.Of()}, "meant for its kind"},
		{[]reason.Reason{reason.Diesel.Of()}, "meant for its kind"},
	} {
		o := OwnerText(analysis.Verdict{Conclusion: analysis.ConclusionNotReady, Next: c.next}, analysis.ByWire, false)
		if !strings.Contains(strings.Join(o.Next, " "), c.want) || o.Tone != "doubt" {
			t.Errorf("%v: %+v, want %q", c.next, o, c.want)
		}
	}
}

// A figure that has an interval is one text, and its ends are not said again; what has no name is said by its key.
func TestEvidenceText(t *testing.T) {
	for _, c := range []struct {
		ev   map[string]float64
		want string
	}{
		{map[string]float64{"gain": 0.82, "gain_low": 0.55, "gain_high": 1.094, "forces": 2}, "steps 2; gain 0.82 (0.55 to 1.09)"},
		{map[string]float64{"lag_s": 0.9, "lag_low_s": 0.7, "lag_high_s": 1, "fed_pct": -9}, "fed -9 %; lag 0.90 (0.70 to 1.00) s"},
		{map[string]float64{"after_s": 1, "after_min_s": 0.8, "after_max_s": 1.3}, Within(0.8, 1.3)},
		{map[string]float64{"delay_s": 0.5}, "delay 0.5 s"},
		{map[string]float64{"other_low": 3}, "other low 3"},
	} {
		if got := strings.Join(EvidenceText(c.ev), "; "); got != c.want {
			t.Errorf("%v: %q, want %q", c.ev, got, c.want)
		}
	}
}
