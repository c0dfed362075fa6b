package heldout

import (
	"math"
	"slices"

	"pushback/obd"
)

// hold is one force on a wire, or one move of the mixture.
type hold struct {
	side       string // lean or rich
	begin, end float64
	contact    contact
	slips      [][2]float64 // the contact is lost meanwhile
	wire       int          // of which bank
	opened     float64      // the sensor's branch is opened so long before; negative: never
	closed     float64      // and closed so long after
	touch      float64      // a first touch so long before, 0: none
	moves      float64      // of the mixture: φ, share
	onset      float64      // s
	emptying   float64      // s
}

func (h *hold) is(t float64) bool {
	if h.touch > 0 && t >= h.begin-h.touch && t < h.begin-h.touch+0.4 {
		return true
	}
	if t < h.begin || t >= h.end {
		return false
	}
	return !slices.ContainsFunc(h.slips, func(s [2]float64) bool { return t >= s[0] && t < s[1] })
}

// lasts reports whether it takes so many s and as many readings.
func (h *hold) lasts(n, rate float64) bool { return h.end-h.begin >= n && (h.end-h.begin)*rate >= n }

// branchOpen reports whether the sensor is off its wire.
func (h *hold) branchOpen(t float64) bool {
	return h.opened >= 0 && t >= h.begin-h.opened && t < h.end+h.closed
}

// moved is what the mixture is moved by: a first-order rise and fall. A hose or a line of gas
// fills and empties within one to some seconds (common practice, no source).
func (h *hold) moved(t float64) float64 {
	if t < h.begin {
		return 0
	}
	m := 1 - math.Exp(-(min(t, h.end)-h.begin)/h.onset)
	if t > h.end {
		m *= math.Exp(-(t - h.end) / h.emptying)
	}
	return h.moves * m
}

// technician is who does it, and what they say.
type technician struct {
	dice
	style    string
	holds    []hold
	marks    []obd.Record
	said     bool
	careless bool    // a mark is early, late, wrong or missing
	ends     float64 // of the recording
}

func (w *technician) force(c *car) {
	for i := range c.banks {
		c.banks[i].held, c.banks[i].joined = nil, true
	}
	c.extra = 0
	for i := range w.holds {
		h := &w.holds[i]
		if h.moves != 0 {
			c.extra += h.moved(c.t)
			continue
		}
		if h.wire >= len(c.banks) {
			continue
		}
		b := c.banks[h.wire]
		if h.is(c.t) {
			b.held = &h.contact
		}
		if h.branchOpen(c.t) {
			b.joined = false
		}
	}
}

// What hands do (guided tests by hands that err; weights: common practice, no source).
var styles = []struct {
	name   string
	weight float64
}{
	{"as it should be", 34}, {"each side twice", 12}, {"one side only", 10}, {"short", 9}, {"long", 6}, {"a slip", 6},
	{"let go and gripped again", 6}, {"a touch first", 5}, {"branch left open", 5}, {"the other wire first", 4}, {"the other wire", 3},
}

