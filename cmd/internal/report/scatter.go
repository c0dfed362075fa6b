package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words"
)

// Heights of a scatter of trim against air flow, px.
const (
	cloudTop    = 8.0
	cloudHeight = 190.0
	cloudAxis   = cloudTop + cloudHeight
	cloudFull   = cloudAxis + 36
	cloudHead   = 26.0 // its title, in a file of its own
)

// A cloud is one bank's total trim against air flow.
type cloud struct {
	title      string
	unit       string        // of the flow
	points     []trimmap.Dot // what was read, in order of its first reading
	count      int           // readings
	over, span scale         // of the points: flow, trim
	flow, trim scale         // of the axes
	fit        trimmap.Fit
	half       bool // it has half of the page's width
}

// clouds returns what of each side can be drawn, all on the same axes as far as they have
// the same unit.
func clouds(sides []*Subject) (out []cloud) {
	flows, trim := map[string]scale{}, scale{-10, 10}
	for _, s := range sides {
		for _, b := range s.Map.Banks {
			c := cloud{title: label(s, fmt.Sprintf("Bank %d: total trim against air flow", b.Bank)), unit: s.Map.FlowUnit, fit: b.Fit}
			c.points = s.Map.Dots(b.Bank)
			c.over, c.span = none, none
			for _, p := range c.points {
				c.count += p.Count
				c.over, c.span = c.over.with(p.Flow), c.span.with(p.Total)
			}
			if c.count > 0 {
				flow := flows[c.unit]
				flow.hi = max(flow.hi, c.over.hi)
				flows[c.unit] = flow
				trim = scale{min(trim.lo, c.span.lo), max(trim.hi, c.span.hi)}
				out = append(out, c)
			}
		}
	}
	for i := range out {
		c := &out[i]
		c.flow = scale{0, flows[c.unit].hi * 1.05}
		c.trim = scale{math.Floor(trim.lo/5) * 5, math.Ceil(trim.hi/5) * 5}
		c.half = len(out) > 1
	}
	return out
}

// dots joins readings that lie on each other in a drawing of so many columns and rows:
// each occupied place has one dot, at the first reading that lies there, so a single
// outlier stays.
func (c *cloud) dots(columns, rows int) (out []trimmap.Dot) {
	at := map[[2]int]int{}
	for _, p := range c.points {
		k := [2]int{int(c.flow.part(p.Flow) * float64(columns)), int(c.trim.part(p.Total) * float64(rows))}
		i, ok := at[k]
		if !ok {
			i, at[k] = len(out), len(out)
			out = append(out, trimmap.Dot{Flow: p.Flow, Total: p.Total})
		}
		out[i].Count += p.Count
	}
	return out
}

// crowds are the classes of dots: a reading or a few, many, very many.
var crowds = []struct {
	from  int
	class string
}{{1, "few"}, {5, "many"}, {50, "most"}}

func (c *cloud) x(v float64) float64 { return round1(10000 * c.flow.part(v)) }
func (c *cloud) y(v float64) float64 { return round1(1000 * (1 - c.trim.part(v))) }

// body draws the cloud without its value axis; the element around it has the height.
func (c *cloud) body() string {
	var b strings.Builder
	px := func(v float64) float64 { return round1(cloudTop + cloudHeight*(1-c.trim.part(v))) }
	fmt.Fprintf(&b, `<rect class="usual" x="0" width="100%%" y="%g" height="%g"/>`, px(trimmap.Usual), px(-trimmap.Usual)-px(trimmap.Usual))
	for _, v := range ticks(c.trim, 5) {
		class := "grid"
		if v == 0 {
			class = "grid zero"
		}
		fmt.Fprintf(&b, `<line class="%s" x1="0" x2="100%%" y1="%[2]g" y2="%[2]g"/>`, class, px(v))
	}
	most := 10
	if c.half {
		most = 5
	}
	for _, v := range ticks(c.flow, most) {
		anchor, x := "middle", round1(100*c.flow.part(v))
		switch {
		case x < 2:
			anchor = "start"
		case x > 97:
			anchor = "end"
		}
		fmt.Fprintf(&b, `<line class="grid" x1="%[1]g%%" x2="%[1]g%%" y1="%[2]g" y2="%[3]g"/><text class="num" x="%[1]g%%" y="%[4]g" text-anchor="%[5]s">%[6]g</text>`,
			x, cloudTop, cloudAxis+4, cloudAxis+16, anchor, math.Round(v*1e6)/1e6)
	}
	fmt.Fprintf(&b, `<line class="base" x1="0" x2="100%%" y1="%[1]g" y2="%[1]g"/><text class="unit" x="100%%" y="%[2]g" text-anchor="end">%[3]s</text>`,
		cloudAxis, cloudAxis+31, escaped(flowName(c.unit)))
	fmt.Fprintf(&b, `<svg x="0" y="%g" width="100%%" height="%g" viewBox="0 0 10000 1000" preserveAspectRatio="none">`, cloudTop, cloudHeight)
	dots := c.dots(240, 90)
	for i, k := range crowds {
		var d strings.Builder
		for _, p := range dots {
			if p.Count >= k.from && (i+1 == len(crowds) || p.Count < crowds[i+1].from) {
				fmt.Fprintf(&d, "M%.0f %.0fh0", c.x(p.Flow), c.y(p.Total))
			}
		}
		if d.Len() > 0 {
			fmt.Fprintf(&b, `<path vector-effect="non-scaling-stroke" class="point %s" d="%s"/>`, k.class, d.String())
		}
	}
	c.writeFit(&b)
	b.WriteString(`</svg>`)
	return b.String()
}

