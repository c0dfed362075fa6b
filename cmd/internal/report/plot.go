package report

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strconv"
	"strings"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/series"
	"pushback/cmd/internal/words"
)

// Heights of a figure's parts, px. Across, everything is in per cent of the width, so
// that a figure is as wide as its page, and stretches along time only when it is zoomed.
const (
	stripHeight = 22.0
	voltsTop    = stripHeight + 4
	voltsHeight = 140.0
	trimTop     = voltsTop + voltsHeight + 14
	trimHeight  = 104.0
	axisTop     = trimTop + trimHeight
	plotHeight  = axisTop + 34
	gutter      = 46.0
	fine        = 9600     // columns that are drawn: enough for the largest zoom
	frame       = 4 * fine // width of a curve's own frame: each column's points stay apart
)

// view is what a figure shows.
type view struct {
	from, to    float64 // s
	zero        float64 // s: what the time axis calls 0
	volts, trim scale
	dots        bool // each reading is a dot, unless there are too many
	half        bool // it has half of the page's width
	title       string
}

// drawing writes one figure.
type drawing struct {
	strings.Builder
	v     view
	signs []signs
}

func (d *drawing) f(format string, args ...any) { fmt.Fprintf(&d.Builder, format, args...) }

// x is a time in per cent of the width.
func (d *drawing) x(t float64) float64 {
	return math.Round(1e4*(t-d.v.from)/(d.v.to-d.v.from)) / 100
}

func (d *drawing) inside(t float64) bool { return t >= d.v.from && t <= d.v.to }

// body draws the trace without its value axes; the element around it has the height.
func (t trace) body(v view, s shown) string {
	d := &drawing{v: v}
	for _, g := range t.Gaps {
		d.span("gap", g[0], g[1], "")
	}
	for _, b := range t.Holds {
		label := words.Arrow(b.Side)
		if w := (min(b.To, v.to) - max(b.From, v.from)) / (v.to - v.from); w > 0.07 {
			label += " " + strings.ToUpper(string(b.Side))
		}
		d.span("band "+string(b.Side), b.From, b.To, label)
	}
	d.axes(t.middle())
	class := "down"
	if t.Wide() {
		class = "command"
	}
	d.curve(class, s.beside.runs, v.volts, voltsTop, voltsHeight)
	d.curve("volts", s.upper.runs, v.volts, voltsTop, voltsHeight)
	d.curve("trim", s.trim.runs, v.trim, trimTop, trimHeight)
	if t.upper().Len() == 0 {
		d.f(`<text class="none" x="50%%" y="%g" text-anchor="middle">no voltage of this sensor was read</text>`, voltsTop+voltsHeight/2)
	}
	if t.Trim.Len() == 0 {
		d.f(`<text class="none" x="50%%" y="%g" text-anchor="middle">no short-term trim was read</text>`, trimTop+trimHeight/2)
	}
	// The force first, then what else was seen, then what was said.
	rank := func(k dossier.Tick) int {
		switch {
		case k.Mark != nil:
			return 2
		case k.Event.Name != analysis.ForceBegins:
			return 1
		}
		return 0
	}
	for n := range 3 {
		for _, k := range t.Ticks {
			if rank(k) == n {
				d.tick(k)
			}
		}
	}
	d.writeSigns()
	return d.String()
}

// span shades a time over both panels.
func (d *drawing) span(class string, from, to float64, label string) {
	from, to = max(from, d.v.from), min(to, d.v.to)
	if to < from {
		return
	}
	d.f(`<rect class="%s" x="%g%%" width="%g%%" y="%g" height="%g"/>`, class, d.x(from), max(0.15, d.x(to)-d.x(from)), voltsTop, axisTop-voltsTop)
	if label != "" {
		d.f(`<text paint-order="stroke" class="held %s" x="%g%%" y="%g" dx="3">%s</text>`, strings.TrimPrefix(class, "band "), d.x(from), trimTop-2, escaped(label))
	}
}

func (d *drawing) axes(middle float64) {
	for _, p := range []struct {
		s           scale
		top, height float64
	}{{d.v.volts, voltsTop, voltsHeight}, {d.v.trim, trimTop, trimHeight}} {
		for _, y := range ticks(p.s, 5) {
			class := "grid"
			if y == 0 {
				class = "grid zero"
			}
			d.f(`<line class="%s" x1="0" x2="100%%" y1="%[2]g" y2="%[2]g"/>`, class, round1(p.top+p.height*(1-p.s.part(y))))
		}
	}
	d.f(`<line class="switch" x1="0" x2="100%%" y1="%[1]g" y2="%[1]g"/>`, round1(voltsTop+voltsHeight*(1-d.v.volts.part(middle))))
	most := 11.0
	if d.v.half {
		most = 6
	}
	drawn := d.times(timeStep(d.v.to-d.v.from, most), "", nil)
	for _, zoom := range []float64{4, 16} { // a stretched axis has its own times between
		drawn = d.times(timeStep((d.v.to-d.v.from)/zoom, most), fmt.Sprintf(" f%g", zoom), drawn)
	}
	d.f(`<line class="base" x1="0" x2="100%%" y1="%[1]g" y2="%[1]g"/><line class="base" x1="0" x2="100%%" y1="%[2]g" y2="%[2]g"/>`, axisTop, voltsTop+voltsHeight)
}

