package session

import (
	"slices"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// The return by hand: a computer that learns a hundredth of short-term trim a second has moved by 4 % after 20 s at +20 %. At −4 % then it
// goes back by e^(−0.01 t): it is at 2 % after 69 s.
func TestForeseen(t *testing.T) {
	a := Aftermath{Sensor: decode.SensorID{Bank: 1, Position: 1}}
	long := 0.0
	say := func(at float64, short float64, e ...analysis.Event) {
		d := time.Duration(at * float64(time.Second))
		if err := a.Write(Frame{Events: e, Samples: []decode.Sample{{Signal: decode.ByName("SHRTFT1"), Value: short, Received: d},
			{Signal: decode.ByName("LONGFT1"), Value: long, Received: d}}}); err != nil {
			t.Fatal(err)
		}
	}
	for at := 0.0; at < 30; at++ {
		say(at, 0)
	}
	say(30, 0, analysis.Event{T: 30, Name: analysis.ForceBegins, Side: analysis.Lean})
	for at := 31.0; at <= 50; at++ {
		long += 0.01 * 20
		say(at, 20)
	}
	say(50.5, -4, analysis.Event{T: 50, Name: analysis.ForceEnds, Side: analysis.Lean})
	after, lo, hi, no := a.Foreseen()
	if no || lo > after || hi < after || after < 55*time.Second || after > 85*time.Second || lo > 69*time.Second || hi < 69*time.Second {
		t.Errorf("foreseen %v, %v to %v, not %v; off %.1f", after, lo, hi, no, a.Now)
	}
	var none Aftermath
	if _, _, _, no := none.Foreseen(); !no {
		t.Error("of nothing it foresees something")
	}
}

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
