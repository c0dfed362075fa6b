package heldout

import "math"

// What may be wrong. The names are those of the tables.
const (
	sound      = "sound"
	leak       = "vacuum leak"
	exhaust    = "exhaust leak"
	shifted    = "sensor biased"
	slow       = "sensor slow"
	deadLean   = "sensor dead, lean"
	deadRich   = "sensor dead, rich"
	deadBias   = "sensor dead, at the bias"
	inputOpen  = "input open"
	inputShort = "input shorted"
	silent     = "no command"
	oneWay     = "no command one way"
	limited    = "trim at its limit"
	undelivery = "fuel not delivered"
	crossed    = "banks crossed"
	cold       = "cold"
	broken     = "open loop by a fault"
)

var faults = []struct {
	name   string
	weight float64
}{
	{sound, 45}, {leak, 6}, {exhaust, 4}, {shifted, 3}, {slow, 7}, {deadLean, 5}, {deadRich, 4}, {deadBias, 5}, {inputOpen, 5}, {inputShort, 3},
	{silent, 5}, {oneWay, 2}, {limited, 4}, {undelivery, 5}, {crossed, 3}, {cold, 2}, {broken, 1},
}

// drawCar makes a sound warm car with switching sensors.
func drawCar(d dice, dt float64) *car {
	c := &car{dice: d, whims: newDice(d.Uint64(), 0), dt: dt, coldTill: math.Inf(-1)}
	n := 1
	if d.chance(0.4) {
		n = 2
	}
	c.litres = d.spread(1, 3.2) * (0.6 + 0.4*float64(n))
	c.ect, c.openTill = d.in(84, 100), math.Inf(-1)
	c.hotIdle = d.in(600, 900)
	// About 1 g/s a litre of displacement at 750 rpm (common practice, no source).
	c.hotAir = c.litres * d.in(0.85, 1.4) * c.hotIdle / 750
	c.purging = newPurging(d)
	c.shared = drift{tau: d.in(3, 25), sd: d.spread(0.002, 0.014)}
	c.noSecond = n > 1 && d.chance(0.25)
	c.oneLoop = c.noSecond && d.chance(0.35)
	how := drawLaw(d)
	also := drawHabits(d, how)
	// 3 to 10 revolutions altogether (a controller maker's manual); a film of a tenth to a third of the fuel is from memory.
	revs, litres, film := d.in(2, 5), c.litres/float64(n)*d.in(0.2, 0.9), d.in(0.05, 0.3)
	rough := d.spread(0.003, 0.015)
	offset := 0.0
	if d.chance(0.08) { // old harnesses (common practice, no source)
		offset = d.in(0.05, 0.3)
	}
	level := drawInput(d)
	base := math.Exp(0.035 * d.NormFloat64()) // of the engine
	for range n {
		b := &bank{joined: true, share: 1, input: level}
		b.offset = offset
		b.law, b.habits = how, also
		b.base = base * math.Exp(0.012*d.NormFloat64())
		b.path = path{revs: revs, litres: litres, film: film, filmS: d.in(0.2, 0.6)}
		b.path.fill(1)
		b.own = drift{tau: d.in(2, 15), sd: d.spread(0.002, 0.012)}
		b.rough = drift{tau: d.in(0.08, 0.4), sd: rough}
		b.front = drawCell(d)
		b.rear = drawCell(d)
		b.rear.gasTau, b.rear.up, b.rear.down = d.spread(0.1, 0.6), d.in(0.05, 0.4), d.in(0.05, 0.4)
		b.cat = catalyst{grams: d.spread(0.2, 2), full: d.in(0.3, 0.8), sharp: d.in(8, 25)}
		if d.chance(0.12) {
			b.cat.grams = d.in(0.02, 0.06)
		}
		// What the engine needs is learned, more or less.
		b.long = 100 * (1/b.base - 1) * d.in(0.3, 1)
		b.status = statusClosed
		b.toWait = b.pauses * d.in(0.2, 1.5)
		c.banks = append(c.banks, b)
	}
	return c
}

// drawCell is a heated cell of any age. Published rise from 0.3 to 0.6 V: 28 to 36 ms on one
// car; transitions of 50 to 150 ms; slow from 94 and 125 ms on (a car's own tests by service 06, two
// makers' workshop texts, a trade page).
func drawCell(d dice) cell {
	c := cell{stuck: -1, scale: d.in(0.94, 1.03), gasTau: d.spread(0.02, 0.09), up: d.spread(0.01, 0.07), down: d.spread(0.01, 0.07)}
	c.heat(d.in(800, 1100))
	c.gas.x = 1
	return c
}

