package term

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
)

// look is what a drawing depends on beside the session's state.
type look struct {
	w, h   int
	color  bool
	title  string        // "test B1S1 by wire"
	name   string        // of the session
	keys   string        // the keys that count now
	foot   string        // instead of the last event: a note being typed, help
	silent time.Duration // nothing has come for so long, by the wall clock too
	paused bool
}

// The least size of the whole drawing; below it only what matters most is shown.
const (
	leastWidth  = 80
	leastHeight = 24
)

// draw draws the session's state.
func draw(s *live.State, l look) string {
	c := newCanvas(l.w, l.h)
	l.silent = max(l.silent, s.Silent())
	if s.Verdict != nil {
		l.silent = 0
	}
	if l.w < leastWidth || l.h < leastHeight {
		c.small(s, l)
		return c.String(l.color)
	}
	quiet := cell{fg: inkQuiet}
	c.text(1, 0, "pushback "+l.title, quiet)
	right := words.Clock(s.Now)
	if l.name != "" {
		right = words.Session + " " + l.name + "  " + right
	}
	if l.paused {
		right = words.Paused + "  " + right
	}
	c.right(l.w-1, 0, right, quiet)

	y := 1 + c.headline(s, l)
	for _, line := range cut(wrap(words.Sentence(s), l.w-2), 2) {
		c.text(1, y, line, cell{bold: true})
		y++
	}
	if text := words.Caution(s); text != "" && s.Verdict == nil {
		y = c.caution(1, y, l.w-2, text)
	}
	bottom := l.h - 3
	body := bottom - y - 1
	y++
	if body > 36 {
		body = 36 // taller says no more
	}
	ringW, ringH := 26, min(body, 13)
	if l.w >= 120 && body >= 18 {
		ringW, ringH = 40, min(body, 22)
	}
	ringX := l.w - ringW - 1
	c.drawRing(ringX, y+(body-ringH)/2, ringW, ringH, s.Ring)
	if s.Verdict != nil {
		c.answer(1, y, ringX-3, body, *s.Verdict)
	} else {
		const gutter = 19
		c.values(1, y, body, s, l)
		c.traces(1+gutter, y, ringX-2-1-gutter, body, s, l.color)
	}

	switch {
	case l.foot != "":
		c.text(1, bottom, tail(l.foot, l.w-2), cell{bold: true})
	case s.Last != nil:
		text := words.Clock(s.Last.At) + "  " + words.TickText(*s.Last)
		c.text(1, bottom, cut(wrap(text, l.w-2), 1)[0], cell{})
	}
	c.text(1, bottom+1, strings.Join(words.Conditions(s), " · "), quiet)
	c.text(1, bottom+2, l.keys, quiet)
	return c.String(l.color)
}

// cut keeps the first n lines and says that there were more.
func cut(lines []string, n int) []string {
	if len(lines) > n {
		lines = lines[:n]
		lines[n-1] += " …"
	}
	if len(lines) == 0 {
		return []string{""}
	}
	return lines
}

// headline writes the step in letters as large as fit, and returns its rows.
func (c *canvas) headline(s *live.State, l look) int {
	head := words.Big(s)
	if l.silent > 0 && !s.Lost && s.Prompt == nil {
		head = words.Headline{Text: words.NoDataBig(l.silent), Loud: true}
	}
	rows := dots(letters, 7, head.Text)
	big := l.w >= 2*len(rows[0])+2 && l.h >= 36
	high := 4
	if big {
		high = 8
	}
	style := cell{fg: sideInk(head.Side), bold: true}
	if s.Verdict != nil {
		style.fg = inkFor(s.Verdict.Conclusion)
	}
	if head.Loud {
		// Light on dark turned round: seen from the corner of an eye.
		style.inverse = true
		for y := range high + 1 {
			for x := range l.w {
				*c.at(x, 1+y) = cell{r: ' ', inverse: true, fg: style.fg}
			}
		}
	}
	c.large(2, 1, rows, big, style)
	// The side's arrow is there without colour, too.
	if head.Side != "" {
		arrow := strings.Repeat(words.Arrow(head.Side), 3)
		for y := range high - 1 {
			c.right(l.w-2, 1+y, arrow, style)
		}
	}
	return high + 1
}

func inkFor(k analysis.Conclusion) ink {
	switch k {
	case analysis.LoopProven, analysis.PartlyProven:
		return inkGood
	case analysis.UnclearResult, analysis.NotReadyToSay, analysis.NothingForced:
		return inkDoubt
	}
	return inkBad
}

