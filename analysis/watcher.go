package analysis

import (
	"fmt"
	"math"
	"time"

	"pushback/decode"
)

// By says what is forced. Its names are promised to other programs.
type By string

const (
	ByWire    By = "wire"    // the signal wire
	ByMixture By = "mixture" // the mixture itself: propane, an induced lean
	ByFuelCut By = "fuelcut" // nothing but the throttle is lifted: the computer cuts the fuel
)

// ParseBy reads a name; "" is the wire. The error names those that there are.
func ParseBy(name string) (By, error) {
	switch by := By(name); by {
	case "":
		return ByWire, nil
	case ByWire, ByMixture, ByFuelCut:
		return by, nil
	}
	return "", fmt.Errorf("%q is none of wire, mixture and fuelcut", name)
}

// Config says what is being tested.
type Config struct {
	Sensor decode.SensorID // the one that is forced; zero: B1S1
	By     By              // "": the wire
}

// baselineFor is how much of the past is compared with, s.
const (
	baselineFor     = 60.0
	trimBaselineFor = 12.0 // for trim, which drifts; a loop hunts several times in it
)

// maxForces bounds memory: later forces of one session are not judged.
const maxForces = 32

// Watcher is the state machine that turns a session's samples into events and, at
// any time, a verdict. Feed it in order of time; not for concurrent use.
type Watcher struct {
	cfg       Config
	bank, pos int
	other     int // the bank beside it: 2 for 1, 1 for 2, 4 for 3, 3 for 4
	roles     map[*decode.Signal]role

	now    float64
	events []Event

	volts      track // the watched sensor
	otherVolts track // the sensor in the same place of the other bank
	down       series
	trim       trimStream
	otherTrim  trimStream
	ready      readiness
	rest       stillness
	codes      CodeWatch
	fig        figures
	slow       slowness

	expect   expectation
	told     []told
	follow   [2]followed // by side: what a mark that nothing followed has shown
	forces   []*force    // the last one may be running
	unjudged int         // announced when there were maxForces already
	restFrom float64     // baseline readings are taken from here on
	cache    baseCache
	marks    int
	lastGap  float64

	cands   []candidate
	refused refusal
	air     air
	offset  float64  // V: the signal return lies so far above the computer's ground; 0: not found
	doubts  [2]doubt // by side
	hist    [257]int32

	scratchA, scratchB, scratchC, scratchD []float64
	scratchP                               []point
}

// role is what a signal means to this watcher.
type role uint8

const (
	roleNone role = iota
	roleVolts
	roleOtherVolts
	roleDown
	roleTrim
	roleTrimBeside
	roleLong
	roleOtherTrim
	roleOtherTrimBeside
	roleOtherLong
	roleStatus
	roleStatusB
	roleCoolant
	roleRPM
	roleAir
	roleManifold
	roleWide
)

// NewWatcher returns a watcher of what cfg says.
func NewWatcher(cfg Config) *Watcher {
	if cfg.Sensor == (decode.SensorID{}) {
		cfg.Sensor = decode.SensorID{Bank: 1, Position: 1}
	}
	w := &Watcher{
		cfg: cfg, bank: cfg.Sensor.Bank, pos: cfg.Sensor.Position, other: cfg.Sensor.Beside().Bank,
		roles: map[*decode.Signal]role{},
		volts: newTrack(), otherVolts: newTrack(), down: newSeries(1024),
		trim: newTrimStream(), otherTrim: newTrimStream(),
		events: make([]Event, 0, 16), cands: make([]candidate, 0, maxCandidates),
		scratchA: make([]float64, 0, 16384), scratchB: make([]float64, 0, 8192),
		scratchC: make([]float64, 0, 4096), scratchD: make([]float64, 0, 4096),
		scratchP: make([]point, 0, 4096),
		restFrom: -1, lastGap: -1,
	}
	w.ready.rpm = newSeries(256)
	w.ready.since, w.ready.openAt = -1, -10
	return w
}

