package sheet

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/dossier"
	"pushback/analysis/reason"
	"pushback/analysis/trimmap"
)

// What is not known is null, and comes back as not known.
func TestNumber(t *testing.T) {
	for _, tt := range []struct {
		v    float64
		want string
	}{{0, "0"}, {1.23456, "1.2346"}, {-0.00001, "-0"}, {math.NaN(), "null"}, {math.Inf(1), "null"}} {
		b, err := json.Marshal(Number(tt.v))
		if err != nil || string(b) != tt.want {
			t.Errorf("%v is %s (%v), want %s", tt.v, b, err, tt.want)
		}
		var back Number
		if err := json.Unmarshal(b, &back); err != nil || math.IsNaN(float64(back)) != (tt.want == "null") {
			t.Errorf("%s comes back as %v (%v)", b, back, err)
		}
	}
}

// Lists without anything in them are empty lists to other programs, never null; what is null says so.
func TestNothingIsEmpty(t *testing.T) {
	nothing := dossier.Comparison{Trims: compare.Result{Answer: compare.NotComparable}}
	for name, v := range map[string]any{
		"vehicle data": VehicleDataOf(dossier.VehicleData{}), "comparison": ComparisonOf([]string{"a"}, []string{"b"}, nothing), "trims": TrimsOf("a", trimmap.Map{}, nil),
		"stored": StoredOf(&dossier.Dossier{}),
	} {
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		var fields map[string]json.RawMessage
		if err := json.Unmarshal(b, &fields); err != nil {
			t.Fatal(err)
		}
		for key, value := range fields {
			mayBeNull := map[string]bool{"freeze_frame": true, "monitors": true, "cleared": true, "overall": true, "engine_air": true, "together": true}
			if string(value) == "null" && !mayBeNull[key] {
				t.Errorf("%s: %s is null", name, key)
			}
		}
	}
}

// A comparison's rows say what was measured, and leave out what stands still by definition.
func TestWriteComparison(t *testing.T) {
	c := dossier.Comparison{
		Trims:  compare.Result{Answer: compare.NoDifference, Shifted: true, Why: reason.Told.Of("total trim moved")},
		Force:  []dossier.ForcePair{{What: dossier.ForceLatency, Side: analysis.Lean, Before: dossier.ForceValue{Lo: 0.2, Hi: 0.4}, After: dossier.ForceValue{Lo: math.NaN(), Hi: math.NaN()}, Answer: compare.NotComparable}},
		Codes:  []dossier.CodePair{{Code: dossier.Code{Code: "P0171", State: "stored"}, Change: dossier.Gone}},
		Limits: []dossier.Limit{{ID: dossier.LimitGone}},
	}
	var b strings.Builder
	WriteComparison(&b, []string{"one"}, []string{"two"}, c)
	for _, want := range []string{"before one, after two", "CHANGED, BUT NO CLOSER TO ZERO: total trim moved.", "response to the lean step", "after 0.2 to 0.4 s", "gone", "P0171 (stored)", "! a missing code doesn't prove a repair"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, &b)
		}
	}
}
