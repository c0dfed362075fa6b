package heldout

import "math"

// The kinds of fuel loop on a switching sensor.
const (
	byRamp     = iota // jump and ramp (US 4228775; Ribbens)
	byDwell           // the same, its turns put off on one side (US 7343734)
	byPI              // PI on the voltage made linear near its step (common practice, no source)
	byAdaptive        // a ramp that grows while the sensor stays on a side (common practice, no source)
	byTable           // 1996: a step every so many strokes (open source of a controller: 1 % in 50, 2.5 % in 10)
)

// What a computer does when the sensor does not come back from a side (one maker's
// manuals of the 1990s: open loop after 10 s of rich; others' monitors act after 0.5 s to 60 s; the rest common practice, no source).
const (
	staysOn  = iota
	toFault  // status 02 to 10, trim to zero
	toOpen   // status 08
	silently // trim goes to zero, the status stays
	ofRich   // of a sensor that reads rich only: status 01
	atLimit  // at the limit for so long: status 08
)

const (
	statusCold, statusClosed, statusLoad, statusBroken, statusDoubt = 1, 2, 4, 8, 16
)

// law is how a computer corrects.
type law struct {
	kind       int
	tick       float64 // s between corrections
	strokes    float64 // or strokes of a four-cylinder engine, two a revolution; 0: by time
	jump, ramp float64 // %, %/s; of a table % a step
	dwell      [2]float64
	grow, most float64 // of the adaptive ramp, 1/s and at most
	hi, lo     float64 // %
	threshold  float64 // V
	band       float64
	filter     float64 // s
	fixed      bool    // gives no correction though it says closed loop
}

// habits are what else it does.
type habits struct {
	quits     int
	after     float64 // s
	resume    float64 // s of switching until it trusts the sensor again
	retry     float64 // s until it tries all the same
	pauses    float64 // mean s between pauses for purge or learning, 0: never
	clears    bool    // a pause takes trim to zero, or else freezes it
	learn     float64 // %/s of long-term trim
	learnFrom float64 // % of mean short-term trim
	longMost  float64 // %
	reluctant bool    // does not learn while purging
}

// loop is one bank's control.
type loop struct {
	law
	habits
	short, long       float64 // %
	status            byte
	filt, mean        lag
	rich              bool
	turning           float64 // s that a turn was put off
	since             float64 // s on this side
	due               float64 // s to the next correction
	integral          float64
	pegged            float64 // s at a limit
	given             bool    // the sensor is not used
	busy              float64 // s of switching since
	idle              float64 // s since it gave up
	pausedFor, toWait float64
}

// step takes what the input reads.
func (l *loop) step(d dice, v, dt float64, e *engine, cold bool) {
	v = l.filt.step(v, l.filter, dt)
	l.since += dt
	if side := v > l.threshold; side != l.rich && math.Abs(v-l.threshold) > l.band {
		to := 0
		if side {
			to = 1
		}
		if l.turning += dt; l.turning >= l.dwell[to] || l.kind != byDwell {
			l.rich, l.since, l.turning = side, 0, 0
			if l.kind != byPI && l.kind != byTable && !l.fixed && !l.given && l.pausedFor <= 0 && l.status == statusClosed {
				l.move(-l.sign() * l.jump)
			}
		}
	} else {
		l.turning = 0
	}
	switch {
	case cold:
		l.status, l.short = statusCold, 0
		return
	case e.cut || e.enrich > 0 || e.off:
		l.status, l.short, l.integral, l.since = statusLoad, 0, 0, 0
		return
	case l.given:
		l.letGo(dt)
		return
	}
	l.status = statusClosed
	if l.pause(d, dt) || l.fixed {
		return
	}
	l.due -= dt
	if l.due <= 0 && l.turning == 0 {
		gap := l.tick
		if l.strokes > 0 {
			gap = l.strokes * 30 / max(e.rpm, 300)
		}
		l.due += gap
		l.correct(v, gap)
	}
	l.watch(v, dt)
	l.adapt(dt, e)
}

func (l *loop) sign() float64 {
	if l.rich {
		return 1
	}
	return -1
}

func (l *loop) move(by float64) { l.short = min(max(l.short+by, l.lo), l.hi) }

func (l *loop) correct(v, gap float64) {
	switch l.kind {
	case byPI:
		// Near its step the voltage is taken for some tenths of a per cent of fuel, beyond it for 2 %.
		e := min(max((l.threshold-v)/0.35, -1), 1)
		l.integral = min(max(l.integral+e*l.ramp*gap, l.lo), l.hi)
		l.short = min(max(l.integral+e*l.jump, l.lo), l.hi)
	case byTable:
		step := l.ramp
		if l.since < gap { // the first after a turn is the larger one
			step += l.jump
		}
		l.move(-l.sign() * step)
	case byAdaptive:
		l.move(-l.sign() * l.ramp * gap * min(1+l.grow*l.since, l.most))
	default:
		l.move(-l.sign() * l.ramp * gap)
	}
}

// pause reports whether trim is left alone for now.
func (l *loop) pause(d dice, dt float64) bool {
	if l.pauses == 0 {
		return false
	}
	if l.toWait -= dt; l.toWait <= 0 && l.pausedFor <= 0 {
		l.pausedFor, l.toWait = d.in(8, 20), l.pauses*d.in(0.5, 1.5)+20
	}
	if l.pausedFor <= 0 {
		return false
	}
	l.pausedFor -= dt
	if l.clears {
		l.short -= l.short * dt / 0.6
		l.integral = l.short
	}
	l.since = 0
	return true
}

// watch gives the sensor up when it does not come back.
func (l *loop) watch(v, dt float64) {
	if l.short >= l.hi-0.01 || l.short <= l.lo+0.01 {
		l.pegged += dt
	} else {
		l.pegged = 0
	}
	switch l.quits {
	case staysOn:
	case ofRich:
		l.given = l.rich && l.since > l.after
	case atLimit:
		l.given = l.pegged > l.after
	default:
		l.given = l.since > l.after && (v < 0.15 || v > 0.7)
	}
	if l.quits != staysOn && l.since > 15 && v > 0.35 && v < 0.55 {
		l.given = true // at the level of an open input: about 15 s (a maker's workshop text)
	}
	l.busy, l.idle = 0, 0
}

// letGo is what is done while the sensor is not believed.
func (l *loop) letGo(dt float64) {
	switch l.quits {
	case toFault:
		l.status = statusDoubt
	case toOpen, atLimit:
		l.status = statusBroken
	case ofRich:
		l.status = statusCold
	default:
		l.status = statusClosed
	}
	l.short -= l.short * dt / 0.4
	l.integral = 0
	if l.since < 4 { // it turned not long ago
		l.busy += dt
	}
	if l.idle += dt; l.busy > l.resume || l.idle > l.retry {
		l.given, l.pegged, l.since = false, 0, 0
	}
}

// adapt moves long-term trim slowly to where short-term trim is wanted no more; what it takes
// short-term trim gives (common practice; a trade article: begins after 5 to 20 s).
func (l *loop) adapt(dt float64, e *engine) {
	m := l.mean.step(l.short, 6, dt)
	if l.learn == 0 || math.Abs(m) < l.learnFrom || l.reluctant && e.purge > 0.004 {
		return
	}
	by := math.Copysign(l.learn*dt, m)
	if math.Abs(l.long+by) > l.longMost {
		return
	}
	l.long += by
	l.short -= by
	l.integral -= by
}
