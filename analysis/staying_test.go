package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pushback/decode"
)

// part is a part of a recording: the reading, with what trembles about it, and trim, %, from which to which.
type part struct {
	until, volts, trembles float64
	from, to               float64
}

// playParts has a watcher read the parts five times a second, in counts, the engine idling evenly in closed loop, and returns the
// times of the forces that it told.
func playParts(parts []part) []float64 {
	w, rng := NewWatcher(Config{}), rand.New(rand.NewPCG(1, 7))
	var begins []float64
	step := func(name string, t, v float64) {
		at := time.Duration(t * float64(time.Second))
		for _, e := range w.Step(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v}) {
			if e.Name == ForceBegins {
				begins = append(begins, e.T)
			}
		}
	}
	t, since := 0.0, 0.0
	for _, p := range parts {
		for ; t < p.until; t += 0.2 {
			if math.Mod(t+1e-9, 2) < 0.1 {
				step("ECT", t, 90)
				step("RPM", t, 800)
				step("FUELSYS1", t, 2)
			}
			trim := p.from + (p.to-p.from)*(t-since)/(p.until-since)
			step("O2S11", t, math.Round((p.volts+p.trembles*rng.NormFloat64())*200)/200)
			step("SHRTFT1", t+0.1, math.Round(trim*1.28)/1.28)
		}
		since = p.until
	}
	for _, e := range w.Finish(time.Duration(t * float64(time.Second))) {
		if e.Name == ForceBegins {
			begins = append(begins, e.T)
		}
	}
	return begins
}

// swinging are parts of a sensor that swings, from one second to another.
func swinging(from, to float64) (parts []part) {
	for t := from; t < to; t += 1 {
		up := 1 - 2*float64(int(t)%2)
		parts = append(parts, part{until: t + 1, volts: 0.45 + 0.37*up, trembles: 0.012, from: 1.5 * up, to: -1.5 * up})
	}
	return parts
}

// A sensor that lies on a side already is held there: the reading takes a step, and trembles no more. Nobody said so. The times are
// those of the parts.
func TestHeldWhereItLay(t *testing.T) {
	// Held lean from 30 to 45 s, trim adds 20 %; let go, the sensor says rich while trim comes back.
	answered := append(swinging(0, 30), part{45, 0, 0, 0, 20}, part{55, 0.9, 0.012, 20, 6})
	for _, c := range []struct {
		name  string
		parts []part
		want  []float64
	}{
		{"it always lay there, trembling", []part{{40, 0.8, 0.012, -20, -20}, {60, 0.9, 0, -20, -20}, {80, 0.8, 0.012, -20, -20}}, []float64{40}},
		{"it goes on trembling", []part{{40, 0.8, 0.012, -20, -20}, {60, 0.9, 0.012, -20, -20}, {80, 0.8, 0.012, -20, -20}}, nil},
		{"after a release, held again before trim is back", append(answered[:len(answered):len(answered)], part{70, 0.84, 0, 6, -15}, part{80, 0.08, 0.012, -15, 0}), []float64{30, 55}},
		{"after a release, trim comes back and on", append(append(answered[:len(answered):len(answered)], part{60, 0.87, 0.012, 6, 0}), swinging(60, 90)...), []float64{30}},
	} {
		got := playParts(c.parts)
		same := len(got) == len(c.want)
		for i := 0; same && i < len(got); i++ {
			same = math.Abs(got[i]-c.want[i]) < 1
		}
		if !same {
			t.Errorf("%s: forces at %.1f s, want %.1f", c.name, got, c.want)
		}
	}
}
