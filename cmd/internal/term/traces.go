package term

import (
	"fmt"
	"math"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/words"
)

// plot is one trace over a stretch of the time axis, in braille: a cell has 2 by 4
// dots.
type plot struct {
	x, y, w, h int
	from, to   time.Duration
	low, high  float64
}

// dot returns the dot column of a time and the dot row of a value, from the top.
func (p plot) dot(at time.Duration, v float64) (x, y int) {
	x = int(math.Round(float64(at-p.from) / float64(p.to-p.from) * float64(2*p.w-1)))
	y = int(math.Round((p.high - v) / (p.high - p.low) * float64(4*p.h-1)))
	return x, max(0, min(y, 4*p.h-1))
}

// braille bits of a cell's dots by column and row.
var braille = [2][4]rune{{0x01, 0x02, 0x04, 0x40}, {0x08, 0x10, 0x20, 0x80}}

func (c *canvas) dot(p plot, x, y int, fg ink) {
	if x < 0 || x >= 2*p.w || y < 0 || y >= 4*p.h {
		return
	}
	q := c.at(p.x+x/2, p.y+y/4)
	if q.r < 0x2800 || q.r > 0x28ff {
		q.r = 0x2800
	}
	q.r |= braille[x%2][y%4]
	q.fg, q.bold = fg, true
}

// trace draws the points as a line. It is broken where a reading is missing or the
// next one is long in coming. hue gives a value's colour.
func (c *canvas) trace(p plot, points []live.Point, hue func(float64) ink) {
	for i, q := range points {
		if math.IsNaN(q.Value) || q.At > p.to || (q.At < p.from && (i+1 == len(points) || points[i+1].At < p.from)) {
			continue
		}
		x, y := p.dot(q.At, q.Value)
		c.dot(p, x, y, hue(q.Value))
		if i+1 == len(points) {
			break
		}
		n := points[i+1]
		if math.IsNaN(n.Value) || n.At-q.At > live.Stale {
			continue
		}
		x1, y1 := p.dot(n.At, n.Value)
		steps := max(abs(x1-x), abs(y1-y))
		for k := 1; k <= steps; k++ {
			f := float64(k) / float64(steps)
			c.dot(p, x+int(math.Round(f*float64(x1-x))), y+int(math.Round(f*float64(y1-y))), hue(q.Value+f*(n.Value-q.Value)))
		}
	}
}

func abs(x int) int {
	if x < 0 {
		return -x
	}
	return x
}

// shade draws the forces behind a plot: a ground in the side's colour, and without
// colours a fine pattern, with the side's arrow at the top.
func (c *canvas) shade(p plot, holds []live.Hold, now time.Duration, color bool) {
	for _, b := range holds {
		to := b.To
		if b.Open {
			to = now
		}
		if to < p.from || b.From > p.to {
			continue
		}
		x0, _ := p.dot(max(b.From, p.from), 0)
		x1, _ := p.dot(min(to, p.to), 0)
		for x := p.x + x0/2; x <= p.x+x1/2; x++ {
			for y := p.y; y < p.y+p.h; y++ {
				q := c.at(x, y)
				q.bg = inkRichShade
				if b.Side == analysis.Lean {
					q.bg = inkLeanShade
				}
				if !color {
					q.r = '░'
				}
			}
		}
	}
}

// level draws a dotted line at a value.
func (c *canvas) level(p plot, v float64) {
	_, y := p.dot(p.from, v)
	for x := 0; x < 2*p.w; x += 4 {
		if r := c.at(p.x+x/2, p.y+y/4).r; r == ' ' {
			c.dot(p, x, y, inkQuiet)
		}
	}
}

// trimSpan is the half-width of the trim's axis: as small as shows all, %.
func trimSpan(points []live.Point, from time.Duration) float64 {
	most := 0.0
	for _, q := range points {
		if q.At >= from && !math.IsNaN(q.Value) {
			most = max(most, math.Abs(q.Value))
		}
	}
	for _, s := range []float64{10, 20, 30, 50} {
		if most <= s {
			return s
		}
	}
	return 100
}