// drawInput: 0.45 V behind 0.34 to 4 MΩ on most, else pulled down or up (workshop texts of three makers: 391 to 491 mV,
// 0.40 to 0.55 V open; the others from memory).
func drawInput(d dice) input {
	in := input{bias: d.in(0.38, 0.52), ohm: d.spread(0.34e6, 4e6), top: 1.275}
	switch d.pick(84, 8, 5, 3) {
	case 1:
		in.bias = 0
	case 2:
		in.bias = 1.1
	case 3:
		in.bias, in.ohm = 5, d.spread(2e6, 6e6)
	}
	return in
}

// drawLaw draws a loop. Ramps and jumps: a few per cent and per cent a second (US 4228775,
// US 7343734 and open controllers give the form; the sizes are common practice, no source).
func drawLaw(d dice) law {
	g := law{tick: d.spread(0.01, 0.15), jump: d.in(0.3, 4), ramp: d.spread(0.25, 5), threshold: 0.45, band: d.in(0, 0.05), filter: d.spread(0.005, 0.1)}
	if d.chance(0.35) {
		g.threshold = d.in(0.4, 0.6)
	}
	g.kind = d.pick(30, 18, 14, 18, 20)
	if d.chance(0.3) { // hardly a jump: the longest cycle that a ramp makes
		g.jump *= 0.1
	}
	switch g.kind {
	case byDwell:
		g.dwell[d.IntN(2)] = d.in(0.05, 0.6)
		g.jump = d.in(1, 4)
		if d.chance(0.4) { // a period of 4.6 to 6 s at idle (recordings of a real car) wants such on both sides
			g.dwell = [2]float64{d.in(0.5, 2.2), d.in(0.5, 2.2)}
		}
	case byPI:
		g.ramp, g.jump = d.spread(0.6, 5), d.in(0.5, 3)
	case byAdaptive:
		g.ramp, g.jump, g.grow, g.most = d.spread(0.2, 1.5), d.in(0.3, 2), d.in(0.1, 0.6), d.in(2, 6)
	case byTable:
		g.strokes = d.spread(8, 50)
		g.ramp = min(2.5, 1+1.5*(d.Float64()-0.5)) * math.Sqrt(g.strokes/30)
		g.jump = d.in(0, 1.5)
	}
	// ±25 most often, ±20 to ±33 usual (from memory); +10/-8 and ±30 of an open
	// controller, +50 and more in a maker's text.
	switch d.pick(40, 25, 20, 10, 5) {
	case 0:
		g.hi, g.lo = 25, -25
	case 1:
		g.hi = d.in(20, 33)
		g.lo = -g.hi
	case 2:
		g.hi, g.lo = d.in(10, 20), -d.in(10, 20)
	case 3:
		g.hi, g.lo = d.in(35, 50), -d.in(30, 50)
	case 4:
		g.hi, g.lo = 10, -8
	}
	return g
}

// drawHabits: six in ten hold on whatever the sensor says; the others give it up, after 3 to 10 s and more (loop.go).
func drawHabits(d dice, g law) habits {
	h := habits{quits: d.pick(58, 12, 5, 11, 5, 9), after: d.spread(4, 30)}
	switch h.quits {
	case ofRich:
		h.after = 10
	case atLimit:
		h.after = d.spread(4, 40)
	default: // real mixture must not make it give up: it waits for 6 % of its own ramp
		h.after = max(h.after, min(6/g.ramp, 40))
	}
	h.retry = math.Inf(1)
	if h.quits != toOpen && h.quits != atLimit {
		h.retry = d.in(8, 60)
	}
	h.resume = d.in(0.5, 3)
	if d.chance(0.15) {
		h.pauses, h.clears = d.in(40, 150), d.chance(0.6)
	}
	if d.chance(0.75) {
		h.learn, h.learnFrom, h.longMost, h.reluctant = d.spread(0.01, 0.3), d.in(1, 3), d.in(10, 30), d.chance(0.6)
	}
	return h
}

