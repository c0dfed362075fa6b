package unseenwide

import "math"

const count = 1.0 / 128 // of trim (SAE J1979, PIDs 06 to 09)

// loopSpec is the computer's control of one bank's mixture, the same for both.
type loopSpec struct {
	every, filter    float64 // s between two runs; of the filter on the reading
	ease             float64 // closed-loop time constant in delays: PI by internal model control (Rivera 1986, from memory)
	rate             float64 // s that a differential part looks ahead
	limit, rest      float64 // share; φ that it takes for none
	learn            float64 // s of long-term trim; 0: it does not learn
	learnEvery, most float64 // s between its steps, share at the most
	moves            bool    // what is learned is taken off short-term trim
	divides          bool    // fuel is 1/(1−S), not 1+S
	silent           bool    // it stays where it was
	open             byte    // its status for good, 0: it closes
	rear, rearMax    float64 // share of λ a second and volt, of the outer loop
	expects          bool    // it compares with what it wanted when the gas was made
}

// goalSpec is the λ that the computer wants.
type goalSpec struct {
	base           float64
	dither, period float64 // share, s
	square, told   bool    // its form; PID 44 shows it
	sway, swayS    float64
	swayTold       bool
	after, afterS  float64 // enrichment of the catalyst after a cut
	full           float64 // λ at full load
	fullAt         float64 // kPa
	warm           float64 // °C from which it closes
}

// meterSpec is how air is metered: by a hot film in the intake or by pressure and speed.
type meterSpec struct {
	density   bool
	lag, memo float64 // s; how it thinks that the manifold fills, 1 is right
	off, bend float64 // share wrong; and more for each doubling of the flow
	drift     float64 // share that comes and goes
}

// control is the state of one bank's loop.
type control struct {
	filtered, sum, short float64
	long                 [3]float64 // by load
	cell                 int
	sinceLearn, outer    float64
	before, hoped        float64
}

// computer is the state of all.
type computer struct {
	loop              loopSpec
	goal              goalSpec
	meter             meterSpec
	bank              []control
	metered, air      float64 // g/s: metered, and thought to be in the cylinders
	drift             float64
	clock, sinceRun   float64
	told, wanted      float64 // λ of PID 44, and in truth
	sinceCut, sinceOn float64
	status            byte
	ect               float64
}

func newComputer(l loopSpec, g goalSpec, m meterSpec, banks int, air, ect float64) computer {
	c := computer{loop: l, goal: g, meter: m, metered: air, air: air, told: 1, wanted: 1, status: 1, ect: ect, sinceCut: 1e3}
	for range banks {
		c.bank = append(c.bank, control{filtered: 1, hoped: 1})
	}
	return c
}

// metering follows the air.
func (c *computer) metering(dt float64, e *engine, gauss float64) {
	c.drift = wander(c.drift, dt, 8, gauss)
	wrong := 1 + c.meter.off + c.meter.bend*math.Log2(max(e.cylinder/e.idleAir(), 0.3)) + c.meter.drift*c.drift
	if c.meter.density {
		c.metered = toward(c.metered, e.cylinder, dt, c.meter.lag)
		c.air = c.metered * wrong
		return
	}
	c.metered = toward(c.metered, e.throttle, dt, c.meter.lag)
	fills := 120 * e.manifold / (e.fill * e.litres * e.n * perSpeed * perMass)
	c.air = toward(c.air, c.metered*wrong, dt, fills*c.meter.memo)
}

