package fourth

import "math"

// hold is one force on the signal wire of bank 1's upstream sensor.
type hold struct {
	side       string
	begin, end float64
	volts      float64    // over the return, of what the wire is joined to
	ohms       float64    // of source and contact together
	joined     bool       // the sensor stays joined meanwhile
	shaky      bool       // the contact comes and goes
	leftOpen   bool       // the sensor's branch stays open after it
	marks      [2]float64 // when they said so, and that they let go; NaN: never
	said       string     // the side that they said
}

// plan is all that the technician does.
type plan struct {
	style string
	holds []hold
	marks string // none, or how they mark
}

// hands do the plan.
type hands struct {
	plan
	src    source
	broken float64 // s that a shaky contact is still off
	open   bool    // the branch was left open
}

// touch is what they do at t.
func (h *hands) touch(t float64) touch {
	for i := range h.holds {
		f := &h.holds[i]
		if t >= f.end && t < f.end+dt {
			h.open = f.leftOpen
		}
		if t < f.begin || t >= f.end {
			continue
		}
		h.open = false
		if f.shaky {
			if h.broken -= dt; h.broken <= 0 && h.src.chance(1.2*dt) {
				h.broken = h.src.logBetween(0.05, 0.5)
			}
		}
		return touch{on: !f.shaky || h.broken <= 0, volts: f.volts, ohms: f.ohms, branch: f.joined}
	}
	return touch{branch: !h.open}
}

// styles are what technicians do, with their weights.
var styles = []weighted[string]{{48, "both sides"}, {16, "one side"}, {9, "three holds"}, {5, "short holds"}, {4, "a touch"}, {6, "trembling"}, {4, "weak source"}, {4, "poor contact"}, {4, "branch left open"}}

// newPlan draws what the technician does from the time first on.
func newPlan(src source, first float64) plan {
	p := plan{style: pick(src, styles), marks: "none"}
	side := pick(src, []weighted[string]{{60, "lean"}, {40, "rich"}})
	n := 2
	switch p.style {
	case "one side", "a touch":
		n = 1
	case "three holds":
		n = 3
	}
	t := first
	for range n {
		f := hold{side: side, begin: t, end: t + src.between(7, 25), said: side, ohms: src.logBetween(0.1, 3), joined: side == "lean" && src.chance(0.4), marks: [2]float64{math.NaN(), math.NaN()}}
		switch p.style {
		case "short holds":
			f.end = t + src.between(4, 6.5)
		case "a touch":
			f.end = t + src.between(0.3, 1.6)
		case "trembling":
			f.shaky = true
		case "poor contact":
			f.ohms = src.logBetween(30, 600)
		}
		if side == "rich" {
			// A 1.5 V cell over two resistors.
			f.volts = src.between(0.84, 0.96)
			f.ohms += src.logBetween(60, 700)
			if p.style == "weak source" {
				f.volts, f.ohms = src.between(0.56, 0.75), f.ohms+src.logBetween(100, 20_000)
			}
		}
		p.holds = append(p.holds, f)
		t = f.end + src.between(9, 30)
		if side == "lean" {
			side = "rich"
		} else {
			side = "lean"
		}
	}
	if p.style == "branch left open" {
		p.holds[src.IntN(n)].leftOpen = true
	}
	if src.chance(0.5) {
		p.mark(src)
	}
	return p
}

// mark has them say what they do, well or badly.
func (p *plan) mark(src source) {
	p.marks = pick(src, []weighted[string]{{70, "well"}, {10, "early"}, {9, "late"}, {4, "wrong side"}, {4, "no release"}, {3, "not all"}})
	odd := src.IntN(len(p.holds))
	last := 0.0
	for i := range p.holds {
		f := &p.holds[i]
		off := src.between(-0.5, 0.8)
		switch p.marks {
		case "early":
			off = src.between(-4, -1)
		case "late":
			off = min(src.between(1, 4), f.end-f.begin-0.1)
		}
		f.marks = [2]float64{max(f.begin+off, last+0.1), f.end + src.between(-0.3, 0.9)}
		last = f.marks[1]
		if i == odd {
			switch p.marks {
			case "wrong side":
				f.said = map[string]string{"lean": "rich", "rich": "lean"}[f.side]
			case "not all":
				f.marks[0] = math.NaN()
			}
		}
		if p.marks == "no release" || p.marks == "not all" && i == odd {
			f.marks[1] = math.NaN()
		}
	}
}
