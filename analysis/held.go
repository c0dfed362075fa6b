package analysis

import "math"

// A held wire reads the same, reading after reading; a sensor in a running engine
// does not. Three things tell them apart, all against this car's own switching:
// how long the reading stays (dwell), how little it moves (flatness), and whether
// the level is one that the sensor does not reach by itself.

// How unlikely a stay must be by this car's own switching before it is called held: what
// nobody has announced must be rarer than what was announced, and a reading at one level
// says more than one that only keeps to its side.
const (
	unannounced = 1e-4
	announced   = 0.02
	pulled      = 0.01
)

const (
	bandHalf   = 0.015 // V: readings this close to the run's mean belong to it (three counts)
	flatSpread = 0.010 // V: 10 to 90 % spread of a flat run (two counts)
)

// run is a stretch of readings within a narrow band. A short departure that comes
// back (a trembling hand, a poor contact) does not end it.
type run struct {
	n, out      int // readings in the band, and beside it, since the start
	first, last point
	before      point // the last reading before the run
	hasBefore   bool
	sum         float64
	hist        [257]uint16 // readings by 5 mV count
	lo, hi      float64
}

func (r *run) level() float64   { return r.sum / float64(r.n) }
func (r *run) seconds() float64 { return r.last.t() - r.first.t() }

// share is the part of the readings since the start that lie in the band.
func (r *run) share() float64 { return float64(r.n) / float64(r.n+r.out) }

func (r *run) begin(before point, has bool, p point) {
	*r = run{before: before, hasBefore: has, lo: p.v, hi: p.v}
	r.first = p
	r.take(p)
}

func (r *run) take(p point) {
	r.n++
	r.last = p
	r.sum += p.v
	r.lo, r.hi = min(r.lo, p.v), max(r.hi, p.v)
	bin := int(math.Round(p.v / 0.005))
	r.hist[min(max(bin, 0), len(r.hist)-1)]++
}

func (r *run) holds(v float64) bool {
	return r.n > 0 && abs(v-r.level()) <= bandHalf+1e-9
}

// spread is the 10 to 90 % range of the readings in the band, V.
func (r *run) spread() float64 {
	tail := int(float64(r.n) * 0.1)
	cut := func(from, step int) int {
		left := tail
		for i := from; i >= 0 && i < len(r.hist); i += step {
			left -= int(r.hist[i])
			if left < 0 {
				return i
			}
		}
		return from
	}
	return float64(cut(len(r.hist)-1, -1)-cut(0, 1)) * 0.005
}

// dwell is a stretch of readings on one side of the switch point.
type dwell struct {
	side        Side
	first, last point
	before      point // the last reading that was not on the side
	hasBefore   bool
	n           int
	sum         float64
}

func (d *dwell) seconds() float64 { return d.last.t() - d.first.t() }

// track follows one oxygen sensor's voltage.
type track struct {
	volts    series
	run      run
	dwell    dwell
	interval float64 // s: typical time between readings, smoothed
}

func newTrack() track { return track{volts: newSeries(8192)} }

// returnWithin is how long a departure may last and still belong to the run.
func (k *track) returnWithin() float64 { return max(0.6, 2.2*k.interval) }

// add takes a reading and reports whether it lies outside the current run's band.
func (k *track) add(p point) (outside bool) {
	prev, has := k.volts.last()
	if has {
		dt := p.t() - prev.t()
		if k.interval == 0 {
			k.interval = dt
		} else if dt < 5*k.interval {
			k.interval += 0.1 * (dt - k.interval)
		}
	}
	k.volts.add(p)
	k.addDwell(prev, has, p)

	r := &k.run
	switch {
	case r.n == 0:
		r.begin(prev, has, p)
	case r.holds(p.v):
		r.take(p)
	default:
		r.out++
		if p.t()-r.last.t() > k.returnWithin() || r.share() < 0.7 {
			k.restart(p)
		}
		return true
	}
	return false
}

// restart begins a new run with p, dated back over the readings that belong to it.
func (k *track) restart(p point) {
	i := k.volts.n - 1
	for i > 0 && abs(k.volts.at(i-1).v-p.v) <= bandHalf && k.volts.at(i-1).t() > k.run.last.t() {
		i--
	}
	var before point
	if i > 0 {
		before = k.volts.at(i - 1)
	}
	k.run.begin(before, i > 0, k.volts.at(i))
	for i++; i < k.volts.n; i++ {
		if q := k.volts.at(i); k.run.holds(q.v) {
			k.run.take(q)
		} else {
			k.run.out++
		}
	}
}

func (k *track) addDwell(prev point, has bool, p point) {
	d := &k.dwell
	now := sideOf(p.v)
	if now == "" && d.side != "" && (d.side == Rich) == (p.v > switchPoint) {
		now = d.side // hysteresis: between the levels the side stays
	}
	if now != d.side || d.n == 0 {
		*d = dwell{side: now, first: p, before: prev, hasBefore: has}
	}
	d.n++
	d.last = p
	d.sum += p.v
}

