package analysis

import (
	"math"
	"slices"

	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// answerState is what one bank's trim did about a force.
type answerState uint8

const (
	answerOpen answerState = iota
	answered
	silent
	wrongWay
	cannot // trim stands at its limit: it has no room to answer
)

const (
	minLoopRate = 0.3 // % per s: the slowest integrator that counts as alive (common practice, no source)
	minAnswer   = 2.9 * trimCount
	roundoff    = 0.1 // %

	onsetConfidence = 0.99

	// slowestTurn is how long a loop may go on the way it went before it turns, s: slow ones turn up to 2.6 s late (periods
	// of 6 s; measured on recordings of real cars), and the port tells it later.
	slowestTurn = 4.0
)

// answer follows one bank's trim while a signal is held. Trim is mirrored where
// needed so that an answer is always upward.
//
// At rest trim hunts within a range of its own. An answer leaves that range by a
// margin, comes a long way from where it was, and does not turn back as hunting
// does. Silence is said only where trim stood still for longer than the slowest loop
// that counts as alive can.
type answer struct {
	state answerState
	up    float64 // +1 for a lean force, -1 for a rich one
	base  trimBase
	climb cusumPair
	// The mixture is forced: the loop may bring it back meanwhile and hunt about another trim.
	mayTurn bool
	began   float64 // s: middle of the interval in which the force began
	lo      float64 // and the interval
	hi      float64

	n int
	course
	contrary
	stillness
	steadiness
	onsetFit
}

// course is the way that trim, mirrored, has gone since the force began, %.
type course struct {
	start  float64
	now    float64
	nowAt  float64
	raw    float64 // short-term trim alone, not mirrored
	rawTop float64 // the same, mirrored, at its highest since the beginning
	low    float64 // lowest since the beginning, and its last reading
	lowAt  recent.Reading
	fellAt float64        // s: when it had come down to low; 0: it stood there when the force began
	rise   recent.Reading // the first reading above low
	back   bool           // it has gone back a count since
	again  float64        // s: when it rose once more after it had, at the latest
	rising bool
	peak   float64
	peakAt float64 // s: when it was first at peak
	highAt float64 // s: the last time at which trim was near its peak
	drop   float64 // largest fall from a peak since low
	bottom float64 // lowest and highest since the beginning
	top    float64
	turnAt float64 // s: when it was at the first peak from which it went back; 0: it did not
}

// contrary is trim that goes with the force.
type contrary struct {
	wrongs    int     // readings in a row that say the wrong way
	wrongFrom float64 // s: the first of them
}

// stillness is how long trim stood still about the beginning, s.
type stillness struct {
	stood     float64 // for so long it had kept within a count when the force began
	stoodTo   float64 // and until then after it
	leftAfter bool
}

// steadiness tells where trim stops, and whether at the computer's limit.
type steadiness struct {
	steadyRef float64 // total trim has not left this by more than a count …
	steadyRaw float64 // … nor short-term trim this, for long-term trim may hide it …
	steadyAt  float64 // … since then
	limit     bool
	limitAt   float64
	limitRaw  float64
	judgedAt  float64 // of the steadyAt at which it was asked whether trim had jumped to zero
}

// onsetFit is when the answer began and how fast it went.
type onsetFit struct {
	onset, onsetLo, onsetHi float64
	rate                    float64
	rated                   bool
	fitted                  bool // the onset is a change point's
}

// begin starts to follow trim for a force that began between lo and hi.
func (a *answer) begin(side Side, lo, hi float64, base trimBase, rest noise) {
	*a = answer{up: 1, base: base, lo: lo, hi: hi, began: (lo + hi) / 2}
	if side == Rich {
		a.up = -1
	}
	a.climb.begin(rest, a.up, hi)
}

// ceiling is the top of the range in which trim hunts at rest, mirrored.
func (a *answer) ceiling() float64 {
	if !a.base.known() {
		return a.start + 1.5
	}
	if a.up > 0 {
		return a.base.high
	}
	return -a.base.low
}

// floor is the bottom of that range, mirrored.
func (a *answer) floor() float64 {
	if !a.base.known() {
		return a.start - 1.5
	}
	if a.up > 0 {
		return a.base.low
	}
	return -a.base.high
}

// margin is how far beyond its range trim must go to count, %.
func (a *answer) margin() float64 { return max(2*trimCount, 0.25*a.width()) }

// width is the size of that range, %.
func (a *answer) width() float64 {
	if !a.base.known() {
		return 3
	}
	return a.base.width()
}

// moved is how far trim has gone against the force since it began, %.
func (a *answer) moved() float64 { return a.now - a.start }

// add takes a reading of total trim (not mirrored); raw is short-term trim alone.
func (a *answer) add(p recent.Reading, total, raw float64) {
	u := a.up * total
	if a.state != answered && a.n > 0 {
		switch step := u - a.now; {
		case step < -trimCount/2:
			a.back = true
		case step > trimCount/2 && a.back:
			a.back, a.again = false, p.Hi
		}
	}
	a.now, a.nowAt, a.raw = u, p.T(), raw
	if a.n == 0 {
		a.start = u
		if a.base.known() {
			a.start = a.up * a.base.last
		}
		a.low, a.peak, a.bottom, a.top = a.start, a.start, a.start, a.start
		a.lowAt = recent.Reading{Lo: a.lo, Hi: a.hi}
		a.steadyRef, a.steadyRaw, a.steadyAt = u, raw, p.T()
		a.rawTop = a.up * raw
	}
	a.n++
	a.rawTop = max(a.rawTop, a.up*raw)
	a.climb.add(p.T(), u)
	if u > a.peak {
		a.peakAt = p.T()
	}
	if a.state == answered {
		// Where it began is settled; a fall now is the loop letting go.
		a.peak = max(a.peak, u)
		a.drop = max(a.drop, a.peak-u)
	} else if u <= a.low+roundoff {
		if u < a.low-roundoff {
			a.fellAt = p.Lo
		}
		a.low, a.lowAt, a.rising, a.peak, a.drop, a.turnAt = min(u, a.low), p, false, u, 0, 0
	} else {
		if !a.rising {
			a.rising, a.rise = true, p
		}
		a.peak = max(a.peak, u)
		a.drop = max(a.drop, a.peak-u)
	}
	if a.peak-u <= 0.2*(a.peak-a.start) {
		a.highAt = p.T()
	}
	if a.turnAt == 0 && a.peak-a.low >= minAnswer-roundoff && a.peak-u > 1.01*trimCount {
		a.turnAt = a.peakAt
	}
	a.top = max(a.top, u)
	a.bottom = min(a.bottom, u)
	if abs(u-a.steadyRef) > 1.01*trimCount || abs(raw-a.steadyRaw) > 1.01*trimCount {
		a.steadyRef, a.steadyRaw, a.steadyAt = u, raw, p.T()
	}

	switch a.state {
	case answerOpen, silent, wrongWay:
		a.weigh()
		fall := a.top - u
		if a.climb.falls() && fall >= minAnswer-roundoff && u <= a.bottom+1.01*trimCount && a.moved() <= -minAnswer &&
			p.T()-a.hi >= slowestTurn && abs(raw) > trimCount/2 { // at zero it is given up, or has come to its middle
			if a.wrongs++; a.wrongs == 1 {
				a.wrongFrom = p.T()
			}
		} else {
			a.wrongs = 0
		}
		// Trim that is given up falls too, to zero, and stays there.
		if a.wrongs >= 3 && p.T()-a.wrongFrom >= dropsWithin && a.state == answerOpen {
			a.state = wrongWay
		}
	case answered:
		if !a.limit && a.rated && (a.moved() >= 5 || u >= farOut) && a.peak-u <= 1.01*trimCount {
			still := p.T() - a.steadyAt
			if still >= 2 && a.rate*still >= 3*trimCount {
				a.limit, a.limitAt, a.limitRaw = true, a.steadyAt, raw
			}
		}
	}
}

// weigh decides whether what trim has done is an answer.
func (a *answer) weigh() {
	come := a.now - a.low
	beyond := a.climb.rises() && come >= minAnswer-roundoff &&
		(a.mayTurn || a.drop <= max(1.01*trimCount, 0.35*come))
	// Or, where trim drifted about before, a long way without turning once, from the
	// force's beginning on.
	straight := come >= max(6, 0.7*a.width()) && a.drop <= 1.01*trimCount && a.nowAt-a.began >= 5 &&
		a.lowAt.T() <= a.hi+1
	// Or farther than it ever went by itself: without turning once, though a slow loop goes on the way it went for a while
	// first; by mixture it may turn on the way.
	far := come >= max(6, 1.5*a.width()) && a.now > a.ceiling()+a.margin()
	farther := far && (a.mayTurn && a.lowAt.T() <= a.hi+2 || a.drop <= 1.01*trimCount && a.nowAt-a.began >= 5 && a.lowAt.T() <= a.hi+slowestTurn)
	if beyond || straight || farther {
		a.state = answered
	}
}

// finish takes the readings that still wait for their block, when the force is over.
func (a *answer) finish() {
	a.climb.close()
	if a.n > 0 && (a.state == answerOpen || a.state == silent) {
		a.weigh()
	}
}

// still reports whether trim has not left the range of its hunting, nor come far.
func (a *answer) still() bool {
	return a.now < max(a.ceiling(), a.start)+a.margin() && a.moved() < max(minAnswer, 0.7*a.width())
}

// unmoved reports whether trim was read and neither answered nor went the other way: where sensors are crossed
// and mixture reaches one bank, the other's trim goes one way or the other.
func (a *answer) unmoved() bool {
	return a.n >= 4 && (a.state == answerOpen || a.state == silent) && a.still() && -a.moved() < max(minAnswer, 0.7*a.width())
}

// stuckFor is how long trim has stood within a count, s.
func (a *answer) stuckFor() float64 { return a.nowAt - a.steadyAt }

// stopsAtZero reports whether trim has gone to within near of zero and stopped there,
// where an answer had to go on: it takes back what it had done, but has no authority
// beyond.
func (a *answer) stopsAtZero(near float64) bool {
	return abs(a.raw) < near && a.stuckFor() >= stuckEnough && a.peak-a.now <= 1.01*trimCount
}

// toItsMiddle reports whether short-term trim went to zero and not beyond.
func (a *answer) toItsMiddle() bool { return abs(a.rawTop) < trimCount/2 }

// stops reports whether trim has come to a stop within near of zero where its own rate
// would have carried it on by three counts.
func (a *answer) stops(near float64) bool {
	return abs(a.raw) < near && a.stuckFor() >= 2 && a.rate*a.stuckFor() >= 3*trimCount && a.peak-a.now <= 1.01*trimCount
}

// stuckEnough is how long trim must stand within a count before silence may be said, s: the
// slowest loop that counts as alive has left it after two counts, and a third covers up
// to 2.6 s until it begins. A trim that goes on hunting while the reading is held is another
// matter: the computer sees something else than the tool does, and that decides nothing.
const stuckEnough = 3 * trimCount / minLoopRate

// quiet reports whether silence may be said now.
func (a *answer) quiet() bool {
	return a.n >= 4 && a.still() && a.stuckFor() >= stuckEnough
}

// fitAnswer works out when the answer began and how fast it is. t is the bank's trim
// since the force began; until is where the ramp ends.
func (w *Watcher) fitAnswer(a *answer, t *trimStream, until float64) {
	pts := w.scratchP[:0]
	for i := t.short.From(a.rise.T()); i < t.short.Len(); i++ {
		p := t.short.At(i)
		if p.T() > until {
			break
		}
		pts = append(pts, recent.Reading{Lo: p.Lo, Hi: p.Hi, V: a.up * t.total(p, a.began)})
	}
	w.scratchP = pts
	a.rate = theilSen(pts, w.scratchA)
	if math.IsNaN(a.rate) || a.rate <= 0 {
		a.rate = max(0.01, (a.now-a.low)/max(0.1, a.nowAt-a.lowAt.T()))
	}
	// Trim was still at its lowest at one reading and had left it at the next. As
	// data move by whole counts, it may have begun to move up to a count's time
	// before it was seen to.
	slack := min(trimCount/max(a.rate, 0.05), 3)
	jumps := a.riseHeight(t) >= 2.5*trimCount
	if jumps { // a ramp would have shown a count before
		slack = 0
	}
	late := w.volts.refresh() // what is told is so old at most
	a.onsetLo = max(a.lowAt.Lo-slack, a.fellAt, a.lo)
	a.onsetHi = max(a.latest(pts), a.onsetLo)
	line := a.rise.T() - a.riseHeight(t)/max(a.rate, 0.05)
	a.onset = min(max(line, a.onsetLo), a.onsetHi)
	lo, hi := a.onsetLo, a.onsetHi
	if a.fellAt == 0 && !jumps { // a ramp from a level, not a turn or a jump
		w.fitOnset(a, t, until)
	}
	if stair := stairs(pts); stair > 1.5*trimCount/max(a.rate, 0.05) || a.again > 0 {
		a.onsetLo, a.onsetHi = lo, hi // it goes by stairs, of which the ramp's errors are not independent
	}
	a.onsetLo = max(a.onsetLo-late, a.lo)
	a.rated = true
}

// latest is when the answer had begun at the latest: a first count may be the last of trim's hunting, so that the second
// and third count, less what the ramp takes to them, tell too.
func (a *answer) latest(pts []recent.Reading) float64 {
	hi, k := max(a.rise.Hi, a.again), 2.0
	for _, p := range pts {
		for ; k <= 3 && p.V >= a.low+k*trimCount-roundoff; k++ {
			hi = max(hi, p.Hi-(k-1)*trimCount/max(a.rate, 0.05))
		}
	}
	return hi
}

// stairs is how long trim stands at each of its steps, s, the longer ones; 0 if there are too few.
func stairs(pts []recent.Reading) float64 {
	var g [64]float64
	n, at := 0, -1.0
	for i := 1; i < len(pts) && n < len(g); i++ {
		if abs(pts[i].V-pts[i-1].V) < trimCount/2 {
			continue
		}
		if at > 0 {
			g[n] = pts[i].T() - at
			n++
		}
		at = pts[i].T()
	}
	if n < 3 {
		return 0
	}
	slices.Sort(g[:n])
	return g[n*4/5]
}

// fitOnset narrows the interval by the change point between the level that trim kept at
// first and its ramp. A jump at the beginning makes the fitted onset early, not late.
func (w *Watcher) fitOnset(a *answer, t *trimStream, until float64) {
	at, y := w.scratchA[:0], w.scratchB[:0]
	for i := t.short.From(a.lo); i < t.short.Len(); i++ {
		p := t.short.At(i)
		if p.T() > until {
			break
		}
		at, y = append(at, p.T()), append(y, a.up*t.total(p, a.began))
	}
	w.scratchA, w.scratchB = at, y
	h, ok := stats.FitHinge(at, y, a.onsetLo, a.onsetHi, onsetConfidence, trimCount*trimCount/12)
	a.fitted = ok && h.Slope > 0
	if !a.fitted {
		return
	}
	a.onset, a.onsetLo, a.onsetHi = h.Onset, h.Low, h.High
}

// ramped is until when trim went the way of the answer, at most until: a limit stops it, a loop
// that has brought the mixture back turns it, an open one drops it.
func (a *answer) ramped(until float64) float64 {
	if a.limit {
		until = min(until, a.limitAt)
	}
	if a.turnAt > a.rise.T() {
		until = min(until, a.turnAt)
	}
	return until
}

// riseHeight is how far above its lowest trim was at the first reading that rose, %.
func (a *answer) riseHeight(t *trimStream) float64 {
	return a.up*t.total(a.rise, a.began) - a.low
}

// after returns the latency, from the force's beginning to the answer's, with the
// interval that holds it, s. None is negative.
func (a *answer) after() (best, lo, hi float64) {
	lo = max(0, a.onsetLo-a.hi)
	hi = max(lo, a.onsetHi-a.lo)
	best = min(max(a.onset-a.began, lo), hi)
	return best, lo, hi
}
