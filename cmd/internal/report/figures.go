package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"sync"

	"pushback/analysis"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words"
)

// Drawings are the figures of a report: whole recordings, forces from close by, and trim
// against air flow.
type Drawings struct{ Whole, Close, Clouds []*Figure }

// draw draws the traces of all sides on the same axes, of each side of the signal the
// force that was held longest, and the trims. Figures are numbered as they stand in the page.
func (r *Report) draw() (out Drawings) {
	traces := make([]trace, len(r.Subjects))
	length, n := 0.0, 0
	for i, s := range r.Subjects {
		traces[i] = s.trace()
		length = max(length, s.trace().End)
	}
	trim := trimScale(traces...)
	var work sync.WaitGroup // hours of readings take a while to draw
	figure := func(title, note string, zoom bool, inline func() template.HTML) *Figure {
		n++
		f := &Figure{N: n, Title: title, Note: note, Zoom: zoom}
		work.Go(func() { f.Drawing = inline() })
		return f
	}
	trace := func(s *Subject, v view, note string) *Figure {
		return figure(v.title, note, true, func() template.HTML { return template.HTML(s.trace().inline(v)) })
	}
	cloudFigures := func() {
		cs := clouds(r.compared())
		if !slices.ContainsFunc(cs, func(c cloud) bool { return c.fit.Model == trimmap.Falling || c.fit.Model == trimmap.Full }) {
			return // of one air flow there is nothing to see
		}
		for _, c := range cs {
			out.Clouds = append(out.Clouds, figure(c.title, c.note(), false, c.inline))
		}
	}
	if r.Compare != nil {
		cloudFigures()
	}
	for _, s := range r.Subjects {
		out.Whole = append(out.Whole, trace(s, s.trace().whole(length, label(s, "The whole recording"), s.trace().upperScale(traces...), trim), ""))
	}
	for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
		hold := 0.0
		for _, s := range r.Subjects {
			if b, ok := s.trace().longest(side); ok {
				hold = max(hold, min(b.To-b.From, 60))
			}
		}
		for _, s := range r.Subjects {
			b, ok := s.trace().longest(side)
			if !ok {
				continue
			}
			v := s.trace().around(b, label(s, strings.ToUpper(string(side)[:1])+string(side)[1:]+" step "+words.Arrow(side)), s.trace().upperScale(traces...), trim, hold)
			note := fmt.Sprintf("From %s to %s; time 0 is the start of the step.", words.SessionTime(b.From), words.SessionTime(b.To))
			if s.trace().within(v) <= mostDots {
				note += " Each dot is one reading."
			}
			if many := s.trace().count(side); many > 1 {
				note += fmt.Sprintf(" The longest of %d.", many)
			}
			out.Close = append(out.Close, trace(s, v, note))
		}
	}
	if r.Compare == nil {
		cloudFigures()
	}
	work.Wait()
	return out
}

// within is how many readings of the sensor a view shows.
func (t trace) within(v view) int { return count(thin(t.upper(), v.from, v.to, fine).runs) }

// Bars draws how much the computer corrects, before and after; empty where that cannot
// be compared.
func (c *Comparison) Bars() template.HTML {
	if c.Mean == nil {
		return ""
	}
	most := 10.0
	for _, m := range c.Mean {
		most = max(most, 5*math.Ceil(math.Abs(m)/5))
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="bars" viewBox="0 0 640 132" role="img" aria-label="Mean correction of the fuel before: %s %%, after: %s %%.">`, words.Signed(c.Mean[0], 1), words.Signed(c.Mean[1], 1))
	x := func(v float64) float64 { return 360 + 210*v/most }
	for _, v := range []float64{-most, 0, most} {
		fmt.Fprintf(&b, `<line class="base" x1="%[1]g" x2="%[1]g" y1="%[3]g" y2="104"/><text class="num" x="%[1]g" y="120" text-anchor="middle">%[2]s %%</text>`, x(v), strings.TrimPrefix(fmt.Sprintf("%+.0f", v), map[bool]string{true: "+"}[v == 0]), map[bool]float64{true: 8, false: 98}[v == 0])
	}
	for i, m := range c.Mean {
		y := 16 + 46*float64(i)
		text, does, anchor, dx := []string{"before", "after"}[i], "adds", "start", 6.0
		if m < 0 {
			does, anchor, dx = "cuts", "end", -6
		}
		fmt.Fprintf(&b, `<text class="name" x="96" y="%g" text-anchor="end">%s</text><rect class="%s" x="%.1f" y="%g" width="%.1f" height="34"/><text class="name" x="%.1f" y="%g" text-anchor="%s">%s %%</text>`,
			y+23, text, does, min(x(0), x(m)), y, max(2, math.Abs(x(m)-x(0))), x(m)+dx, y+23, anchor, words.Signed(m, 1))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}

func label(s *Subject, what string) string {
	if s.Title == "" {
		return what
	}
	return s.Title + ": " + strings.ToLower(what[:1]) + what[1:]
}

// Figure is a drawing in the page.
type Figure struct {
	N           int
	Title, Note string
	Drawing     template.HTML
	Zoom        bool // along time
}

// count is how often a side was held.
func (t trace) count(side analysis.Side) (n int) {
	for _, b := range t.Holds {
		if b.Side == side {
			n++
		}
	}
	return n
}
