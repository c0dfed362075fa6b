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
	"pushback/cmd/internal/words/why"
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
	scroll int // lines of the answer that were scrolled past
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

	y := 1 + c.headline(1, s, l)
	bottom := l.h - 3
	if s.Verdict != nil {
		c.over(y, bottom, s, l)
	} else {
		c.running(y, bottom, s, l)
	}

	switch {
	case l.foot != "":
		c.text(1, bottom, tail(l.foot, l.w-2), cell{bold: true})
	case s.Last != nil && s.Verdict == nil:
		text := words.Clock(s.Last.At) + "  " + words.TickText(*s.Last)
		c.text(1, bottom, cut(wrap(text, l.w-2), 1)[0], cell{})
	}
	c.text(1, bottom+1, strings.Join(words.Conditions(s), " · "), quiet)
	c.text(1, bottom+2, l.keys, quiet)
	return c.String(l.color)
}

// running is the step in full, what can hurt at it, the values, the traces and the ring.
func (c *canvas) running(y, bottom int, s *live.State, l look) {
	for _, line := range cut(wrap(words.Sentence(s), l.w-2), 2) {
		c.text(1, y, line, cell{bold: true})
		y++
	}
	if text := words.Caution(s); text != "" {
		y = c.caution(1, y, l.w-2, text)
	}
	for _, line := range wrap(words.Second(s), l.w-2) {
		c.text(1, y, line, cell{})
		y++
	}
	y++
	body := min(bottom-y, mostBody)
	ringX := c.ringAt(y, body, s, l)
	c.values(1, y, body, s, l)
	c.traces(1+gutter, y, ringX-2-1-gutter, body, s, l.color)
}

const (
	mostBody = 36 // rows: taller says no more
	gutter   = 23 // columns of the values and of the labels of both axes
)

// ringAt draws the ring on the right, as large as fits, and returns its column.
func (c *canvas) ringAt(y, body int, s *live.State, l look) int {
	w, h := 26, min(body, 13)
	if l.w >= 120 && body >= 20 {
		w, h = 40, min(body-2, 22)
		c.text(l.w-w-1, y+(body-h)/2+h, words.RingLegend, cell{fg: inkQuiet})
	}
	c.drawRing(l.w-w-1, y+(body-h)/2, w, h, s.Ring)
	return l.w - w - 1
}

// over is the answer: its reason and the one step across the whole screen, then the results and
// what to do after, and where there is room the traces below them.
func (c *canvas) over(y, bottom int, s *live.State, l look) {
	say := words.VerdictOf(*s.Verdict)
	for _, line := range wrap(say.Why, l.w-2) {
		c.text(1, y, line, cell{bold: true})
		y++
	}
	if say.Step != "" {
		for i, line := range wrap(say.Step, l.w-4-len(words.Do)) {
			if i == 0 {
				c.text(1, y, words.Do, cell{bold: true, inverse: true})
			}
			c.text(2+len(words.Do), y, line, cell{bold: true})
			y++
		}
		if say.Caution != "" {
			y = c.caution(2+len(words.Do), y, l.w-4-len(words.Do), say.Caution)
		}
	}
	y++
	body := min(bottom+1-y, mostBody)
	ringX := c.ringAt(y, min(body, 22), s, l)
	w := ringX - 3
	lines := answerLines(*s.Verdict, w)
	list := len(lines)
	if l.w >= 120 && body >= 10+leastList { // a long list is scrolled, so that the traces stay
		list = min(list, body-11)
	}
	if free := body - list - 1; l.w >= 100 && free >= 10 {
		c.traces(1+6, y+list+1, w-6, free, s, l.color)
		body = list
	}
	c.window(1, y, w, body, lines, l.scroll)
}

// leastList is how many rows of results and steps stay beside the traces.
const leastList = 14

// listed is a line of a list.
type listed struct {
	sign      string
	text      string
	note      string // at the right of it
	style     cell
	signStyle cell
}

// answerLines are the results, each that is not well with its reason, and the steps after the first.
// What is wrong comes first.
func answerLines(v analysis.Verdict, w int) (out []listed) {
	rank := map[analysis.State]int{analysis.Failed: 0, analysis.Unclear: 1, analysis.Proven: 2, analysis.Untested: 3}
	proofs := slices.Clone(v.Proofs)
	slices.SortStableFunc(proofs, func(a, b analysis.Proof) int { return rank[a.State] - rank[b.State] })
	for _, p := range proofs {
		mark := signStyle(ring.Arc{ID: p.ID, State: p.State})
		out = append(out, listed{words.StateSigns[p.State], words.ProofTitles[p.ID], words.StateWords[p.State], cell{bold: p.State == analysis.Failed}, mark})
		if p.State == analysis.Failed || p.State == analysis.Unclear {
			for _, t := range wrap(why.Text(p.Why), w-2) {
				out = append(out, listed{text: t, style: cell{fg: inkQuiet}})
			}
		}
	}
	for _, b := range v.Banks()[1:] {
		if b.Sensor == v.Sensor {
			b = v.Banks()[0]
		}
		out = append(out, listed{text: b.Sensor + ": " + words.VerdictOf(b).Name, style: cell{bold: true}})
		out = append(out, answerLines(b, w)...)
	}
	for i, n := range words.Rest(v) {
		for k, t := range wrap(n, w-3) {
			x := listed{text: " " + t}
			if k == 0 {
				x.sign, x.signStyle = fmt.Sprintf("%d.", i+words.First(v)), cell{bold: true}
			}
			out = append(out, x)
		}
	}
	return out
}

