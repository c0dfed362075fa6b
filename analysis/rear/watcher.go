package rear

import (
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/analysis/recent"
	"pushback/decode"
)

// Watcher judges a session of one sensor behind the catalyst. Feed it in order of time; not for concurrent use.
type Watcher struct {
	cfg    analysis.Config
	roles  decode.Roles[role]
	now    float64
	events []analysis.Event
	codes  analysis.CodeWatch
	fig    analysis.FigureWatch
	ready  readiness
	engine engine
	part   part      // the cut or pull that runs, or whose last gas is awaited
	parts  []weighed // the latest, for [Watcher.Reasons]
	lean   tally
	rich   tally
	moved  extremes
}

// extremes are the readings of a warm sensor, V.
type extremes struct {
	low, high float64
	leans     int // up to the switch point's lower edge, and from its upper
	riches    int
}

type role uint8

const (
	roleNone role = iota
	roleVolts
	roleFront
	roleFrontRatio
	roleCommand
	roleTrim
	roleLong
	roleStatus
	roleStatusB
	roleLoad
	roleRPM
	roleAir
	roleCoolant
	roleFit
)

// New returns a watcher of what cfg says.
//
// Special cases are: without a sensor it is B1S2.
func New(cfg analysis.Config) *Watcher {
	if cfg.Sensor == (decode.SensorID{}) {
		cfg.Sensor = decode.SensorID{Bank: 1, Position: 2}
	}
	w := &Watcher{cfg: cfg}
	w.engine.speed = recent.New(64)
	w.roles, w.ready.since = decode.NewRoles(w.role), -1
	return w
}

// role is that of a signal by its name.
func (w *Watcher) role(name string) role {
	id := w.cfg.Sensor
	front := decode.SensorID{Bank: id.Bank, Position: 1}
	switch name {
	case id.Voltage():
		return roleVolts
	case front.Voltage():
		return roleFront
	case front.Ratio():
		return roleFrontRatio
	case "EQ_RAT":
		return roleCommand
	case front.Trim():
		return roleTrim
	case front.LongTrim():
		return roleLong
	case "FUELSYS1":
		return roleStatus
	case "FUELSYS2":
		return roleStatusB
	case "LOAD_PCT":
		return roleLoad
	case "RPM":
		return roleRPM
	case "MAF":
		return roleAir
	case "ECT":
		return roleCoolant
	}
	if analysis.TellsFit(name) {
		return roleFit
	}
	return roleNone
}

func (w *Watcher) emit(e analysis.Event) { w.events = append(w.events, e) }

// Step takes one sample and returns what it decides, possibly nothing. The slice is valid until the next call.
//
// Special cases are: a missing sample only moves time on; a signal that nothing here asks for is left out.
func (w *Watcher) Step(s decode.Sample) []analysis.Event {
	w.events = w.events[:0]
	t, v := (s.Sent.Seconds()+s.Received.Seconds())/2, s.Value
	w.now = max(w.now, s.Received.Seconds())
	r := w.roles.Of(s.Signal)
	if s.Missing || r == roleNone {
		return w.events
	}
	e := &w.engine
	switch r {
	case roleVolts:
		w.fig.Volts(s.Sent.Seconds(), s.Received.Seconds(), v)
		w.fall(s.Sent.Seconds(), s.Received.Seconds(), v)
		w.read(t, v)
	case roleTrim:
		w.fig.Trim(v)
	case roleLong:
		w.fig.Long(v)
	case roleFront:
		e.front.tell(t, v <= limits.NeutralLow, v >= limits.NeutralHigh)
		w.witness(t, &e.front)
	case roleFrontRatio:
		e.ratio.tell(t, v >= analysis.FarLean, v > 0 && v <= richRatio)
		w.witness(t, &e.ratio)
	case roleCommand:
		e.command.tell(t, false, v > 0 && v <= richRatio)
	case roleStatus, roleStatusB:
		e.tellStatus(t, byte(v), r == roleStatusB, w.cfg.Sensor.Bank)
	case roleLoad:
		e.load, e.loadAt, e.hasLoad = v, t, true
	case roleRPM:
		e.turn(t, v)
		w.ready.fit.Turns(v >= limits.TurningSpeed)
	case roleAir:
		e.air, e.hasAir = v, true
	case roleCoolant:
		w.ready.coolant, w.ready.hasCoolant = v, true
	case roleFit:
		w.ready.fit.Tell(s.Signal.Name, t, v)
	}
	if r >= roleCommand && r != roleTrim && r != roleLong {
		w.look(t)
	}
	w.stepReady()
	return w.events
}

