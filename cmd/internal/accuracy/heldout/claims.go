package heldout

import (
	"math"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
)

// judge decides what may be said of a test. doc.go says which rule each part follows from.
type judge struct {
	*truth.Test
	*witness
	car   *car
	port  *port
	hands *technician
	rear  bool
	held  map[string]int // how well a side was tested at best
	solid []*hold        // holds that anyone could see
	usual restFigures
}

// How well a side was tested.
const (
	never = iota
	faint // held, but nobody could see it
	poor  // seen, but it does not decide
	good
)

// restFigures are how the car goes by itself.
type restFigures struct {
	trim  float64            // %, the middle
	swing float64            // % of trim, 5 to 95 %
	stay  map[string]float64 // s, what nine in ten stays on a side do not exceed
	level map[string]float64 // V, the mean of it
	open  float64            // share of the time in which the status was not 02
}

func (j *judge) between(from, to float64) []moment {
	m := j.moments
	a := max(0, int((from-m[0].t)/each))
	b := min(len(m), int((to-m[0].t)/each))
	if a >= b {
		return nil
	}
	return m[a:b]
}

func sideOf(v, threshold float64) string {
	if v > threshold {
		return "rich"
	}
	return "lean"
}

// rest looks at the time before the first hold.
func (j *judge) rest() {
	first := j.holds[0].begin - max(j.holds[0].opened, j.holds[0].touch, 0)
	list := j.between(-25, first)
	j.usual = restFigures{stay: map[string]float64{}, level: map[string]float64{}}
	var trims []float64
	sum, n := map[string]float64{}, map[string]float64{}
	stays, began := map[string][]float64{}, -25.0
	for i, m := range list {
		trims = append(trims, m.short)
		s := sideOf(m.free, j.threshold())
		sum[s] += m.free
		n[s]++
		if was := sideOf(list[max(i-1, 0)].free, j.threshold()); was != s || i == len(list)-1 {
			stays[was] = append(stays[was], m.t-began)
			began = m.t
		}
	}
	for s, list := range stays {
		slices.Sort(list)
		j.usual.stay[s] = list[len(list)*9/10]
	}
	for s := range n {
		j.usual.level[s] = sum[s] / n[s]
	}
	j.usual.open = share(list, func(m moment) bool { return !m.closed })
	slices.Sort(trims)
	j.usual.trim = trims[len(trims)/2]
	j.usual.swing = trims[len(trims)*95/100] - trims[len(trims)*5/100]
}

func (j *judge) threshold() float64 { return j.car.banks[0].threshold }

// hold judges one force on the watched wire.
func (j *judge) hold(i int) (how int, f truth.Force) {
	h := &j.holds[i]
	f = truth.Force{Side: h.side, Begin: h.begin + lead, End: h.end + lead}
	b := j.car.banks[0]
	dir := toward(h.side)
	during := slices.DeleteFunc(slices.Clone(j.between(h.begin, h.end)), func(m moment) bool { return !h.is(m.t) })
	before := j.between(h.begin-max(h.opened, 0)-4, h.begin-max(h.opened, 0))
	length := float64(len(during)) * each
	if b.fault == openWire || b.fault == shorted || h.wire != 0 || j.car.crossed || length*j.Rate < 5 || length < 4 {
		f.Faint = true // nothing on the port, or too short for anyone
		return faint, f
	}
	level, most, far, s0 := 0.0, 0.0, 0.0, during[0].short
	closed := true
	for _, m := range during {
		level += m.volts / float64(len(during))
		most, far = max(most, (m.short-s0)*dir), max(far, (m.short-j.usual.trim)*dir)
		closed = closed && m.closed
	}
	was, lo, hi := 0.0, math.Inf(1), math.Inf(-1)
	for _, m := range before {
		was += m.volts / float64(len(before))
		lo, hi = min(lo, m.volts), max(hi, m.volts)
	}
	onSide := sideOf(level, j.threshold()) == h.side && math.Abs(level-j.threshold()) > 0.12
	switch {
	case !onSide:
		f.Faint = true // a source or a contact too weak for what it has to pull
	case math.Abs(level-was) < 0.05 && hi-lo < 0.15 && most < 2:
		f.Faint = true // the reading had lain there all the time, and trim stood
	case !j.Marks && math.Abs(level-j.usual.level[h.side]) < 0.06 && length < 2*j.usual.stay[h.side]:
		f.Faint = true // no longer, nor elsewhere, than the sensor stays by itself
	}
	if m := j.moved[i]; m.commanded > 0 && m.told > 0 && !f.Faint && onSide {
		f.Commanded, f.Told = max(m.commanded-h.begin, 1e-3), m.told-h.begin
	}
	if f.Faint {
		return faint, f
	}
	j.solid = append(j.solid, h)
	answered := onSide && closed && far >= max(3, 0.75*j.usual.swing) && most >= 1.5 && length >= 6 && length*j.Rate >= 6
	if answered && j.freed(i, (during[len(during)-1].short-j.usual.trim)*dir) {
		return good, f
	}
	return poor, f
}

