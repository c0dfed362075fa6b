package analysis

import (
	"math"

	"pushback/analysis/limits"
	"pushback/analysis/recent"
)

// A held wire reads the same, reading after reading; a sensor in a running engine
// does not. Three things tell them apart, all against this car's own switching:
// how long the reading stays (dwell), how little it moves (flatness), and whether
// the level is one that the sensor does not reach by itself.

const (
	bandHalf   = 0.015 // V: readings this close to the run's mean belong to it (three counts), where the port is quiet
	widestBand = 0.045 // V: and this close where it is not
	flatSpread = 0.010 // V: 10 to 90 % spread of a flat run (two counts)
)

// run is a stretch of readings within a narrow band. A short departure that comes
// back (a trembling hand, a poor contact) does not end it.
type run struct {
	n, out      int     // readings in the band, and beside it, since the start
	half        float64 // V: half the band
	low, high   float64 // V: what was read in it
	first, last recent.Reading
	before      recent.Reading // the last reading before the run
	hasBefore   bool
	sum         float64
	alike       int // readings within two counts of the one before
}

func (r *run) level() float64 { return r.sum / float64(r.n) }

func (r *run) seconds() float64 { return r.last.T() - r.first.T() }

// share is the part of the readings since the start that lie in the band.
func (r *run) share() float64 { return float64(r.n) / float64(r.n+r.out) }

func (r *run) begin(before recent.Reading, has bool, p recent.Reading, half float64) {
	*r = run{before: before, hasBefore: has, half: half, low: p.V, high: p.V}
	r.first = p
	r.take(p)
}

func (r *run) take(p recent.Reading) {
	if r.n > 0 && abs(p.V-r.last.V) <= twoCounts {
		r.alike++
	}
	r.n++
	r.last = p
	r.sum += p.V
	r.low, r.high = min(r.low, p.V), max(r.high, p.V)
}

func (r *run) holds(v float64) bool {
	return r.n > 0 && abs(v-r.level()) <= r.half+1e-9
}

// dwell is a stretch of readings on one side of the switch point.
type dwell struct {
	side        Side
	first, last recent.Reading
	before      recent.Reading // the last reading that was not on the side
	hasBefore   bool
	n           int
	sum         float64
}

func (d *dwell) seconds() float64 { return d.last.T() - d.first.T() }

// track follows one oxygen sensor's voltage.
type track struct {
	volts              recent.Series
	run                run
	done               run // the run before, where hasDone
	hasDone            bool
	looked, lookedSide look
	dwell              dwell
	interval           float64 // s: typical time between readings, smoothed
	changed            float64 // s: when another value was read last
	gaps               [32]float64
	changes            int     // of the value; the latest have their times from one to the next in gaps
	renewed            float64 // s: refresh, as it was not long ago
	scatter            scatter
	rest               restOf // of the stretch that was weighed last
}

func newTrack() track { return track{volts: recent.New(8192), scatter: scatter{half: bandHalf}} }

// scatter is how far a reading lies from the one before it where both lie on one side, in counts: the noise of the sensor
// and of the port together, an upper bound of what a held wire shows.
type scatter struct {
	from  recent.Reading
	steps [64]uint8
	many  [256]uint8 // of each step in steps
	n     int
	half  float64 // V: the band that follows
}

// add takes a reading; renewed is after how long the port shows another one, s.
func (x *scatter) add(p recent.Reading, renewed float64) {
	dt := p.T() - x.from.T()
	if dt < 0.9*renewed {
		return
	}
	if dt < 3*renewed && (p.V >= middleHigh && x.from.V >= middleHigh || p.V <= middleLow && x.from.V <= middleLow) {
		latest := &x.steps[x.n%len(x.steps)]
		if x.n >= len(x.steps) {
			x.many[*latest]--
		}
		*latest = uint8(min(abs(p.V-x.from.V)/0.005+0.5, 255))
		x.many[*latest]++
		if x.n++; x.n >= 16 && x.n%8 == 0 {
			x.half = min(max(bandHalf, 3*x.noise()), widestBand)
		}
	}
	x.from = p
}

// noise is the standard deviation of a reading, V, from the median step: that of two readings is 0.954 times it.
func (x *scatter) noise() float64 {
	middle, left := 0, min(x.n, len(x.steps))/2
	for ; middle < 255 && left >= int(x.many[middle]); middle++ {
		left -= int(x.many[middle])
	}
	return float64(middle) * 0.005 / 0.954
}

// returnWithin is how long a departure may last and still belong to the run.
func (k *track) returnWithin() float64 { return max(0.6, 2.2*k.interval) }

// add takes a reading and reports whether it lies outside the current run's band.
func (k *track) add(p recent.Reading) (outside bool) {
	prev, has := k.volts.Last()
	if has {
		dt := p.T() - prev.T()
		if k.interval == 0 {
			k.interval = dt
		} else if dt < 5*k.interval {
			k.interval += 0.1 * (dt - k.interval)
		}
	}
	if has && p.V != prev.V {
		if k.changed > 0 {
			k.gaps[k.changes%len(k.gaps)] = p.T() - k.changed
			if k.changes++; k.changes%8 == 0 {
				k.renewed = k.refresh()
			}
		}
		k.changed = p.T()
	}
	k.volts.Add(p)
	k.dwell.add(prev, has, p)
	k.scatter.add(p, max(k.interval, k.renewed))

	r := &k.run
	switch {
	case r.n == 0:
		r.begin(prev, has, p, k.scatter.half)
	case r.holds(p.V):
		r.take(p)
	default:
		r.out++
		if p.T()-r.last.T() > k.returnWithin() || r.share() < 0.7 {
			k.restart(p)
		}
		return true
	}
	return false
}

