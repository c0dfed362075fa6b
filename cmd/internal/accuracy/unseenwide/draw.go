package unseenwide

import "math"

// fault is what is wrong with bank 1, or with both.
type fault struct {
	name string
	both bool
}

const (
	sound      = "sound"
	skewed     = "sensor skewed"
	offset     = "sensor offset"
	lagging    = "sensor slow"
	deadCell   = "sensor dead"
	openPump   = "pump wire open"
	notThrough = "trim not delivered"
	oneValve   = "one injector weak"
	openLoop   = "open loop"
	silent     = "trim silent"
)

var faults = []struct {
	name string
	of   float64
}{{skewed, 0.2}, {offset, 0.1}, {lagging, 0.18}, {deadCell, 0.1}, {openPump, 0.1}, {notThrough, 0.13}, {oneValve, 0.07}, {openLoop, 0.06}, {silent, 0.06}}

// drawFault leaves six cars of ten sound (the brief of this model: at least half).
func drawFault(d dice, banks int) fault {
	f := fault{sound, banks == 2 && d.chance(0.35)}
	if x := d.Float64(); d.chance(0.4) {
		for _, k := range faults {
			if f.name = k.name; x < k.of {
				break
			}
			x -= k.of
		}
	}
	return f
}

// drawCar draws an engine, its computer and one or two banks. Ranges are common practice where nothing else is said.
func drawCar(d dice) (carSpec, fault) {
	var s carSpec
	a := &s.air
	a.litres = d.scale(1, 3.8)
	a.banks, a.cylinders = 1, 4
	if a.litres > 2.2 && d.chance(0.65) {
		a.banks, a.cylinders = 2, 6+2*d.IntN(2)
	} else if a.litres < 1.3 {
		a.cylinders = 3
	}
	a.fill, a.manifold = d.span(0.72, 0.92), a.litres*d.span(1.1, 2.6)
	a.idle, a.rest = d.span(600, 900), d.span(26, 42)
	a.inertia = 0.17 * math.Sqrt(a.litres/2) * d.span(0.7, 1.5)
	a.p, a.i = a.idleAir()*d.scale(0.0003, 0.0012), a.idleAir()*d.scale(0.0002, 0.0009)
	drag := wattPerG * a.idleAir() / omega(a.idle)
	a.unrest = drag * d.scale(0.005, 0.04)
	if d.chance(0.5) {
		a.load = drag * d.span(0.04, 0.2)
	}
	a.cut = a.idle + d.span(500, 1100)
	a.resume, a.cutAfter = a.idle+d.span(200, 450), d.span(0.1, 0.9)
	s.loop, s.goal, s.meter, s.purge = drawLoop(d), drawGoal(d), drawMeter(d), drawPurge(d)
	for range a.banks {
		s.bank = append(s.bank, drawBank(d, a.idleAir()/float64(a.banks), &s.bank))
	}
	s.ect = d.span(78, 98)
	f := drawFault(d, a.banks)
	s.breaks(d, f)
	return s, f
}

// drawBank draws a bank; a second one is built like the first.
func drawBank(d dice, air float64, before *[]bankSpec) bankSpec {
	b := bankSpec{
		film: d.span(0.04, 0.3), filmTau: d.scale(0.1, 0.8), flow: 1 + 0.03*d.NormFloat64(), dull: d.span(-0.15, 0.25), one: 1, obeys: true,
		cycles: d.span(0.9, 1.7), gas: air * d.scale(0.04, 0.4), mixing: d.scale(0.02, 0.12), scatter: d.scale(0.002, 0.012), store: d.scale(0.04, 1.5), rearLag: d.scale(0.15, 1),
	}
	if len(*before) > 0 {
		first := (*before)[0]
		b.film, b.filmTau, b.cycles = first.film, first.filmTau, first.cycles
		b.gas *= 0.3
		b.gas += 0.7 * first.gas
	}
	c := &b.cell
	c.slope, c.offset, c.noise = d.span(0.9, 1.1), 0.003*d.NormFloat64(), d.scale(0.0004, 0.003)
	tau := d.scale(0.04, 0.12)
	c.tau = [2]float64{tau * d.span(0.8, 1.25), tau * d.span(0.8, 1.25)}
	c.ceiling = []float64{1.27, 1.39, 1.6, 1.99, 1.99}[d.IntN(5)] // real cars have one each
	return b
}