func (w *Watcher) roleOf(s *decode.Signal) role {
	if r, known := w.roles[s]; known {
		return r
	}
	r := roleNone
	id, beside := w.cfg.Sensor, w.cfg.Sensor.Beside()
	switch s.Name {
	case id.Voltage():
		r = roleVolts
	case beside.Voltage():
		r = roleOtherVolts
	case id.Downstream().Voltage(): // of a sensor behind the catalyst it is that itself, above
		if id.Position == 1 {
			r = roleDown
		}
	case id.Trim():
		r = roleTrim
	case id.TrimBeside():
		r = roleTrimBeside
	case id.LongTrim():
		r = roleLong
	case beside.Trim():
		r = roleOtherTrim
	case beside.TrimBeside():
		r = roleOtherTrimBeside
	case beside.LongTrim():
		r = roleOtherLong
	case "FUELSYS1":
		r = roleStatus
	case "FUELSYS2":
		r = roleStatusB
	case "ECT":
		r = roleCoolant
	case "RPM":
		r = roleRPM
	case "MAF":
		r = roleAir
	case "MAP":
		r = roleManifold
	case id.Ratio():
		r = roleWide
	}
	w.roles[s] = r
	return r
}

func (w *Watcher) emit(e Event) { w.events = append(w.events, e) }

// lastEnd is when the latest force ended, s; what was read before belongs to it.
func (w *Watcher) lastEnd() float64 {
	if n := len(w.forces); n > 0 && w.forces[n-1].ended {
		return w.forces[n-1].endLo
	}
	return -1
}

// running returns the force that is being held or whose release is being watched.
func (w *Watcher) running() *force {
	if len(w.forces) == 0 {
		return nil
	}
	f := w.forces[len(w.forces)-1]
	if f.ended && !f.relOn {
		return nil
	}
	return f
}

// holding returns the force that is being held now.
func (w *Watcher) holding() *force {
	if f := w.running(); f != nil && !f.ended {
		return f
	}
	return nil
}

// Step takes one sample and returns what it decides, possibly nothing. The slice
// is valid until the next call.
func (w *Watcher) Step(s decode.Sample) []Event {
	w.events = w.events[:0]
	p := point{s.Sent.Seconds(), s.Received.Seconds(), s.Value}
	w.now = max(w.now, p.hi)
	r := w.roleOf(s.Signal)
	if s.Missing {
		if r == roleTrimBeside {
			w.ready.unusedN++
			w.ready.unused = w.trim.withVolts == 0 && w.ready.unusedN >= 3 && w.pos > 1
		}
		return w.events
	}
	switch r {
	case roleVolts:
		w.stepVolts(p)
	case roleOtherVolts:
		outside := w.otherVolts.add(p)
		if f := w.holding(); f != nil && f.bank == w.other {
			w.stepHold(f, &w.otherVolts, p, outside)
		} else {
			w.lookForForce(&w.otherVolts)
		}
	case roleDown:
		w.stepDown(p)
	case roleTrim:
		w.trim.bank(p)
		w.stepTrim(p)
	case roleTrimBeside:
		if w.trim.beside(p) {
			w.stepTrim(p)
		}
	case roleLong:
		w.trim.long.add(p)
		w.fig.long(p.v)
	case roleOtherTrim:
		w.otherTrim.bank(p)
	case roleOtherTrimBeside:
		w.otherTrim.beside(p)
	case roleOtherLong:
		w.otherTrim.long.add(p)
	case roleStatus:
		if !w.ready.ownSystem {
			w.stepStatus(p)
		}
	case roleStatusB:
		// Where the second system is in use it is that of banks 2 and 4; where not, one controls all.
		if w.ready.ownSystem = p.v != 0 && w.cfg.Sensor.Bank%2 == 0; w.ready.ownSystem {
			w.stepStatus(p)
		}
	case roleCoolant:
		w.ready.coolant, w.ready.hasCoolant = p.v, true
	case roleRPM:
		w.ready.rpm.add(p)
	case roleAir:
		w.air.maf = p.v
	case roleManifold:
		w.air.manifold = p.v
	case roleWide:
		w.ready.wide = true
	}
	if r != roleNone {
		w.settleHints(false)
		w.stepReady(p.hi)
	}
	return w.events
}