// held is a finding: the signal is being held.
type held struct {
	side   Side
	lo, hi float64 // s: it began between these two readings
	level  float64 // V
	loose  bool    // it stays on the side, but not at one level
	told   bool    // only announced: nothing is seen of it yet
}

func startOf(before point, has bool, first point) (lo, hi float64) {
	if !has {
		return first.lo, first.hi
	}
	return before.lo, first.hi
}

// heldSide is the side that a held level means to the computer, "" if it is too
// close to the switch point to say; a wire that hangs in the air reads there.
func heldSide(level float64) Side {
	switch {
	case level < 0.35:
		return Lean
	case level > 0.55:
		return Rich
	}
	return ""
}

// heldUnmarked looks for a force that nobody announced, so it must be something
// that an engine never does by itself. trimMoved is how far trim has moved against
// the hold since it began (%), answered whether that is more than its hunting.
//
// On real mixture, a trim that moves takes the cell's voltage with it: by
// thermodynamic equilibrium at 900 K some 3 to 12 mV a per cent on the rich side
// and 2 to 6 on the lean side. A reading that stays within two counts while trim
// moves by many per cent is therefore not the cell's.
func (k *track) heldUnmarked(b voltsBase, trimMoved float64, answered bool) (held, bool) {
	r := &k.run
	level, secs := r.level(), r.seconds()
	side := heldSide(level)
	if !b.known() || side == "" || r.n < 4 || r.share() < 0.85 || secs < 1.5 || r.spread() > flatSpread+1e-9 {
		return held{}, false
	}
	// A level that the sensor never reaches by itself: nothing to do with how long
	// it stays anywhere.
	strange := side == Lean && level <= min(0.025, b.low-0.020) || side == Rich && level >= b.high+0.040
	if !strange {
		if b.stays(side).chance(secs) > unannounced {
			return held{}, false
		}
		if level > b.low-0.010 && level < b.high+0.010 && !b.switching() {
			return held{}, false // it lay there before: nothing new happened
		}
	}
	moves := answered || secs >= 8
	need := 10.0
	if side == Rich {
		need = 6.0
	}
	switch {
	case level > 0.15 && level < 0.35, level > 0.55 && level < 0.75:
		// A cell passes through here; it does not stay.
		if !moves || r.n < 6 || secs < 3 {
			return held{}, false
		}
	case strange && side == Lean:
		if !moves {
			return held{}, false
		}
	case strange && secs >= 8 && trimMoved < 1.5:
		// Rich mixture may take a cell here, but then trim would work against it.
	case r.n >= 6 && secs >= 3 && trimMoved >= need && answered && abs(r.last.v-r.first.v) <= 0.005+1e-9 &&
		r.hasBefore && abs(r.before.v-level) >= 0.04: // a wire is put on at once; a mixture creeps up
	default:
		return held{}, false
	}
	lo, hi := startOf(r.before, r.hasBefore, r.first)
	return held{side: side, lo: lo, hi: hi, level: level}, true
}

// newLevel reports whether a level lies outside what was read at rest, by more than its noise.
func newLevel(level, low, high float64) bool {
	return level < low-0.012 && level <= 0.012 || level < low-0.04 || level > high+0.04
}

// heldAtLevel looks for the force that the technician has announced: a new level,
// or one kept for longer than the sensor does by itself, with the given chance.
func (k *track) heldAtLevel(side Side, b voltsBase, chance float64) (held, bool) {
	r := &k.run
	level := r.level()
	isNew := b.known() && newLevel(level, b.low, b.high)
	if heldSide(level) != side || r.n < 3 || r.share() < 0.8 || r.seconds() < 0.8 || r.spread() > 2*flatSpread ||
		!isNew && b.stays(side).chance(r.seconds()) > chance {
		return held{}, false
	}
	lo, hi := startOf(r.before, r.hasBefore, r.first)
	return held{side: side, lo: lo, hi: hi, level: level}, true
}

// heldLoosely looks for an announced force that keeps the reading on its side
// without holding it at one level: through some resistance, or by a weak source.
// It cannot have begun before earliest.
func (k *track) heldLoosely(side Side, b voltsBase, earliest float64) (held, bool) {
	d := &k.dwell
	secs := d.last.t() - max(d.first.t(), earliest)
	if d.side != side || d.n < 4 || secs < 2 || b.stays(side).chance(secs) > pulled {
		return held{}, false
	}
	lo, hi := startOf(d.before, d.hasBefore, d.first)
	return held{side: side, lo: max(lo, earliest), hi: max(hi, earliest), level: d.sum / float64(d.n), loose: true}, true
}
