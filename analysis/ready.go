package analysis

import (
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/analysis/recent"
	"pushback/decode"
)

func isClosed(status int) bool { return decode.LoopClosed(byte(status)) }

// readiness follows the conditions under which a test counts.
type readiness struct {
	loopStatus
	coolant    float64
	hasCoolant bool
	rpm        recent.Series
	purge      recent.Series // %, commanded
	ran        float64       // s since the engine's start, as told
	speed      recent.Series // km/h
	wide       bool          // the watched sensor is a wide-range one
	mixture    bool          // the mixture is forced, not the wire
	fifth      atAFifth      // it is a wide-range one, shown at a fifth of its voltage
	fit        Fit           // for a test at all
	unused     string        // the sensor, where the computer says that it does not use it for trim; "": it may
	unusedN    int

	said      bool    // something was emitted
	ok        bool    // what was emitted last
	everReady bool    // by all that is read of it: what is first read late and does not hold, did not hold before
	known     [2]bool // what was read: coolant, status
	candidate bool
	since     float64
}

// loopStatus is open or closed loop, as PID 03 has it.
type loopStatus struct {
	status      int // of the watched bank's fuel system
	statusAt    float64
	hasStatus   bool
	changedAt   float64 // s: when status was last read to be another one, and what it was
	changedFrom int
	ownSystem   bool    // the second fuel system is in use, and the bank's
	closedAt    float64 // last time at which the loop was seen closed
	openAt      float64 // and open
	everClosed  bool
	zeroed      float64 // s: when trim jumped to zero against the sensor, as long as no status was read since; 0: it did not
	gaveUp      bool    // it did so in closed loop: the computer let go of the sensor
}

// unmet lists the conditions that do not hold, what opens a loop before the loop that is open for it: the first is what is done next.
func (r *readiness) unmet() []reason.Reason {
	var out []reason.Reason
	switch {
	case r.fifth.shown:
		out = append(out, reason.WideAtAFifth.Of())
	case r.wide && r.mixture:
		out = append(out, reason.WideUnjudged.Of())
	case r.wide:
		out = append(out, reason.WideNoWire.Of())
	}
	if r.unused != "" {
		out = append(out, reason.SensorUnused.Of(r.unused))
	}
	out = append(out, r.fit.Unmet()...)
	if p, has := r.rpm.Last(); has && p.V < limits.TurningSpeed {
		out = append(out, r.fit.Standing())
	}
	if r.hasCoolant && r.coolant < limits.WarmCoolant {
		out = append(out, reason.CoolantCold.Of(r.coolant))
	}
	if r.hasStatus && !isClosed(r.status) {
		out = append(out, reason.LoopOpen.Of().Then(FuelStatus(r.status)))
	}
	return out
}

// Barred reports whether the car must not be tested now, and whether waiting never changes that. A fault that was there
// from the beginning stays; one that comes in a test may be the test's own.
func (w *Watcher) Barred() (now, always bool) {
	r := &w.ready
	openForFault := r.hasStatus && r.status == int(decode.FuelOpenFault) && !r.everReady
	always = r.barredForGood() || openForFault
	return always || !r.fit.Holds(), always
}

// atAFifth finds a wide-range sensor that is shown through a narrow one's PID at a fifth of its voltage: 3.3 V, the
// balanced mixture, is 0.66 V then (common practice of computers, no source). A narrow sensor that reads so says
// rich, and the loop cuts, the slowest too, up to its limit, which lies far out; this loop is content, wherever its trim has learned to be.
type atAFifth struct {
	since recent.Reading // the first reading about 0.66 V of those on end
	trim  float64        // total trim then, %
	has   bool
	lean  bool // it was read where no such sensor is in closed loop
	shown bool
}