func (w *Watcher) stepVolts(p point) {
	w.gapInVolts(p)
	outside := w.volts.add(p)
	if w.running() == nil && w.trim.short.n > 0 {
		w.ready.fifth.volts(p, w.totalAt(p.t()), w.ready.hasStatus && isClosed(w.ready.status))
	}
	if w.holding() == nil {
		w.rest.volts(p)
	} else {
		w.rest.forced(p.t())
	}
	w.fig.volts(p, w.running() != nil)
	w.slow.volts(p, w.holding() != nil && w.cfg.By != ByMixture)
	f := w.running()
	switch {
	case f == nil:
		w.lookForForce(&w.volts)
	case !f.ended:
		f.ready = f.ready || w.ready.holds() // a force may close a loop that was open for want of a signal
		if f.bank == w.bank {
			w.stepHold(f, &w.volts, p, outside)
		}
	default:
		w.stepRelease(f, p)
		w.lookForForce(&w.volts)
	}
}

// gapInVolts says so when the watched readings themselves pause, as in an imported
// recording with a hole; the session reports gaps of the line with their cause.
func (w *Watcher) gapInVolts(p point) {
	prev, has := w.volts.volts.last()
	if !has || w.volts.volts.n < 5 {
		return
	}
	if dt := p.t() - prev.t(); dt > max(3, 6*w.volts.interval) && w.lastGap < prev.t() {
		w.emit(Event{T: prev.t(), Name: GapSeen, From: prev.hi, To: p.lo, Cause: "no reading"})
		w.lastGap = p.t()
	}
}

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
			tr = old.own.base
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

// readOften is how often the other bank's sensor must be read, s, before a hold on it is taken
// from its readings alone: a few that are alike prove little.
const readOften = 1.5

// lookForMixture: propane or an induced lean moves the sensor's own reading to one
// side for much longer than switching does, with trim against it.
func (w *Watcher) lookForMixture() {
	d := &w.volts.dwell
	if w.marks > 0 || d.side == "" || d.n < 3 || d.seconds() < 1 || d.first.t() < w.lastEnd() {
		return // who makes marks makes them for each force; purge looks the same
	}
	b, tr := w.baseBefore(&w.volts, d.first.t())
	h := held{side: d.side, level: d.sum / float64(d.n), loose: true}
	h.lo, h.hi = startOf(d.before, d.hasBefore, d.first)
	q, has := w.trim.short.last()
	if !has || d.seconds() < 4 || b.stays(d.side).chance(d.seconds()) > 1e-5 || !w.ready.steady(d.first.t(), d.last.t()) ||
		!w.ready.closedDuring(d.first.t()) {
		return
	}
	var a answer
	a.begin(d.side, h.lo, h.hi, tr, noise{})
	u := a.up * w.trim.total(q, d.first.t())
	if u >= a.ceiling()+a.margin() && u-a.up*tr.median >= 8 && tr.seconds >= 8 {
		w.beginForce(h, &w.volts, false)
	}
}

