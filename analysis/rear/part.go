package rear

import (
	"math"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/measure"
	"pushback/analysis/recent"
)

// What a fuel cut and full load must bring, V. In a fuel cut a sensor behind the catalyst goes below 0.2 V (a maker's workshop text, one
// family). A hot cell reads 0.70 to 0.80 V rich, an aged one less.
const (
	leanAt = 0.20
	richAt = 0.60
)

// How long a part must last, s, before a reading that did not follow says anything: the catalyst first stores the oxygen of a
// cut, or gives its own to rich gas. No catalyst of a car in use stores 3 g.
const (
	leastPart   = 1.0
	enoughCut   = 5.0
	unmeasured  = 8.0 // a cut whose air flow is not read: 1.6 g/s, a small engine's, is 3 g of oxygen then
	enoughPull  = 4.0
	enoughGas   = 3.0 // g
	cutReaches  = 3.0 // s after which the readings of a cut count against the sensor
	pullReaches = 2.0
	after       = 3.0 // s after its end in which a reading still is the part's gas
	atRest      = 1.0 // s after the begin of full load in which a reading may be the rest's, which is not far from rich
	settles     = 1.5 // s after which the sensor in front must show it
	leastLate   = 3   // readings that count against the sensor
)

// part is one fuel cut or one time at full load.
type part struct {
	side        analysis.Side  // "": there is none
	begin, last float64        // s: all that tells of it was read first, and last
	over        bool           // it has ended at last
	said        bool           // force_begins was told
	answered    bool           // sensor_answers was told
	told        bool           // more than the load says that it is one
	seen        bool           // the sensor in front, or the command, shows it
	denied      int            // readings of the sensor in front that show the contrary
	there, late int            // readings on its side; those of the part that a catalyst does not explain
	at          float64        // s: the first of them on its side
	nearest     float64        // V: the reading of the part nearest to its side
	oxygen      float64        // g that a cut has brought
	oxygenAt    float64        // s: until when
	rich        recent.Reading // the last one before the sensor went lean in a cut
	lag         float64        // s: the sensor's, at the most; 0: not known
}

// weighed is a part that is over, and what came of it.
type weighed struct {
	part
	came outcome
}

type outcome uint8

const (
	tooShort outcome = iota
	shown
	glimpsed // one reading showed it, and no more were read: two of these are one that is shown
	missed   // long enough, and the reading did not follow
	between
	denied // it was none: the sensor in front showed the contrary
)

// tally adds up the parts of a side.
type tally struct {
	n       [denied + 1]int
	best    float64 // V: the reading nearest to the side, of those shown or not
	longest float64 // s, of those missed
	after   float64 // s: the quickest of those shown
	lag     float64 // s: the sensor's, at the most, by the quickest change; 0: not known
}

// keep is how many parts are remembered for the reasons.
const keep = 16

// look takes what the engine does now.
func (w *Watcher) look(t float64) {
	x := &w.part
	running := x.side
	if x.over {
		running = ""
	}
	does, told := w.engine.does(t, running)
	if !w.ready.warm() {
		does = ""
	}
	if running != "" {
		if does == running {
			x.told = x.told || told
			w.goOn(t)
			return
		}
		w.end()
	}
	if does != "" && !(does == x.side && t <= x.last+after) { // the gas of the one before is awaited
		w.close()
		w.part = part{side: does, begin: t, last: t, told: told, oxygenAt: t, nearest: -1}
		if does == analysis.Rich {
			_, x.seen = w.engine.command.says(t)
		}
	}
}

// goOn moves the running part on to t.
func (w *Watcher) goOn(t float64) {
	x, e := &w.part, &w.engine
	if e.hasAir {
		x.oxygen += measure.OxygenInAir * e.air * max(0, t-x.oxygenAt)
	}
	x.oxygenAt, x.last = t, max(x.last, t)
	if _, asked := e.command.says(t); asked && x.side == analysis.Rich {
		x.seen = true
	}
	if !x.said && x.last-x.begin >= leastPart {
		x.said = true
		w.emit(analysis.Event{T: x.begin, Name: analysis.ForceBegins, Side: x.side, How: analysis.HowDrive})
	}
	w.answer()
}

// witness takes what the sensor in front shows.
func (w *Watcher) witness(t float64, front *witness) {
	x := &w.part
	if x.side == "" || x.over || t < x.begin+settles || t > x.last+freshFor {
		return
	}
	with, against := front.lean, front.rich
	if x.side == analysis.Rich {
		with, against = against, with
	}
	switch {
	case with:
		x.seen = true
	case against && x.seen: // it was one, and is over
		w.end()
	case against:
		x.denied++
	}
}

