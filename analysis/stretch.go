package analysis

import (
	"math"

	"pushback/analysis/recent"
)

// stretch is a candidate for a force: readings that stay at one level, or (loose) on one side.
type stretch struct {
	track       *track
	side        Side
	loose       bool
	n           int
	pairs       int // of readings that follow one another at the level
	alike       int // of them, those within two counts
	level       float64
	first, last recent.Reading
	before      recent.Reading // the last reading before
	hasBefore   bool
	next        recent.Reading // the first reading after it; zero while it lasts
	lo, hi      float64
}

func (s *stretch) seconds() float64 { return s.last.T() - s.first.T() }

// over reports whether the readings have left it.
func (s *stretch) over() bool { return s.next.Hi > 0 }

// atLevel is the stretch of a run; false where its level says nothing of a side.
func (k *track) atLevel(r *run) (stretch, bool) {
	if r.n < 3 {
		return stretch{}, false
	}
	s := stretch{track: k, side: heldSide(r.level()), n: r.n, pairs: r.n - 1, alike: r.alike, level: r.level(),
		first: r.first, last: r.last, before: r.before, hasBefore: r.hasBefore}
	return s, s.side != ""
}

// onOneSide is the stretch of a dwell.
func (k *track) onOneSide() (stretch, bool) {
	d := &k.dwell
	if d.side == "" || d.n < 4 {
		return stretch{}, false
	}
	s := stretch{track: k, side: d.side, loose: true, n: d.n, level: d.sum / float64(d.n),
		first: d.first, last: d.last, before: d.before, hasBefore: d.hasBefore}
	s.lo, s.hi = startOf(d.before, d.hasBefore, d.first)
	return s, true
}

// restStats is how the readings on one side were before.
type restStats struct {
	pairs, alike int
	near         float64 // share of the readings on the side that lie about the level
	end          float64 // V: one reading in ten on the side is more extreme
	crossings    int     // of the middle, from one side to the other
	clean        int     // of them, those with no reading in between
	changing     float64 // s: after so long, on the average, another value was read
}

// The middle that an edge must cross, V.
const (
	middleLow  = 0.30
	middleHigh = 0.60
)

// edge weighs how suddenly the stretch began (dir −1, from its first reading back) or ended (+1).
func (w *Watcher) edge(s *stretch, rest *restStats, from recent.Reading, dir int) float64 {
	v := &s.track.volts
	at := v.From(from.T() - 1e-9)
	between, gap := 0, max(s.track.interval, s.track.renewed)
	for i := at + dir; i >= 0 && i < v.Len() && between <= 4; i += dir {
		gap = max(gap, abs(v.At(i).T()-v.At(i-dir).T()))
		switch p := v.At(i); {
		case p.V > middleLow && p.V < middleHigh && p.V == v.At(i-dir).V: // read once more
		case p.V > middleLow && p.V < middleHigh:
			between++
		case (p.V >= middleHigh) == (s.side == Rich):
			return w.step(s, rest, at, dir)
		case gap > 2*max(s.track.interval, s.track.renewed): // what came in between was not read
			return sharp(between, gap, 0, 0)
		default:
			return sharp(between, gap, rest.clean, rest.crossings)
		}
	}
	return 0
}

// step is edge where the reading lay on the same side, at another level: how many readings it took from one level
// to the other.
func (w *Watcher) step(s *stretch, rest *restStats, at, dir int) float64 {
	v := &s.track.volts
	t0 := v.At(at).T()
	var here, level float64 // just inside, since a free sensor creeps, and outside
	m, n := 0, 0
	for i := at; i >= 0 && i < v.Len() && abs(v.At(i).T()-t0) < 2 && v.At(i).T() >= s.first.T()-1e-9 && v.At(i).T() <= s.last.T()+1e-9; i -= dir {
		here += v.At(i).V
		m++
	}
	for i := at + dir; i >= 0 && i < v.Len() && abs(v.At(i).T()-t0) < 2; i += dir {
		if abs(v.At(i).T()-t0) > 0.6 {
			level += v.At(i).V
			n++
		}
	}
	if n == 0 || m == 0 {
		return 0
	}
	level, here = level/float64(n), here/float64(m)
	size, noise := abs(level-here), s.track.scatter.noise()
	if size < max(standsOut*noise*math.Sqrt(1/float64(n)+1/float64(m)), twoCounts) {
		// Nothing began here, or nothing ended; a wire would have to lie where the sensor lay.
		return -math.Log(sameLevel)
	}
	if size < 2*standsOut*noise { // single readings do not tell how sudden it was
		return 0
	}
	between := 0
	for i := at + dir; i >= 0 && i < v.Len() && abs(v.At(i).T()-t0) < 2; i += dir {
		switch x := (v.At(i).V - here) / (level - here); {
		case x >= 0.75:
			return sharp(between, max(s.track.interval, rest.changing), 0, 0)
		case x > 0.25:
			between++
		}
	}
	return 0 // it crept
}

// standsOut is a step that is no chance, in its standard deviation.
const standsOut = 4.0

// leastStep is a step that stands out of noise and counts, V.
const leastStep = 0.04

// sameLevel is how often a wire reads just what the sensor read before (or after) it: the width of a level in the
// range of either side.
const sameLevel = 0.1

// restOf is the readings before one stretch, which is weighed again as it grows.
type restOf struct {
	side      Side
	first     float64 // s, of the stretch
	begin     float64 // s, of the readings, of which there are all
	all       int
	restStats           // but near, which goes with the level
	on        []float64 // V, those on the side
	hist      [257]int32
}