func (w *Watcher) beginForce(h held, k *track, marked bool) {
	volts, base := w.baseBefore(&w.volts, h.hi)
	if f := w.running(); f != nil {
		w.closeRelease(f, true)
	}
	f := &force{side: h.side, marked: marked, loose: h.loose, beginLo: h.lo, beginHi: h.hi,
		begin: (h.lo + h.hi) / 2, level: h.level, share: 1, bank: w.bank, seen: !h.told}
	if k == &w.otherVolts {
		f.bank = w.other
	}
	f.volts = volts
	own, other := w.noises(h.hi-1e-6, volts.halfPeriod())
	f.own.begin(h.side, h.lo, h.hi, base, own)
	f.own.mayTurn = w.cfg.By == ByMixture
	f.own.stood = w.trim.standing(h.lo)
	from := max(h.lo-trimBaselineFor, w.restFrom)
	f.other.begin(h.side, h.lo, h.hi, w.trimBaseline(&w.otherTrim, from, h.hi-1e-6), other)
	f.ready = w.ready.heldAt(h.lo)
	f.wasOpen = w.ready.hasStatus && (!isClosed(w.ready.status) || w.ready.openAt > max(0, h.lo-openShortly))
	f.down.begin(h.side.Opposite(), &w.down, h.lo, w.scratchA)
	w.forces = append(w.forces, f)
	if f.seen {
		w.emit(Event{T: f.begin, Name: ForceBegins, Side: f.side})
	}

	// What came between the beginning and its discovery belongs to the force too.
	if base.known() && base.flatFor >= 5 && w.atLimit(f, base) {
		f.own.state = cannot
	}
	f.fedOwn, f.fedOther = h.hi, h.hi
	if h.until == 0 {
		h.until = w.now
	}
	w.feedTrims(f, h.until)
	for i := w.down.from(h.hi); i < w.down.n && w.down.at(i).t() <= h.until; i++ {
		p := w.down.at(i)
		moved := 0.0
		if j := w.trim.short.from(p.t()); j > 0 {
			moved = f.own.up*w.trim.total(w.trim.short.at(j-1), f.begin) - f.own.start
		}
		f.down.volts(p, moved)
	}
	if r := &w.ready; r.changedAt >= h.lo && w.now-r.changedAt < 60 {
		w.statusChanged(f, r.changedAt, r.changedFrom)
	}
	if f.own.state == cannot {
		w.emit(Event{T: f.begin, Name: TrimAtLimit, Value: base.last})
		f.toldLimit = true
	}
	if f.seen {
		w.judgeHold(f)
	}
}

// openShortly is how long before a force the loop may have been seen open for the force to have
// closed it, s: status is read every few seconds.
const openShortly = 5.0

// noises is how the trims of both banks scatter at rest before the moment t. Soon after
// a force there is little rest to look at: what was known before that force still holds.
func (w *Watcher) noises(t, block float64) (own, other noise) {
	from := max(t-restForTest, w.restFrom)
	own, other = w.noiseBefore(&w.trim, from, t, block), w.noiseBefore(&w.otherTrim, from, t, block)
	if n := len(w.forces); n > 0 {
		old := w.forces[n-1]
		later := func(now, then noise) noise {
			if then.n > now.n {
				then.last = 0
				if now.n > 0 {
					then.last = now.mean + now.last - then.mean
				}
				return then
			}
			return now
		}
		own, other = later(own, old.own.climb.noise), later(other, old.other.climb.noise)
	}
	return own, other
}

// moved is how far the watched bank's trim has gone in the answer's direction: it tells
// whether the mixture can have moved.
func (f *force) moved() float64 {
	if f.own.n == 0 {
		return 0
	}
	return f.own.moved()
}

// atLimit reports whether trim stood at the computer's limit before the force, so
// that it could not answer: far out on that side and still, the sensor never
// leaving that side.
func (w *Watcher) atLimit(f *force, base trimBase) bool {
	if f.own.up*base.last < farOut {
		return false
	}
	lo, hi, n := w.volts.volts.span(f.beginLo-5, f.beginLo-1e-6)
	if n < 3 {
		return false
	}
	if f.side == Lean {
		return hi <= richAbove
	}
	return lo >= leanBelow
}

