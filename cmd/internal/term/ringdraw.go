package term

import (
	"pushback/analysis"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
)

// drawRing draws the ring in w by h cells (at least 24 by 12):
//
//	SENSOR     TAP     COMPUTER
//	  ██████ ✓ ◆█ ✓ ████
//	  ██ ██          ██ ██
//	  ✓  ?            ✓ –
//	  ██ ██          ██ ██
//	  ████████ ✓ ████████
//	EXHAUST              FUEL
//
// Arcs run with the loop, clockwise from the tap; where lean and rich are proven
// apart there are two lanes.
func (c *canvas) drawRing(x, y, w, h int, r ring.Ring) {
	left, right := x+1, x+w-2 // the outermost columns of the lanes
	top, bottom := y+1, y+h-2
	middle := x + w/2
	quiet := cell{fg: inkQuiet}

	c.text(x, y, words.StationSensor, quiet)
	c.centre(x, y, w, words.StationTap, quiet)
	c.right(x+w, y, words.StationComputer, quiet)
	c.text(x, y+h-1, words.StationExhaust, quiet)
	c.right(x+w, y+h-1, words.StationFuel, quiet)

	arc := func(id analysis.ProofID) ring.Arc { return *r.Arc(id) }
	line := func(id analysis.ProofID, x0, x1, y int) { // one cell high, from x0 to x1
		n := abs(x1 - x0)
		dir := 1
		if x1 < x0 {
			dir = -1
		}
		c.along(arc(id), n+1, func(i int) (int, int) { return x0 + dir*i, y }, 1)
		c.sign(arc(id), (x0+x1)/2, y, false)
	}
	lane := func(id analysis.ProofID, x, y0, y1 int) { // two cells wide, from y0 to y1
		n := abs(y1 - y0)
		dir := 1
		if y1 < y0 {
			dir = -1
		}
		c.along(arc(id), n+1, func(i int) (int, int) { return x, y0 + dir*i }, 2)
		c.sign(arc(id), x, (y0+y1)/2, true)
	}
	line(analysis.ProofRecovery, left, middle-2, top)
	line(analysis.ProofInput, middle+1, right, top)
	line(analysis.ProofDelivery, right, left, bottom)
	c.text(middle-1, top, "◆", cell{bold: true})

	lane(analysis.ProofCutsFuel, right-1, top+2, bottom-1)
	lane(analysis.ProofAddsFuel, right-4, top+2, bottom-1)
	lane(analysis.ProofSensorRich, left, bottom-1, top+2)
	lane(analysis.ProofSensorLean, left+3, bottom-1, top+2)
	lean, rich := cell{fg: inkLean, bold: true}, cell{fg: inkRich, bold: true}
	c.text(right-1, top+1, "▲▲", rich)
	c.text(right-4, top+1, "▼▼", lean)
	c.text(left, top+1, "▲▲", rich)
	c.text(left+3, top+1, "▼▼", lean)

	bank := arc(analysis.ProofBank)
	at := (top + bottom) / 2
	c.text(c.text(middle-3, at, words.ArcShort[analysis.ProofBank]+" ", quiet), at, words.ArcSign(bank), signStyle(bank))
	if r.HasScale() {
		scale := arc(analysis.ProofScale)
		c.text(c.text(middle-3, at+1, words.ArcShort[scale.ID]+" ", quiet), at+1, words.ArcSign(scale), signStyle(scale))
	}
	if h >= 16 && w >= 34 {
		c.right(right-5, at-2, words.ArcShort[analysis.ProofAddsFuel], lean)
		c.text(left+6, at-2, words.ArcShort[analysis.ProofSensorRich], rich)
	}
}

// along draws an arc of n places, filled from its beginning.
func (c *canvas) along(a ring.Arc, n int, place func(int) (x, y int), wide int) {
	fill := int(a.Fill*float64(n) + 0.5)
	for i := range n {
		x, y := place(i)
		p := cell{r: '░', fg: inkQuiet}
		switch {
		case a.Open() && i < fill:
			p = cell{r: '█', fg: sideInk(ring.Side(a.ID))}
		case a.Open():
			p = cell{r: '▒', fg: sideInk(ring.Side(a.ID))}
		case a.State == analysis.Proven:
			p = cell{r: '█', fg: inkGood}
		case a.State == analysis.Failed:
			p = cell{r: '╳', fg: inkBad, bold: true}
		case a.State == analysis.Unclear:
			p = cell{r: '▒', fg: inkDoubt}
		}
		for k := range wide {
			*c.at(x+k, y) = p
		}
	}
}

func signStyle(a ring.Arc) cell {
	s := cell{bold: true}
	switch {
	case a.Open():
	case a.State == analysis.Untested:
		s = cell{fg: inkQuiet}
	case a.State == analysis.Proven:
		s.fg = inkGood
	case a.State == analysis.Failed:
		s.fg = inkBad
	case a.State == analysis.Unclear:
		s.fg = inkDoubt
	}
	return s
}

// sign writes an arc's state into the middle of it.
func (c *canvas) sign(a ring.Arc, x, y int, lane bool) {
	style := signStyle(a)
	if lane {
		c.text(x, y, words.ArcSign(a)+" ", style)
		return
	}
	c.text(x-1, y, " "+words.ArcSign(a)+" ", style)
}
