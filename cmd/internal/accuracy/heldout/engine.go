package heldout

// engine is what drives the mixture beside the loop.
type engine struct {
	rpm, air, load  float64 // 1/min, g/s, %
	ect, speed      float64 // °C, km/h
	throttle        float64 // %
	cut, off        bool    // fuel cut; engine stopped
	enrich          float64 // φ that full load commands, 0 where none
	litres          float64
	hotIdle, hotAir float64
	purge           float64 // share of fuel that the canister adds
	valve           float64 // %, its valve
	kick            float64 // of φ, a passing error while the air changes
	openTill        float64 // s, until the loop closes after a start
}

// driver moves the engine.
type driver interface {
	step(e *engine, t, dt float64)
}

// idling keeps an engine at one speed, as far as fan, compressor and steering let it.
// Sizes: common practice, no source.
type idling struct {
	dice
	wander, hunt drift
	extra        lag
	pull         float64 // share of air
	next         float64
	nervous      float64      // how often
	blips        [][2]float64 // when somebody revs it
	gas          lag
}

func newIdling(d dice, e *engine) *idling {
	i := &idling{dice: d, wander: drift{tau: d.in(2, 8), sd: d.in(0.006, 0.03)}, hunt: drift{tau: d.in(0.3, 0.9), sd: d.in(0.002, 0.012)}}
	i.nervous = d.spread(10, 120)
	i.next = d.in(0, 2*i.nervous)
	e.air = e.hotAir
	e.rpm = e.hotIdle
	return i
}

func (i *idling) step(e *engine, t, dt float64) {
	if t >= i.next {
		was := i.pull
		switch i.pick(3, 2, 2) {
		case 0: // compressor or fan comes and goes
			if i.pull == 0 {
				i.pull = i.in(0.05, 0.25)
			} else {
				i.pull = 0
			}
			i.next = t + i.nervous*i.in(0.3, 2)
		case 1: // steering, a moment
			i.pull += i.in(0.03, 0.12)
			i.next = t + i.in(0.6, 2.5)
		default:
			i.pull = 0
			i.next = t + i.nervous*i.in(0.5, 3)
		}
		e.kick -= (i.pull - was) * i.in(0.05, 0.35) // air is there before its fuel
	}
	e.kick *= 1 - dt/0.8
	up := 1.0
	for _, b := range i.blips {
		if t >= b[0] && t < b[1] {
			up = 2.6
		}
	}
	was := i.gas.x
	rev := 1 + i.gas.step(up-1, 0.5, dt)
	e.kick -= 0.08 * (rev - 1 - was)
	x := i.extra.step(i.pull, 0.6, dt)
	w := i.wander.step(i.dice, dt) + i.hunt.step(i.dice, dt)
	e.rpm = rev * e.hotIdle * (1 + 0.4*w - 0.15*(i.pull-x))
	e.air = rev * e.hotAir * (1 + w + x)
	e.load = 100 * e.air / (e.rpm / 120 * e.litres * 1.18) // 1.18 g/L of air at 25 °C
	e.throttle = 12 + 20*x
	e.ect += (92 - e.ect) * dt / 400
}

// purging opens and shuts the canister's valve. Shares of fuel to 10 % and, on a hot day, more
// (common practice, no source); a learned trim may wait for it (a maker's workshop text).
type purging struct {
	dice
	strength, next float64
	open           float64
	flow           lag
	vapour         drift
}

func newPurging(d dice) *purging {
	p := &purging{dice: d, vapour: drift{tau: d.in(5, 20), sd: d.in(0, 0.012)}}
	if d.chance(0.65) {
		p.strength = d.spread(0.005, 0.09)
	}
	p.next = d.in(0, 60)
	return p
}

func (p *purging) step(e *engine, t, dt float64) {
	if t >= p.next {
		if p.open > 0 {
			p.open = 0
			p.next = t + p.spread(8, 120)
		} else {
			p.open = p.in(0.1, 1)
			p.next = t + p.spread(8, 90)
		}
	}
	f := p.flow.step(p.open, 1.5, dt)
	e.valve = 100 * p.open
	if e.cut || e.off {
		f = 0
	}
	// What a given flow adds counts less the more air passes.
	e.purge = p.strength*f*min(1.5, 3/max(e.air, 0.5)) + 0.3*p.vapour.step(p.dice, dt)*f
}
