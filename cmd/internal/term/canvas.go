package term

import (
	"fmt"
	"strings"
)

// ink is a colour by its job.
type ink uint8

const (
	inkNone ink = iota
	inkLean
	inkRich
	inkGood
	inkBad
	inkDoubt
	inkQuiet
	inkLeanShade // behind a trace
	inkRichShade
)

// The Okabe-Ito set, which all kinds of colour vision tell apart; on a dark ground
// its sky blue reads better than its blue. Shades are the same hues, dark, and stay
// so where a terminal has 256 colours only.
var rgb = [...][3]uint8{
	inkLean:      {86, 180, 233},
	inkRich:      {230, 159, 0},
	inkGood:      {0, 158, 115},
	inkBad:       {213, 94, 0},
	inkDoubt:     {240, 228, 66},
	inkQuiet:     {140, 140, 140},
	inkLeanShade: {0, 84, 130},
	inkRichShade: {88, 66, 0},
}

// cell is one place on the screen.
type cell struct {
	r       rune
	fg, bg  ink
	bold    bool
	inverse bool
}

// canvas is a screen that is drawn on and then turned into lines.
type canvas struct {
	w, h  int
	cells []cell
}

func newCanvas(w, h int) *canvas {
	c := &canvas{w: w, h: h, cells: make([]cell, w*h)}
	for i := range c.cells {
		c.cells[i].r = ' '
	}
	return c
}

// at returns a cell; what lies outside is drawn nowhere.
func (c *canvas) at(x, y int) *cell {
	if x < 0 || y < 0 || x >= c.w || y >= c.h {
		return &cell{}
	}
	return &c.cells[y*c.w+x]
}

// text writes a line and returns the column after it. The ground stays.
func (c *canvas) text(x, y int, s string, style cell) int {
	for _, r := range s {
		p := c.at(x, y)
		bg := p.bg
		*p = style
		p.r = r
		if style.bg == inkNone {
			p.bg = bg
		}
		x++
	}
	return x
}

// right writes a line that ends before column x.
func (c *canvas) right(x, y int, s string, style cell) { c.text(x-len([]rune(s)), y, s, style) }

// centre writes a line in the middle of w columns.
func (c *canvas) centre(x, y, w int, s string, style cell) {
	c.text(x+(w-len([]rune(s)))/2, y, s, style)
}

// String returns the screen, with colours if wanted.
func (c *canvas) String(color bool) string {
	var b strings.Builder
	for y := range c.h {
		if y > 0 {
			b.WriteByte('\n')
		}
		row := c.cells[y*c.w : (y+1)*c.w]
		end := len(row)
		for end > 0 && row[end-1] == (cell{r: ' '}) {
			end--
		}
		last := cell{}
		for _, p := range row[:end] {
			if !color {
				p.fg, p.bg = inkNone, inkNone
			}
			if look := (cell{0, p.fg, p.bg, p.bold, p.inverse}); look != last {
				b.WriteString(sgr(look))
				last = look
			}
			b.WriteRune(p.r)
		}
		if last != (cell{}) {
			b.WriteString(plain)
		}
	}
	return b.String()
}

func sgr(p cell) string {
	s := "\x1b[0"
	if p.bold {
		s += ";1"
	}
	if p.inverse {
		s += ";7"
	}
	if p.fg != inkNone {
		c := rgb[p.fg]
		s += fmt.Sprintf(";38;2;%d;%d;%d", c[0], c[1], c[2])
	}
	if p.bg != inkNone {
		c := rgb[p.bg]
		s += fmt.Sprintf(";48;2;%d;%d;%d", c[0], c[1], c[2])
	}
	return s + "m"
}
