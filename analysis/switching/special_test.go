package switching

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/scripttest"
	"pushback/decode"
)

// read gives a collector a script of voltages at an engine speed that is told each second; 0: never.
func read(t *testing.T, script string, rpm float64) *Collector {
	t.Helper()
	c := NewCollector("B1S1")
	told := -1.0
	for _, p := range scripttest.Points(t, script) {
		at := time.Duration(p.At * float64(time.Second))
		if rpm > 0 && p.At >= told+1 {
			told = p.At
			c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: at, Received: at, Value: rpm})
		}
		c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: p.Value})
	}
	return c
}

// sides in turn, so many, of one length.
func turns(n int, seconds float64, every string) string {
	var out []string
	for i := range n {
		from := float64(i) * seconds
		out = append(out, fmt.Sprintf("%gs..%gs/%s %g", from, from+seconds-0.05, every, []float64{0.1, 0.8}[i%2]))
	}
	return strings.Join(out, "; ")
}

// The special cases that Bands names: what the readings cannot show is not claimed.
func TestBandsSpecialCases(t *testing.T) {
	for _, c := range []struct {
		name           string
		script         string
		rpm            float64
		band           string // "": none
		changes, cycle bool   // changes of side, and a period, are told
	}{
		{"engine speed not known", turns(10, 1, "100ms"), 0, "", false, false},
		{"neither idle nor 2000 to 2500 rpm", turns(10, 1, "100ms"), 1500, "", false, false},
		{"a stopped engine", turns(10, 1, "100ms"), 300, "", false, false},
		{"idle", turns(10, 1, "100ms"), 800, "idle", true, true},
		{"fast idle", turns(10, 1, "100ms"), 2300, "2000 to 2500 rpm", true, true},
		{"four seconds", turns(4, 1, "100ms"), 800, "idle", false, false},
		{"eighteen readings", turns(2, 3, "330ms"), 800, "idle", false, false},
		{"five changes", turns(6, 1, "100ms"), 800, "idle", true, false},
		{"six", turns(7, 1, "100ms"), 800, "idle", true, true},
		{"each reading on another side", turns(40, 0.5, "500ms"), 800, "idle", false, false},
		{"two readings a side", turns(40, 0.5, "250ms"), 800, "idle", false, false},
		{"three readings a side", turns(40, 0.6, "200ms"), 800, "idle", true, true},
		{"it stays", "0s..20s/100ms 0.8", 800, "idle", true, false},
	} {
		bands := read(t, c.script, c.rpm).Bands(nil)
		if c.band == "" {
			if len(bands) != 0 {
				t.Errorf("%s: %+v", c.name, bands)
			}
			continue
		}
		if len(bands) != 1 || bands[0].Name != c.band {
			t.Errorf("%s: %+v", c.name, bands)
			continue
		}
		if b := bands[0]; math.IsNaN(b.Per10s) == c.changes || math.IsNaN(b.Period) == c.cycle {
			t.Errorf("%s: %v changes in 10 s, period %v", c.name, b.Per10s, b.Period)
		}
	}
}

// A change or an edge does not reach over a pause, over what was forced, or over another engine speed.
func TestStretchesDoNotJoin(t *testing.T) {
	const two = "0s..6s/200ms 0.1; 20s..26s/200ms 0.8"
	for _, c := range []struct {
		name, script string
		forced       []Span
		readings     int
		changes      float64 // in all
		seconds      float64
	}{
		{"with a pause", two, nil, 62, 0, 12},
		{"without", "0s..6s/200ms 0.1; 6.2s..12.2s/200ms 0.8", nil, 62, 1, 12.2},
		{"a force between, and 20 s after it", "0s..9.8s/200ms 0.1; 10.2s..30s/200ms 0.8; 30.2s..42s/200ms 0.1", []Span{{11, 15}}, 50 + 35, 0, 16.6},
	} {
		b := read(t, c.script, 800).Bands(c.forced)
		if len(b) != 1 {
			t.Fatalf("%s: %+v", c.name, b)
		}
		if got := b[0].Per10s * b[0].Seconds / 10; math.Abs(got-c.changes) > 1e-9 {
			t.Errorf("%s: %g changes, want %g", c.name, got, c.changes)
		}
		if c.seconds > 0 && (b[0].Readings != c.readings || math.Abs(b[0].Seconds-c.seconds) > 1e-6) {
			t.Errorf("%s: %d readings in %g s", c.name, b[0].Readings, b[0].Seconds)
		}
		if b[0].Rise.Count != int(c.changes) {
			t.Errorf("%s: %d edges", c.name, b[0].Rise.Count)
		}
	}
}