// window is the stretch of time that an axis of w columns shows: a loop that
// switches twice a second is not to become a block.
func window(w int) time.Duration {
	switch {
	case w < 50:
		return 30 * time.Second
	case w < 110:
		return 60 * time.Second
	}
	return 90 * time.Second
}

// traces draws both traces, the forces and the events on one time axis, in h rows.
func (c *canvas) traces(x, y, w, h int, s *live.State, color bool) {
	long := window(w)
	to := max(s.Now, long)
	from := to - long
	upper := (h - 2) / 2
	volts := plot{x, y, w, upper, from, to, 0, 1}
	if s.Wide {
		volts.low, volts.high = ratioSpan(s.VTrace, from)
	}
	for _, q := range s.VTrace {
		if !s.Wide && q.At >= from && q.Value > 1.05 {
			volts.high = 1.3 // a rich signal beyond what zirconia gives: show it
		}
	}
	span := trimSpan(s.TTrace, from)
	trim := plot{x, y + upper + 1, w, h - 2 - upper, from, to, -span, span}

	for _, p := range []plot{volts, trim} {
		c.shade(p, s.Holds, s.Now, color)
	}
	if s.Wide {
		c.level(volts, 1)
		c.trace(volts, s.CTrace, func(float64) ink { return inkQuiet })
	} else {
		c.level(volts, limits.SwitchPoint)
	}
	c.level(trim, 0)
	c.trace(volts, s.VTrace, func(v float64) ink {
		return sideInk(s.SideOf(v))
	})
	c.trace(trim, s.TTrace, func(float64) ink { return inkNone })

	// What each axis says stands left of the trace.
	quiet := cell{fg: inkQuiet}
	c.right(x-1, volts.y, fmt.Sprintf("%.1f", volts.high), quiet)
	foot := "0"
	if s.Wide {
		foot = fmt.Sprintf("%.1f", volts.low)
	}
	c.right(x-1, volts.y+volts.h-1, foot, quiet)
	c.right(x-1, trim.y, fmt.Sprintf("%+.0f", span), quiet)
	c.right(x-1, trim.y+trim.h-1, fmt.Sprintf("%+.0f", -span), quiet)

	// Between the two: the events.
	mid := y + upper
	for i := range w {
		c.text(x+i, mid, "─", quiet)
	}
	for _, t := range s.Ticks {
		if t.At < from || t.At > to {
			continue
		}
		sign, fg := words.TickSign(t)
		if sign == "" {
			continue
		}
		dx, _ := volts.dot(t.At, 0)
		dx /= 2
		if dx > 0 && c.at(x+dx, mid).r != '─' {
			dx++ // two within one column: the later one beside the first
		}
		c.text(x+min(dx, w-1), mid, sign, cell{fg: sideInk(fg), bold: true})
	}
	step := 10 * time.Second
	for at := (from + step - 1) / step * step; at <= to; at += step {
		dx, _ := volts.dot(at, 0)
		label := words.Clock(at)
		if left := x + dx/2 - len(label)/2; left >= x && left+len(label) <= x+w {
			c.text(left, y+h-1, label, quiet)
		}
	}
}

// ratioSpan is the axis of a wide-range sensor: 0.8 to 1.2, wider by tenths where a reading lies outside.
func ratioSpan(points []live.Point, from time.Duration) (low, high float64) {
	low, high = 0.8, 1.2
	for _, q := range points {
		if q.At >= from && !math.IsNaN(q.Value) {
			low, high = min(low, math.Floor(10*q.Value)/10), max(high, math.Ceil(10*min(q.Value, 2))/10)
		}
	}
	return low, high
}

func sideInk(s analysis.Side) ink {
	switch s {
	case analysis.Lean:
		return inkLean
	case analysis.Rich:
		return inkRich
	}
	return inkNone
}
