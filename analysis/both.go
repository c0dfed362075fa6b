package analysis

import (
	"math"

	"pushback/analysis/reason"
)

// Both joins the watchers of two banks' sensors, both of whose wires are held in one test, some seconds apart. Then the other
// bank's reading and trim move for a reason of their own; which bank is whose is told by the order: the wire that was asked for
// first must be the one that is read first.
type Both struct {
	banks  [2]*Watcher
	passes []pass
}

// pass is one side's hold of both wires.
type pass struct {
	side  Side
	asked [2]float64 // s: when a guide asked for each; NaN: not yet
	end   float64    // s: when it asked for hands off; +Inf: not yet
}

// apartLeast is how long after each other two holds must begin to be told apart, s (common practice, no source).
const apartLeast = 2.0

// Join joins the watchers of two sensors, of narrow ones.
func Join(a, b *Watcher) *Both {
	b2 := &Both{banks: [2]*Watcher{a, b}}
	a.both, b.both = b2, b2
	return b2
}

// Asked takes that a guide asks from at (s) on for a side of bank i to be held; "" is hands off.
func (b *Both) Asked(at float64, i int, side Side) {
	n := len(b.passes)
	open := n > 0 && math.IsInf(b.passes[n-1].end, 1)
	switch {
	case side == "" && open:
		b.passes[n-1].end = at
	case side == "":
	case open && b.passes[n-1].side == side:
		if p := &b.passes[n-1]; math.IsNaN(p.asked[i]) {
			p.asked[i] = at
		}
	default:
		if open { // what is held from here on is of the other side
			b.passes[n-1].end = at
		}
		p := pass{side: side, asked: [2]float64{math.NaN(), math.NaN()}, end: math.Inf(1)}
		p.asked[i] = at
		b.passes = append(b.passes, p)
	}
}

// heldBeside reports whether the other bank's wire was held in the force, by time by, s, in the same test.
func (w *Watcher) heldBeside(f *force, by float64) bool {
	if w.both == nil {
		return false
	}
	other := w.both.beside(w)
	if other.heldPerhaps(other.bank, f.begin, by) {
		return true
	}
	for _, g := range other.forces {
		if g.begin <= by && (!g.ended || g.end >= f.begin) {
			return true
		}
	}
	return false
}

func (b *Both) beside(w *Watcher) *Watcher {
	if b.banks[0] == w {
		return b.banks[1]
	}
	return b.banks[0]
}

// began is when the reading of a bank was first held in a pass, s, on whatever side, for whose hands take the other one may do so at one
// wire alone; NaN: it was not.
func (p pass) began(w *Watcher, from float64) float64 {
	for _, f := range w.forces {
		if f.seen && f.begin >= from-1 && f.begin < p.end {
			return f.begin
		}
	}
	return math.NaN()
}

// order says which reading was held first where the wire of bank first was to be: +1 its own, -1 the other's, 0 cannot be told.
func (b *Both) order(p pass) (order int, begins [2]float64) {
	first := 0
	if !(p.asked[0] <= p.asked[1]) && !math.IsNaN(p.asked[1]) {
		first = 1
	}
	from, next := p.asked[first], p.asked[1-first]
	begins = [2]float64{p.began(b.banks[0], from), p.began(b.banks[1], from)}
	own, other := begins[first], begins[1-first]
	switch {
	case own+apartLeast <= other, math.IsNaN(other) && heldBefore(own, next):
		return +1, begins
	case other+apartLeast <= own, math.IsNaN(own) && heldBefore(other, next):
		return -1, begins
	}
	return 0, begins
}

// heldBefore reports whether a reading was held, and before the other wire was asked for, if it ever was, s: a swing of the sensor's
// own may go over into the hold, which seems to begin earlier by as much.
func heldBefore(held, asked float64) bool {
	return held+apartLeast <= asked || math.IsNaN(asked) && !math.IsNaN(held)
}

// bankOfBoth is [assessment.bankProof] where both wires are held. Special cases are: wires that were held in their own order once
// are not crossed, whatever another hold was like (hands take the wrong one sometimes).
func (c *assessment) bankOfBoth() Proof {
	b := c.w.both
	mine := 0
	if b.banks[1] == c.w {
		mine = 1
	}
	var own, crossed map[string]float64
	for _, p := range b.passes {
		order, begins := b.order(p)
		e := evidence("begin_s", begins[mine], "other_begin_s", begins[1-mine])
		switch {
		case order > 0 && own == nil:
			own = e
		case order < 0 && crossed == nil:
			crossed = e
		}
	}
	for _, f := range c.forces {
		switch {
		case f.emittedOther && !c.w.heldBeside(f, f.other.onset+apartLeast): // else its trim answered its own wire, perhaps, which was seen later
			return Proof{ProofBank, Failed, reason.OtherTrimAnswered.Of(c.w.bank, c.w.other),
				evidence("moved_pct", f.other.up*f.other.moved(), "own_moved_pct", f.own.up*f.own.moved())}
		case own != nil && f.own.state == answered:
			own["own_moved_pct"] = round3(f.own.up * (f.own.top - f.own.start))
			return Proof{ProofBank, Proven, reason.BankInOrder.Of(c.w.bank), own}
		}
	}
	switch {
	case own != nil:
		return Proof{ProofBank, Untested, reason.NoTrimAnswered.Of(), own}
	case crossed != nil:
		return Proof{ProofBank, Failed, reason.OtherInOrder.Of(c.w.bank, c.w.other), crossed}
	case len(c.forces) > 0:
		return Proof{ProofBank, Unclear, reason.OrderNotTold.Of(), evidence()}
	}
	return Proof{ProofBank, Untested, reason.NoTrimAnswered.Of(), evidence()}
}

// Joined is the verdict on both banks' wires, in the order of their sensors: the one that finds a fault, or decides less, with the other
// [Verdict.Beside] it. Of two alike it is the first.
func Joined(a, b Verdict) Verdict {
	if rank(b.Conclusion) < rank(a.Conclusion) {
		a, b = b, a
	}
	a.Beside = &b
	return a
}

// rank orders conclusions: what is to be done first comes first.
func rank(c Conclusion) int {
	switch c {
	case WrongBank:
		return 0
	case InputDead, NoCommand, NoDelivery, SensorDead, SensorSlow, SensorSkewed:
		return 1
	case ConclusionUnclear:
		return 2
	case ConclusionNotReady:
		return 3
	case NothingForced:
		return 4
	case PartlyProven:
		return 5
	}
	return 6
}

// Of is the part of a verdict that is about a sensor; the whole where only one was tested.
func (v Verdict) Of(sensor string) Verdict {
	if v.Beside != nil && v.Sensor != sensor && v.Beside.Sensor == sensor {
		v = *v.Beside
	}
	v.Beside = nil
	return v
}

// Banks are the verdicts on both banks, by sensor; of one that tested one sensor itself.
func (v Verdict) Banks() []Verdict {
	if v.Beside == nil {
		return []Verdict{v}
	}
	a, b := v, *v.Beside
	a.Beside = nil
	if b.Sensor < a.Sensor {
		a, b = b, a
	}
	return []Verdict{a, b}
}