// drawPort: readings a second of the watched sensor from 1 to 20 (bit times of the buses, computers' delays from memory).
func drawPort(d dice, banks int, rear bool) *port {
	p := &port{dice: d, jitter: d.in(0.02, 0.25), rows: d.chance(0.6)}
	p.noise, p.step = d.spread(0.001, 0.015), 100.0/128
	rate := d.spread(1, 20)
	p.slow = []string{"rpm", "status", "long", "ect"}
	for _, s := range []struct {
		name string
		p    float64
	}{{"load", 0.7}, {"air", 0.5}, {"speed", 0.5}, {"purge", 0.35}} {
		if d.chance(s.p) {
			p.slow = append(p.slow, s.name)
		}
	}
	if rear {
		p.slow = append(p.slow, "rear")
		if d.chance(0.5) {
			p.slow = append([]string{"rpm", "rear"}, p.slow...)
		}
	}
	if banks > 1 && d.chance(0.8) {
		p.slow = append(p.slow, "trim2", "volts2", "trim2")
		if d.chance(0.5) {
			p.slow = append(p.slow, "long2")
		}
	}
	p.fast, p.every, p.alone = [][]string{{"volts", "trim"}}, 1, false
	switch d.pick(35, 30, 20, 15) {
	case 1: // each slow one takes a turn of the pair
		p.every, p.alone = 3+d.IntN(6), true
	case 2: // one by one on a slow bus
		rate = min(rate, d.in(2, 8))
		p.fast, p.every, p.alone = [][]string{{"volts"}, {"trim"}}, 3+d.IntN(5), true
		p.rows = p.rows && d.chance(0.5)
	case 3: // a logger's whole rows
		rate = min(rate, d.in(1, 6))
		p.fast, p.slow, p.every = [][]string{append([]string{"volts", "trim"}, unique(p.slow)...)}, nil, 1
		p.rows = true
	}
	p.gap = 1 / (rate * float64(len(p.fast)))
	if p.alone {
		p.gap *= 1 - 1/float64(p.every)
	}
	p.voltsEach, p.trimsEach = d.spread(0.01, 0.25), d.spread(0.01, 0.4)
	if d.chance(0.2) { // refreshed each 20 to 1000 ms (common practice, no source)
		p.voltsEach, p.trimsEach = d.spread(0.1, 1), d.spread(0.1, 1)
	}
	if d.chance(0.2) {
		p.filter = d.spread(0.03, 0.4)
	}
	if d.chance(0.25) {
		p.step = 100.0 / 64
	}
	if d.chance(0.35) {
		p.lost = d.spread(0.002, 0.05)
	}
	if d.chance(0.08) {
		p.holes = d.in(50, 200)
	}
	return p
}

func unique(list []string) []string {
	var out []string
	seen := map[string]bool{}
	for _, s := range list {
		if !seen[s] {
			out = append(out, s)
		}
		seen[s] = true
	}
	return out
}

// spoil puts a fault into a car.
func (c *car) spoil(d dice, fault string) {
	b := c.banks[0]
	switch fault {
	case leak:
		for _, b := range c.banks {
			b.idleLeak = d.in(0.06, 0.2)
			b.long += d.in(0, 60) * b.idleLeak
		}
	case exhaust:
		b.thinned = d.spread(0.03, 0.4)
	case shifted:
		b.front.shift = math.Copysign(d.in(0.006, 0.025), d.Float64()-0.5)
		b.front.scale = d.in(0.8, 1)
	case slow: // to 2 s; electrode, coating, or both
		tau := d.spread(0.25, 2)
		switch d.pick(2, 2, 1) {
		case 0:
			b.front.up, b.front.down = tau, tau*d.in(0.5, 1)
		case 1:
			b.front.gasTau = tau
		case 2: // an old cell is slower towards rich (ZR)
			b.front.up = tau
		}
	case deadLean:
		b.front.stuck = d.in(0.01, 0.12)
	case deadRich:
		b.front.stuck = d.in(0.75, 0.95)
	case deadBias:
		if d.chance(0.6) {
			b.fault = openProbe
		} else { // a cell that lost its heater: megohms
			b.front.heat(d.in(420, 520))
			b.front.gasTau = 1
		}
	case inputOpen:
		b.fault = openWire
	case inputShort:
		b.fault = shorted
	case silent:
		b.fixed, b.short = true, d.in(-3, 3) // what it stood at
		b.long -= b.short
	case oneWay:
		if d.chance(0.5) {
			b.hi = d.in(0, 1)
		} else {
			b.lo = -d.in(0, 1)
		}
		b.long = 100 * (1/b.base - 1)
		b.long -= math.Copysign(2, b.hi+b.lo) // the other way has room to control
	case limited: // a lean or rich condition beyond what short and long can do
		dir := 1.0
		if d.chance(0.3) {
			dir = -1
		}
		b.long = dir * d.in(0, 12)
		most := b.hi
		if dir < 0 {
			most = b.lo
		}
		b.base = 1 / ((1 + most/100) * (1 + b.long/100)) * (1 - dir*d.in(0.03, 0.12))
		b.longMost = math.Abs(b.long)
	case undelivery: // one bank's injectors, or the pump of all
		n := 1 + d.IntN(len(c.banks))
		for _, b := range c.banks[:n] {
			b.share = d.in(0, 0.08)
			b.base = 1 + d.in(-0.12, 0.06)
		}
	case crossed:
		c.crossed = true
	case cold:
		c.ect = d.in(5, 45)
		c.coldTill = math.Inf(1)
	case broken:
		b.given, b.quits, b.resume, b.retry = true, toOpen, math.Inf(1), math.Inf(1)
	}
}