// times labels the time axis at each step that is not drawn yet, and returns what is drawn.
func (d *drawing) times(step float64, class string, drawn []float64) []float64 {
	out := slices.Clone(drawn)
	for k := math.Ceil((d.v.from - d.v.zero) / step); d.v.zero+k*step <= d.v.to+1e-9; k++ {
		t := d.v.zero + k*step
		if i, _ := slices.BinarySearch(drawn, t-step/2); i < len(drawn) && drawn[i] < t+step/2 {
			continue
		}
		out = append(out, t)
		x := d.x(t)
		anchor := "middle"
		switch {
		case x < 2:
			anchor = "start"
		case x > 97:
			anchor = "end"
		}
		d.f(`<line class="grid%[7]s" x1="%[1]g%%" x2="%[1]g%%" y1="%[2]g" y2="%[3]g"/><text class="num%[7]s" x="%[1]g%%" y="%[4]g" text-anchor="%[5]s">%[6]s</text>`,
			x, voltsTop, axisTop+4, axisTop+17, anchor, clock(k*step, step), class)
	}
	slices.Sort(out)
	return out
}

// curve draws a series in a frame of its own that is stretched to the width. Steps from
// point to point are written, for they are shorter than places.
func (d *drawing) curve(class string, runs []run, s scale, top, height float64) {
	if len(runs) == 0 {
		return
	}
	d.f(`<svg x="0" y="%g" width="100%%" height="%g" viewBox="0 0 %d 1000" preserveAspectRatio="none"><path vector-effect="non-scaling-stroke" class="line %s" d="`, top, height, frame, class)
	b := make([]byte, 0, 8*count(runs))
	across := frame / (d.v.to - d.v.from)
	place := func(p series.Point) (x, y int64) {
		return int64(math.Round(across * (p.T - d.v.from))), int64(math.Round(1000 * (1 - s.part(p.V))))
	}
	for _, r := range runs {
		x, y := place(r[0])
		b = pair(append(b, 'M'), x, y)
		b = append(b, 'l')
		last := byte('l')
		for _, p := range r[1:] {
			nx, ny := place(p)
			if nx == x && ny == y {
				continue
			}
			if last != 'l' && nx >= x {
				b = append(b, ' ')
			}
			b, last = pair(b, nx-x, ny-y), 0
			x, y = nx, ny
		}
		if last == 'l' { // one place: a line of no length is a dot
			b = append(b[:len(b)-1], "h0"...)
		}
	}
	if d.v.dots && count(runs) <= mostDots {
		b = append(b, `"/><path vector-effect="non-scaling-stroke" class="dot `+class+`" d="`...)
		for _, r := range runs {
			for _, p := range r {
				x, y := place(p)
				b = append(pair(append(b, 'M'), x, y), "h0"...)
			}
		}
	}
	d.Write(b)
	d.WriteString(`"/></svg>`)
}

// pair writes two numbers of a path.
func pair(b []byte, x, y int64) []byte {
	b = strconv.AppendInt(b, x, 10)
	if y >= 0 { // a minus parts them too
		b = append(b, ' ')
	}
	return strconv.AppendInt(b, y, 10)
}