func (a *atAFifth) addVolts(p recent.Reading, total func(at float64) float64, closed bool) {
	if a.shown {
		return
	}
	a.lean = a.lean || p.V < leanBelow && closed
	if p.V < 0.62 || p.V > 0.70 || !closed || a.lean {
		a.has = false
		return
	}
	trim := total(p.T())
	if !a.has {
		a.since, a.trim, a.has = p, trim, true
	}
	lasts := p.T() - a.since.T()
	a.shown = lasts >= 8 && abs(trim) < enoughTrim && a.trim-trim < minLoopRate*lasts-trimCount
}

// never reports whether the wire must not be forced at all: it is a wide-range sensor's.
func (r *readiness) never() bool { return r.wide || r.fifth.shown }

// barredForGood reports that nobody can bring this car or sensor to this test.
func (r *readiness) barredForGood() bool { return r.never() || r.fit.Never() || r.unused != "" }

// holds reports whether all of them hold.
func (r *readiness) holds() bool {
	p, has := r.rpm.Last()
	return !r.never() && r.unused == "" && r.fit.Holds() && (!r.hasCoolant || r.coolant >= limits.WarmCoolant) &&
		(!r.hasStatus || isClosed(r.status)) && (!has || p.V >= limits.TurningSpeed)
}

// heldAt is holds at the moment t, not long ago: a status that has changed since counts as it was.
func (r *readiness) heldAt(t float64) bool {
	then := *r
	if r.hasStatus && r.changedAt >= t {
		then.status = r.changedFrom
	}
	return then.holds()
}

// FuelStatus is what a status of PID 03 says of a loop that is not closed.
func FuelStatus(status int) reason.Reason {
	switch status {
	case int(decode.FuelOpenNotReady):
		return reason.StatusCold.Of()
	case int(decode.FuelOpenDriving):
		return reason.StatusDriving.Of()
	case int(decode.FuelOpenFault):
		return reason.StatusFault.Of()
	case 0:
		return reason.StatusUnused.Of()
	}
	return reason.StatusByte.Of(status)
}

// settle is how long a change must last before it is said, s: closed loop comes and
// goes with each deceleration, and that is no news.
func (r *readiness) settle() float64 {
	if r.ok {
		return 12
	}
	return 2
}

// step says ready or not_ready when that has changed for long enough.
func (w *Watcher) stepReady(now float64) {
	r := &w.ready
	r.mixture = w.cfg.By == ByMixture
	ok := r.holds()
	if ok != r.candidate || r.since < 0 {
		r.candidate, r.since = ok, now
	}
	known := r.known
	r.known = [2]bool{r.hasCoolant, r.hasStatus}
	r.everReady = (r.everReady || r.said && r.ok && ok) && (ok || known == r.known)
	if r.said && ok == r.ok || now-r.since < r.settle() && !r.never() || ok && r.fit.Open() {
		return
	}
	r.said, r.ok = true, ok
	if ok {
		r.everReady = true
		w.emit(Event{T: now, Name: Ready, Reasons: r.fit.Heeds()})
	} else {
		w.emit(Event{T: now, Name: NotReady, Reasons: r.unmet()})
	}
}

// steady reports whether the engine ran evenly in [from, to]: [limits.SteadySpeed]. True if speed is never read, false if it was not read in that time.
func (r *readiness) steady(from, to float64) bool {
	if r.rpm.Len() == 0 {
		return true
	}
	lo, hi, n := r.rpm.Span(from-2, to)
	return n > 0 && limits.SteadySpeed(lo, hi)
}

// moved reports whether the car was moving about [from, to]; false if its speed is not read.
func (r *readiness) moved(from, to float64) bool {
	_, hi, n := r.speed.Span(from-limits.SpeedRead, to+limits.SpeedRead)
	return n > 0 && hi >= limits.MovingSpeed
}

// stands reports whether the car is known to have stood about [from, to].
func (r *readiness) stands(from, to float64) bool {
	_, hi, n := r.speed.Span(from-limits.SpeedRead, to+limits.SpeedRead)
	return float64(n) >= (to-from)/speedEvery && hi < limits.MovingSpeed
}

// speedEvery is how often the car's speed must have been read for it to be known that it stood, s: between two lights.
const speedEvery = 12.0