// freed reports whether the release could be read: trim was still displaced, and the sensor said what it had made for
// longer than it stays on that side by itself.
func (j *judge) freed(i int, displaced float64) bool {
	h := &j.holds[i]
	side := "rich"
	if h.side == "rich" {
		side = "lean"
	}
	from := h.end + max(h.closed, 0)
	till := j.hands.ends
	if i+1 < len(j.holds) {
		n := &j.holds[i+1]
		till = n.begin - max(n.opened, n.touch, 0)
	}
	stay, extreme, there := 0.0, false, false
	for _, m := range j.between(from, till) {
		on := sideOf(m.volts, j.threshold()) == side
		if !on && (there || m.t > from+1.5) {
			break
		}
		if on {
			there = true
			stay += each
			extreme = extreme || side == "rich" && m.volts > 0.75 || side == "lean" && m.volts < 0.25+j.car.banks[0].offset
		}
	}
	return displaced >= 3 && extreme && stay >= max(0.8, 1.5*j.usual.stay[side]) && stay*j.Rate >= 2.5 && till-from >= min(stay, 8)+2 && h.closed < 3
}

// narrow decides the truth of a test by wire.
func (j *judge) narrow() {
	j.rest()
	j.held = map[string]int{}
	for i := range j.holds {
		how, f := j.hold(i)
		if j.holds[i].wire == 0 {
			j.held[f.Side] = max(j.held[f.Side], how)
		}
		j.Forces = append(j.Forces, f)
	}
	j.conclude()
	j.tidy()
	a := narrowArcs[j.Fault]
	if j.Fault == oneWay {
		a = arcs{"adds_fuel", "recovery delivery"}
		if j.car.banks[0].lo > -2 {
			a.bad = "cuts_fuel"
		}
	}
	j.falsify(a)
}

// share is how much of a time something holds.
func share(list []moment, is func(m moment) bool) float64 {
	n := 0
	for _, m := range list {
		if is(m) {
			n++
		}
	}
	return float64(n) / float64(max(len(list), 1))
}

// tidy names each conclusion once.
func (j *judge) tidy() {
	slices.Sort(j.Accepted)
	j.Accepted = slices.Compact(j.Accepted)
	j.Undecided = slices.DeleteFunc(j.Undecided, func(s string) bool { return slices.Contains(j.Accepted, s) })
}

func (j *judge) accept(list ...string)    { j.Accepted = append(j.Accepted, list...) }
func (j *judge) undecided(list ...string) { j.Undecided = append(j.Undecided, list...) }

// conclude fills in what may be said.
func (j *judge) conclude() {
	j.undecided("unclear", "nothing_forced", "not_ready", "partly_proven")
	if len(j.solid) == 0 && j.Fault != inputOpen && j.Fault != inputShort {
		j.accept("unclear", "nothing_forced")
	}
	if j.usual.open > 0.2 {
		j.accept("not_ready", "unclear") // the computer was not in closed loop, and nobody had forced anything
	}
	if share(j.between(0, j.hands.ends), func(m moment) bool { return m.given }) > 0.2 && j.Fault != sound {
		j.accept("no_command", "unclear") // for whatever reason, its computer has given the sensor up
	}
	elsewhere := slices.ContainsFunc(j.holds, func(h hold) bool { return h.wire != 0 })
	if elsewhere && j.Fault != crossed {
		j.accept("unclear")
		if j.held["lean"] == never && j.held["rich"] == never {
			j.accept("wrong_bank", "nothing_forced")
			if !slices.Contains(j.port.names(), "trim2") {
				j.accept("input_dead") // what was said to be held never showed
			}
			return
		}
	}
	switch j.Fault {
	case sound, leak, shifted:
		j.wholeRing()
	case exhaust: // the leak check comes first (CHANGELOG)
		if j.held["lean"] == good || j.usual.level["rich"] > 0 {
			j.wholeRing()
		} else {
			j.accept("unclear", "partly_proven")
		}
	case slow:
		j.slowRing()
	case limited:
		j.accept("partly_proven", "unclear")
		if len(j.solid) > 0 {
			j.accept("loop_proven")
		}
	default:
		j.fault()
	}
}

