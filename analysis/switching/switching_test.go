package switching

import (
	"math"
	"testing"
	"time"

	"pushback/decode"
)

// wave feeds a trapezoid between 0.1 and 0.9 V: rich for a while, lean for a while, with
// ramps of a given time between, read so often a second.
func wave(c *Collector, rpm, perSecond, rich, lean, ramp, seconds float64, from time.Duration) {
	period := rich + lean + 2*ramp
	for i := range int(seconds * perSecond) {
		at := float64(i) / perSecond
		v, x := 0.1, math.Mod(at, period)
		switch {
		case x < ramp:
			v = 0.1 + 0.8*x/ramp
		case x < ramp+rich:
			v = 0.9
		case x < 2*ramp+rich:
			v = 0.9 - 0.8*(x-ramp-rich)/ramp
		}
		t := from + time.Duration(at*float64(time.Second))
		if i%max(int(perSecond), 1) == 0 {
			c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: t, Received: t, Value: rpm})
		}
		c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: t, Received: t, Value: v})
	}
}

// By hand: rich 0.6 s, lean 0.4 s, ramps of 0.16 s: a period of 1.32 s, 15.15 changes in
// 10 s; between 0.30 and 0.60 V 0.06 s. At 100 readings/s all of it shows; at 4 neither
// the ramps, nor, folded, the changes.
func TestWave(t *testing.T) {
	var all [2][]SpeedBand
	for i, perSecond := range []float64{100, 2.1} {
		c := NewCollector("B1S1")
		wave(c, 800, perSecond, 0.6, 0.4, 0.16, 60, 0)
		wave(c, 2300, perSecond, 0.6, 0.4, 0.16, 60, 100*time.Second)
		wave(c, 1500, perSecond, 5, 5, 1, 60, 200*time.Second) // neither idle nor 2000 to 2500 rpm
		all[i] = c.Bands(nil)
		if len(all[i]) != 2 || all[i][0].Name != "idle" || all[i][1].Name != "2000 to 2500 rpm" {
			t.Fatalf("%+v", all[i])
		}
	}
	for _, b := range all[0] {
		for _, k := range []struct {
			what      string
			got, want float64
			near      float64
		}{
			{"period", b.Period, 1.32, 0.02}, {"changes in 10 s", b.Per10s, 15.15, 0.3}, {"rate", b.PerSecond, 100, 0.5},
			{"low", b.Low, 0.1, 0.01}, {"high", b.High, 0.9, 0.01}, {"rich", b.Rich, 0.76, 0.03}, {"lean", b.Lean, 0.56, 0.03},
			{"share rich", b.ShareRich, (0.6 + 2*0.09) / 1.32, 0.02},
		} {
			if math.Abs(k.got-k.want) > k.near {
				t.Errorf("%s: %s is %.3f, want %.3f", b.Name, k.what, k.got, k.want)
			}
		}
		for _, e := range []Edge{b.Rise, b.Fall} {
			if !(e.AtLeast <= 0.06 && 0.06 <= e.AtMost && e.AtMost < 0.09) {
				t.Errorf("%s: an edge of 0.06 s is said to last %.3f to %.3f s", b.Name, e.AtLeast, e.AtMost)
			}
		}
		for _, l := range b.Limits {
			if l.State != "usual" {
				t.Errorf("%s: %+v", b.Name, l)
			}
		}
	}
	for _, b := range all[1] {
		if !math.IsNaN(b.Per10s) || !math.IsNaN(b.Period) || b.Rise.Shown() {
			t.Errorf("2.1 readings/s claim too much: %+v", b)
		}
	}
}

// A sensor that hardly moves, and one with a force on it.
func TestUnusual(t *testing.T) {
	c := NewCollector("B1S1")
	for i := range 300 {
		at := time.Duration(i) * 100 * time.Millisecond
		c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: at, Received: at, Value: 2200})
		c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: 0.45 + 0.1*math.Sin(float64(i)/5)})
	}
	b := c.Bands(nil)
	if len(b) != 1 {
		t.Fatal(b)
	}
	unusual := map[string]bool{}
	for _, l := range b[0].Limits {
		unusual[l.What] = l.State == "unusual"
	}
	if !unusual["highest voltage, V"] || !unusual["lowest voltage, V"] || !unusual["swing, V"] {
		t.Errorf("%+v", b[0].Limits)
	}
	if got := c.Bands([]Span{{0, 30}}); len(got) != 0 {
		t.Errorf("forced readings count: %+v", got)
	}
	if got := NewCollector("").Bands(nil); got != nil {
		t.Error(got)
	}
}

// On a slow bus speed comes every 6 s: readings between two that agree count as idle.
func TestSlowRound(t *testing.T) {
	c := NewCollector("B1S1")
	for i := range 240 {
		at := time.Duration(i) * 250 * time.Millisecond
		rpm := 800.
		if i >= 120 {
			rpm = []float64{800, 2200}[i/24%2]
		}
		if i%24 == 0 {
			c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: at, Received: at, Value: rpm})
		}
		c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: 0.5})
	}
	b := c.Bands(nil)
	// By hand: all of the first 30 s but the end of the last 6 s, whose next speed is another;
	// then of each 6 s at idle the readings of the first 4 s.
	if len(b) != 2 || b[0].Readings < 4*24+16 || b[0].Readings > 5*24+3*17 {
		t.Errorf("%+v", b)
	}
}

// Folded: a period of 1.07 s that is read each second, or refreshed each second, shows one of a quarter of a minute. How often it lies
// in the middle, 0.11 of the time, tells; a slow wave that looks the same passes the middle seldom. All by hand.
func TestFold(t *testing.T) {
	for _, c := range []struct {
		name                        string
		perSecond, rich, lean, ramp float64
		want                        float64 // changes in 10 s, NaN not told
	}{
		{"quick, once a second", 1, 0.375, 0.375, 0.16, math.NaN()},
		{"slow, once a second", 1, 7.2, 7.2, 0.16, 1.36},
		{"quick, twenty a second", 20, 0.375, 0.375, 0.16, 18.7},
		{"slow edges, twenty a second", 20, 2, 2, 2, 2.5}, // seen as they are, whatever they are
	} {
		col := NewCollector("B1S1")
		wave(col, 800, c.perSecond, c.rich, c.lean, c.ramp, 240, 0)
		b := col.Bands(nil)
		if len(b) != 1 {
			t.Fatalf("%s: %+v", c.name, b)
		}
		if got := b[0].Per10s; math.IsNaN(got) != math.IsNaN(c.want) || math.Abs(got-c.want) > 0.1*c.want {
			t.Errorf("%s: %.2f changes in 10 s, want %.2f", c.name, got, c.want)
		}
	}
}
