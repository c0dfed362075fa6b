package analysis

import (
	"math"

	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

// sensorState is what the sensor said after the release.
type sensorState uint8

const (
	sensorOpen   sensorState = iota
	sensorSays               // at once, strongly, and for longer than plain switching would
	sensorLate               // it reports, but later than a healthy one can
	sensorMute               // it does not report the mixture that the loop made
	sensorVague              // the data do not decide
	sensorNotYet             // the loop had made no mixture to report
)

// Times of the release test, s. The whole response of a healthy loop takes 2 to 3 s
// (trade figure), the cell's own less than 1 s even when half worn.
const (
	promptWithin = 1.0
	promptByWire = 0.6  // a wire that is let go shows at once, a mixture takes its way through the engine
	ownStay      = 0.05 // chance of a stay that is called more than plain switching
	muteAfter    = 5.0
	muteFlat     = 3.0 // enough where the reading lies still between the sides
	// recoverWithin is how long trim may be back where it was without the loop
	// cycling again before that counts as a failure.
	recoverWithin = 30.0
	turnsAgain    = 3 // changes of side by which the loop cycles again: one that stays on a side for a third of the time may not make them in it
)

// release is the experiment that starts when the wire is let go: the exhaust then
// holds the mixture that the loop made during the force, and the sensor must say
// so, at once, until the loop has taken it out again.
type release struct {
	state  sensorState
	expect Side
	lo, hi float64 // the wire was let go between these, s
	at     float64
	heldAt float64 // V: the level that was held
	prompt float64 // s: what comes within it comes at once
	openReading

	trimThen float64 // mirrored trim at the release
	trimMade float64 // how far the force had moved it past its balance, %
	trimNow  float64

	lastOff recent.Reading // last reading that was not on the expected side
	lastOn  recent.Reading
	reached
	left      bool    // the reading came to the side and left it again
	stillLeft float64 // share of the loop's work that was left when the reading left the side
	beside
	decidedAt float64
	why       reason.Reason
	recovery
}

// beside is what is known of a release beside its own readings of the moment.
type beside struct {
	trimAtOn float64 // share of what trim had made that was left when the reading came to the side
	hunts    float64 // share of what trim had made by which the loop hunts to either side at rest, 0 to 0.5
	lives    lives   // how the reading goes with trim on the lean side
	again    bool    // the wire was held again before it could say
	little   bool    // trim is past its balance, as far as that is known, by so little that a sensor need not say it; trimMade is how far it moved at all then
	byStay   bool    // it reports all that a sensor does, and left the side with trim, but stayed no longer than this one's few stays at rest
}

// openReading tells whether the reading is that of an open input: the branch was not closed again.
type openReading struct {
	open      bool    // the reading lies at the level of an open input
	doubtful  bool    // it may
	lowOn     float64 // V: range of the readings on the expected side
	highOn    float64
	ranged    bool      // the sensor went to and fro before the session's first force
	zero      float64   // V: the levels count from here, where the signal return is raised
	openSince float64   // s: since when the reading lies at the level of the open input; 0: it does not
	chance    float64   // of such a stay by plain switching, where that alone left it open; 0: otherwise
	earlier   float64   // the product of those of earlier releases of the side
	input     openInput // what an open input reads
}

// reached is how far the readings went towards the expected side.
type reached struct {
	n       int
	firstOn recent.Reading
	hasOn   bool
	nOn     int
	best    float64 // most extreme reading on the expected side
	back    float64 // V: largest step back on the way to the side
	ahead   float64 // V: nearest to the side so far
	stuck   bool    // a second after the release it still lay at the other extreme
	strong  int     // readings on the side that are extreme enough
	grey    int
	bottom  float64 // range of all readings
	top     float64
	settled reach
}

// reach is the range of the latest readings that lie still, V.
type reach struct {
	since     float64 // s
	n         int
	low, high float64
}

func (r *reach) add(p recent.Reading) {
	if r.n == 0 || max(r.high, p.V)-min(r.low, p.V) > 0.03 {
		*r = reach{since: p.T(), low: p.V, high: p.V}
	}
	r.n++
	r.low, r.high = min(r.low, p.V), max(r.high, p.V)
}

func (r *reach) flat(now float64) bool { return r.n >= 4 && now-r.since >= 2 }

// recovery is the way back to switching.
type recovery struct {
	backSince float64 // trim is back in the range of its hunting since then; 0 if not
	lastSide  Side
	changes   int
	firstTurn recent.Reading
	lastTurn  recent.Reading
	resumed   bool
	resumedAt float64
}

// begin starts the watch after f; first is the session's first force, before which
// trim was last seen at its balance undisturbed, and balanced what that would be with the long-term trim that f began with, %.
func (r *release) begin(f *force, trim float64, first *force, balanced float64) {
	*r = release{heldAt: f.level, expect: f.side.Opposite(), lo: f.endLo, hi: f.endHi, at: f.end, prompt: promptByWire,
		trimThen: trim, trimNow: trim, reached: reached{bottom: 9, top: -9}}
	if f.own.mayTurn {
		r.prompt = promptWithin
	}
	// What counts is how far trim is past its balance, not past where it happened to
	// stand: after an earlier force it may stand far out on the other side.
	if a := &f.own; a.base.known() {
		balance := max(a.start, a.up*a.base.median)
		if f.after != nil {
			balance = a.up * a.base.median
		}
		if first.volts.switching() && first.own.base.known() {
			balance = max(balance, a.up*balanced)
		}
		r.trimMade = trim - balance
	} else {
		r.trimMade = trim - a.low
	}
	r.ranged = first.volts.known() && first.volts.high-first.volts.low >= 2*alive
	if r.little = r.trimMade < 4; r.little {
		r.trimMade = f.own.moved()
	}
	if r.little && f.own.state != answered || f.seconds() < 1.5 {
		r.state = sensorNotYet
	} else if f.own.base.known() && f.volts.switching() {
		r.hunts = min(f.own.width()/2/r.trimMade, 0.5)
	}
}

// trimBack notes whether trim is back in the range in which it hunted before.
func (r *release) trimBack(t float64, f *force) {
	a := &f.own
	if r.trimNow < a.floor()-a.margin() || r.trimNow > a.ceiling()+a.margin() {
		r.backSince = 0
	} else if r.backSince == 0 {
		r.backSince = t
	}
}

// backFor is how long trim has been back at time now, s.
func (r *release) backFor(now float64) float64 {
	if r.backSince == 0 {
		return 0
	}
	return now - r.backSince
}

// still is the share of what the loop added or cut that is still there.
func (r *release) still() float64 {
	if r.trimMade <= 0 {
		return 0
	}
	return 1 - (r.trimThen-r.trimNow)/r.trimMade
}

// addVolts takes a reading after the release; it reports whether the test of the
// sensor was decided by it.
func (r *release) addVolts(p recent.Reading, b voltsBase) bool {
	if r.state == sensorSays && !r.left {
		// Decided; how long it stays is worth knowing all the same.
		if onSide(r.expect, p.V) || (p.V > switchPoint) == (r.expect == Rich) {
			r.lastOn = p
		} else {
			r.left, r.stillLeft = true, r.still()
		}
	}
	if r.state != sensorOpen {
		return false
	}
	if abs(p.V-r.input.level) > openWidth {
		r.openSince = 0
	} else if r.openSince == 0 {
		r.openSince = p.T()
	}
	r.n++
	r.bottom, r.top = min(r.bottom, p.V), max(r.top, p.V)
	r.settled.add(p)
	on := onSide(r.expect, p.V)
	if !on && r.hasOn && (p.V > switchPoint) == (r.expect == Rich) {
		on = true // between the levels the side stays
	}
	switch {
	case on && !r.left:
		if !r.hasOn {
			r.hasOn, r.firstOn, r.trimAtOn = true, p, r.still()
			r.best, r.lowOn, r.highOn = p.V, p.V, p.V
		}
		r.nOn++
		r.lowOn, r.highOn = min(r.lowOn, p.V), max(r.highOn, p.V)
		r.lastOn = p
		if r.expect == Rich {
			r.best = max(r.best, p.V)
		} else {
			r.best = min(r.best, p.V)
		}
		switch strength(r.expect, p.V-r.zero) {
		case 2:
			r.strong++
		case 1:
			r.grey++
		}
	case !on && r.hasOn:
		r.left, r.stillLeft = true, r.still()
	case !on:
		toward := p.V
		if r.expect == Lean {
			toward = -p.V
		}
		if !(r.lastOff.Hi > 0) {
			r.ahead = toward
		}
		r.ahead = max(r.ahead, toward)
		r.back = max(r.back, r.ahead-toward)
		r.stuck = r.stuck || p.T()-r.hi > promptWithin && strength(r.expect.Opposite(), p.V) == 2
		r.lastOff = p
	}
	return r.decide(p.T(), b, false)
}

// comesOpen takes the input for open at time t, before the sensor had said anything; left: the branch was not closed after the force.
func (r *release) comesOpen(level, t float64, left bool) {
	if r.state == sensorOpen && !r.hasOn && !r.little {
		r.open, r.doubtful = left, left
		r.state, r.why, r.decidedAt = sensorVague, reason.CameToOpenLevel.Of(level), t
	}
}

// says reports whether the sensor has reported the mixture: at once, for long, and
// not leaving it before the loop had taken most of it out again. A reading that
// leaves earlier follows something else than trim.
func (r *release) says() bool {
	return r.state == sensorSays && !(r.left && r.stillLeft > 0.5 && !r.little)
}

// leftWithTrim reports whether the reading left the side when trim had gone back, neither
// long before nor long after: a loop that turns late is then past its middle by as much as it always is.
func (r *release) leftWithTrim() bool {
	return r.left && r.stillLeft <= 0.3 && r.stillLeft >= -0.3-r.hunts
}

// withTrimByChance is the chance that a stay of the sensor's own ends as close to when trim has gone back as this one did, as well as that is known;
// 1 where it did not leave with trim. Trim goes back as the reading says, however long it stays, so that alone ties the one to the other.
func (r *release) withTrimByChance(b voltsBase) float64 {
	if !r.leftWithTrim() {
		return 1
	}
	own, off, known := b.stays(r.expect), abs(r.stillLeft), b.interval+r.hi-r.lo
	back := (r.lastOn.T() - r.at) / (1 - r.stillLeft) // s: after so long trim was back
	return own.chance(max(0, back*(1-off)-known)) - own.chance(back*(1+off)+known)
}

// longStay is the chance that the sensor by itself stays for so long as it stayed; 1 where its own stays are hardly known.
func (r *release) longStay(b voltsBase) float64 {
	own := b.stays(r.expect)
	if own.n < 3 {
		return 1
	}
	return own.chance(r.lastOn.T() - r.firstOn.T())
}

// denies reports whether trim had gone far and the sensor, let go, did not report it: not
// within the time that a sound one takes, or it left the side again with trim still there.
func (r *release) denies(interval float64) bool {
	if r.trimMade < 6 || r.little || r.again || r.says() || r.state == sensorOpen || r.state == sensorNotYet {
		return false
	}
	late := r.lastOff.Hi > 0 && r.lastOff.T()-r.hi > promptWithin+interval
	// (What left within a second may have been on its way before the release.)
	return late || r.left && r.stillLeft > 0.8 && r.lastOn.T()-r.at > promptWithin
}

// farther reports whether the reading went farther to the side than the sensor ever did at rest: then none of its own stays is like this
// one. (A loop that cycles fast keeps the cell between the sides.)
func (r *release) farther(b voltsBase) bool {
	if r.expect == Rich {
		return r.best >= b.high+alive
	}
	return r.best <= b.low-alive
}

// stayNeeded is how long the reading must stay on the side to be more than plain
// switching: longer than it ever did at rest.
func (r *release) stayNeeded(b voltsBase) float64 {
	switch {
	case !b.known():
		return 1.5
	case r.farther(b):
		return max(0.5, 2.2*b.interval)
	}
	own := b.stays(r.expect)
	stay := own.habit(own.lasting(ownStay / b.on(r.expect)))
	if own.n > 0 && own.n < 3 {
		stay = min(stay, 4*own.longest) // of so few the law is hardly known
	}
	return max(0.5, stay, 2.2*b.interval)
}

// strange reports whether the reading lies dead still on the side at a level that an open input has at least
// one fifth as likely as this sensor.
func (r *release) strange(b voltsBase) bool {
	return b.switching() && r.nOn >= 4 && r.highOn-r.lowOn <= twoCounts && r.openOdds(b) > math.Log(0.2)
}

// leftOpen is how often the sensor's branch is not closed again at once (common practice, no source).
const leftOpen = 0.05

// openOdds are the log odds that what is read is not the sensor but an open input.
func (r *release) openOdds(b voltsBase) float64 {
	v, end := r.best-r.zero, b.low-r.zero
	if r.expect == Rich {
		end = b.high - r.zero
	}
	own := b.stays(r.expect)
	cell := math.Log(freeLevel(r.expect, v, 0, 0, end, own.longest >= settledAfter))
	secs := r.lastOn.T() - r.firstOn.T()
	moved := follows(r.lastOn.V-r.firstOn.V, (r.trimNow-r.trimThen)*against(r.expect.Opposite()), secs, 0.003, clipped(r.best))
	return math.Log(leftOpen) + math.Log(r.input.near(r.best)) - cell - min(moved, 0)
}

// likeOpen reports whether the reading, which did not come to the side, lies where an open input does rather than
// where this sensor may.
func (r *release) likeOpen(b voltsBase) bool {
	low, high := r.settled.low, r.settled.high
	if low > 0.3 && high < 0.6 && !r.input.known {
		return true
	}
	side, end := Lean, b.low
	if high > switchPoint {
		side, end = Rich, b.high
	}
	return leftOpen*r.input.near(high) > freeLevel(side, high-r.zero, 0, 0, end-r.zero, true)
}

// pastBalance reports whether trim has gone back and on to the other side, as it does on a reading that no
// mixture changes.
func (r *release) pastBalance() bool { return r.still() < -0.3 }

// unchanged reports whether the release did not move the reading at all.
func (r *release) unchanged() bool {
	return r.top-r.bottom <= twoCounts && abs(r.top-r.heldAt) <= twoCounts
}

// decide settles the test if it can be, at time now; with last, no more data come.
func (r *release) decide(now float64, b voltsBase, last bool) bool {
	set := func(s sensorState, why reason.Reason) bool {
		if r.little && s != sensorSays {
			s, why = sensorNotYet, nil
		}
		r.state, r.why, r.decidedAt = s, why, now
		return true
	}
	waited := now - r.hi
	if !r.hasOn {
		return r.decideOff(now, b, last, set)
	}
	stay := r.lastOn.T() - r.firstOn.T()
	if b.known() && !b.switching() && b.stays(r.expect).longest >= 0.8*b.seconds && !r.farther(b) {
		if !r.left && !last && waited < settledAfter {
			return false // it may go farther yet
		}
		return set(sensorVague, reason.AsAllTheTime.Of(r.expect))
	}
	need := r.stayNeeded(b)
	chance := b.on(r.expect) * min(b.stays(r.expect).chance(stay), r.withTrimByChance(b))
	together := r.earlier*chance <= ownStay && r.leftWithTrim()
	enough := (stay >= need || together) && r.nOn >= 2
	lateBy := r.lastOff.T() - r.hi // it had not answered this long after the release
	off := r.lastOff.Hi > 0
	late := off && lateBy > promptWithin+b.interval
	atOnce := !off || lateBy <= max(r.prompt, 1.2*b.interval)
	switch {
	case late && r.trimAtOn < 0.3:
		return set(sensorVague, reason.CameTooLate.Of())
	case late && (r.stuck || r.back > 0.05 || b.switching() && b.lean.mid+b.rich.mid < lateBy):
		// A slow cell creeps towards the side from the start. One that lies at the other
		// extreme and then jumps reports something else.
		return set(sensorVague, reason.LateNotSlow.Of())
	case late && r.strong+r.grey > 0 && (enough || r.left || last):
		return set(sensorLate, nil)
	case late && (r.left || last): // a flat one may lie just there
		return set(sensorVague, reason.SideHardly.Of())
	case late:
		return false
	case !atOnce && (enough || r.left || last):
		return set(sensorVague, reason.NeitherPromptNorLate.Of())
	case enough && r.strong >= 2 && r.strange(b):
		r.doubtful = true
		if r.open = r.openOdds(b) > 0 || r.pastBalance(); !r.open && !r.left && !last {
			return false // a cell moves as trim goes back
		}
		return set(sensorVague, reason.DeadStill.Of(r.best))
	case enough && r.strong >= 2:
		return set(sensorSays, nil)
	case !r.left && !last:
		return false // still there: wait for a stronger reading or a longer stay
	case enough && r.grey >= 2 && r.leftWithTrim():
		// A hot cell reads 0.70 to 0.80 V rich (0.78 V at 900 °C and λ 0.92): that it stayed for just as long
		// as trim was away says what the level does not.
		return set(sensorSays, nil)
	case enough && r.strong+r.grey > 0:
		return set(sensorVague, reason.NotExtreme.Of())
	case enough:
		return set(sensorVague, reason.SideHardly.Of())
	case (r.strong+r.grey == 0 || waited <= r.prompt) && r.still() >= 0.5 && waited < muteAfter && !last:
		r.hasOn, r.left, r.nOn, r.strong, r.grey = false, false, 0, 0, 0 // a brush past the side; go on looking
		return false
	}
	if r.strong >= 2 && r.leftWithTrim() {
		r.chance, r.byStay = chance, true
	}
	return set(sensorVague, reason.NoLongerThanSwitching.Of())
}

// decideOff is decide while the reading has not come to the side.
func (r *release) decideOff(now float64, b voltsBase, last bool, set func(sensorState, reason.Reason) bool) bool {
	waited := now - r.hi
	flat := r.top-r.bottom <= 0.03
	if r.input.known && r.openSince > 0 && now-r.openSince >= openStill && waited >= muteFlat {
		r.open, r.doubtful = true, true
		return set(sensorVague, reason.CameToOpenLevel.Of(r.input.level))
	}
	switch {
	case r.n >= 4 && waited >= muteFlat && (r.unchanged() || r.settled.flat(now) && (b.switching() || r.ranged || b.high-b.low >= 2*alive) && r.likeOpen(b)):
		r.open, r.doubtful = true, true
		return set(sensorVague, reason.LiesAsOpen.Of(r.settled.high))
	case r.n >= 3 && r.still() >= 0.5 && (waited >= muteAfter || flat && waited >= muteFlat || last && waited >= muteFlat),
		r.n >= 4 && flat && waited >= muteAfter:
		return set(sensorMute, nil)
	case (r.still() < 0.3 || last) && r.n < 2:
		return set(sensorVague, reason.FewReadings.Of())
	case r.still() < 0.3 || last:
		return set(sensorVague, reason.TrimWasBack.Of())
	}
	return false
}

// turn follows the changes of side after the release until the loop cycles again;
// it reports whether this reading decided it.
func (r *release) turn(p recent.Reading, b voltsBase) bool {
	if r.resumed {
		return false
	}
	side := sideOf(p.V)
	if side == "" || side == r.lastSide {
		return false
	}
	if r.lastSide != "" {
		if r.changes > 0 && p.T()-r.lastTurn.T() > max(10, 4*(b.lean.p95+b.rich.p95)) {
			r.changes = 0 // a lone change long ago
		}
		if r.changes == 0 {
			r.firstTurn = p
		}
		r.changes++
		r.lastTurn = p
	}
	r.lastSide = side
	if r.changes >= turnsAgain {
		r.resumed, r.resumedAt = true, r.firstTurn.T()
		return true
	}
	return false
}