// wholeRing: all links are good, and what the test could show of them may be said.
func (j *judge) wholeRing() {
	lean, rich := j.held["lean"], j.held["rich"]
	switch {
	case lean == good && rich == good:
		j.accept("loop_proven")
	case lean == never || rich == never:
		j.accept("partly_proven")
		if max(lean, rich) < good {
			j.accept("unclear")
		}
	default:
		j.accept("loop_proven", "partly_proven", "unclear")
	}
}

// slowRing: a lag from 0.8 s on shows in the slopes where the port is quick; below 0.45 s it is not excluded (CHANGELOG; two makers' limits are 94 and 125 ms).
func (j *judge) slowRing() {
	c := &j.car.banks[0].front
	lag := c.gasTau + max(c.up, c.down)
	j.accept("sensor_slow")
	sees := j.Rate >= 5 && j.port.voltsEach <= 0.25 && j.port.filter <= 0.1
	if !sees || lag < 0.8 || j.usual.stay["lean"] < 2*each || j.usual.stay["rich"] < 2*each {
		j.wholeRing()
		if lag > 0.45 {
			j.accept("unclear")
		}
	}
}

// fault: something is dead.
func (j *judge) fault() {
	b := j.car.banks[0]
	full := len(j.solid) > 0
	switch j.Fault {
	case deadLean, deadRich, deadBias:
		j.accept("sensor_dead")
		tells := map[string]string{deadLean: "lean", deadRich: "rich"}[j.Fault]
		if tells != "" && j.held[tells] <= faint {
			j.accept("partly_proven", "unclear") // the side on which it fails was not tested
		}
		if j.Fault != deadRich || !j.contradicted() || !slices.ContainsFunc(j.solid, func(h *hold) bool { return h.side == tells && h.lasts(8, j.Rate) }) {
			j.accept("unclear")
		}
	case inputOpen, inputShort:
		j.accept("input_dead")
		if !j.Marks {
			j.accept("nothing_forced", "unclear")
		}
		if !slices.ContainsFunc(j.holds, func(h hold) bool {
			return h.lasts(6, j.Rate) && (j.Fault == inputOpen || h.side == "rich")
		}) || j.hands.careless {
			j.accept("unclear", "nothing_forced")
		}
	case silent, broken:
		j.accept("no_command")
		if !j.twice() {
			j.accept("unclear")
		}
	case oneWay:
		j.accept("no_command", "unclear", "partly_proven")
		side := "lean"
		if b.lo > -2 {
			side = "rich"
		}
		if j.held[side] <= faint {
			j.wholeRing()
		}
	case undelivery:
		j.accept("no_delivery")
		if !j.rear || j.dose() < 3 || !full {
			j.accept("unclear")
		}
		if j.held["lean"] <= faint || j.held["rich"] <= faint {
			j.accept("partly_proven", "unclear")
		}
	case crossed:
		j.accept("wrong_bank", "unclear")
		if !j.Marks {
			j.accept("nothing_forced")
		}
		if !slices.Contains(j.port.names(), "trim2") {
			j.accept("input_dead")
		}
	case cold:
		j.accept("not_ready", "unclear", "nothing_forced")
	}
}

// twice reports whether two holds could have shown an answer, 30 s apart (a purge or a pause to learn takes 10 to 20 s).
func (j *judge) twice() bool {
	first := math.Inf(1)
	for _, h := range j.solid {
		if !h.lasts(10, j.Rate) {
			continue
		}
		if h.begin >= first+30 {
			return true
		}
		first = min(first, h.begin)
	}
	return false
}

// contradicted reports whether the rear sensor was read and said the other side for 5 s.
func (j *judge) contradicted() bool {
	n := 0
	for _, m := range j.between(0, j.hands.ends) {
		if sideOf(m.free, 0.45) == "rich" && m.rear < 0.25 || sideOf(m.free, 0.45) == "lean" && m.rear > 0.65 {
			n++
		}
	}
	return j.rear && float64(n)*each >= 5
}

// dose is the oxygen, g, that what trim made in the holds ought to have moved behind the front sensor (0.2315 of the air's mass is oxygen).
func (j *judge) dose() float64 {
	most := 0.0
	for _, h := range j.solid {
		sum := 0.0
		list := j.between(h.begin, h.end)
		for _, m := range list {
			sum += 0.2315 * j.car.hotAir / float64(len(j.car.banks)) * math.Abs(m.short-list[0].short) / 100 * each
		}
		most = max(most, sum)
	}
	return most
}

func (p *port) names() []string { return append(slices.Concat(p.fast...), p.slow...) }
