package analysis

import (
	"fmt"
	"time"

	"pushback/analysis/limits"
	"pushback/analysis/recent"
	"pushback/decode"
)

// By says what is forced. Its names are promised to other programs.
type By string

const (
	ByWire    By = "wire"    // the signal wire
	ByMixture By = "mixture" // the mixture itself: propane, an induced lean
	ByFuelCut By = "fuelcut" // nothing but the throttle is lifted: the computer cuts the fuel
	ByNothing By = "nothing" // somebody said that nothing is: a drive is led, and what its readings do is the drive's
)

// ParseBy reads a name. The error names those that there are.
//
// Special cases are: "" is the wire; case and blanks count.
func ParseBy(name string) (By, error) {
	switch by := By(name); by {
	case "":
		return ByWire, nil
	case ByWire, ByMixture, ByFuelCut, ByNothing:
		return by, nil
	}
	return "", fmt.Errorf("%q is none of wire, mixture, fuelcut and nothing", name)
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
	cfg   Config
	bank  int
	other int // the bank beside it: 2 for 1, 1 for 2, 4 for 3, 3 for 4
	roles decode.Roles[role]

	now    float64
	events []Event

	streams
	ready readiness
	rest  restContradiction
	codes CodeWatch
	fig   figures
	lag   lagging

	heard
	forces   []*force // the last one may be running
	unjudged int      // announced when there were maxForces already
	atRest

	stretches
	open   openInput
	offset float64 // V: the signal return lies so far above the computer's ground; 0: not found
	scratch
}

// streams are the readings that are kept for a while.
type streams struct {
	volts      track // the watched sensor
	otherVolts track // the sensor in the same place of the other bank
	down       recent.Series
	otherDown  recent.Series // behind the other bank's catalyst, or behind the one that both share
	trim       trimStream
	otherTrim  trimStream
	air        air
	times      times
}

// times are those of the latest sample, s: the others of one reply have the same.
type times struct {
	sent, received time.Duration
	lo, hi         float64
}

func (t *times) reading(s *decode.Sample) recent.Reading {
	if s.Received != t.received || s.Sent != t.sent {
		*t = times{s.Sent, s.Received, s.Sent.Seconds(), s.Received.Seconds()}
	}
	return recent.Reading{Lo: t.lo, Hi: t.hi, V: s.Value}
}

// heard is what the technician and the guide have said, and what came of it.
type heard struct {
	expect expectation
	hints  []hint
	follow [2]markOutcome // by side: what a mark that nothing followed has shown
	marks  int
	asked  []ask
	both   *Both // the other bank's wire is held too; nil: it is not
}

// atRest is what is known of the car between forces, and from when on, s.
type atRest struct {
	restFrom float64 // baseline readings are taken from here on
	cache    baseCache
	lastGap  float64
	own      ownStays
}

// stretches are those that may be forces, and what speaks against.
type stretches struct {
	cands      []candidate
	excursions int // stretches that were over and called no force
	refused    refusal
	doubts     [2]doubt  // by side
	passedOver []Weighed // the latest that were called no force
	moved      movedMixture
}

// scratch is room for working, so that no reading asks for memory.
type scratch struct {
	scratchA, scratchB, scratchC, scratchD []float64
	scratchP                               []recent.Reading
}