// escaped is a text for a drawing, without what a file of XML cannot hold (XML 1.0, 2.2).
func escaped(s string) string {
	return html.EscapeString(strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' || r == '\ufffe' || r == '\uffff' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd")))
}

// mostDots is how many readings are drawn as dots: more would be a thick line.
const mostDots = 260

func count(runs []run) (n int) {
	for _, r := range runs {
		n += len(r)
	}
	return n
}

// tick draws an event's or a mark's line. Its sign joins those of events that stand too
// near; a mark's is left out then.
func (d *drawing) tick(k dossier.Tick) {
	t := k.At.Seconds()
	sign, side := words.TickSign(k)
	if sign == "" || !d.inside(t) {
		return
	}
	x := d.x(t)
	class := strings.TrimSpace("tick " + string(side))
	d.f(`<g class="%s"><title>%s  %s</title><line x1="%[4]g%%" x2="%[4]g%%" y1="%[5]g" y2="%[6]g"/>`,
		class, words.SessionTime(t), escaped(words.TickText(k)), x, stripHeight-5, axisTop)
	d.WriteString(`</g>`)
	room := 1.6
	if d.v.half {
		room *= 2
	}
	i := slices.IndexFunc(d.signs, func(g signs) bool { return math.Abs(x-g.x) < room })
	switch {
	case i < 0:
		d.signs = append(d.signs, signs{x, sign, side})
	case k.Event != nil && !strings.Contains(d.signs[i].text, sign) && len([]rune(d.signs[i].text)) < 3:
		d.signs[i].text += sign
	}
}

// signs stand over the plot at one place, with the colour of the first.
type signs struct {
	x    float64 // per cent
	text string
	side analysis.Side
}

func (d *drawing) writeSigns() {
	for _, g := range d.signs {
		anchor := "middle"
		if g.x > 98 {
			anchor = "end"
		} else if g.x < 2 {
			anchor = "start"
		}
		d.f(`<text class="%s" x="%g%%" y="%g" text-anchor="%s">%s</text>`, strings.TrimSpace("sign-at "+string(g.side)), g.x, stripHeight-9, anchor, escaped(g.text))
	}
}

// gutterBody draws the value axes.
func (t trace) gutterBody(v view) string {
	d := &drawing{v: v}
	axis := func(s scale, top, height float64, format string) {
		for _, y := range ticks(s, 5) {
			text := fmt.Sprintf(format, words.Unsigned(y, 2))
			if text == "+0" {
				text = "0"
			}
			d.f(`<text class="num" x="%g" y="%g" text-anchor="end">%s</text>`, gutter-5, round1(top+height*(1-s.part(y))+4), text)
		}
	}
	axis(v.volts, voltsTop, voltsHeight, fmt.Sprintf("%%.%df", decimals(ticks(v.volts, 5))))
	axis(v.trim, trimTop, trimHeight, "%+.0f")
	d.f(`<text class="unit" transform="translate(10 %g) rotate(-90)" text-anchor="middle">%s</text>`, voltsTop+voltsHeight/2, escaped(t.upperName()))
	d.f(`<text class="unit" transform="translate(10 %g) rotate(-90)" text-anchor="middle">%s</text>`, trimTop+trimHeight/2, escaped(words.TrimOf(t.Sensor)))
	d.f(`<text class="unit" x="%g" y="%g" text-anchor="end">time</text>`, gutter-5, axisTop+17)
	return d.String()
}

func (t trace) upperName() string {
	if t.Wide() {
		return words.LambdaOf(t.Sensor.String())
	}
	return words.VoltageOf(t.Sensor.String())
}

// says is the figure in words, for who cannot see it.
func (t trace) says(v view, s shown) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s. %s above, short-term trim below, from %s to %s.", v.title, map[bool]string{true: "Lambda", false: "Sensor voltage"}[t.Wide()], words.SessionTime(v.from), words.SessionTime(v.to))
	about := func(what, unit string, of thinned) {
		if of.count > 0 {
			fmt.Fprintf(&b, " %s between %.2f and %.2f%s, %d readings.", what, of.span.lo, of.span.hi, unit, of.count)
		}
	}
	if t.Wide() {
		about("Lambda", "", s.upper)
		about("Commanded lambda", "", s.beside)
	} else {
		about("Voltage", " V", s.upper)
	}
	about("Trim", " %", s.trim)
	for _, band := range t.Holds {
		if band.To >= v.from && band.From <= v.to {
			fmt.Fprintf(&b, " Driven %s from %s to %s.", band.Side, words.SessionTime(band.From), words.SessionTime(band.To))
		}
	}
	return b.String()
}

// inline is the figure for a page: value axes that stay, and the plot that may scroll.
func (t trace) inline(v view) string {
	s := t.shown(v)
	return fmt.Sprintf(`<svg class="gutter" width="%[1]g" height="%[2]g" aria-hidden="true">%[3]s</svg>`+
		`<div class="scroll" tabindex="0" role="group" aria-label="%[4]s"><svg class="plot" height="%[2]g" role="img" aria-label="%[5]s">%[6]s</svg></div>`,
		gutter, plotHeight, t.gutterBody(v), escaped(v.title), escaped(t.says(v, s)), t.body(v, s))
}

// alone is the figure as a file of its own.
func (t trace) alone(v view, style string) string {
	const width = 1000.0
	s := t.shown(v)
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %[1]g %[2]g" width="%[1]g" height="%[2]g" role="img" aria-label="%[3]s"><style>%[4]s</style>`+
		`<rect width="100%%" height="100%%" fill="#fff"/><svg width="%[5]g" height="%[2]g">%[6]s</svg><svg x="%[5]g" width="%[7]g" height="%[2]g">%[8]s</svg></svg>`+"\n",
		width, plotHeight, escaped(t.says(v, s)), style, gutter, t.gutterBody(v), width-gutter-12, t.body(v, s))
}

// whole shows the session to a length, which may be that of a longer one beside it.
func (t trace) whole(length float64, title string, volts, trim scale) view {
	return view{from: 0, to: max(length, 1), volts: volts, trim: trim, title: title}
}

// around shows one force with what led to it and what came of it.
func (t trace) around(b dossier.Hold, title string, volts, trim scale, hold float64) view {
	return view{from: b.From - 6, to: b.From + hold + 16, zero: b.From, volts: volts, trim: trim, dots: true, half: true, title: title}
}

// longest returns the force of a side that was held longest.
func (t trace) longest(side analysis.Side) (dossier.Hold, bool) {
	var best dossier.Hold
	for _, b := range t.Holds {
		if b.Side == side && b.To-b.From > best.To-best.From {
			best = b
		}
	}
	return best, best.To > best.From
}