// read takes a reading of the watched sensor.
func (w *Watcher) read(t, v float64) {
	if !w.ready.warm() || !w.engine.turns() {
		return
	}
	m := &w.moved
	if m.leans+m.riches == 0 {
		m.low, m.high = v, v
	}
	m.low, m.high = min(m.low, v), max(m.high, v)
	if v <= limits.NeutralLow {
		m.leans++
	} else if v >= limits.NeutralHigh {
		m.riches++
	}
	x := &w.part
	if x.side != "" && !x.over && t > x.last+freshFor {
		w.end() // nothing has told of it since
	}
	switch {
	case x.side == "":
		return
	case x.over && t > x.last+after:
		w.close()
		return
	}
	lean := x.side == analysis.Lean
	loaded := t >= x.begin+atRest && !x.over
	if lean && (x.nearest < 0 || v < x.nearest) || !lean && loaded && v > x.nearest {
		x.nearest = v
	}
	reaches := cutReaches
	if !lean {
		reaches = pullReaches
	}
	if !x.over && t >= x.begin+reaches {
		x.late++
	}
	if lean && v <= leanAt || !lean && v >= richAt && loaded {
		if x.there++; x.there == 1 {
			x.at = t
		}
	}
	w.answer()
}

// fall takes a reading for how fast the sensor goes lean in a cut, between lo and hi, s. A first-order lag τ brings a reading from a to b, drawn
// to 0 V, in τ·ln(a/b) at the least; the catalyst's oxygen, of which nobody knows how much there is, can make it slower and never quicker. So a
// change bounds the lag from above: a sensor is cleared by it, and a slow change condemns none.
func (w *Watcher) fall(lo, hi, v float64) {
	x := &w.part
	switch {
	case x.side != analysis.Lean || x.over || x.lag > 0 || !w.ready.warm():
	case v >= limits.NeutralHigh:
		x.rich = recent.Reading{Lo: lo, Hi: hi, V: v}
	case v <= leanAt && x.rich.Hi > 0:
		x.lag = (hi - x.rich.Lo) / math.Log(x.rich.V/max(v, airReads))
	}
}

// airReads is what a sound cell reads in air at the most, V (data sheets of switching sensors, from memory).
const airReads = 0.05

// answer tells that the sensor shows it: two readings do.
func (w *Watcher) answer() {
	x := &w.part
	if x.answered || !x.said || x.there < 2 || x.denied > 1 {
		return
	}
	x.answered = true
	w.emit(analysis.Event{T: x.at, Name: analysis.SensorAnswers, Toward: string(x.side), After: max(0, x.at-x.begin), How: analysis.HowDrive})
}

// end ends the running part; its gas may come yet.
func (w *Watcher) end() {
	x := &w.part
	x.over = true
	if !x.said {
		*x = part{}
		return
	}
	w.emit(analysis.Event{T: x.last, Name: analysis.ForceEnds, Side: x.side, How: analysis.HowDrive})
}

// close weighs the part.
func (w *Watcher) close() {
	x := &w.part
	if x.side != "" && !x.over {
		w.end()
	}
	if x.side == "" {
		return
	}
	all := &w.lean
	if x.side == analysis.Rich {
		all = &w.rich
	}
	came := x.outcome()
	all.add(x, came)
	if came == missed {
		w.emit(analysis.Event{T: x.last, Name: analysis.SensorSilent, Toward: string(x.side), Waited: x.last - x.begin, How: analysis.HowDrive})
	}
	if len(w.parts) == keep {
		w.parts = append(w.parts[:0], w.parts[1:]...)
	}
	w.parts = append(w.parts, weighed{*x, came})
	w.part = part{}
}

// outcome is what a part that is over has shown.
func (x *part) outcome() outcome {
	length := x.last - x.begin
	switch {
	case x.denied > 1:
		return denied
	case x.there >= 2:
		return shown
	case x.there == 1 && x.late < 2:
		return glimpsed
	case x.late < leastLate:
		return tooShort
	case x.side == analysis.Lean && (length < enoughCut || x.oxygen < enoughGas && (x.oxygen > 0 || length < unmeasured)):
		return tooShort
	case x.side == analysis.Rich && length < enoughPull:
		return tooShort
	case x.side == analysis.Lean && x.nearest > limits.NeutralLow && (x.told || x.seen):
		return missed
	case x.side == analysis.Rich && x.nearest < limits.NeutralHigh && x.seen:
		return missed
	}
	return between
}

func (a *tally) add(x *part, came outcome) {
	a.n[came]++
	lean := x.side == analysis.Lean
	if came == denied {
		return
	}
	if first := a.counted() == 1; x.nearest >= 0 && (first || lean && x.nearest < a.best || !lean && x.nearest > a.best) {
		a.best = x.nearest
	}
	if x.lag > 0 && (a.lag == 0 || x.lag < a.lag) {
		a.lag = x.lag
	}
	switch came {
	case missed:
		a.longest = max(a.longest, x.last-x.begin)
	case shown, glimpsed:
		if took := max(0, x.at-x.begin); a.n[shown]+a.n[glimpsed] == 1 || took < a.after {
			a.after = took
		}
	}
}

// counted is how many there were.
func (a *tally) counted() int {
	return a.n[tooShort] + a.n[shown] + a.n[glimpsed] + a.n[missed] + a.n[between]
}

// showed is in how many the sensor showed it, and how many of these stand for themselves.
func (a *tally) showed() (all, whole int) {
	return a.n[shown] + a.n[glimpsed], a.n[shown] + a.n[glimpsed]/2
}
