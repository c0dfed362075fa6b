package analysis

import (
	"math"
	"testing"

	"pushback/decode"
)

// fedLoop is a test by mixture that nobody announces: a loop that integrates at 2 % a second, half a second late, is fed the given per cent in each
// span of time; ten readings a second. It returns the events of the watcher.
func fedLoop(seconds float64, fed func(t float64) float64, asked ...ask) []Event {
	w := NewWatcher(Config{By: ByMixture})
	volts, trim, rpm, status := decode.ByName("O2S11"), decode.ByName("SHRTFT1"), decode.ByName("RPM"), decode.ByName("FUELSYS1")
	var past []float64
	var events []Event
	u := 0.0
	for i := 0; float64(i) < 10*seconds; i++ {
		t := float64(i) / 10
		past = append(past, u)
		if len(asked) > 0 && t >= asked[0].at {
			w.Asked(secs(t), asked[0].side, false)
			asked = asked[1:]
		}
		x := fed(t) + past[max(0, i-5)] + 0.3*math.Sin(9.7*t)
		v := 0.45 + 0.4*math.Tanh(x/0.5)
		if u += 0.2; v > 0.45 {
			u -= 0.4
		}
		for _, s := range []struct {
			signal *decode.Signal
			value  float64
		}{{rpm, 750}, {status, 2}, {trim, trimCount * math.Round(u/trimCount)}, {volts, v}} {
			events = append(events, w.Step(decode.Sample{Signal: s.signal, Sent: secs(t), Received: secs(t), Value: s.value})...)
		}
	}
	return append(events, w.Finish(secs(seconds))...)
}

// TestMovedAndNotSaid: both sides are told with their times; nothing is told of a loop that is left alone, of vapour that comes and goes
// slowly, twice, nor of a step that stays.
func TestMovedAndNotSaid(t *testing.T) {
	span := func(x, from, to float64) func(float64) float64 {
		return func(t float64) float64 {
			if t >= from && t < to {
				return x
			}
			return 0
		}
	}
	lean, rich := span(-9, 50, 62), span(9, 90, 102)
	told := map[Side]float64{}
	for _, e := range fedLoop(130, func(t float64) float64 { return lean(t) + rich(t) }) {
		if e.Name == ForceBegins {
			told[e.Side] = e.T
		}
	}
	if len(told) != 2 || abs(told[Lean]-50) > 2 || abs(told[Rich]-90) > 2 {
		t.Errorf("told %v", told)
	}
	slow := func(t float64) float64 { return 6 * max(0, min(1, (t-60)/8, (100-t)/8)) }
	for name, fed := range map[string]func(float64) float64{
		"nothing": func(float64) float64 { return 0 },
		"vapour":  func(t float64) float64 { return slow(t) + slow(t-80) },
		"a step":  span(5, 60, 1e9),
	} {
		for _, e := range fedLoop(200, fed) {
			if e.Name == ForceBegins {
				t.Errorf("%s: %s told at %.1f s", name, e.Side, e.T)
			}
		}
	}
}

// TestMovedAsAsked: what a guide asks for is told while it lasts, of that side only; what nobody asked for is not told then.
func TestMovedAsAsked(t *testing.T) {
	fed := func(t float64) float64 {
		if t >= 50 {
			return -9
		}
		return 0
	}
	for name, x := range map[string]struct {
		asked []ask
		told  bool
	}{
		"lean":      {[]ask{{Lean, 45}}, true},
		"rich":      {[]ask{{Rich, 45}}, false},
		"hands off": {[]ask{{"", 45}}, false},
		"nothing":   {nil, false},
	} {
		told := false
		for _, e := range fedLoop(57, fed, x.asked...) {
			if e.Name == ForceBegins {
				told = e.Side == Lean && abs(e.T-50) < 2
			}
		}
		if told != x.told {
			t.Errorf("asked for %s: told %v", name, told)
		}
	}
}
