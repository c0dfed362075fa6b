package fourth

import "math"

// seen is what really happened in a hold.
type seen struct {
	hold
	on        float64 // share of it in which the input lay on the held side
	moved     float64 // how far total trim went against it at most
	hunting   float64 // how far short-term trim went up and down in the 12 s before the first hold, or the 5 s before this one
	commanded float64 // s from its beginning until trim was first moved against it; 0: not known
	told      float64 // and until the port showed that
	made      float64 // s, of the 4 s after it, in which the sensor's gas was on the side that the loop made
	others    float64 // how far the other bank's trim went at most
	grams     float64 // of oxygen that the excess of the hold came to
	parted    bool    // the computer left closed loop, or let go, in it
}

// witness watches a car from within.
type witness struct {
	holds []seen
	trims []float64 // short-term trim of the last 12 s
	rest  float64   // how far it went before the first hold
	marks []onset
}

// onset follows a hold's first answer.
type onset struct {
	total, other, low, lowAt, lowTold float64
	steps                             float64
	turning                           bool // the loop was moving the other way, so that its turn can be seen
}

func newWitness(s *spec) *witness {
	w := &witness{marks: make([]onset, len(s.plan.holds))}
	for _, h := range s.plan.holds {
		w.holds = append(w.holds, seen{hold: h})
	}
	return w
}

func (w *witness) step(c *car) {
	k := c.brain
	for i := range w.holds {
		h, m := &w.holds[i], &w.marks[i]
		sign := 1.0 // of the trim that answers
		if h.side == "rich" {
			sign = -1
		}
		switch {
		case c.t >= h.begin && c.t < h.end:
			if m.steps == 0 {
				*m = onset{total: k.total(0), other: k.total(1), low: sign * k.short[0], lowAt: c.t, lowTold: trimByte(sign * k.told[0].short), turning: k.loops[0].adding == (sign < 0)}
				if i == 0 {
					w.rest = spread(w.trims)
				}
				h.hunting = max(w.rest, spread(w.trims[max(0, len(w.trims)-int(5/dt)):]))
			}
			m.steps++
			w.within(c, h, m, sign)
		case c.t >= h.end && c.t < h.end+4 && sign*(c.phi[0]-1) > 0.02:
			h.made += dt
		}
	}
	if w.trims = append(w.trims, k.short[0]); len(w.trims) > int(12/dt) {
		w.trims = w.trims[1:]
	}
}

func (w *witness) within(c *car, h *seen, m *onset, sign float64) {
	k := c.brain
	in := c.inputs[0]
	v := c.volts[0] - in.raised
	if h.side == "lean" && v < 0.3 || h.side == "rich" && v > 0.55 {
		h.on += dt / (h.end - h.begin)
	}
	h.moved = max(h.moved, sign*(k.total(0)-m.total))
	h.others = max(h.others, math.Abs(k.total(1)-m.other))
	h.grams += 0.2315 * c.engine[0].airflow(c.now) * math.Abs(c.phi[0]-1) * dt
	h.parted = h.parted || k.status != 2 || k.letGo[0]
	now, told := sign*k.short[0], trimByte(sign*k.told[0].short)
	if h.commanded == 0 {
		if now <= m.low {
			m.low, m.lowAt = now, c.t
		} else if now > m.low+0.004 && m.turning {
			h.commanded = max(m.lowAt-h.begin, dt)
		}
	}
	if h.told == 0 && h.commanded > 0 && told > m.lowTold {
		h.told = c.t - h.begin
	}
	m.lowTold = min(m.lowTold, told)
}

func spread(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	lo, hi := x[0], x[0]
	for _, v := range x {
		lo, hi = min(lo, v), max(hi, v)
	}
	return hi - lo
}

// visible: someone who looks at the readings can see that trim answers.
func (h *seen) visible() bool {
	return h.on >= 0.6 && h.end-h.begin >= 3.5 && h.moved >= max(0.025, 1.1*h.hunting)
}

// clear: nobody could miss it, nor what the sensor says after it, at rate readings/s.
func (h *seen) clear(rate float64) bool {
	return h.on >= 0.85 && h.end-h.begin >= 6 && rate*(h.end-h.begin) >= 10 && h.moved >= max(0.05, 1.5*h.hunting+0.02) &&
		h.made >= max(1, 3/rate) && !h.leftOpen && !h.parted
}

// attempted: some of it reached the computer.
func (h *seen) attempted() bool { return h.on > 0.3 }
