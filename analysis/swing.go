package analysis

import (
	"math"
	"slices"

	"pushback/analysis/limits"
	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// swings measures by which first-order lag the sensor's own swings can be explained. A cell with the lag τ goes from a to b, drawn
// towards the level c, in τ·ln((c-a)/(c-b)) at the least, and that whatever the mixture does: it can only make a swing
// slower. So each swing is given the least lag that any two of its readings need, which is the lag of sensor, input and port together
// where the mixture was through the cell's step at once.
type swings struct {
	lag               [2][keptSwings]swing // the latest, by the side that they went to
	n                 [2]int
	rising            bool
	from              recent.Reading           // the extreme that this one came from, as it was read last
	extreme           freshRead                // and the one that it has reached
	last              [2][len(gates)]freshRead // the latest reading below a gate, and above
	now               freshRead
	fresh             int // different readings in this swing
	least             swing
	noise             float64
	small             [keptSmall]smallSwing // the latest that are too small to tell a lag by themselves
	smalls            int
	meanwhile, before span // of trim in this swing, and in the one before: it turns when the sensor has crossed the middle, so two hold its stroke
}

// A smallSwing is how far one went, V, in how long, s, by how many different readings, and how far trim went from turn to turn, %; and when it was over.
type smallSwing struct{ size, took, fresh, trim, at float64 }

// span is from where to where values went.
type span struct {
	lo, hi float64
	known  bool
}

func (x *span) add(v float64) {
	if !x.known {
		*x = span{v, v, true}
	}
	x.lo, x.hi = min(x.lo, v), max(x.hi, v)
}

// A swing is what one showed, s: the least lag by the middles of the readings' brackets, and its bounds.
type swing struct {
	lag, lo, hi float64
	fresh       float64 // different readings in it
	took        float64 // s from extreme to extreme
	trim        float64 // of small ones: see there
	at          float64 // s: when the latter was read
}

// A freshRead is a reading with the first one of the same value: the port may have renewed it only then.
type freshRead struct{ first, p recent.Reading }

// gates are the levels, V, at which readings are kept; between two of them lie enough of a swing to tell its lag by.
var gates = [...]float64{0.15, 0.21, 0.27, 0.33, 0.39, 0.45, 0.51, 0.57, 0.63, 0.69, 0.75}

// gatesPerVolt is how close they lie.
const gatesPerVolt = 1 / 0.06

const (
	keptSwings = 48
	keptSmall  = 16
	manySwings = 6
	// What a cell is drawn to: 0.84 ± 0.07 V at λ 0.97 and 0.02 ± 0.05 V at 1.10 (data sheets of switching sensors, from memory).
	drawnRich, drawnLean = 0.90, 0.05
	turnsBy              = 0.10 // V, and three times the noise: less is no turn
	leastSwing           = 0.30 // V, from extreme to extreme: in less the mixture may have strolled through the step
	leastPart            = 0.1  // V, between two readings that tell the lag
	// How far the mixture must go to take a hot cell from end to end, %: from 0.73 to 0.11 V in 2 % at 1100 K (Nernst's law), and the film of
	// fuel and the pipe may keep half of a quick swing.
	endToEnd = 4.0
)

func gatesBelow(v float64) int {
	i := min(max(int((v-gates[0])*gatesPerVolt)+1, 0), len(gates)) // or one beside it
	for i > 0 && gates[i-1] > v {
		i--
	}
	for i < len(gates) && gates[i] <= v {
		i++
	}
	return i
}

// volts takes a reading of the sensor itself; renewed is after how long the port shows another one, s.
func (s *swings) addVolts(p recent.Reading, renewed, half float64) {
	if s.now.p.Hi == 0 {
		s.now, s.from, s.extreme, s.noise = freshRead{p, p}, p, freshRead{p, p}, half/3
		return
	}
	prev := s.now
	if p.V == prev.p.V {
		s.now.p = p
		if p.V == s.extreme.p.V {
			s.extreme.p = p
		}
		return
	}
	s.now = freshRead{p, p}
	s.fresh++
	for i, to := gatesBelow(prev.p.V), gatesBelow(p.V); i != to; {
		if i < to {
			s.last[0][i] = prev
			i++
		} else {
			i--
			s.last[1][i] = prev
		}
	}
	up := 1.0
	if !s.rising {
		up = -1
	}
	switch {
	case up*(p.V-s.extreme.p.V) >= 0:
		s.extreme = freshRead{p, p}
	case up*(s.extreme.p.V-p.V) >= turnsBy+3*s.noise:
		s.end()
		s.rising = !s.rising
		s.from, s.extreme, s.fresh, s.noise = s.extreme.p, freshRead{p, p}, 1, half/3
	default:
		return
	}
	s.narrow(p, renewed)
}

// narrow looks for the least lag that leads from an earlier reading of this swing to p, its extreme so far.
func (s *swings) narrow(p recent.Reading, renewed float64) {
	side, sign, drawn := 1, -1.0, drawnLean
	if s.rising {
		side, sign, drawn = 0, 1, drawnRich
	}
	left := max(sign*(drawn-p.V)+s.noise, 0.05)
	began := s.from.T()
	a, b := gatesBelow(min(s.from.V, p.V)), gatesBelow(max(s.from.V, p.V)) // those that this swing has crossed
	if a < b && s.least.hi > 0 && s.tooLate(side, a, b, p, renewed, left) {
		return
	}
	before := 0.0
	for i := a; i < b; i++ {
		r := &s.last[side][i]
		same := r.p.Hi == before // one reading may be the latest at several gates
		if before = r.p.Hi; same || before == 0 || r.p.T() < began {
			continue
		}
		way := sign*(drawn-r.p.V) - s.noise
		since := max(r.first.Lo, r.p.Lo-renewed)
		if way-left < leastPart || s.noLess(p.Hi-since, way, left) {
			continue
		}
		k := math.Log(way / left)
		if hi := (p.Hi - since) / k; s.least.hi == 0 || hi < s.least.hi {
			s.least = swing{
				lag: (p.T() - max(r.first.T(), r.p.T()-renewed)) / k,
				lo:  max(0, p.Lo-max(r.first.Hi, r.p.Hi-renewed)) / k, hi: hi,
			}
		}
	}
}

// tooLate reports whether not even the way from where the swing began, in the time since the latest of the readings at the gates from a
// to b, would tell a lesser lag: nearly always, while a reading stays at its extreme.
func (s *swings) tooLate(side, a, b int, p recent.Reading, renewed, left float64) bool {
	latest, way := &s.last[side][a], s.from.V-drawnLean-s.noise
	if s.rising {
		latest, way = &s.last[side][b-1], drawnRich-s.from.V-s.noise
	}
	since := max(latest.first.Lo, latest.p.Lo-renewed)
	return latest.p.Hi > 0 && way > 0 && (way <= left || s.noLess(p.Hi-since, way, left))
}

// noLess reports whether a way that took so many seconds cannot tell a lesser lag: ln x is (x-1)/√x at most for x over 1.
func (s *swings) noLess(seconds, way, left float64) bool {
	least := s.least.hi * (way - left)
	return s.least.hi > 0 && seconds*seconds*way*left >= least*least
}

func (s *swings) end() {
	side := 1
	if s.rising {
		side = 0
	}
	size, fresh, took := abs(s.extreme.p.V-s.from.V), float64(s.fresh), s.extreme.first.T()-s.from.T()
	crosses := (s.extreme.p.V > limits.SwitchPoint) != (s.from.V > limits.SwitchPoint)
	if size < leastSwing && crosses { // else no loop cycles by it
		stroke := 0.0
		if s.meanwhile.known && s.before.known {
			stroke = max(s.meanwhile.hi, s.before.hi) - min(s.meanwhile.lo, s.before.lo)
		}
		s.small[s.smalls%keptSmall] = smallSwing{size, took, fresh, stroke, s.extreme.first.T()}
		s.smalls++
	} else if size >= leastSwing && s.least.hi > 0 {
		s.least.fresh, s.least.took, s.least.at = fresh, took, s.extreme.first.T()
		s.lag[side][s.n[side]%keptSwings] = s.least
		s.n[side]++
	}
	s.least = swing{}
	s.before, s.meanwhile = s.meanwhile, span{}
}

// broken says that what was read so far does not go on: the wire is held, or nothing was read.
func (s *swings) broken() {
	*s = swings{lag: s.lag, n: s.n, small: s.small, smalls: s.smalls}
}

// heldSince takes back what was read from t on: the wire was held then, which was not known yet.
func (s *swings) heldSince(t float64) {
	for side := range s.n {
		s.n[side] = len(slices.DeleteFunc(s.lag[side][:min(s.n[side], keptSwings)], func(x swing) bool { return x.at >= t }))
	}
	s.smalls = len(slices.DeleteFunc(s.small[:min(s.smalls, keptSmall)], func(x smallSwing) bool { return x.at >= t }))
	s.broken()
}

// typical is the lower quartile of the swings to a side, of few the least: the mixture makes some slower, the edge of a held wire makes few quicker.
func (s *swings) typical(side int) (swing, int) {
	n := min(s.n[side], keptSwings)
	if n == 0 {
		return swing{}, 0
	}
	q := 0.25
	if n < manySwings {
		q = 0
	}
	var room [keptSwings]float64
	quantile := func(q float64, of func(swing) float64) float64 {
		for i, x := range s.lag[side][:n] {
			room[i] = of(x)
		}
		slices.Sort(room[:n])
		return stats.SortedQuantile(room[:n], q)
	}
	return swing{
		lag: quantile(q, func(x swing) float64 { return x.lag }), lo: quantile(q, func(x swing) float64 { return x.lo }),
		hi: quantile(q, func(x swing) float64 { return x.hi }), fresh: quantile(0.5, func(x swing) float64 { return x.fresh }),
		took: quantile(0.5, func(x swing) float64 { return x.took }),
	}, s.n[side]
}

// attenuated is the lag that makes a cell's swings as small as they are, where it is drawn as far through its range (full, V) as trim goes and
// back in the time of two: a first-order lag τ leaves tanh(T/4τ) of a square wave of period T. false: there are too few, or others.
func (s *swings) attenuated(full float64) (x swing, n int, ok bool) {
	n = min(s.smalls, keptSmall)
	if n < manySwings || s.n[0]+s.n[1] > n {
		return x, n, false
	}
	median := func(of func(smallSwing) float64) float64 {
		var room [keptSmall]float64
		for i, x := range s.small[:n] {
			room[i] = of(x)
		}
		slices.Sort(room[:n])
		return stats.SortedQuantile(room[:n], 0.5)
	}
	x.took, x.fresh = median(func(x smallSwing) float64 { return x.took }), median(func(x smallSwing) float64 { return x.fresh })
	x.trim = median(func(x smallSwing) float64 { return x.trim })
	drawn := max(full*min(1, max(0, x.trim-trimCount)/endToEnd), turnsBy) // trim is rounded
	lag := func(took, size float64) float64 { return took / (2 * math.Atanh(min(size/drawn, 0.99))) }
	x.lag = lag(x.took, median(func(x smallSwing) float64 { return x.size }))
	// A lag makes them alike: the standard error of their median, by its own scatter.
	err := 1.2533 * 1.4826 * median(func(y smallSwing) float64 { return abs(lag(y.took, y.size) - x.lag) }) / math.Sqrt(float64(n))
	x.lo, x.hi = x.lag-err, x.lag+err
	return x, n, true
}

// strokes measures how fast the computer leads the mixture through the middle of trim's own strokes, where a loop that
// cycles has the balance that the sensor crosses at.
type strokes struct {
	seen    [48]freshRead // different readings since the last turn
	n       int
	extreme int
	up      bool
	perCent [keptStrokes]float64 // s for each per cent through the middle, of the latest
	creep   [keptStrokes]paced   // the latter half of its time: slow where the computer jumps first and creeps on
	length  [keptStrokes]float64 // % from turn to turn
	done    int
}

// paced is a way, %, and the time that it took, s.
type paced struct{ took, way float64 }

const keptStrokes = 32

// leastStroke is what trim goes from turn to turn at the least, two counts but for half of one, %.
const leastStroke = 1.5 * trimCount

func (g *strokes) addTrim(p recent.Reading) {
	if g.n > 0 && g.seen[g.n-1].p.V == p.V {
		g.seen[g.n-1].p = p
		return
	}
	sign := 1.0
	if !g.up {
		sign = -1
	}
	switch {
	case g.n == 0:
	case g.n == 1:
		g.up, g.extreme = p.V > g.seen[0].p.V, 1
	case sign*(p.V-g.seen[g.extreme].p.V) > 0:
		g.extreme = g.n
	case sign*(g.seen[g.extreme].p.V-p.V) >= leastStroke:
		g.end(sign)
		g.n = copy(g.seen[:], g.seen[g.extreme:g.n])
		g.up, g.extreme = !g.up, g.n
	}
	if g.n == len(g.seen) { // a force, or a loop that drifts: its middle is none
		g.n, g.extreme = 0, 0
	}
	g.seen[g.n] = freshRead{p, p}
	g.n++
}

func (g *strokes) end(sign float64) {
	a, b := g.seen[0].p.V, g.seen[g.extreme].p.V
	if abs(b-a) < leastStroke {
		return
	}
	var from freshRead
	for _, r := range g.seen[:g.extreme+1] {
		switch x := sign * (r.p.V - (a+b)/2); { // each is rounded, by half a count at the most
		case x <= -0.5:
			from = r
		case x >= 0.5 && from.p.Hi > 0 && abs(r.p.V-from.p.V) > 1.5*trimCount:
			g.perCent[g.done%keptStrokes] = (r.first.Hi - from.p.Lo) / (abs(r.p.V-from.p.V) - trimCount)
			g.length[g.done%keptStrokes] = abs(b - a)
			g.creep[g.done%keptStrokes] = g.latter()
			g.done++
			return
		}
	}
}

// latter is how far this stroke goes in the latter half of its time.
func (g *strokes) latter() paced {
	from, to := g.seen[0].p.T(), g.seen[g.extreme].p.T()
	middle := g.seen[0].p.V
	for _, r := range g.seen[1 : g.extreme+1] {
		if r.first.T() <= (from+to)/2 {
			middle = r.p.V
		}
	}
	return paced{(to - from) / 2, abs(g.seen[g.extreme].p.V - middle)}
}

// broken says that trim goes on elsewhere: a force answers it.
func (g *strokes) broken() { g.n, g.extreme = 0, 0 }

// typical is the median time in which trim goes through 1 % in its middle, s, that in which it creeps through 1 % late, how far it goes from turn
// to turn, %, and of how many strokes.
func (g *strokes) typical() (perCent, creep, length float64, n int) {
	n = min(g.done, keptStrokes)
	if n == 0 {
		return 0, 0, 0, 0
	}
	median := func(of [keptStrokes]float64) float64 {
		slices.Sort(of[:n])
		return stats.SortedQuantile(of[:n], 0.5)
	}
	var sum paced
	for _, x := range g.creep[:n] {
		sum.took, sum.way = sum.took+x.took, sum.way+x.way // what one rounds up the next rounds down
	}
	return median(g.perCent), sum.took / max(sum.way, trimCount/2), median(g.length), n
}
