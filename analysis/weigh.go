package analysis

import (
	"math"
	"slices"

	"pushback/analysis/limits"
	"pushback/decode"
)

// weight is what speaks for a force, each part as a logarithm; what is positive speaks for it.
type weight struct {
	free    float64 // the readings of the stretch itself: −ln of what the free sensor makes likely
	after   float64 // 0 to 1: were it no force, the probability that the release before made it
	down    float64 // what the sensor behind the catalyst did meanwhile
	release float64 // what came when it was over
	rate    float64 // what was said, and how rare forces are where somebody tests
	prior   float64 // the same with the odds that somebody tests
}

func (x weight) sum() float64 { return x.readings() + x.prior }

// readings is what the readings say, whatever was said.
func (x weight) readings() float64 { return x.free + x.down + x.release }

// The log odds from which a stretch is called a force: that somebody tests where nobody has said so may be
// wrong once in a thousand; that, if so, this stretch is a force, or one that was announced is, once in a hundred.
const (
	oneInThousand = 6.9
	oneInHundred  = 4.6
)

// isForce reports whether the stretch is to be called a force.
func (w *Watcher) isForce(s *stretch, x weight, said bool) bool {
	if said {
		return x.sum() >= oneInHundred
	}
	least, other := oneInThousand, math.Inf(-1)
	if w.even(s) {
		least, other = oneInHundred, w.partner(s)
	}
	return x.given() >= least && (w.tested(s) || w.testLogOdds(x, other) >= oneInThousand)
}

// even reports whether the engine ran evenly before the stretch and in it, as it does where somebody tests; who warms the sensor
// at 2500 rpm first does so in a car that stands.
func (w *Watcher) even(s *stretch) bool {
	from, to := s.first.T(), s.last.T()
	return w.ready.steady(from-evenBefore, to) || w.ready.stands(from-evenBefore, to) && w.ready.steady(from-evenStanding, to)
}

// For how long before, s: town driving is not that even for so long, nor does it stand for so long (common practice, no source).
const (
	evenBefore   = 40.0
	evenStanding = 8.0
)

// given is the log odds of a force if somebody tests.
func (x weight) given() float64 { return x.readings() + x.rate }

// testLogOdds are the log odds that somebody tests, by two stretches: each may be a force, or chance.
func (w *Watcher) testLogOdds(x weight, other float64) float64 {
	return x.prior - x.rate + logSum(0, x.given()) + logSum(0, other)
}

// How often such stretches begin, per s, on one side.
const (
	excursionRate = 1.0 / 100 // real mixture that leaves the loop's own cycle (measured on recordings)
	engineRate    = 1.0 / 1000
	drivenRate    = 1.0 / 100  // the same of an engine that is driven: enrichment as the pedal goes down, fuel cut as it comes up
	wakesRate     = 1.0 / 60   // of a sensor that lies at its bias, cold or not joined: that it begins to tell (from memory)
	wakesAway     = 0.4        // and the mixture then stands so far off that it tells of one side only; the others begin to cycle
	sleepsAgain   = 0.02       // and then lies there again at once
	staysAsleep   = 0.7        // where a wire was held that it is still asleep: the rest warm up, or cycled seldom
	settledAfter  = 2.0        // s: a stay after which a cell has reached its full swing
	stuckAtFirst  = 0.2        // sensors that lie on one side where a session begins
	movingRate    = 1.0 / 10   // and of one whose car moves: fuel cut is 7 to 20 % of the time (measured on recordings)
	MovingForce   = 0.02       // forces that are made while the car moves (common practice, no source: people hold a wire at a standing car)
	openForce     = 0.05       // forces that are made just as the branch is said to be open and untouched (common practice, no source)
	regripRate    = 1.0 / 2    // a wire that slipped is gripped again, at the same level
	forceRate     = 1.0 / 25   // where somebody tests: that side is forced
	silentForce   = 0.2        // who makes marks seldom forces without one
	handsHold     = 4.0        // s: who holds a wire does so for about so long at least: a shorter hold shows nothing of the loop (common practice, no source)
	handsLast     = 60.0       // s: few hold it for longer than about that (common practice, no source)
	handsChange   = 5.0        // s: who lets go of a side takes up the other's source within about so long (common practice, no source)
	atOnce        = 0.05       // and some have a switch that does it at once
	exchangedRate = 1.0 / 3000 // the banks' plugs are exchanged, and a sensor goes to one side and the other bank's to the other for it (from memory)
	besideForce   = 0.1        // forces that are read as the other bank's: plugs exchanged, or the wrong wire
	testLasts     = 150.0      // s: forces come within so long of one another
	handsReady    = 10.0       // s: who begins a recording holds nothing yet for about so long
	testBegins    = 60.0       // s: who tests begins after so long on the average
	testWithin    = 300.0      // s: who tests later does so at any time, one such span as likely as the other
	testLate      = 0.1        // of those who test do so later
)