func drawLoop(d dice) loopSpec {
	l := loopSpec{
		every: []float64{0.01, 0.02, 0.05, 0.1}[d.IntN(4)], filter: d.scale(0.02, 0.2), ease: d.scale(0.8, 5), limit: d.span(0.18, 0.35),
		learnEvery: d.scale(0.5, 8), most: d.span(0.12, 0.35), moves: d.chance(0.6), divides: d.chance(0.15), expects: d.chance(0.5),
	}
	if d.chance(0.3) {
		l.rate = d.span(0, 0.08)
	}
	if d.chance(0.4) {
		l.rest = d.span(0.0005, 0.004)
	}
	if d.chance(0.85) {
		l.learn = d.scale(12, 200)
	}
	if d.chance(0.5) {
		l.rear, l.rearMax = d.scale(0.0005, 0.003), d.span(0.008, 0.03)
	}
	return l
}

func drawGoal(d dice) goalSpec {
	g := goalSpec{base: 1, period: d.scale(0.4, 2.5), square: d.chance(0.5), told: d.chance(0.5), swayS: d.scale(2, 30), swayTold: d.chance(0.75),
		after: d.span(0.9, 0.98), afterS: d.span(1.5, 5), full: d.span(0.86, 0.95), fullAt: d.span(82, 95), warm: -40}
	switch {
	case d.chance(0.25):
		g.base = d.span(0.975, 0.999)
	case d.chance(0.1):
		g.base = d.span(1, 1.006)
	}
	if d.chance(0.5) {
		g.dither = d.scale(0.002, 0.02)
	}
	if d.chance(0.25) {
		g.sway = d.scale(0.003, 0.02)
	}
	return g
}

func drawMeter(d dice) meterSpec {
	return meterSpec{density: d.chance(0.3), lag: d.scale(0.01, 0.08), memo: d.span(0.7, 1.3), off: 0.035 * d.NormFloat64(), bend: d.span(-0.015, 0.015), drift: d.scale(0.001, 0.007)}
}

func drawPurge(d dice) purgeSpec {
	p := purgeSpec{on: d.scale(12, 120), off: d.scale(4, 40), first: d.span(-60, 60), vapour: d.scale(0.02, 0.35), fades: d.scale(150, 3000), lag: d.scale(0.3, 1.5), learns: d.chance(0.3)}
	if d.chance(0.6) {
		p.duty = d.scale(0.05, 0.6)
	}
	return p
}

// breaks puts a fault in.
func (s *carSpec) breaks(d dice, f fault) {
	slope, err, stuck := d.span(0.5, 0.78), d.sign()*d.span(0.02, 0.09), 1+d.sign()*d.span(0.01, 0.08)
	if d.chance(0.45) {
		slope = d.span(1.3, 1.6)
	}
	slow, way := d.scale(0.4, 2.5), d.IntN(4)
	for k := range s.bank {
		if k > 0 && !f.both {
			break
		}
		b := &s.bank[k]
		c := &b.cell
		switch f.name {
		case skewed:
			c.slope = slope
		case offset:
			c.offset = err
		case lagging: // rich alone, lean alone, or both
			if way != lean {
				c.tau[rich] = slow
			}
			if way != rich {
				c.tau[lean] = slow
			}
		case deadCell:
			c.stuck = stuck
		case openPump:
			c.stuck = 1 + 0.001*d.NormFloat64()
		case notThrough:
			b.obeys = false
		case oneValve:
			b.one = d.span(0, 0.7)
		}
	}
	switch f.name {
	case openLoop:
		s.loop.open = []byte{1, 4, 8}[d.IntN(3)]
	case silent:
		s.loop.silent = true
	case deadCell:
		if d.chance(0.25) {
			s.loop.open = 8 // the computer has noticed
		}
	}
}
