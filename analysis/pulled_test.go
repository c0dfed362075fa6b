package analysis

import (
	"math"
	"testing"

	"pushback/analysis/recent"
)

// A source of 600 ohm against a sensor of 100 ohm: by Millman's theorem a seventh of what it swings is gone, and of 20 ohm a thirtieth; against one of
// 5 kohm, a tenth is left of it. The loop brings the middle back.
func TestPulled(t *testing.T) {
	for _, c := range []struct {
		name    string
		left    float64 // of the swing, while it is said to be held
		seconds float64
		want    bool
	}{
		{"as before", 1, 20, false},
		{"a weak source against a hot cell", 6. / 7, 20, false},
		{"a weak source against a cool cell", 0.1, 20, true},
		{"the same, for too short", 0.1, 5, false},
		{"it swings more", 2, 20, false},
	} {
		s := recent.New(2000)
		for at := 0.0; at < 40+c.seconds; at += 0.2 {
			swing := 0.15 * (1 + 0.3*math.Sin(at)) // no two periods are alike
			if at >= 40 {
				swing *= c.left
			}
			s.Add(recent.Reading{Lo: at, Hi: at, V: 0.45 + swing*math.Sin(2*math.Pi*at/1.7)})
		}
		if got := pulled(&s, 0, 40, 40+c.seconds, 1.7); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
