package upset

import (
	"math"
	"slices"
)

// What is kept and when it is looked at, in slots.
const (
	keep      = 400
	restFor   = 120 // of rest that a loop is fitted to
	leastRest = 40
	leastRun  = 4   // a run on one side that may be the beginning of a change
	longRun   = 1.5 // of the usual one, where the loop is slow
	shiftFor  = 12
	shiftBy   = 1.6 // %: two counts by which the mean of trim over shiftFor must differ from what it was
	mayBegin  = 28  // a change begins in so much of a run
	lookFirst = 14  // after that
	lookEvery = 8   // and again, more and more seldom
	lookFor   = 136 // and no more after that
	settles   = 8   // a change is over for so long before it is told
	closes    = 40  // and looked at for so long
	fitEvery  = 40
	oldest    = 300
)

// MaxSuspects is how many changes are remembered, and maxPast how many that came to nothing.
const (
	MaxSuspects = 16
	maxPast     = 64
)

// sides of the mean reading of a slot, V: beyond them it is lean or rich.
const (
	leanBelow = 0.3
	richAbove = 0.6
)

// Watch collects slots and weighs what may be changes. The zero value is ready.
type Watch struct {
	Suspects []Suspect // at most MaxSuspects, the least likely goes
	Own      int       // changes that were forgotten; they came to nothing
	Past     []Change  // the latest of them that were over

	slots []Slot
	base  int // the number of the first of slots
	now   int // and of the one that is being read
	begun bool
	slot  slot

	closed bool // one was, since the last reading

	state State   // of the run that goes on
	from  int     // its first slot
	usual float64 // slots, of runs
	away  State   // where trim has gone lately

	room  weighing
	going going
	rest  []Slot

	fitted   loops // last, to the rest before fittedAt
	fittedAt int
}

// slot is one that is being read.
type slot struct {
	volts, trims float64
	n, trimsN    int
	trim         float64 // the latest
	off          bool
}

// Suspect is what may be a change.
type Suspect struct {
	Change
	from  int // where it was noticed
	wide  int // it may have begun so many slots later, and half as many before; 0: in the run of the reading
	loops loops
	due   int // its age at the next look
	looks int
}

// Volts takes a reading of the sensor at t, s; it reports whether a slot was closed since the one before.
func (w *Watch) Volts(t, v float64) bool {
	w.until(t)
	w.slot.volts += v
	w.slot.n++
	closed := w.closed
	w.closed = false
	return closed
}

// Trim takes a reading of total trim, %.
func (w *Watch) Trim(t, u float64) {
	w.until(t)
	w.slot.trims += u
	w.slot.trimsN++
	w.slot.trim = u
}

// Off says that what is read now tells nothing of rest.
func (w *Watch) Off() { w.slot.off = true }

func (w *Watch) until(t float64) {
	k := int(t / Step)
	if !w.begun || k > w.now+keep { // also after a long gap
		*w = Watch{begun: true, now: k, base: k, from: k, state: None, slots: w.slots[:0], Suspects: w.Suspects[:0], Own: w.Own, Past: w.Past, room: w.room, rest: w.rest}
	}
	for w.now < k {
		w.close()
		w.closed = true
	}
}

func (w *Watch) close() {
	s := Slot{State: None, Trim: w.slot.trim, Off: w.slot.off}
	if n := float64(w.slot.n); n > 0 {
		switch v := w.slot.volts / n; {
		case v > richAbove:
			s.State = Rich
		case v < leanBelow:
			s.State = Lean
		default:
			s.State = Between
		}
	}
	if n := float64(w.slot.trimsN); n > 0 {
		s.Trim = w.slot.trims / n
	}
	if len(w.slots) == 2*keep {
		copy(w.slots, w.slots[keep:])
		w.slots, w.base = w.slots[:keep], w.base+keep
	}
	w.slots = append(w.slots, s)
	w.slot = slot{trim: w.slot.trim}
	if s.State != None && s.State != w.state {
		w.usual += 0.1 * (min(float64(w.now-w.from), 2*w.usual+leastRun) - w.usual)
		w.state, w.from = s.State, w.now
	}
	w.now++
	if (w.state == Lean || w.state == Rich) && w.now-w.from == max(leastRun, int(w.usual*longRun)) {
		w.suspect(w.state, w.from, 0)
	}
	w.shifted()
}

// shifted suspects a change where the mean of trim has left what it was: a fast loop's reading shows one for a moment only.
func (w *Watch) shifted() {
	n := len(w.slots)
	if n < shiftFor+leastRest {
		return
	}
	var near, before float64
	for _, s := range w.slots[n-shiftFor:] {
		near += s.Trim
	}
	m := min(n-shiftFor, restFor)
	for _, s := range w.slots[n-shiftFor-m : n-shiftFor] {
		before += s.Trim
	}
	was := w.away
	switch d := near/shiftFor - before/float64(m); {
	case d > shiftBy:
		w.away = Lean
	case d < -shiftBy:
		w.away = Rich
	default:
		w.away = Between
	}
	if w.away != Between && w.away != was {
		w.suspect(w.away, w.now-shiftFor, shiftFor)
	}
}

