package fourth

// How a computer makes trim of a narrow sensor's voltage. All are published kinds.
const (
	kindRamp    = "jump and ramp" // a relay: a jump at each crossing, then a ramp (US 7343734; a maker's two-sensor description)
	kindDelayed = "delayed"       // that, turning some time after the crossing, not alike both ways: how the mean is shifted
	kindPI      = "proportional"  // proportional and integral on the filtered voltage
	kindBand    = "dead band"     // a relay that rests between two levels
	kindStrokes = "steps"         // a step of trim each so many strokes (an open engine controller: 1 % a 50 strokes, 2.5 % a 10)
)

// loopSpec is one bank's control. Pairs are towards adding fuel, then towards cutting it.
type loopSpec struct {
	kind   string
	level  float64    // V, between lean and rich
	band   float64    // V on each side of level: hysteresis, or the dead band
	filter float64    // lag of the voltage, s
	jump   [2]float64 // trim at a crossing; of kindPI [0] is the gain
	ramp   [2]float64 // trim a second; of kindPI [0] is the gain of the integral
	hold   [2]float64 // s that trim goes on the old way
	limit  [2]float64 // most that is added, cut
	stride float64    // trim a step, of kindStrokes
	every  float64    // strokes a step, of a four-cylinder engine: two a revolution
}

// loop is a control at work.
type loop struct {
	loopSpec
	seen    float64 // V, filtered
	adding  bool
	turn    float64 // s until a turn that is under way is made; 0: none
	strokes float64
	sum     float64 // the integral
	trim    float64
}

func newLoop(s loopSpec) *loop { return &loop{loopSpec: s, seen: s.level, adding: true} }

// reset forgets, as after open loop.
func (l *loop) reset() { l.trim, l.sum, l.strokes, l.turn = 0, 0, 0, 0 }

// watch filters the voltage, whether the loop is closed or not.
func (l *loop) watch(volts float64) { l.seen = lag(l.seen, volts, l.filter) }

// step moves trim.
func (l *loop) step(rpm float64) {
	switch l.kind {
	case kindPI:
		e := clamp((l.level-l.seen)/0.35, -1, 1)
		l.sum = clamp(l.sum+l.ramp[0]*e*dt, -l.limit[1], l.limit[0])
		l.trim = l.sum + l.jump[0]*e
		l.adding = e > 0
	case kindBand:
		switch {
		case l.seen < l.level-l.band:
			l.turnTo(true)
			l.walk(rpm)
		case l.seen > l.level+l.band:
			l.turnTo(false)
			l.walk(rpm)
		}
	default:
		switch {
		case l.adding && l.seen > l.level+l.band:
			l.turnTo(false)
		case !l.adding && l.seen < l.level-l.band:
			l.turnTo(true)
		default:
			l.turn = 0
		}
		l.walk(rpm)
	}
	l.trim = clamp(l.trim, -l.limit[1], l.limit[0])
}

// turnTo turns at once, or after the hold of that way.
func (l *loop) turnTo(adding bool) {
	if l.adding == adding {
		return
	}
	way := 1
	if adding {
		way = 0
	}
	if l.turn += dt; l.turn < l.hold[way] {
		return
	}
	l.turn, l.adding, l.strokes = 0, adding, 0
	if adding {
		l.trim += l.jump[0]
	} else {
		l.trim -= l.jump[1]
	}
}

func (l *loop) walk(rpm float64) {
	by := 0.0
	if l.kind == kindStrokes {
		if l.strokes += rpm / 60 * 2 * dt; l.strokes >= l.every {
			l.strokes -= l.every
			by = l.stride
		}
	} else if l.adding {
		by = l.ramp[0] * dt
	} else {
		by = l.ramp[1] * dt
	}
	if l.adding {
		l.trim += by
	} else {
		l.trim -= by
	}
}