// aims sets the λ that is wanted, and the status.
func (c *computer) aims(dt float64, e *engine) {
	g := &c.goal
	c.ect = toward(c.ect, 92, dt, 240)
	swing := math.Sin(2 * math.Pi * c.clock / g.period)
	if g.square {
		swing = math.Copysign(1, swing)
	}
	sway := g.sway * math.Sin(2*math.Pi*c.clock/g.swayS+0.7*math.Sin(2*math.Pi*c.clock/(3.3*g.swayS)))
	c.wanted, c.told = g.base*(1+g.dither*swing+sway), g.base
	if g.told {
		c.told *= 1 + g.dither*swing
	}
	if g.swayTold {
		c.told *= 1 + sway
	}
	c.sinceCut += dt
	c.sinceOn += dt
	c.status = 2
	switch {
	case c.loop.open != 0:
		c.status = c.loop.open
	case c.ect < g.warm:
		c.status = 1
		c.wanted = 1 - 0.002*(g.warm-c.ect)
		c.told = c.wanted
	case e.cutOff:
		c.sinceCut, c.status = 0, 4
		c.wanted, c.told = 1, 1.999
	case e.kPa > g.fullAt:
		c.status, c.wanted, c.told = 4, g.full, g.full
		c.sinceCut = max(c.sinceCut, g.afterS)
	case c.sinceCut < 0.8: // gas of the cut is still before the sensor
		c.status = 4
		fallthrough
	case c.sinceCut < g.afterS:
		c.wanted, c.told = g.after, g.after
	}
	if c.status != 2 {
		c.sinceOn = 0
	}
}

// trim is what short- and long-term trim make of the fuel.
func (c *computer) trim(k int) float64 {
	b := &c.bank[k]
	s := 1 + b.short
	if c.loop.divides {
		s = 1 / (1 - b.short)
	}
	return s * (1 + b.long[b.cell])
}

// base is the fuel without trim, g/s, of a bank that has share of the air.
func (c *computer) base(k int, share float64, e *engine) float64 {
	if e.cutOff {
		return 0
	}
	return c.air * share / stoich / (c.wanted * (1 - c.bank[k].outer))
}

// runs lets the loops of all banks look and answer; seen is φ at the input, ahead the nominal delay of the gas.
func (c *computer) runs(dt float64, e *engine, seen, rear []float64, ahead, lag float64, learns bool) {
	c.clock += dt
	c.sinceRun += dt
	if c.sinceRun < c.loop.every-1e-9 {
		return
	}
	dt, c.sinceRun = c.sinceRun, 0
	for k := range c.bank {
		b, l := &c.bank[k], &c.loop
		b.filtered = toward(b.filtered, seen[k], dt, l.filter)
		was := b.cell
		b.cell = int(clamp(math.Log2(e.cylinder/e.idleAir())+0.4, 0, 2))
		if c.status != 2 || l.silent {
			b.sum = toward(b.sum, 0, dt, 1)
			b.short, b.before = b.sum, b.filtered
			continue
		}
		if l.moves {
			b.sum = clamp(b.sum+b.long[was]-b.long[b.cell], -l.limit, l.limit)
		}
		c.answer(b, dt, ahead, lag+l.filter)
		b.outer = clamp(b.outer+l.rear*(0.62-rear[k])*dt, -l.rearMax, l.rearMax)
		if learns && l.learn > 0 && c.sinceOn > 3 {
			c.learn(b, dt)
		}
	}
}

// answer is the PI loop: error in fuel, positive where it is lacking.
func (c *computer) answer(b *control, dt, dead, lag float64) {
	l := &c.loop
	hope := 1 / (c.wanted * (1 - b.outer))
	if b.hoped = toward(b.hoped, hope, dt, dead+lag); l.expects {
		hope = b.hoped
	}
	miss := hope - b.filtered
	if math.Abs(miss) < l.rest {
		miss = 0
	}
	gain := 1 / ((1 + l.ease) * (dead + l.every))
	slope := (b.filtered - b.before) / dt
	b.before = b.filtered
	b.sum = clamp(b.sum+gain*miss*dt, -l.limit, l.limit)
	b.short = clamp(b.sum+gain*lag*miss-gain*lag*l.rate*slope, -l.limit, l.limit)
}

// learn moves long-term trim by whole counts.
func (c *computer) learn(b *control, dt float64) {
	l := &c.loop
	b.sinceLearn += dt
	if b.sinceLearn < l.learnEvery {
		return
	}
	b.sinceLearn = 0
	steps := math.Round(b.sum * l.learnEvery / l.learn / count)
	if steps == 0 && math.Abs(b.sum) > 2*count {
		steps = math.Copysign(1, b.sum)
	}
	was := b.long[b.cell]
	b.long[b.cell] = clamp(was+steps*count, -l.most, l.most)
	if l.moves {
		b.sum -= b.long[b.cell] - was
	}
}
