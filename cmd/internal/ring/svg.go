package ring

import (
	_ "embed"
	"fmt"
	"html"
	"strconv"
	"strings"

	"pushback/analysis"
)

// CSS styles the drawing. It takes its colours from the variables --lean, --rich,
// --good, --bad, --doubt, --quiet, --ink and --paper of the page around it.
//
//go:embed ring.css
var CSS string

// Labels are the words in the drawing.
type Labels struct {
	Title                                string // for who cannot see it
	Sensor, Tap, Computer, Fuel, Exhaust string // stations
	Bank, Scale                          string
	Sign                                 func(Arc) string // a state in one character
	Says                                 func(Arc) string // an arc and its state in a sentence
}

// shape is where an arc runs and where its sign stands, in the drawing's units. A
// path runs with the loop, so that a partly filled arc grows the right way.
type shape struct {
	path  string
	signX float64
	signY float64
}

// Two lanes, where lean and rich are proven apart: outer one ▲, inner one ▼.
var shapes = map[analysis.ProofID]shape{
	analysis.ProofInput:      {"M239 40H362Q384 40 384 62", 300, 40},
	analysis.ProofCutsFuel:   {"M400 84V156", 400, 120},
	analysis.ProofAddsFuel:   {"M366 84V156", 366, 120},
	analysis.ProofDelivery:   {"M384 178Q384 200 362 200H78Q56 200 56 178", 220, 200},
	analysis.ProofSensorRich: {"M40 156V84", 40, 120},
	analysis.ProofSensorLean: {"M74 156V84", 74, 120},
	analysis.ProofRecovery:   {"M56 62Q56 40 78 40H201", 140, 40},
	analysis.ProofBank:       {"", 220, 132},
	analysis.ProofScale:      {"", 276, 132},
}

// SVG returns the ring as an inline drawing. Each arc is a group of class
// "arc STATE", and "open" while it is tested, with the proof's id in data-arc.
func (r Ring) SVG(l Labels) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="ring" viewBox="0 0 440 240" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg">`, html.EscapeString(l.Title))
	station := func(x, y int, anchor, text string) {
		fmt.Fprintf(&b, `<text class="station" x="%d" y="%d" text-anchor="%s">%s</text>`, x, y, anchor, html.EscapeString(text))
	}
	station(14, 17, "start", l.Sensor)
	station(220, 17, "middle", l.Tap)
	station(426, 17, "end", l.Computer)
	station(14, 236, "start", l.Exhaust)
	station(426, 236, "end", l.Fuel)
	for _, a := range r.Arcs() {
		s, inside := shapes[a.ID], l.Bank
		switch {
		case a.ID == analysis.ProofScale:
			inside = l.Scale
		case a.ID == analysis.ProofBank && r.HasScale():
			s.signX = 164 // beside it
		}
		side := Side(a.ID)
		class := "arc " + string(a.State)
		if a.Open() {
			class += " open"
		}
		if side != "" {
			class += " of-" + string(side)
		}
		fmt.Fprintf(&b, `<g class="%s" data-arc="%s"><title>%s</title>`, class, a.ID, html.EscapeString(l.Says(a)))
		if s.path != "" {
			fmt.Fprintf(&b, `<path class="bed" d="%s"/><path class="fill" d="%s" pathLength="100" stroke-dasharray="%s 200"/>`,
				s.path, s.path, strconv.FormatFloat(100*a.Fill, 'f', 0, 64))
		} else {
			fmt.Fprintf(&b, `<text class="bank" x="%g" y="104" text-anchor="middle">%s</text>`, s.signX, html.EscapeString(inside))
		}
		switch side {
		case analysis.Lean:
			fmt.Fprintf(&b, `<text class="side" x="%g" y="78" text-anchor="middle">▼</text>`, s.signX)
		case analysis.Rich:
			fmt.Fprintf(&b, `<text class="side" x="%g" y="78" text-anchor="middle">▲</text>`, s.signX)
		}
		fmt.Fprintf(&b, `<circle class="seal" cx="%g" cy="%g" r="14"/><text class="sign" x="%g" y="%g" text-anchor="middle">%s</text></g>`,
			s.signX, s.signY, s.signX, s.signY+6, html.EscapeString(l.Sign(a)))
	}
	b.WriteString(`<path class="tap" d="M220 25L235 40L220 55L205 40Z"/></svg>`)
	return b.String()
}
