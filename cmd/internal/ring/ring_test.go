package ring

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"pushback/analysis"
)

var labels = Labels{Title: `a "ring" & more`, Sensor: "S", Tap: "T", Computer: "C", Fuel: "F", Exhaust: "E", Bank: "bank <1>", Scale: "scale",
	Sign: func(a Arc) string { return string(a.State[:1]) }, Says: func(a Arc) string { return string(a.ID) + " is " + string(a.State) }}

// Each proof has its arc; the drawing is well-formed whatever the words.
func TestSVG(t *testing.T) {
	r := New()
	r.Arc(analysis.ProofInput).State = analysis.Proven
	r.Arc(analysis.ProofDelivery).State = analysis.Failed
	r.Test(analysis.ProofAddsFuel)
	r.Progress(analysis.ProofAddsFuel, 0.5)
	r.Progress(analysis.ProofDelivery, 0.5) // decided: stays
	out := r.SVG(labels)
	for dec := xml.NewDecoder(strings.NewReader(out)); ; {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("%v in %s", err, out)
		}
	}
	for _, id := range analysis.ProofOrder {
		if strings.Count(out, `data-arc="`+string(id)+`"`) != 1 {
			t.Errorf("%s is not drawn once", id)
		}
	}
	for _, want := range []string{`class="arc proven" data-arc="input"`, `class="arc failed" data-arc="delivery"`,
		`class="arc untested open of-lean" data-arc="adds_fuel"`, `stroke-dasharray="50 200"`, `stroke-dasharray="100 200"`, "bank &lt;1&gt;"} {
		if !strings.Contains(out, want) {
			t.Errorf("the drawing lacks %s:\n%s", want, out)
		}
	}
	if strings.Contains(out, "style=") {
		t.Error("a style in the drawing: the page's policy forbids it")
	}
}

func TestProgressNeverFills(t *testing.T) {
	r := New()
	r.Test(analysis.ProofAddsFuel)
	for _, part := range []float64{-1, 0.3, 1, 5} {
		r.Progress(analysis.ProofAddsFuel, part)
		if f := r.Arc(analysis.ProofAddsFuel).Fill; f < 0 || f >= 1 {
			t.Errorf("progress %g fills to %g", part, f)
		}
	}
	r.Test()
	if f := r.Arc(analysis.ProofAddsFuel).Fill; f != 0 {
		t.Errorf("no longer tested, nothing shown, filled to %g", f)
	}
	r.Take(analysis.Verdict{Proofs: []analysis.Proof{{ID: analysis.ProofAddsFuel, State: analysis.Proven}}})
	if f := r.Arc(analysis.ProofAddsFuel).Fill; f != 1 {
		t.Errorf("proven, filled to %g", f)
	}
}

// The scale's arc stands in the ring of a wide-range sensor alone, beside the bank, wherever the ring is drawn from.
func TestScale(t *testing.T) {
	narrow, wide := New(), Of(analysis.Verdict{Proofs: []analysis.Proof{{ID: analysis.ProofInput, State: analysis.Proven}, {ID: analysis.ProofScale, State: analysis.Failed}}})
	seen := wide
	seen.AddScale() // again
	added := New()
	added.AddScale()
	for _, c := range []struct {
		name  string
		ring  Ring
		drawn string
		arcs  int
	}{
		{"narrow", narrow, "", len(analysis.ProofOrder)},
		{"wide, nothing shown", added, `class="arc untested" data-arc="sensor_scale"`, len(analysis.ProofOrder) + 1},
		{"wide, failed", wide, `class="arc failed" data-arc="sensor_scale"`, len(analysis.ProofOrder) + 1},
		{"added twice", seen, `class="arc failed" data-arc="sensor_scale"`, len(analysis.ProofOrder) + 1},
	} {
		out := c.ring.SVG(labels)
		if n := len(c.ring.Arcs()); n != c.arcs || strings.Contains(out, "sensor_scale") != (c.drawn != "") || !strings.Contains(out, c.drawn) {
			t.Errorf("%s: %d arcs, want %d and %s in\n%s", c.name, n, c.arcs, c.drawn, out)
		}
		if strings.Contains(out, `x="164"`) != (c.drawn != "") {
			t.Errorf("%s: the bank makes no room, or makes some for nothing", c.name)
		}
	}
}
