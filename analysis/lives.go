package analysis

import (
	"math"

	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

// lives tells a sensor that reads lean because the gas at it is lean, as an exhaust leak ahead of it makes it, from one that
// reads lean whatever the gas: released from a rich force, the mixture is leaner by what trim has cut and comes back as trim
// does, and a live cell moves some millivolts with it. A dead one lies where it lies.
type lives struct {
	early, late levelled
	ever        []aged
}

// aged is a reading of late with what was known when it came.
type aged struct {
	t      float64
	before levelled
}

// maxAged is how many are kept: who holds the wire again unseen is seen within so many.
const maxAged = 512

// heldAgain takes out what was read since t: the wire was held then.
func (l *lives) heldAgain(t float64) {
	for n := len(l.ever); n > 0 && l.ever[n-1].t >= t; n-- {
		l.late, l.ever = l.ever[n-1].before, l.ever[:n-1]
	}
}

// levelled is a level, V, with the trim that went with it, %.
type levelled struct {
	n, sum, squares, trim float64
	batch, batches        batch // of as long as early takes
}

// batch adds up readings, or means of them.
type batch struct{ since, n, sum, squares float64 }

func (b *batch) add(v float64) { b.n, b.sum, b.squares = b.n+1, b.sum+v, b.squares+v*v }

func (l *levelled) add(t, v, trim float64) {
	l.n, l.sum, l.squares, l.trim = l.n+1, l.sum+v, l.squares+v*v, l.trim+trim
	if b := &l.batch; b.n > 0 && t-b.since >= hardlyIn-passedBy {
		l.batches.add(b.sum / b.n)
		*b = batch{since: t}
	} else if b.n == 0 {
		b.since = t
	}
	l.batch.add(v)
}

// wanders is the variance of a level by so long, V²: what a reading wanders by the mixture and by itself (method of batch means).
func (l *levelled) wanders() float64 {
	b := &l.batches
	if b.n < 3 {
		return 0
	}
	return max(0, b.squares-b.sum*b.sum/b.n) / (b.n - 1) * (1 + 1/b.n)
}

func (l *levelled) mean() float64 { return l.sum / l.n }

// variance of the readings, V².
func (l *levelled) variance() float64 { return max(l.squares/l.n-l.mean()*l.mean(), 0) }

// Times in which a released sensor shows the mixture that the loop has made, s: gas on its way has passed the sensor, and trim has hardly
// come back.
const (
	passedBy = 0.4
	hardlyIn = 2.5
)

// addVolts takes a reading after the release.
func (l *lives) addVolts(r *release, p recent.Reading) {
	after := p.T() - r.hi
	switch {
	case r.expect != Lean || r.trimMade < 8 || after < passedBy:
	case after < hardlyIn && r.still() > 0.6:
		l.early.add(p.T(), p.V, r.trimNow)
	case r.still() < 0.4 && len(l.ever) < maxAged:
		l.ever = append(l.ever, aged{p.T(), l.late})
		l.late.add(p.T(), p.V, r.trimNow)
	}
}

// leanSlopes are by how much a cell's reading moves with 1 % of fuel, V, where the gas is far on the lean side:
// kT/4e · d ln(oxygen), which from λ 1.05 to 2 at 700 to 1000 K is 0.2 to 4 mV.
var leanSlopes = [...]float64{0.0002, 0.0004, 0.0007, 0.0012, 0.0025, 0.004}

// odds are ln p(what the reading moved | a live cell) − ln p(the same | a dead one), and by how much it moved, V.
func (l *lives) odds() (odds, moved float64) {
	if l.early.n < 2 || l.late.n < 2 {
		return 0, 0
	}
	moved = l.late.mean() - l.early.mean()
	trim := l.early.trim/l.early.n - l.late.trim/l.late.n // mirrored: it cut
	// Readings in a row are much alike, so a third of them counts.
	err := math.Hypot(math.Sqrt(max(3*l.early.variance()/l.early.n+3*l.late.variance()/l.late.n, l.late.wanders())), 0.001)
	other := 0.02 * normal(moved, 0.03) // whatever else moves a reading
	cell := other
	for _, s := range leanSlopes {
		cell += 0.98 / float64(len(leanSlopes)) * normal(moved-s*trim, math.Hypot(err, 0.4*s*trim))
	}
	// A dead one does not wander with the mixture.
	err = min(err, math.Hypot(math.Sqrt(3*l.early.variance()/l.early.n), 0.005))
	dead := other + 0.88*normal(moved, err) + 0.1*normal(moved, math.Hypot(err, 0.005))
	return math.Log(cell+1e-12) - math.Log(dead+1e-12), moved
}

// leanLevel is ln p(level | a cell in the gas of a leak) − ln p(level | a dead one), V: by Nernst's law gas of λ 1.03 to 2
// makes 0.015 to 0.085 V at 700 to 1100 K; a dead element may give anything up to 0.3 V.
func leanLevel(v float64) float64 {
	const dead = 1 / 0.3
	x := math.Log(max(v, 0.005) / 0.04)
	return math.Log((0.05*dead + 0.95*normal(x, 0.6)/max(v, 0.005)) / dead)
}

// movesLean adds up what the releases from rich tell of a sensor that moves with the mixture: log odds for a live one, and by how much it moved, V.
func (c *assessment) movesLean() (odds, moved float64) {
	for _, f := range c.on(Rich) {
		o, by := f.rel.lives.odds()
		if odds += o; o > 0 {
			moved = by
		}
	}
	return odds, moved
}

// readsLean is by how much a sensor that had lain lean all the time before, and came there at once, moved on from there as trim went back, V: it
// was read deeper lean because the mixture was leaner. 0: that is not shown.
func (c *assessment) readsLean(r *release) float64 {
	if r.expect != Lean || !r.why.Has(reason.AsAllTheTime) || r.strong < 2 || r.lastOff.T()-r.hi > promptWithin {
		return 0
	}
	odds, moved := c.movesLean()
	if odds < oneInThousand {
		return 0
	}
	return max(0, moved)
}

// leanLife weighs whether the sensor, which by itself was never read rich, lives in lean gas: log odds for that, and by how much it
// moved with the mixture, V.
func (c *assessment) leanLife() (odds, moved float64) {
	level, n := 0.0, 0.0
	odds, moved = c.movesLean()
	for _, f := range c.on(Rich) {
		if l := &f.rel.lives.late; l.n > 0 {
			level, n = level+l.mean()-f.rel.zero, n+1
		}
	}
	for _, f := range c.forces {
		if n == 0 && f.bank == c.w.bank && f.volts.known() {
			level, n = min((f.volts.low+f.volts.high)/2, f.volts.low+0.05)-f.rel.zero, 1 // the branch may have been open for some of it
		}
	}
	if n > 0 {
		odds += leanLevel(level / n)
	}
	return odds, moved
}

// mayLiveLean reports whether what the sensor reads may be the gas of an exhaust leak ahead of it: it was never read rich, and nothing
// speaks against it. That is looked for before anyone condemns the sensor (common practice, no source).
func (c *assessment) mayLiveLean() bool {
	odds, _ := c.leanLife()
	return c.onlyLean() && odds > condemned
}

// condemned is ln of the odds of a live sensor under which one that only reads lean is called dead.
const condemned = -1.5
