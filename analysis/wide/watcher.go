package wide

import (
	"math"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/recent"
	"pushback/decode"
)

// maxForces bounds memory: later forces of one session are counted and not judged.
const maxForces = 32

// Watcher judges a session on a car whose upstream sensor is a wide-range one. Feed it in order
// of time; not for concurrent use.
type Watcher struct {
	cfg    analysis.Config
	roles  decode.Roles[role]
	now    float64
	events []analysis.Event
	codes  analysis.CodeWatch
	ready  readiness
	fig    figures

	own, other bank // the watched bank and the one beside it
	shared
	told   []told  // what the technician said
	forces []force // the last one may be running
	unannounced
	cuts      cutWatch
	offset    offsetWatch
	rears     rearWatch
	fed       bool       // the computer feeds its commanded ratio forward
	past      window     // before a flank
	roughness [2]float64 // of the disturbance, taking it as left to trim and as fed forward
	judged
}

// shared is what is read of the car beside its banks.
type shared struct {
	command    recent.Series // PID 44
	status     recent.Series // of the watched bank's fuel system
	rpm, purge recent.Series
	speed      recent.Series
	load       recent.Series
}

// judged is the verdict of what was read until judgedAt.
type judged struct {
	verdict    analysis.Verdict
	judgedAt   float64
	hasVerdict bool
}

// bank holds what is read of one bank.
type bank struct {
	lambda, current, trim, long recent.Series
	rear, rearLambda            recent.Series
	rearTrim, rearLong          recent.Series
}

func newBank() bank {
	return bank{lambda: recent.New(4096), current: recent.New(256), trim: recent.New(4096), long: recent.New(512), rear: recent.New(1024),
		rearLambda: recent.New(512), rearTrim: recent.New(256), rearLong: recent.New(128)}
}

// told is what the technician said of one force, s; release is 0 if they did not say.
type told struct {
	side        analysis.Side
	at, release float64
	used        bool // a force was seen that fits
	cold        bool // the engine was
	sought      bool // by the model, where no flank showed it
}

type role uint8

const (
	roleNone role = iota
	roleLambda
	roleCurrent
	roleTrim
	roleLong
	roleRear
	roleRearLambda
	roleRearTrim
	roleRearLong
	roleCommand
	roleStatus
	roleCoolant
	roleRPM
	rolePurge
	roleLoad
	roleSpeed
	roleFit
	roleOther // added to those of a bank: the bank beside
)

// New returns a watcher of what cfg says. Its sensor is the wide-range
// one, or, by wire, the narrow one behind the catalyst.
//
// Special cases are: without a sensor it is B1S1; by the wire of a wide-range one it is never ready, for that is never forced.
func New(cfg analysis.Config) *Watcher {
	if cfg.Sensor == (decode.SensorID{}) {
		cfg.Sensor = decode.SensorID{Bank: 1, Position: 1}
	}
	w := &Watcher{cfg: cfg, own: newBank(), other: newBank(),
		shared: shared{command: recent.New(4096), status: recent.New(256), rpm: recent.New(512), purge: recent.New(256), speed: recent.New(256), load: recent.New(64)}}
	w.roles, w.ready.since = decode.NewRoles(w.role), -1
	return w
}

// role is that of a signal by its name.
func (w *Watcher) role(name string) role {
	r := roleNone
	switch name {
	case "EQ_RAT":
		r = roleCommand
	case "ECT":
		r = roleCoolant
	case "RPM":
		r = roleRPM
	case "EVAP_PCT":
		r = rolePurge
	case "LOAD_PCT":
		r = roleLoad
	case "VSS":
		r = roleSpeed
	case "COMP_IGN", "FUEL_TYP", "AIR_STAT", "ALCH_PCT":
		r = roleFit
	case w.cfg.Sensor.Status():
		r = roleStatus
	default:
		if b := bankRole(w.cfg.Sensor, name); b != roleNone {
			r = b
		} else if b := bankRole(w.cfg.Sensor.Beside(), name); b != roleNone {
			r = b + roleOther
		}
	}
	return r
}