// feedTrims gives the force the trims read since it was last fed, up to the latest
// reading that was still held: the wire may have been let go after that, and what
// trim does then is no answer.
func (w *Watcher) feedTrims(f *force, until float64) {
	s := &w.trim.short
	for i := s.from(f.fedOwn); i < s.n && s.at(i).t() <= until; i++ {
		if p := s.at(i); p.t() > f.fedOwn {
			f.own.add(p, w.trim.total(p, f.begin), p.v)
			if f.own.gaveUp() && f.seen {
				w.letsGo(f, p.t(), byTrim)
			}
			f.down.trim(p.t(), f.pastBalance(f.own.now), w.airflow())
			f.fedOwn = p.t()
		}
	}
	s = &w.otherTrim.short
	for i := s.from(f.fedOther); i < s.n && s.at(i).t() <= until; i++ {
		if p := s.at(i); p.t() > f.fedOther {
			f.other.add(p, w.otherTrim.total(p, f.begin), p.v)
			f.fedOther = p.t()
		}
	}
}

func (w *Watcher) stepTrim(p point) {
	w.rest.trim(p.t(), p.v+w.trim.longAt(p.t()), w.otherFar())
	w.fig.trim(p.v, w.running() != nil)
	if v, has := w.volts.volts.last(); has && p.t()-v.t() < 2 && w.ready.hasStatus && isClosed(w.ready.status) {
		w.refused.trimRead(p.t(), p.v+w.trim.longAt(p.t()), sideOf(v.v))
	}
	f := w.running()
	if f == nil {
		return
	}
	if !f.ended {
		return // fed with the next held reading
	}
	w.stepReleaseTrim(f, p)
}

func (w *Watcher) stepDown(p point) {
	w.down.add(p)
	w.rest.down(p)
	f := w.running()
	if f == nil {
		return
	}
	if f.ended {
		w.stepReleaseDown(f, p)
		return
	}
	f.down.volts(p, f.moved())
}

// judgeHold says what the trims have decided so far.
func (w *Watcher) judgeHold(f *force) {
	a := &f.own
	since := w.now - f.begin
	switch {
	case a.state == answered && !f.toldAnswer:
		if a.nowAt-a.rise.t() < 1.2 && !f.ended {
			return // a little more of the ramp, to know its rate
		}
		w.fitAnswer(a, &w.trim, a.ramped(w.now))
		best, lo, hi := a.after()
		f.toldAnswer = true
		w.emit(Event{T: a.onset, Name: LoopAnswers, Side: f.side, Toward: toward(f.side),
			After: best, AfterMin: lo, AfterMax: hi, Rate: a.rate})
	case a.state == answered && a.limit && !f.toldLimit && !f.compensated:
		f.toldLimit = true
		w.fitAnswer(a, &w.trim, a.limitAt)
		w.emit(Event{T: a.limitAt, Name: TrimAtLimit, Value: a.limitRaw})
	case a.state == wrongWay && !f.toldWrong && f.firm() && !f.wasOpen:
		f.toldWrong = true
		w.emit(Event{T: a.nowAt, Name: LoopWrongWay, Side: f.side, Toward: toward(f.side.Opposite())})
	case a.state == answerOpen && !f.toldSilent && f.ready && !f.opened && f.letGo == "" && a.quiet() && f.firm() && w.steered(f):
		f.toldSilent = true
		if a.now >= farOut && a.nowAt-a.steadyAt >= 3 && a.now >= w.farthest(a.up)-2*trimCount {
			// It stands still far out on the side to which it should go, farther than it
			// ever went: its limit, as far as anyone can tell.
			a.state = cannot
			if !f.toldLimit {
				f.toldLimit = true
				w.emit(Event{T: a.steadyAt, Name: TrimAtLimit, Value: a.up * a.now})
			}
			return
		}
		a.state = silent
		w.emit(Event{T: a.nowAt, Name: LoopSilent, Side: f.side, Waited: a.nowAt - f.begin, Moved: a.moved()})
	}
	o := &f.other
	far := 8.0
	if a.state == cannot {
		far = 15 // nothing of its own to compare with, and purge may move trim by some 10 %
	}
	strides := o.moved() >= far && o.drop <= 1.01*trimCount && since >= 8
	if (o.state == answered || strides) && !f.toldOther && since > 1 && w.cfg.By != ByMixture { // propane reaches both banks
		own := a.state == answered || a.n > 0 && a.moved() >= 0.4*o.moved()
		// A disturbance such as purge moves trim too, but not just when the force began.
		inStep := o.lowAt.t() <= f.beginHi+2
		// One that goes back to its middle and stops there answers nothing either.
		beyond := abs(o.raw) >= nearZero
		if !own && inStep && beyond && (strides || a.state == silent && o.moved() >= 5) {
			f.toldOther = true
			w.fitAnswer(o, &w.otherTrim, w.now)
			w.emit(Event{T: o.onset, Name: OtherBankAnswers, Bank: w.other})
		}
	}
}