// values writes both values in large numerals beside their traces.
func (c *canvas) values(x, y, h int, s *live.State, l look) {
	quiet := cell{fg: inkQuiet}
	upper := (h - 2) / 2
	low := y + upper + 1
	c.text(x, y, words.VoltageOf(s.Setup.Sensor.String()), quiet)
	c.text(x, low, words.TrimOf(s.Setup.Sensor.String()), quiet)
	switch {
	case !s.Volts.Known:
		c.text(x, y+1, words.Waiting, quiet)
	case l.silent > 0:
		c.text(x, y+1, words.NoData(l.silent), cell{bold: true, inverse: true})
	default:
		side := s.Reads()
		style := cell{fg: sideInk(side), bold: true}
		c.large(x, y+1, dots(numerals, 5, fmt.Sprintf("%.2f", s.Volts.Value)), false, style)
		c.text(x, y+4, words.Arrow(side)+" "+strings.ToUpper(string(side)), style)
		if s.Trim.Known {
			c.large(x, low+1, dots(numerals, 5, fmt.Sprintf("%+.1f", s.Trim.Value)), false, cell{bold: true})
			c.text(x, low+4, words.TrimDoes(s.Trim.Value), cell{bold: true})
		}
	}
}

// answer lists the proofs and what to do next.
func (c *canvas) answer(x, y, w, h int, v analysis.Verdict) {
	end := y + h
	proofs := v.Proofs
	if len(v.Next) > 0 && len(proofs)+1+len(wrap(v.Next[0], w-3)) > h {
		// No room for all and a step with its caution: what is well, the ring shows too.
		proofs = slices.DeleteFunc(slices.Clone(proofs), func(p analysis.Proof) bool { return p.State == analysis.Proven || p.State == analysis.Untested })
	}
	for _, p := range proofs {
		a := ring.Arc{ID: p.ID, State: p.State}
		c.text(x, y, words.StateSigns[p.State], signStyle(a))
		c.text(x+2, y, words.ProofTitles[p.ID], cell{bold: p.State == analysis.Failed})
		c.text(x+32, y, words.StateWords[p.State], signStyle(a))
		y++
	}
	y++
	for i, n := range v.Next {
		lines := wrap(n, w-3)
		if y+len(lines) > end {
			if y < end {
				c.text(x, y, "…", cell{})
			}
			return
		}
		c.text(x, y, fmt.Sprintf("%d.", i+1), cell{bold: true})
		for _, line := range lines {
			c.text(x+3, y, line, cell{})
			y++
		}
	}
}

// caution writes what can hurt, whole, and returns the row below it.
func (c *canvas) caution(x, y, w int, text string) int {
	for _, line := range wrap("! "+text, w) {
		c.text(x, y, line, cell{fg: inkDoubt})
		y++
	}
	return y
}

// small is for a terminal below 80 by 24: the step, the values, the answer.
func (c *canvas) small(s *live.State, l look) {
	y := 1
	step, caution := wrap(words.Sentence(s), l.w), words.Caution(s)
	rest := len(step) + 3 // the values and the last row
	if caution != "" {
		rest += len(wrap("! "+caution, l.w))
	}
	if head := words.Big(s); l.h >= max(12, 6+rest) && len(dots(letters, 7, head.Text)[0])+4 <= l.w {
		y += c.headline(s, l)
	} else {
		c.text(0, 0, head.Text, cell{bold: true, inverse: head.Loud, fg: sideInk(head.Side)})
	}
	for _, line := range step {
		c.text(0, y, line, cell{})
		y++
	}
	if caution != "" {
		y = c.caution(0, y, l.w, caution)
	}
	switch {
	case l.silent > 0:
		c.text(0, y, words.NoData(l.silent), cell{bold: true, inverse: true})
	case s.Volts.Known:
		c.text(0, y, fmt.Sprintf("%.2f V %s %s", s.Volts.Value, words.Arrow(s.Reads()), strings.ToUpper(string(s.Reads()))), cell{fg: sideInk(s.Reads())})
		if s.Trim.Known {
			c.text(0, y+1, words.TrimShort(s.Trim.Value), cell{})
		}
	}
	switch {
	case l.foot != "":
		c.text(0, l.h-2, tail(l.foot, l.w), cell{bold: true})
		c.text(0, l.h-1, l.keys, cell{fg: inkQuiet})
		return
	case s.Last != nil && y+2 < l.h:
		c.text(0, l.h-2, cut(wrap(words.TickText(*s.Last), l.w-2), 1)[0], cell{})
	}
	c.text(0, l.h-1, words.TooSmall, cell{fg: inkQuiet})
}

// tail is the end of a text in so many columns: what is typed now must be seen.
func tail(text string, n int) string {
	if r := []rune(text); len(r) > n {
		return "…" + string(r[len(r)-n+1:])
	}
	return text
}