func bankRole(id decode.SensorID, name string) role {
	up := decode.SensorID{Bank: id.Bank, Position: 1}
	switch name {
	case up.Ratio():
		return roleLambda
	case up.Voltage() + "_WIDE_MA":
		return roleCurrent
	case up.Trim():
		return roleTrim
	case up.LongTrim():
		return roleLong
	case up.Downstream().Voltage():
		return roleRear
	case up.Downstream().Ratio():
		return roleRearLambda
	case up.RearTrim():
		return roleRearTrim
	case up.RearLongTrim():
		return roleRearLong
	}
	return roleNone
}

func (w *Watcher) emit(e analysis.Event) { w.events = append(w.events, e) }

// Step takes one sample and returns what it decides, possibly nothing. The slice is valid until
// the next call.
func (w *Watcher) Step(s decode.Sample) []analysis.Event {
	w.events = w.events[:0]
	p := recent.Reading{Lo: s.Sent.Seconds(), Hi: s.Received.Seconds(), V: s.Value}
	w.now = max(w.now, p.Hi)
	r := w.roles.Of(s.Signal)
	if s.Missing || r == roleNone {
		return w.events
	}
	b, own := &w.own, true
	if r >= roleOther {
		r, b, own = r-roleOther, &w.other, false
	}
	switch r {
	case roleLambda:
		if p.V <= 0 {
			return w.events
		}
		b.lambda.Add(p)
		if own {
			w.gapInLambda()
		}
	case roleCurrent:
		b.current.Add(p)
	case roleTrim:
		b.trim.Add(p)
		if own {
			w.fig.short(p.V, w.busy())
		}
	case roleLong:
		b.long.Add(p)
		if own {
			w.fig.addLong(p.V)
		}
	case roleRear:
		b.rear.Add(p)
		if own && w.byRear() {
			w.stepRear(p)
		}
	case roleRearLambda:
		b.rearLambda.Add(p)
	case roleRearTrim:
		b.rearTrim.Add(p)
	case roleRearLong:
		b.rearLong.Add(p)
	case roleCommand:
		w.command.Add(p)
	case roleStatus:
		w.stepStatus(p)
	case roleCoolant:
		w.ready.coolant, w.ready.hasCoolant = p.V, true
	case roleRPM:
		w.rpm.Add(p)
		w.ready.fit.Turns(p.V >= limits.TurningSpeed)
	case roleFit:
		w.ready.fit.Tell(s.Signal.Name, p.T(), p.V)
	case rolePurge:
		w.purge.Add(p)
	case roleLoad:
		w.load.Add(p)
	case roleSpeed:
		w.speed.Add(p)
	}
	if own && (r == roleLambda || r == roleRear || r == roleRearTrim) {
		w.offset.step(w, p.Hi)
	}
	if own && r == roleLambda {
		w.stepRatio(p)
	}
	w.stepReady(p.Hi)
	return w.events
}

// stepRatio looks at a new reading of the watched sensor.
func (w *Watcher) stepRatio(p recent.Reading) {
	if w.byRear() || w.cfg.By == analysis.ByNothing {
		return
	}
	if w.cfg.By == analysis.ByFuelCut {
		w.stepCut(p)
		return
	}
	w.cuts.watch(w, p)
	w.stepForce(p)
	w.seekSaid(p.T())
}

// gapInLambda says so when the watched readings themselves pause.
func (w *Watcher) gapInLambda() {
	s := &w.own.lambda
	if s.Len() < 6 {
		return
	}
	a, b := s.At(s.Len()-2), s.At(s.Len()-1)
	if b.T()-a.T() <= 3 || w.ready.gapAt >= a.T() {
		return
	}
	if usual := interval(s, a.T()-20, a.T()); b.T()-a.T() > 6*usual {
		w.ready.gapAt = b.T()
		w.emit(analysis.Event{T: a.T(), Name: analysis.GapSeen, From: a.Hi, To: b.Lo, Cause: analysis.NoReading})
	}
}

