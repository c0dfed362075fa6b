package report

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/analysis/trimmap"
	"pushback/decode"
	"pushback/obd"
)

// Each place that has a reading has a dot, at a reading, and all readings are counted: no
// outlier is lost.
func TestDotsKeepOutliers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &Subject{Map: trimmap.Map{Data: trimmap.Data{FlowUnit: "g/s"}, Banks: []trimmap.Result{{Bank: 1}}}}
		var readings []trimmap.Reading
		for i := range rapid.IntRange(1, 300).Draw(t, "n") {
			readings = append(readings, trimmap.Reading{At: float64(i), Bank: 1,
				Flow: rapid.OneOf(rapid.Float64Range(0.1, 200), rapid.Just(5.0)).Draw(t, "flow"), Short: rapid.OneOf(rapid.Float64Range(-100, 99), rapid.Just(3.0)).Draw(t, "trim")})
		}
		s.Map.Readings = slices.Values(readings)
		c := clouds([]*Subject{s})[0]
		type xy struct{ X, Y float64 }
		var points []xy
		for _, r := range readings {
			points = append(points, xy{r.Flow, r.Total()})
		}
		const columns, rows = 40, 20
		dots, n := c.dots(columns, rows), 0
		place := func(p xy) [2]int {
			return [2]int{int(c.flow.part(p.X) * columns), int(c.trim.part(p.Y) * rows)}
		}
		at := map[[2]int]bool{}
		for _, d := range dots {
			p := xy{d.Flow, d.Total}
			if !slices.Contains(points, p) {
				t.Fatalf("%v was never read", p)
			}
			if at[place(p)] {
				t.Fatalf("two dots at %v", p)
			}
			at[place(p)] = true
			n += d.Count
		}
		for _, p := range points {
			if !at[place(p)] {
				t.Fatalf("no dot for %v", p)
			}
			if x, y := c.flow.part(p.X), c.trim.part(p.Y); x < 0 || x > 1 || y < 0 || y > 1 {
				t.Fatalf("%v is off the axes", p)
			}
		}
		if n != len(points) || n != c.count {
			t.Fatalf("%d of %d readings are counted", n, len(points))
		}
	})
}

// Sides are drawn on the same axes, and the curve is the fit's.
func TestCloudsOfTwoSides(t *testing.T) {
	r := sample("words", 2)
	readings := slices.Collect(r.Subjects[1].Map.Readings)
	readings[3].Short, readings[3].Flow = 47, 61
	r.Subjects[1].Map.Readings = slices.Values(readings)
	cs := clouds(r.Subjects)
	if len(cs) != 2 || cs[0].flow != cs[1].flow || cs[0].trim != cs[1].trim || cs[0].trim.hi != 50 || cs[0].flow.hi < 61 {
		t.Errorf("%+v, %+v", cs[0].trim, cs[0].flow)
	}
	// 30/flow + 1 was the truth: the fit's value at its lowest flow is what is drawn first.
	f := cs[0].fit
	if want := 30/f.Low + 1; math.Abs(f.AtLow.Value-want) > 0.5 {
		t.Errorf("%.2f at %.2f, want %.2f", f.AtLow.Value, f.Low, want)
	}
	if says := cs[0].says(); !strings.Contains(says, "200 readings") || !strings.Contains(says, "fitted curve") {
		t.Error(says)
	}
}

// A wide-range sensor's lambda is drawn in place of a voltage, around 1, and fuel cut-off
// does not spread its axis.
func TestWideRange(t *testing.T) {
	tr := dossier.NewTrace(b1s1)
	for i, v := range []float64{0.99, 1.01, 1.99, 0.96} {
		at := time.Duration(i) * time.Second
		_ = tr.Write(session.Frame{Record: obd.Record{At: at}, Samples: []decode.Sample{
			{Signal: decode.ByName("EQ_RAT11"), Sent: at, Received: at, Value: v},
			{Signal: decode.ByName("EQ_RAT"), Sent: at, Received: at, Value: 1.01},
			{Signal: decode.ByName("O2S12"), Sent: at, Received: at, Value: 0.7}}})
	}
	if !tr.Wide() || tr.Lambda.Len() != 4 {
		t.Fatalf("%+v", tr)
	}
	if s := (trace{tr}).upperScale(trace{tr}); s != (scale{0.8, 1.5}) {
		t.Errorf("%+v", s)
	}
	r := sample("words", 1)
	r.Subjects[0].Trace = tr
	var b bytes.Buffer
	if err := r.WriteSVG(&b, "traces"); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"B1S1 lambda", "Lambda between 0.96 and 1.99", "Commanded lambda between 1.01 and 1.01", `class="line volts"`, `class="line command"`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q", want)
		}
	}
	if strings.Contains(b.String(), `class="line down"`) || strings.Contains(b.String(), "no voltage") {
		t.Error("volts are drawn on an axis of lambda")
	}
}

// No two labels of an axis are the same.
func TestTicksAreToldApart(t *testing.T) {
	for _, s := range []scale{{0, 1}, {0.9, 1.1}, {0.9, 1.5}, {0, 1.2}, {0.8, 1}} {
		all := ticks(s, 5)
		seen := map[string]bool{}
		for _, y := range all {
			text := fmt.Sprintf("%.*f", decimals(all), y)
			if seen[text] {
				t.Errorf("%v: %s stands twice", s, text)
			}
			seen[text] = true
		}
	}
}
