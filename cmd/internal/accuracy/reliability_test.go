package accuracy

import (
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/cmd/internal/accuracy/truth"
)

// A stretch was a force where its middle lies in a hold of its side, and where the reading is that of the held wire.
func TestStated(t *testing.T) {
	one := []truth.Force{{Side: "lean", Begin: 30, End: 45}}
	for _, c := range []struct {
		name string
		test truth.Test
		x    analysis.Weighed
		n    int
		was  bool
	}{
		{"in it", truth.Test{Forces: one}, analysis.Weighed{Side: analysis.Lean, Begin: 31, End: 44}, 1, true},
		{"of the other side", truth.Test{Forces: one}, analysis.Weighed{Side: analysis.Rich, Begin: 31, End: 44}, 1, false},
		{"what came of it", truth.Test{Forces: one}, analysis.Weighed{Side: analysis.Lean, Begin: 45, End: 52}, 1, false},
		{"called, its end told late", truth.Test{Forces: one}, analysis.Weighed{Side: analysis.Lean, Begin: 31, End: 80, Called: true}, 1, true},
		{"the same, not called", truth.Test{Forces: one}, analysis.Weighed{Side: analysis.Lean, Begin: 31, End: 80}, 1, false},
		{"banks crossed", truth.Test{Forces: one, Fault: "crossed"}, analysis.Weighed{Side: analysis.Lean, Begin: 31, End: 44}, 0, false},
	} {
		got := stated(&c.test, []analysis.Weighed{c.x})
		if len(got) != c.n || c.n > 0 && got[0].Was != c.was {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

// By hand: of two stretches at even odds one was a force.
func TestPrintReliability(t *testing.T) {
	var b strings.Builder
	PrintReliability(&b, "m", []Result{{Looked: Looked{Stated: []Stated{{LogOdds: 0, Was: true}, {LogOdds: 0}}}}})
	if got := strings.Join(strings.Fields(b.String()), " "); !strings.HasPrefix(got, "m: stretches not called one n stated, % were one, % log odds from 0.0 2 50.00 50.0 (") {
		t.Error(got)
	}
}
