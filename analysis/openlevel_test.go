package analysis

import (
	"math"
	"testing"
	"time"

	"pushback/decode"
)

// An open input is told between the sides by the readings alone, elsewhere where it was said or asked for; a hold that
// nobody called an opening is none.
func TestOpenLevel(t *testing.T) {
	for _, tt := range []struct {
		name        string
		level       float64
		said, asked bool
		want        bool
	}{
		{"bias, published 391 to 491 mV", 0.44, false, false, true},
		{"pull-down, said", 0, true, true, true},
		{"pull-down, asked for only", 0, false, true, true},
		{"pull-down, neither", 0, false, false, false},
		{"1.1 V, said", 1.1, true, false, true},
		{"1.1 V, neither", 1.1, false, false, false},
	} {
		w := NewWatcher(Config{})
		var got []Event
		step := func(at, v float64) {
			d := time.Duration(at * float64(time.Second))
			got = append(got, w.Step(decode.Sample{Signal: decode.ByName("O2S11"), Sent: d, Received: d, Value: v})...)
		}
		for at := 0.0; at < 20; at += 0.1 {
			step(at, 0.45+0.35*math.Sin(2*math.Pi*at/1.7))
		}
		if tt.asked {
			w.Asked(19*time.Second, "", true)
		}
		if tt.said {
			w.Open(20 * time.Second)
		}
		for at := 20.0; at < 24; at += 0.1 {
			step(at, tt.level)
		}
		seen := false
		for _, e := range got {
			if e.Name == OpenLevel {
				seen = true
				if math.Abs(e.Value-tt.level) > 0.005 || math.Abs(e.T-20) > 0.2 {
					t.Errorf("%s: %+v", tt.name, e)
				}
			}
			if e.Name == ForceBegins && tt.want {
				t.Errorf("%s: taken for a hold", tt.name)
			}
		}
		if seen != tt.want {
			t.Errorf("%s: told %v, want %v", tt.name, seen, tt.want)
		}
	}
}