// steered reports whether the sensor has told the loop to move for as long as silence
// takes. A held wire does; a mixture that is forced may have been brought back.
func (w *Watcher) steered(f *force) bool {
	return w.cfg.By != ByMixture || f.toldFor >= stuckEnough
}

// farOut is the trim from which standing still may mean the computer's limit, %:
// authority of less is not known (from memory).
const farOut = 8.0

// farthest is how far trim went in the direction up during earlier forces, %.
func (w *Watcher) farthest(up float64) float64 {
	far := 0.0
	for _, f := range w.forces {
		if f.own.n > 0 && f.own.up == up {
			far = max(far, f.own.top)
		}
	}
	return far
}

// otherFar is the other bank's total trim, 0 if it was not read.
func (w *Watcher) otherFar() float64 {
	p, has := w.otherTrim.short.last()
	if !has {
		return 0
	}
	return p.v + w.otherTrim.longAt(p.t())
}

// toward is the direction in which trim goes against a force.
func toward(side Side) string {
	if side == Lean {
		return "add"
	}
	return "cut"
}

// stepHold follows the held signal until it is let go.
func (w *Watcher) stepHold(f *force, k *track, p point, outside bool) {
	if w.cfg.By == ByMixture {
		w.stepMixtureHold(f, p)
		return
	}
	released := false
	var lo, hi point
	if f.loose {
		d := &k.dwell
		if d.side != f.side && d.seconds() >= k.returnWithin() || d.side == f.side.Opposite() && w.expect.releaseAt > 0 {
			released, lo, hi = true, d.before, d.first
		}
	} else {
		r := &k.run
		if abs(r.level()-f.level) > bandHalf+0.005 && f.slides(r) {
			if outside = r.n < 4; !outside {
				f.level, f.share = r.level(), r.share() // the wire is still held
			}
		} else if abs(r.level()-f.level) > bandHalf+0.005 {
			// The run at the held level is over; the new one began with the release.
			released, lo, hi = true, r.before, r.first
			if !r.hasBefore {
				lo = r.first
			}
			if abs(lo.v-f.level) > bandHalf+0.005 {
				lo, hi = w.lastHeld(k, f.level)
			}
		} else if outside && w.expect.releaseAt > 0 && sideOf(p.v) == f.side.Opposite() {
			released = true
			lo, hi = w.lastHeld(k, f.level)
		} else if !outside { // a reading beside the level may be the release
			f.level, f.share = r.level(), r.share()
		}
	}
	at := w.expect.releaseAt
	switch {
	case released:
		w.feedTrims(f, lo.t())
		w.endForce(f, lo.lo, hi.hi, false)
	case at > 0 && p.t() > at+lateRelease:
		w.endForce(f, at, at, true)
	case !outside && at == 0:
		w.feedTrims(f, p.t())
		w.judgeHold(f)
	}
}

// slides reports whether the run is the held wire at a level that has moved: a sensor that is still joined to it
// pulls it as the mixture changes. Let go, a sensor that cycled is on the other side, or goes on cycling.
func (f *force) slides(r *run) bool {
	return f.volts.switching() && heldSide(r.level()) == f.side && abs(r.level()-f.level) < 0.15
}

// lateRelease is for how long after a release was said the reading may still be held: who taps first and
// lets go then, s. One that lies there longer lies there by itself.
const lateRelease = 8.0