// restart begins a new run with p, dated back over the readings that belong to it.
func (k *track) restart(p recent.Reading) {
	if k.run.n >= 3 && k.run.seconds() >= leastSaid {
		k.done, k.hasDone = k.run, true
	}
	i := k.volts.Len() - 1
	for i > 0 && abs(k.volts.At(i-1).V-p.V) <= k.scatter.half && k.volts.At(i-1).T() > k.run.last.T() {
		i--
	}
	var before recent.Reading
	if i > 0 {
		before = k.volts.At(i - 1)
	}
	k.run.begin(before, i > 0, k.volts.At(i), k.scatter.half)
	for i++; i < k.volts.Len(); i++ {
		if q := k.volts.At(i); k.run.holds(q.V) {
			k.run.take(q)
		} else {
			k.run.out++
		}
	}
}

func (d *dwell) add(prev recent.Reading, has bool, p recent.Reading) {
	now := sideOf(p.V)
	if now == "" && d.side != "" && (d.side == Rich) == (p.V > switchPoint) {
		now = d.side // hysteresis: between the levels the side stays
	}
	if now != d.side || d.n == 0 {
		*d = dwell{side: now, first: p, before: prev, hasBefore: has}
	}
	d.n++
	d.last = p
	d.sum += p.V
}

// held is a finding: the signal is being held.
type held struct {
	side   Side
	lo, hi float64 // s: it began between these two readings
	level  float64 // V
	loose  bool    // it stays on the side, but not at one level
	told   bool    // only announced: nothing is seen of it yet
	until  float64 // s: the last reading that was held
	weight weight
}

func startOf(before recent.Reading, has bool, first recent.Reading) (lo, hi float64) {
	if !has {
		return first.Lo, first.Hi
	}
	return before.Lo, first.Hi
}

// longestFilter is the time constant of the slowest filter that a port's readings go through, s, and longestApproach
// for how long it shows an edge on its way to within bandHalf.
const (
	longestFilter   = 1.0
	longestApproach = 4 * longestFilter
	usualCycle      = 10.0 // s: one that cycles has been to both sides
)

// dated is when a run began. A port that renews its readings seldom shows an edge late; one that filters them shows
// it on its way for a while, as a first-order filter does: half of it 0.7 time constants after it, the last
// 3 or 4 of them later.
func (k *track) dated(r *run) (lo, hi float64) {
	lo, hi = startOf(r.before, r.hasBefore, r.first)
	v, level := &k.volts, r.level()
	end := v.From(r.first.T() - 1e-9)
	if !r.hasBefore || end <= 0 || end >= v.Len() {
		return lo, hi
	}
	lo -= k.refresh()
	away, above := abs(r.before.V-level), r.before.V > level
	for j := end - 1; j >= 0 && r.first.T()-v.At(j).T() < longestApproach && (v.At(j).V > level) == above; j-- {
		away = max(away, abs(v.At(j).V-level))
	}
	half := end - 1
	for half > 0 && abs(v.At(half).V-level) < away/2 && r.first.T()-v.At(half).T() < longestApproach {
		half--
	}
	if half == end-1 || away < 4*bandHalf {
		return lo, hi
	}
	at := v.At(half).T()
	for j := half + 1; j < end; j++ {
		if p := v.At(j); abs(p.V-level) > away*math.Exp(-(p.T()-at)/longestFilter)+2*bandHalf {
			return lo, hi // it stood on its way: that was the sensor's own
		}
	}
	filter := (r.first.T() - at) / math.Log(away/2/bandHalf)
	early := min(lo, v.At(max(half-1, 0)).Lo-filter-k.refresh())
	if abs(r.before.V-level) < leastStep {
		if lo, hi, n := v.Span(at-usualCycle, at); n > 2 && min(abs(lo-level), abs(hi-level)) > away/2 {
			return early, v.At(half + 1).Hi // the sensor did not go there by itself
		}
	}
	return early, hi
}

// refresh is how often the port renews the reading, s; 0 where it does so for each reading, as far as is known: after so
// long at least another value followed the one before, four times in five.
func (k *track) refresh() float64 {
	n := min(k.changes, len(k.gaps))
	if n < 8 {
		return 0
	}
	for short, i := 0, 0; i < n; i++ { // nearly always: many follow at the next reading
		if k.gaps[i] <= 1.5*k.interval {
			if short++; short > n/5 {
				return 0
			}
		}
	}
	var least [len(k.gaps)/5 + 1]float64 // in order
	seen := 0
	for _, g := range k.gaps[:n] {
		if seen > n/5 && g >= least[n/5] {
			continue
		}
		i := min(seen, n/5)
		for ; i > 0 && least[i-1] > g; i-- {
			least[i] = least[i-1]
		}
		least[i] = g
		seen++
	}
	if r := least[n/5]; r > 1.5*k.interval {
		return min(r, 1)
	}
	return 0
}

// heldSide is the side that a held level means to the computer, "" if it is too
// close to the switch point to say; a wire that hangs in the air reads there.
func heldSide(level float64) Side {
	switch {
	case level < limits.NeutralLow:
		return Lean
	case level > limits.NeutralHigh:
		return Rich
	}
	return ""
}

// newLevel reports whether a level lies outside what was read at rest, by more than its noise.
func newLevel(level, low, high float64) bool {
	return level < low-0.012 && level <= 0.012 || level < low-0.04 || level > high+0.04
}