// Mark takes the word of the technician that they begin to force a side.
//
// Special cases are: another word before a release ends the force that was said before; one that was seen already is marked; what
// was seen and is not what is said here is abandoned.
func (w *Watcher) Mark(at time.Duration, side analysis.Side) []analysis.Event {
	w.events = w.events[:0]
	t := at.Seconds()
	w.now = max(w.now, t)
	if n := len(w.told); n > 0 && w.told[n-1].release == 0 {
		w.told[n-1].release = t
	}
	if len(w.told) == maxForces {
		w.unjudged, w.hasVerdict = w.unjudged+1, false
		return w.events
	}
	w.told = append(w.told, told{side: side, at: t, cold: w.cold()})
	if f := w.running(); f != nil && f.side == side && !f.ended() && f.begin > t-sayNear && (f.begin > t-saySurely || f.size > 6*f.noise) {
		f.marked = true
		w.told[len(w.told)-1].used = true
		if f.begun {
			w.counts(f)
		}
	} else if f != nil && !f.marked && !f.told {
		w.abandon(f) // something else: who says what they do says it of each force
	}
	return w.events
}

// Release takes the word of the technician that they let go.
func (w *Watcher) Release(at time.Duration) []analysis.Event {
	w.events = w.events[:0]
	t := at.Seconds()
	w.now = max(w.now, t)
	if n := len(w.told); n > 0 && w.told[n-1].release == 0 {
		w.told[n-1].release = t
		if n := len(w.forces); n > 0 && w.forces[n-1].marked && w.forces[n-1].ended() && w.releaseOf(&w.forces[n-1]) > w.forces[n-1].end+brokenBy {
			w.forces[n-1].broken = true
			w.hasVerdict = false
		}
	}
	return w.events
}

// Codes takes the trouble codes of one reading of service 03, 07 or 0A; see [analysis.CodeWatch].
func (w *Watcher) Codes(at time.Duration, service byte, codes []string) []analysis.Event {
	w.events = w.events[:0]
	w.now = max(w.now, at.Seconds())
	w.events = append(w.events, w.codes.Take(at, service, codes)...)
	return w.events
}

// Gap says that from … to there was no data, and why.
func (w *Watcher) Gap(from, to time.Duration, cause string) []analysis.Event {
	w.events = w.events[:0]
	w.now = max(w.now, to.Seconds())
	w.ready.gapAt = to.Seconds()
	w.emit(analysis.Event{T: from.Seconds(), Name: analysis.GapSeen, From: from.Seconds(), To: to.Seconds(), Cause: cause})
	return w.events
}

// Finish ends the session at the given time: what waits for more data is decided.
func (w *Watcher) Finish(at time.Duration) []analysis.Event {
	w.events = w.events[:0]
	w.now = max(w.now, at.Seconds())
	if f := w.running(); f != nil {
		w.close(f)
	}
	w.cuts.finish(w)
	if n := len(w.rears.all); n > 0 && w.rears.all[n-1].end == 0 {
		w.measureRear(&w.rears.all[n-1])
	}
	w.hasVerdict = false
	return w.events
}

// ByRear reports whether the wire of the narrow sensor behind the catalyst is held: lean only.
func (w *Watcher) ByRear() bool { return w.byRear() }

// Figures is what the session has shown apart from any force: of this kind of sensor the trims only.
func (w *Watcher) Figures() analysis.Figures {
	g := w.fig.figures()
	if every := interval(&w.own.lambda, w.now-60, w.now); every > 0 {
		g.PerSecond = 1 / every
	}
	return g
}

type figures struct {
	n, longN     int
	sum, longSum float64
	low, high    float64
	reach        analysis.TrimReach
}

func (f *figures) short(v float64, forced bool) {
	f.reach.Add(v)
	if forced {
		return
	}
	if f.n == 0 {
		f.low, f.high = v, v
	}
	f.n++
	f.sum += v
	f.low, f.high = min(f.low, v), max(f.high, v)
}

func (f *figures) addLong(v float64) { f.longN++; f.longSum += v }

func (f *figures) figures() analysis.Figures {
	nan := math.NaN()
	g := analysis.Figures{Low: nan, High: nan, Mean: nan, PerSecond: nan, ShareLean: nan, ShareMid: nan, ShareRich: nan, Per10s: nan,
		ShortMean: f.sum / float64(f.n), ShortLow: nan, ShortHigh: nan, LongMean: f.longSum / float64(f.longN), TrimCount: f.n, LongCount: f.longN}
	if f.n > 0 {
		g.ShortLow, g.ShortHigh = f.low, f.high
	}
	return g
}