// testOdds are the odds that somebody tests where nobody has said so and nothing was forced until t, s: even as a session
// begins, for that is what the program is for, and the less the longer nothing comes.
func testOdds(t float64) float64 {
	return (1-testLate)*math.Exp(-t/testBegins) + testLate/max(1, t/testWithin)
}

// excursionRate is how often real mixture leaves the cycle on this car, per s: what is usual, or as often as in this
// session; less only where the engine runs evenly.
func (w *Watcher) excursionRate(s *stretch) float64 {
	rate := (float64(w.excursions) + 1) / (w.now + 1/excursionRate)
	if !w.even(s) {
		rate = max(rate, excursionRate)
	}
	return rate
}

// tested reports whether a force is known so short before the stretch that it is the same test.
func (w *Watcher) tested(s *stretch) bool {
	n := len(w.forces)
	return n > 0 && s.first.T()-w.forces[n-1].end < testLasts && (s.track == &w.volts) == (w.forces[n-1].bank == w.cfg.Sensor.Bank)
}

// partner is the most that a stretch of the other side speaks for a force if somebody tests: people force both sides.
func (w *Watcher) partner(s *stretch) float64 {
	best := math.Inf(-1)
	for i := range w.cands {
		c := &w.cands[i]
		if c.mature && c.even && c.stretch.side != s.side && c.stretch.track == s.track && s.first.T()-c.stretch.last.T() <= testLasts {
			best = max(best, c.weight.given())
		}
	}
	return best
}

// weigh adds up what speaks for the stretch being a force; said: something was announced near it.
func (w *Watcher) weigh(s *stretch) (x weight, said bool) {
	base, _ := w.baseBefore(s.track, s.first.T())
	secs := s.seconds()
	own := base.stays(s.side)
	rest := w.restOn(s)

	flat, away, edges, level, along, held := 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
	if !s.loose {
		flat = w.liesStill(s, &rest, own.n)
		away = logSum(math.Log(1-stillAway)+flat, math.Log(stillAway))
		held = math.Log(heldLevel(s.side, s.level))
		if w.regripped(s) != nil {
			held = 0 // the level is known
		}
		level = math.Log(freeLevel(s.side, s.level, rest.near/2, own.n, rest.end, own.longest >= settledAfter)) - held
		along = w.goesWithTrim(s)
		edges = w.edge(s, &rest, s.first, -1)
	}
	ends := w.ends(s, &rest)
	crossed := w.otherWay(s.track, s.side, s.first.T()+1, s.last.T())
	if crossed > 0 {
		crossed = exchangedRate * (1/max(crossed, 0.02) - 1)
	}
	exchanged := math.Log(crossed) + away + edges + ends + level
	again := math.Inf(-1)
	if !s.loose {
		again = math.Log(w.again(s, secs)) + away + edges + ends + along - held
	}
	by := w.staying(s, base)
	by.cycle += flat + edges + ends + level + along
	by.excursion += away + edges + ends + level + along
	by.engine += away + edges + ends + level
	by.after += flat + ends + min(0, level) + along
	if base.dormant() {
		stays := wakesAway + (1-wakesAway)*outlasts(secs, 0, 0, 1)
		by.cycle, by.excursion, by.engine = math.Log(wakesRate*stays)+away+edges+ends+level+along, math.Inf(-1), math.Inf(-1)
	}
	comes, goesOn, after := by.sum(), math.Inf(-1), math.Inf(-1)
	if m, is := w.midway(s); is {
		late := -math.Log1p(math.Pow((s.first.T()-m.from.T())/settles, 4))
		comes, by.after = comes+late, by.after+late
		goesOn, after = w.goesOn(s, m, base)
		goesOn += ends + level + along
		after += goesOn
	}
	x.free = -logSum(comes, goesOn, again, exchanged)
	x.after = math.Exp(logSum(by.after, after) + x.free)
	x.down = w.downSpeaks(s, base) + w.otherBankSpeaks(s)
	certain := false
	x.rate, certain, said = w.prior(s)
	if x.prior = x.rate; !certain {
		x.prior += math.Log(testOdds(s.first.T()))
	}
	return x, said
}