// Mark takes the word of the technician. The drive tells by itself what it does, so it changes nothing.
func (w *Watcher) Mark(time.Duration, analysis.Side) []analysis.Event { return nil }

// Release takes the word of the technician; see [Watcher.Mark].
func (w *Watcher) Release(time.Duration) []analysis.Event { return nil }

// Codes takes the trouble codes of one reading of service 03, 07 or 0A; see [analysis.CodeWatch].
func (w *Watcher) Codes(at time.Duration, service byte, codes []string) []analysis.Event {
	w.events = w.events[:0]
	w.now = max(w.now, at.Seconds())
	w.events = append(w.events, w.codes.Take(at, service, codes)...)
	return w.events
}

// Gap says that from … to there was no data, and why. What ran then ended before it.
func (w *Watcher) Gap(from, to time.Duration, cause string) []analysis.Event {
	w.events = w.events[:0]
	w.now = max(w.now, to.Seconds())
	w.close()
	w.emit(analysis.Event{T: from.Seconds(), Name: analysis.GapSeen, From: from.Seconds(), To: to.Seconds(), Cause: cause})
	return w.events
}

// Finish ends the session at the given time: what waits for more data is decided.
func (w *Watcher) Finish(at time.Duration) []analysis.Event {
	w.events = w.events[:0]
	w.now = max(w.now, at.Seconds())
	w.close()
	return w.events
}

// Figures is what the session has shown of the sensor and of the trims of its bank.
func (w *Watcher) Figures() analysis.Figures { return w.fig.Figures() }

// readiness follows the conditions under which a drive counts. An open loop is none of them: cuts and full load are open.
type readiness struct {
	coolant    float64 // °C
	hasCoolant bool
	fit        analysis.Fit

	said, ok, everReady bool
	candidate           bool
	since               float64
}

// warm reports whether what is read now may count: a cold sensor shows nothing.
func (r *readiness) warm() bool {
	return r.fit.Holds() && (!r.hasCoolant || r.coolant >= limits.WarmCoolant)
}

func (w *Watcher) holds() bool { return w.ready.warm() && w.engine.turns() }

// unmet lists the conditions that do not hold.
func (w *Watcher) unmet() []reason.Reason {
	var out []reason.Reason
	r := &w.ready
	if r.hasCoolant && r.coolant < limits.WarmCoolant {
		out = append(out, reason.CoolantCold.Of(r.coolant))
	}
	if !w.engine.turns() {
		out = append(out, r.fit.Standing())
	}
	return append(out, r.fit.Unmet()...)
}

// Barred reports whether the car must not be tested now, and whether waiting never changes that.
func (w *Watcher) Barred() (now, always bool) { return !w.ready.fit.Holds(), w.ready.fit.Never() }

// stepReady says ready or not_ready when that has changed for long enough.
func (w *Watcher) stepReady() {
	r := &w.ready
	ok := w.holds()
	if ok != r.candidate || r.since < 0 {
		r.candidate, r.since = ok, w.now
	}
	settle := 2.0
	if r.ok {
		settle = 12
	}
	if r.said && ok == r.ok || w.now-r.since < settle || ok && r.fit.Open() {
		return
	}
	r.said, r.ok = true, ok
	if ok {
		r.everReady = true
		w.emit(analysis.Event{T: w.now, Name: analysis.Ready, Reasons: r.fit.Heeds()})
		return
	}
	w.emit(analysis.Event{T: w.now, Name: analysis.NotReady, Reasons: w.unmet()})
}
