package analysis

import (
	"math"
	"testing"

	"pushback/analysis/recent"
	"pushback/decode"
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

// Who lets go of one side needs a moment to take up the other's source; who has said that they let go begins no hold then.
func TestPriorAfterARelease(t *testing.T) {
	w := NewWatcher(Config{Sensor: decode.SensorID{Bank: 1, Position: 1}})
	w.now = 100
	at := func(side Side, t float64) float64 {
		odds, _, _ := w.prior(&stretch{track: &w.volts, side: side, level: 0.9, first: recent.Reading{Lo: t, Hi: t}, last: recent.Reading{Lo: t + 6, Hi: t + 6}})
		return odds
	}
	never := at(Rich, 60)
	w.forces = []*force{{side: Lean, bank: 1, level: 0.05, madeWhen: madeWhen{begin: 40, ended: true, endHi: 59, end: 59}}}
	// By hand: 0.05 and 0.95 of 1 − exp(−(1/5)²); after 20 s as if none had been.
	if got, want := at(Rich, 60)-never, math.Log(0.05+0.95*0.03921); abs(got-want) > 1e-3 {
		t.Errorf("1 s after the release of the other side: %.3f, want %.3f", got, want)
	}
	if late := at(Rich, 79) - never; abs(late) > 0.01 {
		t.Errorf("20 s after it: %.3f", late)
	}
	w.forces[0].side = Rich
	if same := at(Rich, 66) - at(Rich, 79); abs(same) > 0.01 {
		t.Errorf("7 s after the release of the same side: %.3f", same)
	}
	w.forces, w.hints = nil, []hint{{side: Rich, at: 59, release: 60.5}}
	if before, after := at(Rich, 60), at(Rich, 61); !(before > after+2) || !(at(Rich, 56) > after+2) {
		t.Errorf("begun after they said that they let go: %.2f, before that %.2f", after, before)
	}
}
