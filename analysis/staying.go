package analysis

import (
	"math"

	"pushback/analysis/recent"
)

// staying is what brings a free sensor to the side of a stretch and keeps it there to its end, each as the logarithm of how often that
// begins, per s.
type staying struct{ cycle, excursion, engine, after float64 }

func (x staying) sum() float64 { return logSum(x.cycle, x.excursion, x.engine, x.after) }

func (w *Watcher) staying(s *stretch, base voltsBase) staying {
	secs, own := s.seconds(), base.stays(s.side)
	x := staying{
		cycle:     math.Log((float64(own.n)+0.5)/(base.seconds+20)) + math.Log(outlasts(secs, own.n, own.mean*float64(own.n), own.shape)),
		excursion: math.Log(w.excursionRate(s) * excursionLasts(secs) * excursionReaches(w.trimAgainst(s), secs)),
		engine:    math.Log(w.engineMoved(s) / (1 + math.Pow(secs/10, 2))),
		after:     w.afterRelease(s, secs),
	}
	if first := s.track.volts.At(0); s.first.T()-first.T() < 3 && s.track.volts.Gone() == 0 || w.open.known && abs(s.first.T()-w.restFrom) < 1 {
		x.cycle = math.Log(stuckAtFirst) // who lies there from the first reading on may lie there always
	}
	return x
}

// midway is a stretch that begins in the middle of a longer stay on its side, as where a sensor that lies there is held there: no coming to
// the side is to be explained then, but a step of the reading, and that it lies still from then on.
type midway struct {
	from         recent.Reading // the first of the stay
	before       recent.Reading // the last before the step
	steps        float64        // as large, of this sensor on that side by itself, per s
	pairs, still int            // the stay's readings before the step, and of them those that go on as their neighbours
}

// stepTakes is within how long a step is over, s: what comes and goes between two levels has passed.
const stepTakes = 0.6

// midway finds that; false where the stretch begins as the reading comes to the side.
func (w *Watcher) midway(s *stretch) (m midway, is bool) {
	v := &s.track.volts
	at := v.From(s.first.T() - 1e-9)
	takes := max(stepTakes, 1.01*s.track.interval, s.track.renewed)
	on := func(x float64) bool { return s.side == Rich && x > middleHigh || s.side == Lean && x < middleLow }
	i, step := at, -1
	for i > 0 && v.At(i-1).T() > w.lastEnd() && on(v.At(i-1).V) {
		i--
		if step < 0 && s.first.T()-v.At(i).T() >= takes {
			step = i
		}
	}
	if step < 0 || s.loose {
		return m, false
	}
	m.from, m.before = v.At(i), v.At(step)
	m.pairs, m.still = goesOnStill(v, max(i, step-enoughPairs), step)
	size := 0.8 * abs(s.level-m.before.V)
	n, k := 0, 0
	for a, b := v.From(s.first.T()-baselineFor), 0; a < at; a++ {
		for b = max(a, b); b < at && v.At(b).T()-v.At(a).T() < takes; b++ {
			if !on(v.At(b).V) {
				a = b
			}
		}
		if b == at || !on(v.At(a).V) || !on(v.At(b).V) || w.wasHeld(v.At(a).T()) || w.wasHeld(v.At(b).T()) {
			continue
		}
		if n++; abs(v.At(b).V-v.At(a).V) >= size {
			k++
		}
	}
	one := s.track.interval
	m.steps = (float64(k)*one/max(takes, one) + 0.5) / (float64(n)*one + 20)
	return m, true
}

// settles is how long a reading takes, once it has come to the side, to lie where it stays there, s: half of the slow ones, for sensor and
// port may each lag by a second and more (longestFilter).
const settles = 2.0

// enoughPairs are all that count of one stay: readings this close say little more.
const enoughPairs = 40

// goesOnStill counts the readings from one index to another, and those that lie between their neighbours but for two counts: neither a
// slow way nor a wire that lies between two counts breaks that, noise does.
func goesOnStill(v *recent.Series, from, to int) (n, still int) {
	for i := from + 1; i < to; i++ {
		if n++; abs(v.At(i-1).V-2*v.At(i).V+v.At(i+1).V) <= twoCounts {
			still++
		}
	}
	return n, still
}

// goesOn is the logarithm of how often, per s, a free sensor that has stayed on the side does what the stretch does, its level aside.
func (w *Watcher) goesOn(s *stretch, m midway, base voltsBase) (goesOn, after float64) {
	whole, until := *s, *s
	whole.first, until.first, until.last = m.from, m.from, m.before
	whole.lo, until.lo = m.from.Lo, m.from.Lo
	x := w.staying(&whole, base)
	v := &s.track.volts
	at := v.From(s.first.T() - 1e-9)
	n, still := goesOnStill(v, at, min(v.From(s.last.T()), at+enoughPairs))
	quieter := quiet(still, n, m.still, m.pairs, m.pairs)
	quieter -= logSum(math.Log(0.75)+quiet(still, n, 19, 20, 10), math.Log(0.25)+quieter)
	quieter = logSum(math.Log(1-falls)+quieter, math.Log(falls))
	return x.sum() - w.staying(&until, base).sum() + math.Log(m.steps) + quieter, x.after - x.sum()
}

// falls is how often a reading that trembles lies still from one moment on (real stays of 3 s and more tremble by 11 mV and more nine times
// in ten; none of them was seen to fall still).
const falls = 0.01

// liesStill is ln p(how still the stretch lies | this sensor, by its stays before) − ln p(the same | a wire).
func (w *Watcher) liesStill(s *stretch, rest *restStats, stays int) float64 {
	pairs, alike := s.pairs, s.alike
	if pairs > enoughPairs {
		alike, pairs = alike*enoughPairs/pairs, enoughPairs
	}
	x := quiet(alike, pairs, rest.alike, rest.pairs, stays)
	x -= logSum(math.Log(0.75)+quiet(alike, pairs, 19, 20, 10), math.Log(0.25)+x) // or the noise is the port's
	still := stillCell
	if clipped(s.level) {
		still = stillClipped
	}
	return logSum(math.Log(1-still)+x, math.Log(still))
}

// How often a cell lies as still as a wire: at its full swing (real stays of 3 s and more: one in ten, by their spread), and where the input shows
// nothing beyond the level.
const (
	stillCell    = 0.1
	stillAway    = 0.4 // of a mixture that is far off: on the flat ends of its curve hardly anything moves a cell
	stillClipped = 0.6
)

// clipped reports whether the input can show nothing beyond the level.
func clipped(level float64) bool { return level < 0.0075 || level > 1.27 }
