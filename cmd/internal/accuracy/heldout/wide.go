package heldout

import (
	"math"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// broad is a wide-range sensor: its amplifier may be wrong in gain or offset, its tip late. Pairs
// are towards rich, then towards lean. Sound ones lag 0.05 to 0.10 s (found for healthy ones).
type broad struct {
	gain, offset float64 // of φ; of λ
	tau, own     [2]float64
	ceiling      float64 // λ that is told in air: 1.27, 1.39 and 2.00 of three cars (recordings)
	dead         bool    // pump wire open: λ 1.000, 0 mA, perfect at rest (from memory)
	ring         [256]float64
	n            int
	y            float64 // φ as measured
}

func (s *broad) step(phi, dt float64) float64 {
	s.n++
	s.ring[s.n&255] = 1 + s.gain*(phi-1)
	if s.dead {
		return 1
	}
	back := func(t float64) float64 { return s.ring[(s.n-min(int(t/dt+0.5), 255))&255] }
	rich, lean := back(s.own[0]), back(s.own[1])
	switch up, down := rich > s.y, lean < s.y; {
	case up && (!down || s.own[0] <= s.own[1]):
		s.y += (rich - s.y) * part(s.tau[0], dt)
	case down:
		s.y += (lean - s.y) * part(s.tau[1], dt)
	}
	return min(max(1/max(s.y, 0.3)+s.offset, 0.65), s.ceiling)
}

// aim is the commanded mixture of a car with such sensors, and its PI loop. Sizes of dither
// ±0.5 to 3 % from memory, the rest common practice, no source.
type aim struct {
	kp, ki      float64 // of 1 % of error; 1/s
	dither      float64 // φ
	period      float64 // s
	shown       bool    // PID 44 tells the dither
	regenerates float64 // φ after a fuel cut, for a while
	cutShown    float64 // λ that PID 44 tells in a fuel cut
	slow        drift   // by the sensor behind the catalyst
	phase       float64
	wanted      float64 // s of regeneration left
}

// wideBank is what a bank with a wide-range sensor has beside.
type wideBank struct {
	broad
	aim
	target, told float64 // φ; λ by PID 44
	reads        float64 // λ
	far          float64 // s that λ was far from its target
}

func (w *wideBank) sense(phi, dt float64) { w.reads = w.broad.step(phi, dt) }

// step corrects the fuel.
func (w *wideBank) step(b *bank, c *car) {
	w.phase += c.dt
	offset := w.slow.step(c.dice, c.dt)
	target := 1 + offset
	if w.dither > 0 && math.Mod(w.phase, w.period) < w.period/2 {
		target += w.dither
	} else {
		target -= w.dither
	}
	w.told = 1 / target
	if !w.shown {
		w.told = 1 / (1 + offset)
	}
	l := &b.loop
	switch {
	case c.cut:
		w.wanted, w.told = 2.5, w.cutShown
	case w.wanted > 0:
		w.wanted -= c.dt
		target += w.regenerates
		w.told = 1 / target
	}
	w.target = target
	l.since, l.rich = 0, false
	if c.t < max(c.coldTill, c.openTill) {
		l.status, l.short, l.integral = statusCold, 0, 0
		w.target, w.told = 1.06, 1/1.06
		return
	}
	if c.cut || c.off || c.enrich > 0 {
		l.status, l.short = statusLoad, 0
		if c.enrich > 0 {
			w.told = 1 / c.enrich
		}
		w.far = -3 // what the pipe still holds is no error
		return
	}
	if w.far += c.dt; w.far < -1.5 {
		return // the first gas after a cut is not corrected for
	}
	l.status = statusClosed
	if l.given {
		l.status = statusDoubt
		l.short -= l.short * c.dt / 0.4
		l.integral = l.short
		if l.idle += c.dt; l.idle > l.retry {
			l.given, w.far = false, 0
		}
		return
	}
	if l.pause(c.whims, c.dt) || l.fixed {
		return
	}
	if l.due -= c.dt; l.due > 0 {
		return
	}
	l.due += l.tick
	e := min(max(100*(target-1/b.volts), -12), 12)
	l.integral = min(max(l.integral+w.ki*e*l.tick, l.lo), l.hi)
	l.short = min(max(l.integral+w.kp*e, l.lo), l.hi)
	if math.Abs(e) < 3 {
		w.far = min(w.far, 0)
	}
	if l.quits != staysOn && w.far > l.after {
		l.given, l.idle = true, 0
	}
	l.adapt(l.tick, &c.engine)
}

// pumped is the current, mA, by a sensor maker's public table.
func pumped(lambda float64) float64 {
	xs := []float64{0.65, 0.70, 0.75, 0.80, 0.82, 0.85, 0.90, 0.95, 0.97, 0.99, 1.003, 1.18, 1.43, 1.70, 1.99}
	ys := []float64{-2.000, -1.602, -1.243, -0.927, -0.800, -0.652, -0.405, -0.183, -0.106, -0.040, 0, 0.329, 0.671, 0.938, 1.150}
	for i := 1; i < len(xs); i++ {
		if lambda < xs[i] || i == len(xs)-1 {
			return ys[i-1] + (ys[i]-ys[i-1])*(lambda-xs[i-1])/(xs[i]-xs[i-1])
		}
	}
	return 0
}

// Faults of wide-range cars beside those of all.
const (
	gain   = "sensor gain"
	offset = "sensor offset"
	late   = "sensor slow" // both ways or one
	open   = "pump wire open"
)

var wideFaults = []struct {
	name   string
	weight float64
}{
	{sound, 46}, {leak, 6}, {exhaust, 2}, {gain, 11}, {offset, 5}, {late, 9}, {open, 6}, {silent, 4}, {limited, 3}, {undelivery, 7}, {crossed, 2}, {cold, 2},
}

// drawWide makes a sound car with wide-range sensors.
func drawWide(seed uint64) *car {
	d := newDice(seed, 21)
	c := drawCar(d, 0.02)
	a := aim{shown: d.chance(0.7), cutShown: 1, slow: drift{tau: d.in(20, 90), sd: d.in(0, 0.004)}}
	if d.chance(0.6) {
		a.dither, a.period = d.spread(0.003, 0.03), d.spread(0.5, 4)
	}
	if d.chance(0.7) {
		a.regenerates = d.in(0.01, 0.08)
	}
	if d.chance(0.5) {
		a.cutShown = 1.99
	}
	s := broad{gain: 1, ceiling: d.in(1.25, 2), y: 1}
	tau := d.in(0.04, 0.12)
	s.tau, s.own = [2]float64{tau, tau * d.in(0.8, 1.25)}, [2]float64{0.02, 0.02}
	how := c.banks[0].law
	how.tick = d.spread(0.02, 0.15)
	how.hi = d.in(15, 40)
	how.lo = -how.hi
	also := c.banks[0].habits
	if also.quits != staysOn {
		also.after, also.retry = d.in(6, 30), d.in(15, 90)
	}
	reach := d.in(0.08, 0.35) // how much of an error is corrected within the ring's own delay
	a.kp = d.in(0.03, 0.35)
	for _, b := range c.banks {
		b.law, b.habits = how, also
		b.wide = &wideBank{broad: s, aim: a, target: 1, told: 1, reads: 1}
		b.wide.gain = d.in(0.95, 1.05)
		b.wide.ki = reach / (b.path.delay(c.hotIdle, c.hotAir/float64(len(c.banks))) + tau + 0.1)
		b.wide.phase = d.in(0, 4)
		for i := range b.wide.ring {
			b.wide.ring[i] = 1
		}
	}
	c.oneLoop = false
	return c
}

// spoilWide puts a fault into such a car.
func (c *car) spoilWide(d dice, fault string) {
	w := c.banks[0].wide
	switch fault {
	case gain:
		w.gain = d.in(0.4, 0.75)
		if d.chance(0.2) {
			w.gain = d.in(1.4, 1.8)
		}
	case offset:
		w.offset = math.Copysign(d.in(0.03, 0.1), d.Float64()-0.5)
	case late:
		which := d.pick(2, 1, 1, 1)
		tau := d.spread(0.35, 1.6)
		switch which {
		case 0:
			w.tau = [2]float64{tau, tau}
		case 1, 2:
			w.tau[which-1] = tau
		case 3:
			w.own[d.IntN(2)] = d.in(0.3, 0.8)
		}
	case open:
		w.dead = true
	case undelivery:
		n := 1 + d.IntN(len(c.banks))
		for _, b := range c.banks[:n] {
			b.share, b.base, b.learn = d.in(0, 0.08), 1+d.in(-0.01, 0.01), 0
		}
	default:
		c.spoil(d, fault)
	}
}

// widePort reads λ in place of volts, at 2 to 10 readings a second.
func widePort(d dice, banks int, rear bool) *port {
	p := drawPort(d, banks, rear)
	swap := map[string]string{"volts": "lambda", "volts2": "lambda2"}
	for _, list := range append(p.fast, p.slow) {
		for i, s := range list {
			if to := swap[s]; to != "" {
				list[i] = to
			}
		}
	}
	switch d.pick(5, 3, 1) {
	case 0:
		p.fast[0] = append(p.fast[0], "target")
	case 1:
		if p.slow != nil {
			p.slow = append(p.slow, "target")
		} else {
			p.fast[0] = append(p.fast[0], "target")
		}
	}
	rate := d.spread(2, 10)
	p.gap = 1 / (rate * float64(len(p.fast)))
	if p.alone {
		p.gap *= 1 - 1/float64(p.every)
	}
	p.noise = d.spread(0.0005, 0.006)
	p.filter = min(p.filter, 0.15)
	return p
}

// WideDrive is an hour on the road with wide-range sensors.
func WideDrive(seed uint64) (*truth.Test, []obd.Record) {
	c, _ := onTheRoad(seed, drawWide(seed))
	p := widePort(newDice(seed, 15), len(c.banks), true)
	p.open(c)
	c.run(3600, func() { p.watch(c) })
	return unforced(seed, p, "mixture"), p.recording(nil)
}