func (w *Watch) suspect(side State, from, wide int) {
	if from-w.base < leastRest {
		return
	}
	if len(w.Suspects) == MaxSuspects { // one that was looked at goes
		worst := 0
		for i := range w.Suspects {
			if x := &w.Suspects[i]; x.Hand < w.Suspects[worst].Hand && w.now-x.from >= lookFirst {
				worst = i
			}
		}
		if w.now-w.Suspects[0].from > oldest {
			worst = 0
		}
		if x := &w.Suspects[worst]; x.Real() {
			w.Own++
			if x.weighed() {
				if len(w.Past) == maxPast {
					w.Past = slices.Delete(w.Past, 0, 1)
				}
				w.Past = append(w.Past, x.Change)
			}
		}
		w.Suspects = slices.Delete(w.Suspects, worst, worst+1)
	}
	none := math.Inf(-1)
	w.Suspects = append(w.Suspects, Suspect{from: from, wide: wide, Change: Change{Side: side, Hand: none, Own: none}})
}

// Look weighs those suspects that are due and began when it is worth it, and reports whether there were any; last: no more will be read.
func (w *Watch) Look(last bool, worth func(from float64) bool) (any bool) {
	for i := range w.Suspects {
		c := &w.Suspects[i]
		age := w.now - c.from
		if age > lookFor || age < leastRun || c.weighed() && w.now-c.end > closes || !last && age < max(lookFirst, c.due) {
			continue
		}
		if c.looks++; c.looks > 2 && math.IsInf(c.Hand, -1) {
			c.due = lookFor // it stands out too little
			continue
		}
		c.due, any = age+lookEvery+age/8, true
		if worth(float64(c.from) * Step) {
			w.weigh(c)
		} else {
			c.Hand, c.Own = math.Inf(-1), math.Inf(-1)
		}
	}
	return any
}

func (c *Suspect) weighed() bool { return c.Hand > 0 }

func (w *Watch) weigh(c *Suspect) {
	if c.loops.n == 0 && w.fitted.n > 0 && c.from >= w.fittedAt && c.from-w.fittedAt < fitEvery {
		c.loops = w.fitted
	}
	if c.loops.n == 0 {
		lo := max(c.from-restFor, w.base)
		w.rest = append(w.rest[:0], w.slots[lo-w.base:c.from-w.base]...)
		for i := range w.Suspects {
			if o := &w.Suspects[i]; o.from < c.from && o.Hand > leastFit {
				for k := max(o.begin-2, lo); k < min(o.end+8, c.from); k++ {
					w.rest[k-lo].Off = true
				}
			}
		}
		c.loops = fit(w.rest)
		w.fitted, w.fittedAt = c.loops, c.from
	}
	if c.loops.n < leastRest {
		return
	}
	s, b0, b1, lo := w.about(c)
	c.Change = c.loops.weigh(s, c.Side, b0, b1, &w.room)
	c.begin, c.end = c.begin+lo, c.end+lo
	c.Begin, c.End = float64(c.begin)*Step, float64(c.end)*Step
}

// about are the slots by which a change is weighed, the first and last of them in which it may have begun, and the number of the first.
func (w *Watch) about(c *Suspect) (s []Slot, first, last, lo int) {
	b0, b1 := c.from-2, c.from
	if c.wide > 0 {
		b0, b1 = c.from-c.wide/2, c.from+c.wide
	} else {
		for b1 < min(w.now, c.from+mayBegin) && (w.slots[b1-w.base].State == c.Side || w.slots[b1-w.base].State == None) {
			b1++
		}
	}
	lo, hi := max(b0-maxLag, w.base), min(w.now, c.from+lookFor)
	return w.slots[lo-w.base : hi-w.base], b0 - lo, b1 - 1 - lo, lo
}

// Reaches is the logarithm of how much likelier what was read about the change is where trim reaches the mixture than where a hand alone moved it,
// to the side and back. Nothing that was read before counts. Minus infinity: it is too long ago.
func (w *Watch) Reaches(c *Suspect) float64 {
	if c.loops.n < leastRest || c.from-c.wide/2-maxLag-2 < w.base {
		return math.Inf(-1)
	}
	s, b0, b1, _ := w.about(c)
	return c.loops.reaches(s, c.Side, b0, b1, &w.room)
}

// Over reports whether the change has ended, and long enough ago.
func (w *Watch) Over(c *Suspect, last bool) bool {
	return c.weighed() && (last || w.now-c.end >= settles)
}

// Going weighs a change of that side which began in the run since t, s, and goes on. What was found holds for as long as the run was then by a quarter.
func (w *Watch) Going(side State, t float64) Change {
	from := max(int(t/Step), w.base)
	x := &w.going
	if x.from == from && w.now < x.until {
		return x.Change
	}
	c := Suspect{from: from, Change: Change{Side: side, Hand: math.Inf(-1), Own: math.Inf(-1)}}
	if from-w.base >= leastRest && from < w.now {
		w.room.goes = true
		w.weigh(&c)
		w.room.goes = false
	}
	*x = going{from: from, until: w.now + 1 + (w.now-from)/4, Change: c.Change}
	return c.Change
}

// going is what Going found last.
type going struct {
	Change
	from, until int
}