// plan makes the holds of a test by wire, from the time t on.
func (w *technician) plan(t float64, banks int, weak bool) {
	weights := make([]float64, len(styles))
	for i, s := range styles {
		weights[i] = s.weight
		if banks < 2 && i >= len(styles)-2 {
			weights[i] = 0
		}
	}
	w.style = styles[w.pick(weights...)].name
	sides := []string{"lean", "rich"}
	if w.chance(0.3) {
		sides = []string{"rich", "lean"}
	}
	switch w.style {
	case "each side twice":
		if w.chance(0.5) {
			sides = []string{sides[0], sides[0], sides[1], sides[1]}
		} else {
			sides = append(sides, sides...)
		}
	case "one side only":
		sides = sides[:1]
		if w.chance(0.4) {
			sides = append(sides, sides[0])
		}
	case "the other wire first":
		sides = append([]string{sides[0]}, sides...)
	}
	habit := w.habit(weak)
	for i, side := range sides {
		h := habit(side)
		h.begin = t
		length := w.in(10, 25)
		switch w.style {
		case "short":
			length = w.in(1.5, 7)
		case "long":
			length = w.in(30, 75)
		case "a slip":
			at := t + length*w.in(0.2, 0.8)
			h.slips = [][2]float64{{at, at + w.in(0.4, 2.5)}}
		case "a touch first":
			h.touch = w.in(0.8, 4)
		case "branch left open":
			if w.chance(0.6) {
				h.opened = max(h.opened, 0.3)
				h.closed = w.in(4, 25)
			}
		case "the other wire first":
			if i == 0 {
				h.wire = 1
			}
		case "the other wire":
			h.wire = 1
		}
		h.end = t + length
		w.holds = append(w.holds, h)
		rest := w.in(15, 45)
		if w.style == "let go and gripped again" && w.chance(0.7) {
			again := h
			again.begin = h.end + w.in(1.5, 6)
			again.end = again.begin + w.in(6, 18)
			again.opened = min(h.opened, 0.3)
			w.holds = append(w.holds, again)
			t = again.end + rest
			continue
		}
		t = h.end + max(h.closed, 0) + rest
	}
	w.ends = t
}

// habit is how these hands make a contact: the same all through a test.
func (w *technician) habit(weak bool) func(side string) hold {
	opens := w.chance(0.75) // they open the branch, as they should
	before := w.spread(0.2, 6)
	after := w.spread(0.1, 2)
	lean := contact{volts: 0, ohm: w.spread(0.5, 4)}
	if w.chance(0.12) { // through a poor contact
		lean.ohm = w.spread(20, 2000)
	}
	if w.chance(0.1) { // to a ground that is not the sensor's
		lean.volts = w.in(0.03, 0.2)
	}
	// Dividers of a dry cell: 0.90 V at 60, 405 or 600 Ω, 0.81 when it is old (Ohm's law).
	rich := contact{volts: w.in(0.85, 0.95), ohm: []float64{60, 405, 600}[w.IntN(3)]}
	if weak {
		rich.volts = w.in(0.6, 1.0)
		rich.ohm = w.spread(60, 3000)
	}
	return func(side string) hold {
		h := hold{side: side, contact: lean, opened: -1}
		if side == "rich" {
			h.contact = rich
		}
		if opens {
			h.opened, h.closed = before*w.in(0.7, 1.3), after*w.in(0.7, 1.3)
		}
		return h
	}
}

// say makes the marks: half of all technicians make none.
func (w *technician) say() {
	manner := w.pick(45, 25, 8, 10, 5, 4, 3)
	w.said, w.careless = manner > 0, manner > 1
	if !w.said {
		return
	}
	odd := w.IntN(max(len(w.holds), 1))
	for i, h := range w.holds {
		kind, at, off := obd.MarkLean, h.begin+w.in(-0.6, 1), h.end+w.in(-0.3, 1)
		if h.side == "rich" {
			kind = obd.MarkRich
		}
		switch manner {
		case 2: // early
			at = h.begin - w.in(1, 6)
		case 3: // late
			at, off = h.begin+w.in(1, 8), h.end+w.in(1, 6)
		case 4: // the wrong word, once
			if i == odd && kind == obd.MarkLean {
				kind = obd.MarkRich
			} else if i == odd {
				kind = obd.MarkLean
			}
		case 5: // no word of the release
			off = math.Inf(1)
		case 6: // one is forgotten
			if i == odd {
				continue
			}
		}
		w.mark(kind, at)
		if off < math.Inf(1) {
			w.mark(obd.MarkRelease, max(off, at+0.2))
		}
	}
	if len(w.marks) == 0 {
		w.said = false
	}
}

func (w *technician) mark(kind obd.MarkKind, at float64) {
	w.marks = append(w.marks, obd.Record{At: stamp(at), Mark: &obd.Mark{Kind: kind}})
}