// ends is what the end of the stretch speaks for a free sensor, which hardly leaves a side at one reading; but where the other side is
// asked for, or was just said, a hand may have taken the wire there then.
func (w *Watcher) ends(s *stretch, rest *restStats) float64 {
	if s.loose || !s.over() {
		return 0
	}
	ends, other := w.edge(s, rest, s.last, +1), s.side.Opposite()
	said := slices.ContainsFunc(w.hints, func(h hint) bool { return h.side == other && abs(h.at-s.last.T()) <= SayNear })
	if onSide(other, s.next.V) && (said || w.asksFor(other, s.last.T())) {
		taken := askedRate / (askedRate + 1/s.seconds()) // or it left by itself, as seldom as it lasted
		ends = logSum(math.Log(taken), math.Log(1-taken)+ends)
	}
	return ends
}

// engineMoved is the probability that the engine was doing something that holds a sensor to one side
// without the loop: fuel cut, full load, open loop, no running at all.
func (w *Watcher) engineMoved(s *stretch) float64 {
	r := &w.ready
	p := engineRate
	if !w.even(s) {
		p = drivenRate
	}
	from, to := s.first.T(), s.last.T()
	if r.moved(from, to) {
		p = movingRate
	}
	if lo, hi, n := r.rpm.Span(from-2, to); r.rpm.Len() == 0 {
		p += 0.01
	} else if n == 0 {
		p += 0.05
	} else if !limits.SteadySpeed(lo, hi) || lo < limits.TurningSpeed {
		p += 0.5
	}
	switch {
	case !r.hasStatus:
		p += 0.01
	case !isClosed(r.status) && (r.status != int(decode.FuelOpenFault) || r.changedAt < from), r.openAt > from-2 && r.openAt < from:
		p += 0.5
	case r.closedAt < from:
		p += 0.02
	}
	// Where the loop is closed trim goes against what it reads.
	if moved := w.trimAgainst(s); moved >= 4 {
		p *= 0.1
	}
	return min(p, 0.9)
}

// afterRelease is the log-probability that the stretch is what came of the release of a force: the
// sensor says what the loop had made until that is taken out again.
func (w *Watcher) afterRelease(s *stretch, secs float64) float64 {
	// Whose word it is that this side is held now did not let go of the other unseen.
	saidNow := slices.ContainsFunc(w.hints, func(h hint) bool { return h.side == s.side && abs(h.at-s.first.T()) <= SayNear })
	for i := 0; i < len(w.cands) && !saidNow; i++ {
		c := &w.cands[i].stretch
		if w.cands[i].moved() < minAnswer { // there is nothing to take out
			continue
		}
		d := s.first.T() - c.last.T()
		if c.track == s.track && c.side == s.side.Opposite() && d >= 0 && min(d, s.lo-c.last.T()) < max(2, 3*s.track.interval) {
			// If that was one: the odds are those of the stretch before.
			return math.Log(0.97/(1+math.Pow(secs/15, 4))) - math.Log1p(math.Exp(-w.cands[i].weight.sum()))
		}
	}
	for i := len(w.passedOver) - 1; i >= 0 && !saidNow; i-- {
		c := &w.passedOver[i]
		d := s.first.T() - c.End
		if d > max(2, 3*s.track.interval) && s.lo-c.End > max(2, 3*s.track.interval) {
			break
		}
		t := w.trimOf(s.track)
		if c.Bank == w.bankOf(s.track) && c.Side == s.side.Opposite() && d >= 0 && c.cycled && c.After < 0.5 && c.LogOdds > -1.5 && c.End-c.Begin >= handsHold && against(c.Side)*(t.totalAt(c.End)-t.totalAt(c.Begin)) >= minAnswer {
			return math.Log(0.97/(1+math.Pow(secs/15, 4))) - math.Log1p(math.Exp(-c.LogOdds))
		}
	}
	n := len(w.forces)
	if n == 0 || w.forces[n-1].bank != w.bankOf(s.track) {
		return math.Inf(-1)
	}
	f := w.forces[n-1]
	made, rate, b := f.rel.trimMade, f.own.rate, f.volts
	if f.bank != w.bank {
		made, rate = f.other.moved(), f.other.rate
		b, _ = w.baseBefore(s.track, f.begin)
	}
	late := s.first.T() > f.endHi+max(2, 3*s.track.interval)
	if f.ended && (f.letGo != "" || f.opened) && w.trim.standing(s.first.T()) >= 3 {
		// The computer has let go and does not steer: the sensor lies where the mixture does. What comes later has a cause of its own.
		lies := math.Log(0.3 / (1 + math.Pow(secs/30, 2)))
		if late {
			lies += math.Log(w.excursionRate(s))
		}
		return lies
	}
	if !f.ended || late {
		return math.Inf(-1)
	}
	if s.side == f.side || made < minAnswer && f.own.n >= 3 {
		// There is nothing to say, or a sensor that does not say it: it goes back to where it lies by itself.
		stuck := 0.3
		if b.switching() || b.known() && b.stays(s.side.Opposite()).longest >= 0.8*b.seconds {
			stuck = 0.02
		}
		return math.Log(stuck / (1 + math.Pow(secs/30, 2)))
	}
	if b.known() && !b.switching() && b.stays(s.side).longest >= 0.8*b.seconds {
		return math.Log(0.97) // it lay there by itself before that force
	}
	back := 5.0
	if rate > 0 {
		back += 2 * max(0, made) / rate
	} else {
		back += 10
	}
	return math.Log(0.97 / (1 + math.Pow(secs/back, 4)))
}

