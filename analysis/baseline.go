package analysis

import (
	"math"

	"pushback/analysis/limits"
	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// baseCache keeps the baseline that ends at one moment, which many readings of one
// run ask for.
type baseCache struct {
	to    float64
	valid bool
	volts voltsBase
	trim  trimBase
}

// baseBefore is the watched sensor's and its bank's trim at rest before the moment t.
func (w *Watcher) baseBefore(k *track, t float64) (voltsBase, trimBase) {
	t -= 1e-6
	if k == &w.volts && w.cache.valid && w.cache.to == t {
		return w.cache.volts, w.cache.trim
	}
	from := max(t-baselineFor, w.restFrom)
	b := w.voltsBaseline(&k.volts, from, t)
	tr := w.trimBaseline(&w.trim, max(t-trimBaselineFor, w.restFrom), t)
	if n := len(w.forces); n > 0 && k == &w.volts {
		// Soon after a force there is little rest to look at: what was known before
		// the force still holds.
		old := w.forces[n-1]
		fresh := t-w.lastEnd() < trimBaselineFor || old.relOn && !old.resumed
		if old.volts.known() && (fresh || !b.known() || b.changes < old.volts.changes && b.seconds < 12) {
			b = old.volts
		}
		if old.own.base.known() && (fresh || !tr.known() || tr.seconds < 6) {
			tr = old.own.base.learned(func(v float64) float64 { return w.trim.asAt(t, v, old.begin) })
		}
		// Where trim stands now is another matter than how it hunts at rest.
		if now := w.trimBaseline(&w.trim, max(t-trimBaselineFor, w.lastEnd()), t); now.n > 0 {
			tr.last, tr.flatFor = now.last, now.flatFor
		}
	}
	if k == &w.volts {
		w.cache = baseCache{to: t, valid: true, volts: b, trim: tr}
	}
	return b, tr
}

// Hysteresis around the switch point of 0.45 V: a sensor reads rich above the
// upper and lean below the lower level.
const (
	switchPoint = limits.SwitchPoint
	richAbove   = 0.50
	leanBelow   = 0.40
)

// What counts as an extreme, V. Between strong and grey a reading is neither lean
// nor rich enough to prove anything. Trade figures: rich above 0.80 V, lean below
// 0.20 V.
const (
	strongRich = 0.80
	greyRich   = 0.70
	greyLean   = 0.30
	strongLean = 0.20
)

// strength grades a reading on a side: 2 proves it, 1 is grey, 0 is not on it.
func strength(side Side, v float64) int {
	switch {
	case side == Rich && v >= strongRich-1e-9, side == Lean && v <= strongLean+1e-9:
		return 2
	case side == Rich && v >= greyRich-1e-9, side == Lean && v <= greyLean+1e-9:
		return 1
	}
	return 0
}

// onSide reports whether v counts as the side, with hysteresis.
func onSide(side Side, v float64) bool {
	if side == Rich {
		return v > richAbove
	}
	return v < leanBelow
}

// sideOf returns the side of v, or "" between the two levels.
func sideOf(v float64) Side {
	switch {
	case v > richAbove:
		return Rich
	case v < leanBelow:
		return Lean
	}
	return ""
}

// voltsBase is how a sensor behaves while nobody forces it.
type voltsBase struct {
	n          int
	seconds    float64 // from the first to the last reading
	from, to   float64 // s, when they were read
	interval   float64 // median time between readings, or from one that is renewed to the next, s; 0: not asked for, see [Watcher.spaced]
	low        float64 // V: 1 reading in 100 is below
	high       float64 // V: 1 reading in 100 is above
	lean, rich stays
	changes    int // of side
	shareRich  float64
	between    int // readings in the middle
}

// known reports whether there is enough to compare with.
func (b voltsBase) known() bool { return b.n >= 8 && b.seconds >= 4 }

// switching reports whether the sensor was cycling.
func (b voltsBase) switching() bool { return b.changes >= 3 }

// dormant reports whether the reading lay between the sides, as a cold sensor's does or an open input's that no mixture moves: one that
// lives is there for a moment. It may have been held once or twice, unseen.
func (b voltsBase) dormant() bool {
	return b.known() && b.seconds >= 8 && float64(b.between) >= 0.6*float64(b.n) && b.changes <= 3
}

// regular reports whether it cycled as a loop makes it, its stays much alike.
func (b voltsBase) regular() bool {
	return b.switching() && b.lean.shape >= 2 && b.rich.shape >= 2
}

// showed reports whether the sensor reached the side's extreme as it cycled.
func (b voltsBase) showed(side Side) bool {
	if side == Rich {
		return b.switching() && b.high >= greyRich
	}
	return b.switching() && b.low <= greyLean
}

func (b voltsBase) stays(side Side) stays {
	if side == Rich {
		return b.rich
	}
	return b.lean
}

// on is the share of its time that the sensor is on the side by itself: so often it is there as a wire is let go.
func (b voltsBase) on(side Side) float64 {
	share := b.shareRich
	switch {
	case b.n == 0:
		share = 0.5
	case side == Lean:
		share = 1 - share
	}
	return min(max(share, 0.1), 0.9) // the turns that come within a moment, and what few readings tell
}

// stays is how long the readings keep to one side, first reading on it to the first on
// the other.
type stays struct {
	n                       int
	mean, mid, p95, longest float64 // s; mid is the median
	shape                   int     // of the Erlang law that they follow, 1 to 8
}

// staysOf sorts v.
func staysOf(v []float64) stays {
	s := stays{n: len(v), shape: 1}
	if s.n == 0 {
		return s
	}
	s.p95 = quantile(v, 0.95)
	s.mid, s.longest = stats.SortedQuantile(v, 0.5), v[s.n-1]
	var sum, square float64
	for _, d := range v {
		sum += d
	}
	s.mean = sum / float64(s.n)
	for _, d := range v {
		square += (d - s.mean) * (d - s.mean)
	}
	if s.n > 3 && square > 0 {
		// By moments, made smaller as a few stays may look alike by chance.
		s.shape = int(min(max(s.mean*s.mean/square*float64(s.n-3), 1), 8))
	}
	return s
}

// evenly is ln p(the stays | the Erlang law of their shape) − ln p(the same | an exponential law of their mean) as it is expected of so
// many, their number times the Kullback-Leibler divergence of the two: ln k + (k−1)·ψ(k) − ln (k−1)! − (k−1), ψ(k) = Σ 1/j − γ. The shape was
// fitted to these very stays, which costs half the logarithm of their number (G. Schwarz, Annals of Statistics 6, 1978); never below 0.
func (s stays) evenly() float64 {
	k, psi, factorial := float64(s.shape), -0.5772, 0.0
	for j := 1.0; j < k; j++ {
		psi += 1 / j
		factorial += math.Log(j)
	}
	n := float64(s.n)
	return max(0, n*(math.Log(k)+(k-1)*psi-factorial-(k-1))-math.Log(max(1, n))/2)
}

// habit is a stay, but no longer than one that some others of them bear out: one long stay
// among others is none.
func (s stays) habit(stay float64) float64 {
	if s.n < 3 {
		return stay
	}
	return min(stay, 4*s.mid)
}

// chance is the probability that a stay of the sensor's own lasts for longer than secs; a side that it was never on has the chance 0.
func (s stays) chance(secs float64) float64 {
	if s.n == 0 || s.mean <= 0 {
		return 0
	}
	return outlasts(secs, s.n, s.mean*float64(s.n), s.shape)
}

// lasting is the stay whose chance is p, s.
func (s stays) lasting(p float64) float64 {
	if s.n == 0 || s.mean <= 0 {
		return 0
	}
	lo, hi := 0.0, 100*s.mean
	for range 40 {
		if t := (lo + hi) / 2; s.chance(t) > p {
			lo = t
		} else {
			hi = t
		}
	}
	return hi
}

// voltsBaseline looks at the readings in [from, to].
func (w *Watcher) voltsBaseline(s *recent.Series, from, to float64) voltsBase {
	b := voltsBase{from: from, to: to}
	values := w.scratchA[:0]
	lean, rich := w.scratchC[:0], w.scratchD[:0]
	var side Side
	var since, lastOn float64
	var prev recent.Reading
	nRich := 0
	endDwell := func(next float64) {
		d := next - since
		if side == Rich {
			rich = append(rich, d)
		} else if side == Lean {
			lean = append(lean, d)
		}
	}
	for i := s.From(from); i < s.Len(); i++ {
		p := s.At(i)
		if p.T() > to {
			break
		}
		if b.n == 0 {
			b.seconds = -p.T()
		}
		b.n++
		if p.V > middleLow && p.V < middleHigh {
			b.between++
		}
		values = append(values, p.V)
		if p.V > switchPoint {
			nRich++
		}
		if now := sideOf(p.V); now != "" && now != side {
			if side != "" {
				b.changes++
				endDwell(p.T())
			}
			side, since = now, p.T()
		}
		lastOn = p.T()
		prev = p
	}
	if b.n == 0 {
		return b
	}
	endDwell(lastOn)
	b.seconds += prev.T()
	b.shareRich = float64(nRich) / float64(b.n)
	b.low, b.high = stats.Quantile(values, 0.01), stats.Quantile(values, 0.99)
	b.lean, b.rich = staysOf(lean), staysOf(rich)
	w.scratchA, w.scratchC, w.scratchD = values, lean, rich
	return b
}

// spaced works out how far apart the watched sensor's readings of b lay, or how seldom the port renewed them, which only a force asks for.
func (w *Watcher) spaced(b voltsBase) voltsBase {
	v := &w.volts.volts
	gaps := w.scratchB[:0]
	for i := v.From(b.from) + 1; i < v.Len() && v.At(i).T() <= b.to; i++ {
		gaps = append(gaps, v.At(i).T()-v.At(i-1).T())
	}
	if w.scratchB = gaps; b.interval == 0 && len(gaps) > 0 {
		b.interval = max(stats.Quantile(gaps, 0.5), w.volts.renewed)
	}
	return b
}

// trimBase is how trim behaves while nobody forces the sensor.
type trimBase struct {
	n                 int
	seconds           float64
	low, high, median float64 // %
	shortLow          float64 // %: the range of short-term trim alone
	shortHigh         float64
	activity          float64 // % per s: how fast trim moves as the loop hunts
	flatFor           float64 // s: how long trim had not changed by more than a count before `to`
	last              float64
}

func (b trimBase) known() bool { return b.n >= 3 && b.seconds >= 3 }

// learned is the same where as has what short-term trim then would be with the long-term trim of now: short-term trim hunts about another middle since. How far
// short-term trim alone went stays as it was read: a loop that cannot go beyond zero did not do so for what long-term trim has learned.
func (b trimBase) learned(as func(float64) float64) trimBase {
	b.low, b.high, b.median, b.last = as(b.low), as(b.high), as(b.median), as(b.last)
	return b
}

// width is the range over which the loop hunts at rest, %.
func (b trimBase) width() float64 { return b.high - b.low }

// trimBaseline looks at total trim in [from, to], long-term trim taken as at `to`.
func (w *Watcher) trimBaseline(t *trimStream, from, to float64) trimBase {
	b := trimBase{}
	values := w.scratchA[:0]
	var prev, prevT, firstT float64
	travel := 0.0
	for i := t.short.From(from); i < t.short.Len(); i++ {
		p := t.short.At(i)
		if p.T() > to {
			break
		}
		v := t.total(p, to)
		if b.n == 0 {
			firstT = p.T()
		} else {
			travel += abs(v - prev)
		}
		if b.n == 0 {
			b.shortLow, b.shortHigh = p.V, p.V
		}
		b.shortLow, b.shortHigh = min(b.shortLow, p.V), max(b.shortHigh, p.V)
		prev, prevT = v, p.T()
		values = append(values, v)
		b.n++
	}
	if b.n == 0 {
		return b
	}
	b.last = prev
	b.seconds = prevT - firstT
	if b.seconds > 0 {
		b.activity = travel / b.seconds
	}
	// Back from the end while trim stays within a count.
	lo, hi := prev, prev
	b.flatFor = 0
	for i := len(values) - 1; i >= 0; i-- {
		lo, hi = min(lo, values[i]), max(hi, values[i])
		if hi-lo > 1.01*trimCount {
			break
		}
		b.flatFor = prevT - t.short.At(t.short.From(from)+i).T()
	}
	// The few most extreme readings of a long rest are set aside, as a passing
	// disturbance; a short rest keeps all.
	q := 0.05
	if b.n < 20 {
		q = 0
	}
	b.median = quantile(values, 0.5)
	b.low, b.high = stats.SortedQuantile(values, q), stats.SortedQuantile(values, 1-q)
	w.scratchA = values
	return b
}