// The brackets of a transition, worked by hand, and whether they mean something: a healthy cell takes under 0.1 s (common practice).
func TestEdges(t *testing.T) {
	for _, c := range []struct {
		name, script string
		want         Edge
		shown        bool
	}{
		{"none", "0s 0.1; 1s 0.2; 2s 0.25", Edge{0, 0, math.NaN()}, false},
		{"over at once", "0s 0.1; 0.1s 0.8", Edge{1, 0, 0.1}, true},
		{"one reading between", "0s 0.1; 0.05s 0.45; 0.1s 0.8", Edge{1, 0, 0.1}, true},
		{"three between", "0s 0.1; 0.05s 0.35; 0.1s 0.45; 0.15s 0.55; 0.2s 0.8", Edge{1, 0.1, 0.2}, true},
		{"too far apart", "0s 0.1; 0.5s 0.8", Edge{1, 0, 0.5}, false},
		{"from the middle", "0s 0.4; 0.1s 0.8", Edge{0, 0, math.NaN()}, false},
		{"turns back first", "0s 0.1; 0.1s 0.5; 0.2s 0.2; 0.25s 0.8", Edge{1, 0, 0.05}, true},
		{"dwells between, turns back", "0s 0.1; 0.1s 0.4; 0.15s 0.5; 0.2s 0.2; 0.25s 0.8", Edge{1, 0, 0.05}, true},
		{"the middle of two", "0s 0.1; 0.1s 0.8; 1s 0.1; 1.06s 0.8", Edge{2, 0, 0.08}, true},
	} {
		var e edges
		x := edge{e: &e, found: func(float64, float64) {}}
		for _, p := range scripttest.Points(t, c.script) {
			x.add(p.At, p.Value)
		}
		got := e.edge()
		near := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 || math.IsNaN(a) && math.IsNaN(b) }
		if got.Count != c.want.Count || !near(got.AtLeast, c.want.AtLeast) || !near(got.AtMost, c.want.AtMost) {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
		if got.Shown() != c.shown {
			t.Errorf("%s: shown %v", c.name, got.Shown())
		}
		if shown := !math.IsNaN(got.middle()); shown != c.shown {
			t.Errorf("%s: its middle is %g", c.name, got.middle())
		}
	}
}

// Each figure is the band's own, with a name, and as fine as the readings are.
func TestFiguresOfABand(t *testing.T) {
	b := SpeedBand{PerSecond: 4, Low: 1, High: 2, Mean: 3, ShareRich: 4, Per10s: 5, Period: 6, Rise: Edge{1, 0.02, 0.08}, Fall: Edge{1, 0.01, 0.11}}
	steps := []float64{0.005, 0.005, 0, 0, 0, 0.25, 0.06, 0.1}
	names := map[string]bool{}
	for i, f := range Figures() {
		want := []float64{1, 2, 3, 4, 5, 6, 0.05, 0.06}[i]
		if math.Abs(f.Of(b)-want) > 1e-9 || math.Abs(f.Step(b)-steps[i]) > 1e-9 || names[f.String()] || f.String() == "" {
			t.Errorf("%s: %g, to %g; want %g, to %g", f, f.Of(b), f.Step(b), want, steps[i])
		}
		names[f.String()] = true
	}
	if b.Rise = (Edge{1, 0, 0.5}); !math.IsNaN(RiseTime.Of(b)) {
		t.Error("an edge that shows nothing has a figure")
	}
}

// Errors by parts of ten seconds: none for one part, none where all are alike, the same for the same seed, and smaller for more.
func TestErrorsOfABand(t *testing.T) {
	alike := read(t, turns(60, 1, "100ms"), 800).Bands(nil)[0]
	short := read(t, turns(12, 1, "100ms"), 800).Bands(nil)[0]
	if short.Blocks() != 1 || alike.Blocks() != 6 {
		t.Fatalf("%d and %d parts", short.Blocks(), alike.Blocks())
	}
	for i, e := range short.Errors(50, 1) {
		if !math.IsNaN(e) {
			t.Errorf("one part has an error of %g for %s", e, Figure(i))
		}
	}
	for _, f := range []Figure{Lowest, Highest, ShareRich} {
		if e := alike.Errors(50, 1)[f]; e > 0.02 {
			t.Errorf("parts alike have an error of %g for %s", e, f)
		}
	}
	uneven := func(n int) SpeedBand {
		var b SpeedBand
		for i := range n {
			p := part{seconds: 10}
			for range 100 {
				p.reading(0.4 + 0.2*float64(i%2))
			}
			b.parts = append(b.parts, p)
		}
		return b
	}
	few, many := uneven(4).Errors(2000, 1)[Mean], uneven(64).Errors(2000, 1)[Mean]
	// By hand: parts of mean 0.4 and 0.6 V have a deviation of 0.1 V, a mean of n drawn ones 0.1/√n.
	if math.Abs(few-0.05) > 0.004 || math.Abs(many-0.0125) > 0.001 {
		t.Errorf("mean of 4 parts ± %g, of 64 ± %g", few, many)
	}
	if a, b := uneven(4).Errors(100, 7), uneven(4).Errors(100, 7); a[Mean] != b[Mean] {
		t.Errorf("the same seed gives %g and %g", a[Mean], b[Mean])
	}
}

// Turned over (each reading 0.9 V less itself), rich becomes lean; later in time nothing changes.
func TestBandsAreSymmetric(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(0, 0.9), 60, 200).Draw(rt, "volts")
		shift := time.Duration(rapid.IntRange(0, 100000).Draw(rt, "ms")) * time.Millisecond
		run := func(turn bool, from time.Duration) SpeedBand {
			c := NewCollector("B1S1")
			for i, x := range v {
				at := from + time.Duration(i)*200*time.Millisecond
				if turn {
					x = 0.9 - x
				}
				c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: at, Received: at, Value: 800})
				c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: x})
			}
			return c.Bands(nil)[0]
		}
		a, b, late := run(false, 0), run(true, 0), run(false, shift)
		near := func(x, y float64) bool { return math.Abs(x-y) < 1e-5 || math.IsNaN(x) && math.IsNaN(y) }
		if !near(a.Low, 0.9-b.High) || !near(a.Mean, 0.9-b.Mean) || !near(a.Per10s, b.Per10s) || !near(a.Rich, b.Lean) || a.Rise.Count != b.Fall.Count || !near(a.Rise.AtMost, b.Fall.AtMost) {
			rt.Fatalf("%+v, turned over %+v", a, b)
		}
		if !near(a.Per10s, late.Per10s) || !near(a.Period, late.Period) || !near(a.Rise.AtLeast, late.Rise.AtLeast) || a.Readings != late.Readings {
			rt.Fatalf("%+v, %v later %+v", a, shift, late)
		}
	})
}
