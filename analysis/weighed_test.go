package analysis

import (
	"testing"

	"pushback/analysis/recent"
)

// What a sensor did by itself is no sign of a hold when it does it again: the less, the farther the level lies from it, the longer the
// stretch is, and the surer it is that the first was a hold.
func TestAgain(t *testing.T) {
	w := NewWatcher(Config{})
	w.now = 200
	before := stretch{track: &w.volts, side: Rich, level: 0.90, first: recent.Reading{Lo: 40, Hi: 40}, last: recent.Reading{Lo: 50, Hi: 50}}
	w.passOver(&before, weight{free: -3})
	rate := func(side Side, level, secs float64) float64 {
		return w.again(&stretch{track: &w.volts, side: side, level: level, first: recent.Reading{Lo: 100, Hi: 100}}, secs)
	}
	// By hand: one such stretch, e³/(1+e³) of it no hold, in 200 s and the 100 s of the usual rate; half of them last as long.
	if got, want := rate(Rich, 0.90, 10), levelWidth/0.03*0.9526/2/300; abs(got-want) > 1e-3*want {
		t.Errorf("%g a second, not %g", got, want)
	}
	if rate(Lean, 0.90, 10) != 0 || rate(Rich, 0.95, 10) > 0.05*rate(Rich, 0.90, 10) || rate(Rich, 0.90, 30) > 0.05*rate(Rich, 0.90, 10) {
		t.Error("another stretch counts as the same")
	}
	if w.again(&stretch{track: &w.otherVolts, side: Rich, level: 0.90, first: recent.Reading{Lo: 100, Hi: 100}}, 10) != 0 {
		t.Error("so does one of the other bank")
	}
	w.passedOver[0].After = 0.75
	if got, want := rate(Rich, 0.90, 10), levelWidth/0.03*0.9526/2/300/4; abs(got-want) > 1e-3*want {
		t.Errorf("what a release has made counts as the sensor's own: %g, not %g", got, want)
	}
	w.passedOver[0].After, w.passedOver[0].LogOdds = 0, 3
	if likely := rate(Rich, 0.90, 10); likely > levelWidth/0.03*0.05/2/300 {
		t.Errorf("what was a hold counts as the sensor's own: %g", likely)
	}
	for i := range 2 * maxWeighed {
		short := stretch{track: &w.volts, side: Lean, level: 0.1, first: recent.Reading{Lo: float64(i), Hi: float64(i)}, last: recent.Reading{Lo: float64(i) + 2, Hi: float64(i) + 2}}
		w.passOver(&short, weight{})
	}
	if len(w.passedOver) != maxWeighed || w.passedOver[0].Side != Rich {
		t.Error("many short stretches have put the long one out")
	}
}