// window shows so many lines of a list from the one that was scrolled to, and says how many more there are.
func (c *canvas) window(x, y, w, h int, lines []listed, from int) {
	from = max(0, min(from, len(lines)-h))
	for i, l := range lines[from:min(len(lines), from+h)] {
		if more := len(lines) - from - h + 1; i == h-1 && more > 1 {
			c.text(x, y+i, words.More(more), cell{bold: true})
			return
		}
		c.text(x, y+i, l.sign, l.signStyle)
		c.text(x+2, y+i, l.text, l.style)
		if l.note != "" {
			c.text(x+29, y+i, l.note, l.signStyle)
		}
	}
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

// headline writes the step from a row on in letters as large as fit, and returns the row below it.
func (c *canvas) headline(top int, s *live.State, l look) int {
	head := headOf(s, l)
	lines := [][]string{dots(letters, 7, head.Text)}
	big := l.w >= 2*len(lines[0][0])+2 && l.h >= 36
	if len(lines[0][0])+2 > l.w {
		lines = stacked(head.Text, l.w-2)
	}
	high := 4 * len(lines)
	if big {
		high = 8
	}
	style := cell{fg: sideInk(head.Side), bold: true}
	if s.Verdict != nil {
		style.fg = inkFor(s.Verdict.Conclusion)
	}
	if head.Loud {
		// Light on dark turned round: seen from the corner of an eye. A row above the letters
		// keeps them from running into what is dark.
		style.inverse = true
		for y := range high + 2 {
			for x := range l.w {
				*c.at(x, top+y) = cell{r: ' ', inverse: true, fg: style.fg}
			}
		}
		top++
	}
	for i, rows := range lines {
		c.large(min(2, max(0, (l.w-len(rows[0]))/2)), top+4*i, rows, big, style)
	}
	// The side's arrow is there without colour, too.
	widest := 0
	for _, rows := range lines {
		widest = max(widest, len(rows[0]))
	}
	if arrow := strings.Repeat(words.Arrow(head.Side), 3); head.Side != "" && widest+8 <= l.w {
		for y := range high - 1 {
			c.right(l.w-2, top+y, arrow, style)
		}
	}
	return top + high
}

func headOf(s *live.State, l look) words.Headline {
	if l.silent > 0 && !s.Lost && s.Prompt == nil {
		return words.Headline{Text: words.NoDataBig(l.silent), Loud: true}
	}
	return words.Big(s)
}

// stacked breaks a text that is too long for one row of letters into rows of whole words; nil where
// a word is too long alone.
func stacked(text string, w int) (out [][]string) {
	row := ""
	for _, word := range strings.Fields(text) {
		next := strings.TrimSpace(row + " " + word)
		if row != "" && len(dots(letters, 7, next)[0]) > w {
			out = append(out, dots(letters, 7, row))
			next = word
		}
		if len(dots(letters, 7, next)[0]) > w {
			return nil
		}
		row = next
	}
	return append(out, dots(letters, 7, row))
}

func inkFor(k analysis.Conclusion) ink {
	switch k {
	case analysis.LoopProven, analysis.PartlyProven:
		return inkGood
	case analysis.ConclusionUnclear, analysis.ConclusionNotReady, analysis.NothingForced:
		return inkDoubt
	}
	return inkBad
}

// values writes both values in large numerals beside their traces.
func (c *canvas) values(x, y, h int, s *live.State, l look) {
	quiet := cell{fg: inkQuiet}
	upper := (h - 2) / 2
	low := y + upper + 1
	label := words.VoltageOf
	if s.Wide {
		label = words.LambdaOf
	}
	c.text(x, y, label(s.Setup.Sensor.String()), quiet)
	c.text(x, low, words.TrimOf(s.Setup.Sensor), quiet)
	switch {
	case !s.Volts.Known:
		c.text(x, y+1, words.Waiting, quiet)
	case l.silent > 0:
		c.text(x, y+1, words.NoData(l.silent), cell{bold: true, inverse: true})
	default:
		c.voltage(x, y+1, s)
		if s.Trim.Known {
			c.trim(x, low+1, s)
			if low+5 < y+h && s.OtherTrim.Known {
				c.text(x, low+5, words.OtherTrim(3-s.Setup.Sensor.Bank, s.OtherTrim.Value), quiet)
			}
		}
	}
}

// rows of a value in numerals, its word and the gap above
const valueRows = 5

// voltage writes the reading, of a wide-range sensor lambda, in numerals, and its word below them.
func (c *canvas) voltage(x, y int, s *live.State) {
	side := s.Reads()
	style := cell{fg: sideInk(side), bold: true}
	c.large(x, y, dots(numerals, 5, fmt.Sprintf("%.2f", s.Volts.Value)), false, style)
	c.text(x, y+3, words.ReadsText(side), style)
}

// trim writes short-term trim in numerals, and what it does below them.
func (c *canvas) trim(x, y int, s *live.State) {
	c.large(x, y, dots(numerals, 5, fmt.Sprintf("%+.1f", words.Unsigned(s.Trim.Value, 1))), false, cell{bold: true})
	c.text(x, y+3, words.TrimDoes(s.TrimMotion()), cell{bold: true})
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
	head := headOf(s, l)
	rest := 2 + len(wrap(words.Sentence(s), l.w)) + len(wrap(words.Caution(s), l.w-2)) // the values and the last row
	if rows := stacked(head.Text, l.w-2); rows != nil && 4*len(rows)+2+rest <= l.h && len(rows) <= 2 {
		y = 1 + c.headline(0, s, l)
	} else {
		c.text(0, 0, head.Text, cell{bold: true, inverse: head.Loud, fg: sideInk(head.Side)})
		// A word too long for large letters leaves its seconds to be read from afar.
		if seconds := head.Text[strings.LastIndex(head.Text, " ")+1:]; strings.Trim(seconds, "0123456789") == "" && 5+rest+valueRows <= l.h {
			c.large(0, 1, dots(letters, 7, seconds), false, cell{bold: true, fg: sideInk(head.Side)})
			y += 4
		}
	}
	sentence, caution := words.Sentence(s), words.Caution(s)
	if s.Verdict != nil {
		sentence += " " + words.Do + ": " + words.VerdictOf(*s.Verdict).Step
	}
	for _, line := range wrap(sentence, l.w) {
		c.text(0, y, line, cell{bold: s.Verdict != nil})
		y++
	}
	if caution != "" {
		y = c.caution(0, y, l.w, caution)
	}
	end := l.h - 1 // the keys
	if s.Verdict != nil {
		if y < end {
			c.window(0, y, l.w, end-y, answerLines(*s.Verdict, l.w), l.scroll)
		}
		c.text(0, end, cutTo(l.keys, l.w), cell{fg: inkQuiet})
		return
	}
	switch {
	case l.silent > 0:
		c.text(0, y, words.NoData(l.silent), cell{bold: true, inverse: true})
	case s.Volts.Known && s.Trim.Known && y+valueRows < end:
		c.voltage(0, y+1, s)
		c.trim(l.w/2, y+1, s)
		y += valueRows - 1
	case s.Volts.Known:
		x := c.text(0, y, words.ReadingText(s.Volts.Value, s.Wide, 2)+fmt.Sprintf(" %-7s", words.ReadsText(s.Reads())), cell{fg: sideInk(s.Reads())})
		if s.Trim.Known {
			text := words.TrimShort(s.Trim.Value) + " " + words.TrimDoes(s.TrimMotion())
			if x+2+len([]rune(text)) <= l.w {
				c.text(x+2, y, text, cell{})
			} else if y++; y < end {
				c.text(0, y, text, cell{})
			}
		}
	}
	switch {
	case l.foot != "":
		c.text(0, end-1, tail(l.foot, l.w), cell{bold: true})
	case s.Last != nil && y+1 < end:
		lines := cut(wrap(words.TickText(*s.Last), l.w-1), min(2, end-y-1))
		for i, line := range lines { // its number comes last, and must not be lost
			c.text(0, end-len(lines)+i, line, cell{})
		}
	}
	c.text(0, end, cutTo(l.keys, l.w), cell{fg: inkQuiet})
}

// cutTo keeps the parts of a list of keys that fit; the last, which stops, stays.
func cutTo(keys string, w int) string {
	parts := strings.Split(keys, " · ")
	for len(parts) > 1 && len([]rune(strings.Join(parts, " · "))) > w {
		parts = slices.Delete(parts, len(parts)-2, len(parts)-1)
	}
	return strings.Join(parts, " · ")
}

// tail is the end of a text in so many columns: what is typed now must be seen.
func tail(text string, n int) string {
	if r := []rune(text); len(r) > n {
		return "…" + string(r[len(r)-n+1:])
	}
	return text
}
