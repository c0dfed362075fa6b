package session

import (
	"slices"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// Long-term trim is followed from where it lay before the first step; a step that is found late counts
// from where it began.
func TestAftermath(t *testing.T) {
	b1s1 := decode.SensorID{Bank: 1, Position: 1}
	for _, tt := range []struct {
		name    string
		long    []float64 // each 5 s, from 0
		moved   bool
		most    float64
		now     float64
		back    bool
		after   time.Duration
		unknown bool
	}{
		{"stays", []float64{4, 4, 4, 4, 4.5, 5, 5, 4}, false, 1, 0, false, 0, false},
		{"learns and comes back", []float64{4, 4, 4, 6, 9, 8, 7, 5}, true, 5, 1, true, 10 * s, false},
		{"learns", []float64{4, 4, 4, 4, 1, -1, -1, -1}, true, -5, -5, false, 0, false},
		{"never read", nil, false, 0, 0, false, 0, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a := Aftermath{Sensor: b1s1}
			for i, v := range tt.long {
				at := time.Duration(i) * 5 * s
				f := Frame{Samples: []decode.Sample{{Signal: decode.ByName("LONGFT1"), Value: v, Received: at}}}
				switch i {
				case 4: // found 8 s late
					f.Events = []analysis.Event{{T: 12, Name: analysis.ForceBegins, Side: analysis.Lean}}
				case 6:
					f.Events = []analysis.Event{{T: 25, Name: analysis.ForceEnds, Side: analysis.Lean},
						{T: 30, Name: analysis.CodeSet, Code: "P0171", Pending: true}, {T: 30, Name: analysis.CodeSet, Code: "P0171", Pending: true}}
				}
				if err := a.Write(f); err != nil {
					t.Fatal(err)
				}
			}
			after, back := a.IsBack()
			if a.Learned() == tt.unknown || a.Moved() != tt.moved || a.Most != tt.most || a.Now != tt.now || back != tt.back || back && after != tt.after {
				t.Errorf("learned %v, moved %v by %v, now %v, back %v after %v", a.Learned(), a.Moved(), a.Most, a.Now, back, after)
			}
			if !tt.unknown && !slices.Equal(a.Pending, []string{"P0171"}) {
				t.Errorf("pending %q", a.Pending)
			}
		})
	}
}
