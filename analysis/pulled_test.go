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
		{"an even one", 0.5, 20, true},
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
		if chance := lessSpread(spreads(&s, 0, 40-sayNear, pulledBlock), spreads(&s, 40, 40+c.seconds, pulledBlock)); chance < asBefore != c.want {
			t.Errorf("%s: chance %.4f", c.name, chance)
		}
	}
}

// What was said and not seen before, on end, may have been held as well: the wire was let alone before the first of that.
func TestUntouched(t *testing.T) {
	for _, c := range []struct {
		name  string
		hints []hint
		want  float64
	}{
		{"said once", []hint{{at: 90}}, 90},
		{"said three times, and never seen", []hint{{at: 30}, {at: 60}, {at: 90}}, 30},
		{"seen before", []hint{{at: 30, used: true}, {at: 90}}, 90},
		{"seen in between", []hint{{at: 10}, {at: 30, used: true}, {at: 60}, {at: 90}}, 60},
		{"said again later", []hint{{at: 60}, {at: 90}, {at: 120}}, 60},
	} {
		w := NewWatcher(Config{})
		w.hints = c.hints
		for i := range w.hints {
			if w.hints[i].at == 90 {
				if got := w.untouched(&w.hints[i]); got != c.want {
					t.Errorf("%s: since %.0f s, want %.0f", c.name, got, c.want)
				}
			}
		}
	}
}