// NewWatcher returns a watcher of what cfg says.
func NewWatcher(cfg Config) *Watcher {
	if cfg.Sensor == (decode.SensorID{}) {
		cfg.Sensor = decode.SensorID{Bank: 1, Position: 1}
	}
	w := &Watcher{
		cfg: cfg, bank: cfg.Sensor.Bank, other: cfg.Sensor.Beside().Bank,
		streams: streams{volts: newTrack(), otherVolts: newTrack(), down: recent.New(1024), otherDown: recent.New(512),
			trim: newTrimStream(), otherTrim: newTrimStream()},
		events: make([]Event, 0, 16), stretches: stretches{cands: make([]candidate, 0, maxCandidates)},
		scratch: scratch{scratchA: make([]float64, 0, 16384), scratchB: make([]float64, 0, 8192),
			scratchC: make([]float64, 0, 4096), scratchD: make([]float64, 0, 4096),
			scratchP: make([]recent.Reading, 0, 4096)},
		atRest: atRest{restFrom: -1, lastGap: -1},
	}
	w.roles = decode.NewRoles(w.role)
	w.ready.purge = recent.New(64)
	w.ready.rpm, w.ready.speed = recent.New(256), recent.New(256)
	w.ready.since, w.ready.openAt = -1, -10
	return w
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
//
// Special cases are: a sample that is older than the last moves no time back; of a missing one only that counts which tells
// that a sensor is not used for trim; a signal that nothing here asks for is left out.
func (w *Watcher) Step(s decode.Sample) []Event {
	w.events = w.events[:0]
	p := w.times.reading(&s)
	w.now = max(w.now, p.Hi)
	r := w.roles.Of(s.Signal)
	if s.Missing {
		if r == roleTrimBeside {
			w.ready.unusedN++
			w.ready.unused = ""
			if w.trim.withVolts == 0 && w.ready.unusedN >= 3 && w.cfg.Sensor.Position > 1 {
				w.ready.unused = w.cfg.Sensor.String()
			}
		}
		return w.events
	}
	switch r {
	case roleVolts:
		w.stepVolts(p)
	case roleOtherVolts:
		w.stepOtherVolts(p)
	case roleOtherDown:
		w.stepOtherDown(p)
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
		w.trim.long.AddChange(p)
		w.fig.addLong(p.V)
	case roleOtherTrim:
		w.otherTrim.bank(p)
	case roleOtherTrimBeside:
		w.otherTrim.beside(p)
	case roleOtherLong:
		w.otherTrim.long.AddChange(p)
	case roleStatus:
		if !w.ready.ownSystem {
			w.stepStatus(p)
		}
	case roleStatusB:
		// Where the second system is in use it is that of banks 2 and 4; where not, one controls all.
		if w.ready.ownSystem = p.V != 0 && w.cfg.Sensor.Bank%2 == 0; w.ready.ownSystem {
			w.stepStatus(p)
		}
	case roleCoolant:
		w.ready.coolant, w.ready.hasCoolant = p.V, true
	case roleRPM:
		w.ready.rpm.Add(p)
		if p.V < limits.TurningSpeed {
			w.stall(p.Lo)
		}
		w.ready.fit.Turns(p.V >= limits.TurningSpeed)
	case roleRuntime:
		w.stepRuntime(p)
	case rolePurge:
		w.stepPurge(p)
	case roleSpeed:
		w.ready.speed.Add(p)
	case roleFit:
		w.ready.fit.Tell(s.Signal.Name, p.T(), p.V)
	case roleAir:
		w.air.maf = p.V
	case roleManifold:
		w.air.manifold = p.V
	case roleWide:
		w.ready.wide = true
	}
	if r != roleNone {
		w.settleHints(false)
		w.stepReady(p.Hi)
	}
	return w.events
}

// NeverForce reports whether the readings have told a wide-range sensor, whose wire must not be forced.
func (w *Watcher) NeverForce() bool { return w.ready.never() }

func (w *Watcher) stepVolts(p recent.Reading) {
	w.gapInVolts(p)
	outside := w.volts.add(p)
	w.movedVolts(p)
	if w.running() == nil && w.trim.short.Len() > 0 {
		w.ready.fifth.addVolts(p, w.trim.totalAt, w.ready.hasStatus && isClosed(w.ready.status))
	}
	if w.holding() == nil && !w.readsOpen(p.V) && !w.asksNow() {
		w.rest.addVolts(p)
	} else {
		w.rest.forced(p.T())
	}
	w.own.addVolts(p, w.holding() == nil && (w.running() == nil || w.running().resumed) && !w.open.lasts && !w.open.asked && !w.readsOpen(p.V))
	w.fig.addVolts(p, w.running() != nil)
	w.lag.addVolts(recent.Reading{Lo: p.Lo, Hi: p.Hi, V: p.V - w.offset}, w.ownReading(p.V) && !w.asksNow() && !w.open.asked && !w.open.lasts, &w.volts)
	f := w.running()
	if w.holding() == nil {
		w.lookForOpen(p)
	}
	switch {
	case w.open.lasts, w.open.asked && w.holding() == nil:
	case f == nil:
		w.lookForForce(&w.volts)
	case !f.ended:
		f.ready = f.ready || w.ready.holds() // a force may close a loop that was open for want of a signal
		if f.bank == w.bank {
			w.stepHold(f, &w.volts, p, outside)
		} else {
			w.lookForForce(&w.volts)
		}
	default:
		w.stepRelease(f, p)
		w.lookForForce(&w.volts)
	}
}

// gapInVolts says so when the watched readings themselves pause, as in an imported
// recording with a hole; the session reports gaps of the line with their cause.
func (w *Watcher) gapInVolts(p recent.Reading) {
	prev, has := w.volts.volts.Last()
	if !has || w.volts.volts.Len() < 5 {
		return
	}
	if dt := p.T() - prev.T(); dt > max(3, 6*w.volts.interval) && w.lastGap < prev.T() {
		w.emit(Event{T: prev.T(), Name: GapSeen, From: prev.Hi, To: p.Lo, Cause: NoReading})
		w.lastGap = p.T()
	}
}

func (w *Watcher) stepTrim(p recent.Reading) {
	w.movedTrim(p)
	long := w.trim.longAt(p.T())
	w.rest.addTrim(p.T(), decode.TotalTrim(p.V, long), w.otherFar())
	w.fig.addTrim(p.V, w.running() != nil)
	w.lag.addTrim(p, w.holding() != nil && w.cfg.By != ByMixture)
	w.zeroesAgainst(p)
	if v, has := w.volts.volts.Last(); has && p.T()-v.T() < 2 && w.ready.hasStatus && isClosed(w.ready.status) {
		w.refused.trimRead(p.T(), p.V+long, sideOf(v.V))
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

func (w *Watcher) stepDown(p recent.Reading) {
	w.down.Add(p)
	w.rest.addDown(p)
	f := w.running()
	if f == nil {
		return
	}
	if f.ended {
		w.stepReleaseDown(f, p)
		return
	}
	f.down.addVolts(p, f.moved())
}

// stepOtherVolts takes a reading of the other bank's sensor; one that is held too has a watcher of its own.
func (w *Watcher) stepOtherVolts(p recent.Reading) {
	outside := w.otherVolts.add(p)
	f := w.holding()
	switch {
	case w.both != nil:
	case f != nil && f.bank == w.other:
		w.stepHold(f, &w.otherVolts, p, outside)
	default:
		w.lookForForce(&w.otherVolts)
	}
}

func (w *Watcher) stepOtherDown(p recent.Reading) {
	w.otherDown.Add(p)
	if f := w.running(); f != nil && !f.ended {
		f.shared.addVolts(p, f.moved())
	}
}

// otherFar is the other bank's total trim, 0 if it was not read.
func (w *Watcher) otherFar() float64 {
	p, has := w.otherTrim.short.Last()
	if !has {
		return 0
	}
	return w.otherTrim.totalOf(p)
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
//
// Special cases are: a force that is still held ends there, and counts if it was seen by then.
func (w *Watcher) Finish(at time.Duration) []Event {
	w.events = w.events[:0]
	w.now = max(w.now, at.Seconds())
	w.stepCandidates(true)
	w.movedLast()
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