// lastHeld finds the last reading at the level, and the next.
func (w *Watcher) lastHeld(k *track, level float64) (last, next point) {
	next, _ = k.volts.last()
	for i := k.volts.n - 1; i >= 0; i-- {
		if q := k.volts.at(i); abs(q.v-level) <= bandHalf+0.005 {
			return q, next
		} else {
			next = q
		}
	}
	return next, next
}

// stepMixtureHold: while mixture is forced the loop may bring it back and go on
// switching at another trim, so only the technician's word or trim's way back end it.
func (w *Watcher) stepMixtureHold(f *force, p point) {
	d := &w.volts.dwell
	f.toldFor = 0
	if d.side == f.side {
		f.toldFor = d.seconds()
	}
	own := f.volts.stays(f.side)
	long := d.side == f.side && d.seconds() > max(1, 1.3*own.habit(own.p95))
	if long && strength(f.side, p.v) == 2 {
		f.strong++
	}
	w.feedTrims(f, p.t())
	if !f.seen && (long && d.seconds() > 1.3*own.habit(own.longest) || f.own.state == answered) {
		f.seen = true
		if t := d.first.t(); long && t > f.begin-2 {
			f.beginLo, f.beginHi = startOf(d.before, d.hasBefore, d.first)
			f.begin = (f.beginLo + f.beginHi) / 2
		}
		w.emit(Event{T: f.begin, Name: ForceBegins, Side: f.side})
	}
	if onSide(f.side, p.v) && (f.level == 0 || (p.v > f.level) == (f.side == Rich)) {
		f.level = p.v // the most extreme reading
	}
	// Brought back: the sensor cycles again and trim has stopped going one way.
	if f.own.state == answered && d.side != "" && d.side != f.turnSide {
		f.turnSide = d.side
		f.turns++
		f.compensated = f.turns >= 3 && f.own.drop > 0.99*trimCount
	}
	if f.seen {
		w.judgeHold(f)
	}
	if f.marked || f.own.state != answered || d.side != f.side.Opposite() {
		return
	}
	if d.seconds() > max(1.5, 1.3*f.volts.stays(d.side).longest) && f.own.now-f.own.start < 0.6*(f.own.top-f.own.start) {
		w.endForce(f, d.before.lo, d.first.hi, false)
	}
}

func (w *Watcher) endForce(f *force, lo, hi float64, byMark bool) {
	w.endForceUntil(f, lo, hi, byMark, math.Inf(1))
}

// endForceUntil is endForce where what was read after until belongs to another force.
func (w *Watcher) endForceUntil(f *force, lo, hi float64, byMark bool, until float64) {
	if !f.seen {
		// Announced, and neither the reading nor trim took notice.
		w.forces = w.forces[:len(w.forces)-1]
		fo := &w.follow[sideIndex(f.side)]
		fo.vague, fo.secs = true, hi-f.begin
		fo.why = "neither the reading nor trim moved: was the mixture really moved, and far enough?"
		w.expect = expectation{}
		return
	}
	f.ended, f.byMark = true, byMark
	f.endLo, f.endHi, f.end = lo, hi, (lo+hi)/2
	if f.end < f.begin {
		f.end = f.begin
	}
	w.expect.releaseAt = 0
	f.own.finish()
	if f.own.state == answered {
		w.judgeHold(f)
		w.fitAnswer(&f.own, &w.trim, f.own.ramped(f.end))
	}
	w.emit(Event{T: f.end, Name: ForceEnds, Side: f.side})
	w.lookForOffset(f)
	f.rel.begin(f, f.own.now, w.forces[0])
	f.rel.zero = w.offset
	f.relOn = true
	w.cache.valid = false
	w.catchUp(f, hi-1e-6, until)
}