// downSpeaks weighs what the sensor behind the catalyst did: held lean, the mixture becomes rich, and
// the other way round; in a real lean mixture it becomes lean.
func (w *Watcher) downSpeaks(s *stretch, base voltsBase) float64 {
	if s.track != &w.volts || w.down.Len() == 0 || s.seconds() < 2 {
		return 0
	}
	var with, against downstream
	with.begin(s.side, &w.down, s.lo, w.scratchA)
	against.begin(s.side.Opposite(), &w.down, s.lo, w.scratchA)
	if !with.hasBase {
		return 0
	}
	count := func(d *downstream, from, to float64) (on, n int) {
		for i := w.down.From(from); i < w.down.Len(); i++ {
			p := w.down.At(i)
			if p.T() > to {
				break
			}
			n++
			if d.reaches(p.V) {
				on++
			} else {
				on = 0
			}
		}
		return on, n
	}
	habit := func(d *downstream) float64 {
		on, n := 0, 0
		for i := w.down.From(s.lo - 30); i < w.down.Len() && w.down.At(i).T() <= s.lo; i++ {
			n++
			if d.reaches(w.down.At(i).V) {
				on++
			}
		}
		return (float64(on) + 0.3) / (float64(n) + 6)
	}
	until := s.last.T() + 1
	if a, _ := count(&against, s.first.T()+1.5, until); a >= 1 {
		return max(math.Log(0.45/habit(&against)), 0)
	}
	if a, _ := count(&with, s.first.T()+1.5, until); a >= 1 && !with.blind && base.switching() {
		return min(math.Log((habit(&with)+0.05)/0.45), 0) // the real mixture does that, or chance
	}
	return 0
}

// otherBankSpeaks weighs what the sensor of the other bank did meanwhile: vapour, load and fuel cut reach both
// banks, a wire one.
func (w *Watcher) otherBankSpeaks(s *stretch) float64 {
	if w.both != nil {
		return 0 // it is held too
	}
	k := &w.otherVolts
	if s.track == k {
		k = &w.volts
	}
	same, n := 0, 0
	for i := k.volts.From(s.first.T() + 1); i < k.volts.Len(); i++ {
		p := k.volts.At(i)
		if p.T() > s.last.T() {
			break
		}
		n++
		if onSide(s.side, p.V) {
			same++
		}
	}
	if n < 3 {
		return 0
	}
	b, _ := w.baseBefore(k, s.first.T())
	own := b.stays(s.side)
	alone := max(outlasts(s.seconds()-1, own.n, own.mean*float64(own.n), own.shape), 0.02)
	if same < n {
		return math.Log(1 / (1 - reachesBoth*(1-alone)))
	}
	return math.Log(alone / (reachesBoth + (1-reachesBoth)*alone))
}

// otherWay is the probability that the sensor beside the track's, where it cycles by itself, stays on the other side from a time to
// a time, s, as it did; 0 where it did not. Where plugs are exchanged each bank's trim drives the other's sensor, to opposite ends.
func (w *Watcher) otherWay(k *track, side Side, from, to float64) float64 {
	beside := &w.otherVolts
	if k == beside {
		beside = &w.volts
	}
	n := 0
	for i := beside.volts.From(from); i < beside.volts.Len(); i++ {
		p := beside.volts.At(i)
		if p.T() > to {
			break
		}
		if n++; !onSide(side.Opposite(), p.V) {
			return 0
		}
	}
	if n < 3 || w.both != nil {
		return 0
	}
	own := w.voltsBaseline(&beside.volts, from-baselineFor, from-1e-6).stays(side.Opposite()) // asked for at the end too, when the latest rest came later
	return outlasts(to-from, own.n, own.mean*float64(own.n), own.shape)
}

// reachesBoth is how often what moves the mixture moves that of both banks (from memory).
const reachesBoth = 0.5