// writeFit draws the fitted curve over the flows that it speaks of, with its intervals at
// three of them.
func (c *cloud) writeFit(b *strings.Builder) {
	f := c.fit
	if !(f.High > 0) { // there is none
		return
	}
	const steps = 60
	b.WriteString(`<path vector-effect="non-scaling-stroke" class="line fit" d="`)
	for i := range steps + 1 {
		x := f.Low + (f.High-f.Low)*float64(i)/steps
		fmt.Fprintf(b, "%c%.0f %.0f", "ML"[min(i, 1)], c.x(x), c.y(f.A.Value/x+f.B.Value+f.C.Value*x))
	}
	for _, at := range []struct {
		x float64
		y trimmap.Interval
	}{{f.Low, f.AtLow}, {f.Mid, f.AtMid}, {f.High, f.AtHigh}} {
		fmt.Fprintf(b, "M%.0f %.0fV%.0f", c.x(at.x), c.y(at.y.Lo), c.y(at.y.Hi))
	}
	b.WriteString(`"/>`)
}

func (c *cloud) gutterBody() string {
	var b strings.Builder
	for _, v := range ticks(c.trim, 5) {
		text := words.Signed(v, 0)
		if text == "+0" {
			text = "0"
		}
		fmt.Fprintf(&b, `<text class="num" x="%g" y="%g" text-anchor="end">%s</text>`, gutter-5, round1(cloudTop+cloudHeight*(1-c.trim.part(v))+4), text)
	}
	fmt.Fprintf(&b, `<text class="unit" transform="translate(10 %g) rotate(-90)" text-anchor="middle">total trim, %%</text>`, cloudTop+cloudHeight/2)
	return b.String()
}

// says is the figure in words.
func (c *cloud) says() string {
	s := fmt.Sprintf("%s. %d readings from %.3g to %.3g %s, total trim from %s to %s %%.", c.title, c.count,
		c.over.lo, c.over.hi, c.unit, words.Signed(c.span.lo, 1), words.Signed(c.span.hi, 1))
	if f := c.fit; f.High > 0 {
		s += fmt.Sprintf(" The fitted curve goes from %s %% at %.3g to %s %% at %.3g.", words.Signed(f.AtLow.Value, 1), f.Low, words.Signed(f.AtHigh.Value, 1), f.High)
	}
	return s
}

// inline is the figure for a page.
func (c *cloud) inline() template.HTML {
	return template.HTML(fmt.Sprintf(`<svg class="gutter" width="%[1]g" height="%[2]g" aria-hidden="true">%[3]s</svg><svg class="plot" height="%[2]g" role="img" aria-label="%[4]s">%[5]s</svg>`,
		gutter, cloudFull, c.gutterBody(), escaped(c.says()), c.body()))
}

// note explains the figure.
func (c *cloud) note() string {
	note := fmt.Sprintf("Each dot is where readings lie, darker where there are many; shaded: the usual ±%.0f %%.", trimmap.Usual)
	if c.fit.High > 0 {
		note += " Line: the fit, with its 95 % intervals."
	}
	return note
}

// flowName labels the axis of an air flow in this unit of trimmap's.
func flowName(unit string) string {
	if strings.HasPrefix(unit, "g/s") {
		return "air flow, " + unit
	}
	return "speed × load, " + unit
}

// writeClouds writes one side's scatters as a file of their own, one below the other.
func writeClouds(cs []cloud, style string) string {
	const width = 1000.0
	var b strings.Builder
	height := float64(len(cs)) * (cloudFull + cloudHead)
	says := make([]string, len(cs))
	for i := range cs {
		says[i] = cs[i].says()
	}
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %[1]g %[2]g" width="%[1]g" height="%[2]g" role="img" aria-label="%[3]s"><style>%[4]s</style><rect width="100%%" height="100%%" fill="#fff"/>`,
		width, height, escaped(strings.Join(says, " ")), style)
	for i := range cs {
		cs[i].half = false // each has the width for itself
		y := float64(i) * (cloudFull + cloudHead)
		fmt.Fprintf(&b, `<text class="title" x="%g" y="%g">%s</text><svg y="%g" width="%[1]g" height="%[5]g">%[6]s</svg><svg x="%[1]g" y="%[4]g" width="%[7]g" height="%[5]g">%[8]s</svg>`,
			gutter, y+18, escaped(cs[i].title), y+cloudHead, cloudFull, cs[i].gutterBody(), width-gutter-12, cs[i].body())
	}
	b.WriteString("</svg>\n")
	return b.String()
}