// catchUp gives the force what was read since it ended, in order of time.
func (w *Watcher) catchUp(f *force, from, until float64) {
	v, t, d := &w.volts.volts, &w.trim.short, &w.down
	i, j, k := v.from(from), t.from(from), d.from(from)
	next := func(s *series, i int) float64 {
		if i >= s.n {
			return math.Inf(1)
		}
		return s.at(i).t()
	}
	for i < v.n || j < t.n || k < d.n {
		a, b, c := next(v, i), next(t, j), next(d, k)
		if min(a, b, c) >= until {
			return
		}
		switch {
		case a <= b && a <= c:
			w.stepRelease(f, v.at(i))
			i++
		case b <= c:
			w.stepReleaseTrim(f, t.at(j))
			j++
		default:
			w.stepReleaseDown(f, d.at(k))
			k++
		}
	}
}

func (w *Watcher) airflow() float64 {
	p, _ := w.ready.rpm.last()
	return w.air.flow(p.v)
}

func (w *Watcher) stepReleaseTrim(f *force, p point) {
	u := f.own.up * w.trim.total(p, f.begin)
	f.rel.trimNow = u
	f.own.standsOn(p.t(), u)
	f.rel.trimBack(p.t(), f)
	f.down.trim(p.t(), f.pastBalance(u), w.airflow())
}

func (w *Watcher) stepReleaseDown(f *force, p point) {
	moved := 0.0
	if f.rel.still() > 0.5 {
		moved = f.rel.trimNow - f.own.start
	}
	f.down.volts(p, moved)
}

func (w *Watcher) stepRelease(f *force, p point) {
	r := &f.rel
	if !f.relOn {
		return
	}
	if r.volts(p, f.volts) {
		w.tellRelease(f)
	}
	if r.turn(p, f.volts) {
		f.resumed = true
		w.restFrom = p.t()
		w.cache.valid = false
		w.emit(Event{T: r.resumedAt, Name: SwitchingResumes, After: max(0, r.resumedAt-r.at)})
	}
	if r.state != sensorOpen && (r.resumed || r.backFor(p.t()) > recoverWithin) {
		w.closeRelease(f, false)
	}
}

func (w *Watcher) tellRelease(f *force) {
	r := &f.rel
	if f.toldRel {
		return
	}
	if r.open {
		f.toldRel = true
		w.emit(Event{T: r.decidedAt, Name: BranchOpen, Side: f.side})
	}
	switch r.state {
	case sensorSays, sensorLate:
		f.toldRel = true
		w.emit(Event{T: r.firstOn.t(), Name: SensorAnswers, Toward: string(r.expect), After: max(0, r.firstOn.t()-r.at)})
	case sensorMute:
		f.toldRel = true
		w.emit(Event{T: r.decidedAt, Name: SensorSilent, Toward: string(r.expect), Waited: max(0, r.decidedAt-r.at)})
	}
}

// closeRelease ends the watch after a release: no more data will be counted.
func (w *Watcher) closeRelease(f *force, last bool) {
	if !f.ended || !f.relOn {
		return
	}
	if f.rel.state == sensorOpen {
		f.rel.decide(w.now, f.volts, true)
		w.tellRelease(f)
	}
	f.relOn = false
	if !f.rel.resumed {
		w.restFrom = max(w.restFrom, w.now)
	}
	w.cache.valid = false
}

// Gap says that from … to there was no data, and why.
func (w *Watcher) Gap(from, to time.Duration, cause string) []Event {
	w.events = w.events[:0]
	w.now = max(w.now, to.Seconds())
	w.lastGap = to.Seconds()
	w.emit(Event{T: from.Seconds(), Name: GapSeen, From: from.Seconds(), To: to.Seconds(), Cause: cause})
	return w.events
}

// Finish ends the session at the given time: what waits for more data is decided.
func (w *Watcher) Finish(at time.Duration) []Event {
	w.events = w.events[:0]
	w.now = max(w.now, at.Seconds())
	w.stepCandidates(true)
	w.settleHints(true)
	if f := w.running(); f != nil {
		if !f.ended {
			if f.seen {
				w.judgeHold(f)
			} else {
				w.endForce(f, w.now, w.now, true)
			}
		} else {
			w.closeRelease(f, true)
		}
	}
	return w.events
}