// restOn looks at the readings of the minute before the stretch, on its side, without what was held.
func (w *Watcher) restOn(s *stretch) restStats {
	r, v := &s.track.rest, &s.track.volts
	begin, end := v.From(max(s.first.T()-baselineFor, 0)), v.From(s.first.T()-1e-6)
	from := math.Inf(-1)
	if begin < end {
		from = v.At(begin).T()
	}
	held := w.heldWithin(from, s.first.T())
	if held || r.side != s.side || r.first != s.first.T() || r.begin != from || r.all != max(end-begin, 0) {
		r.side, r.first, r.begin, r.all = s.side, s.first.T(), from, max(end-begin, 0)
		r.look(v, begin, end, func(t float64) bool { return held && w.wasHeld(t) })
		if held {
			r.side = "" // more may be known to have been held
		}
	}
	out := r.restStats
	if len(r.on) > 0 {
		near := 0
		for _, x := range r.on {
			if abs(x-s.level) <= levelWidth/2+1e-9 {
				near++
			}
		}
		out.near = float64(near) / float64(len(r.on))
	}
	return out
}

// look takes the readings with the indices from begin to below end.
func (r *restOf) look(v *recent.Series, begin, end int, wasHeld func(t float64) bool) {
	on, rich := r.on[:0], r.side == Rich
	r.restStats, r.hist = restStats{}, [257]int32{}
	var prev, first recent.Reading
	had := false
	var side Side
	between, changes := 0, 0
	for i := begin; i < end; i++ {
		p := v.At(i)
		if i == begin {
			first = p
		} else if p.V != prev.V {
			changes++
		}
		held := wasHeld(p.T())
		switch {
		case held:
			side = ""
		case p.V > middleLow && p.V < middleHigh && i > begin && p.V == prev.V: // read once more
		case p.V > middleLow && p.V < middleHigh:
			between++
		default:
			now := Lean
			if p.V >= middleHigh {
				now = Rich
			}
			if side != "" && now != side {
				r.crossings++
				if between == 0 {
					r.clean++
				}
			}
			side, between = now, 0
		}
		is := !held && (rich && p.V > richAbove || !rich && p.V < leanBelow)
		if is {
			on = append(on, p.V)
			r.hist[min(max(int(math.Round(p.V/0.005)), 0), 256)]++
			if had {
				r.pairs++
				if abs(p.V-prev.V) <= twoCounts {
					r.alike++
				}
			}
		}
		prev, had = p, is
	}
	r.on = on
	r.changing = (prev.T() - first.T()) / float64(changes+1)
	r.end = 0.085
	if rich {
		r.end = 0.85
	}
	if len(on) > 0 {
		left := int32(len(on) / 10)
		at, step := 0, 1
		if rich {
			at, step = 256, -1
		}
		for ; at > 0 || step > 0 && at < 256; at += step {
			if left -= r.hist[at]; left < 0 {
				break
			}
		}
		r.end = float64(at) * 0.005
	}
}

// twoCounts is two counts of the voltage's scaling, V.
const twoCounts = 0.010 + 1e-9

// wasHeld reports whether a force that is known held the reading at time t.
func (w *Watcher) wasHeld(t float64) bool {
	for i := len(w.forces) - 1; i >= 0; i-- {
		f := w.forces[i]
		if t >= f.beginLo && (!f.ended || t <= f.endHi) {
			return true
		}
		if f.ended && t > f.endHi {
			return false
		}
	}
	return false
}

// heldWithin reports whether a force that is known may have held a reading in [from, to].
func (w *Watcher) heldWithin(from, to float64) bool {
	for _, f := range w.forces {
		if f.beginLo <= to && (!f.ended || f.endHi >= from) {
			return true
		}
	}
	return false
}

// goesWithTrim compares the stretch's last third with its first.
func (w *Watcher) goesWithTrim(s *stretch) float64 {
	secs := s.seconds()
	third := secs / 3
	from, to := s.first.T()+min(0.8, 0.15*secs), s.last.T()
	mean := func(v *recent.Series, a, b float64, level float64) (m, sd float64, n int) {
		var sum, square float64
		for i := v.From(a); i < v.Len(); i++ {
			p := v.At(i)
			if p.T() > b {
				break
			}
			if level > 0 && abs(p.V-s.level) > s.track.run.half+0.005 {
				continue
			}
			n++
			sum += p.V
			square += p.V * p.V
		}
		if n == 0 {
			return 0, 0, 0
		}
		m = sum / float64(n)
		return m, math.Sqrt(max(0, square/float64(n)-m*m)), n
	}
	v1, sd1, n1 := mean(&s.track.volts, from, from+third, 1)
	v2, sd2, n2 := mean(&s.track.volts, to-third, to, 1)
	if n1 < 1 || n2 < 1 || secs < 2 {
		return 0
	}
	t := w.trimOf(s.track)
	u1, _, m1 := mean(&t.short, from, from+third, 0)
	u2, _, m2 := mean(&t.short, to-third, to, 0)
	if m1 < 1 || m2 < 1 {
		return 0
	}
	trim := u2 - u1 + t.longAt(to-third/2) - t.longAt(from+third/2)
	sd := max(sd1, sd2, 0.0015)
	err := math.Hypot(sd*math.Sqrt(1/float64(n1)+1/float64(n2)), 0.0015)
	return follows(v2-v1, trim, 2*secs/3, err, clipped(s.level))
}

// trimAgainst is how far trim has gone against the stretch, %.
func (w *Watcher) trimAgainst(s *stretch) float64 {
	t := w.trimOf(s.track)
	i, j := t.short.From(s.first.T()), t.short.From(s.last.T())
	if i >= t.short.Len() || j <= i {
		return 0
	}
	up := against(s.side)
	a, b := t.short.At(max(i-1, 0)), t.short.At(min(j, t.short.Len()-1))
	return up * (t.total(b, a.T()) - t.total(a, a.T()))
}
