package heldout

// bank is one half of an engine, from its injectors to the sensor behind its catalyst.
type bank struct {
	loop
	path
	front, rear cell
	input
	cat        catalyst
	base       float64 // φ that the engine makes at trims of zero
	idleLeak   float64 // unmetered air, share of the air at idle
	thinned    float64 // exhaust leak: air a g/s of exhaust at idle
	share      float64 // of commanded fuel that comes
	own, rough drift   // what the mixture does by itself, slowly and from cycle to cycle
	cells      [6]float64
	held       *contact // on its wire
	joined     bool     // the sensor's branch is closed
	volts      float64  // at the input that this bank's wire leads to
	free       float64  // what the input would read of the sensor alone
	phi        float64  // at the sensor
	behind     float64  // V of the rear input
	wide       *wideBank
}

// car is the whole.
type car struct {
	dice
	whims dice // of its computer
	engine
	dt, t    float64
	driver   driver
	purging  *purging
	shared   drift
	banks    []*bank
	crossed  bool // each sensor's wire leads to the other bank's input
	oneLoop  bool // bank 1's control is both banks'
	noSecond bool // the status byte of the second system is 00
	coldTill float64
	forced   func(c *car) // the technician
	extra    float64      // φ that they add (propane) or take (a hose), share
}

// fuel is φ as commanded, delivered and mixed in a bank.
func (c *car) fuel(b *bank) float64 {
	if c.cut || c.off {
		return 0
	}
	command := (1 + b.short/100) * (1 + (b.long+b.cells[c.cell()])/100)
	if b.wide != nil {
		command *= b.wide.target
	}
	if c.enrich > 0 {
		command *= c.enrich
	}
	phi := b.base * (1 + b.share*(command-1))
	phi /= 1 + b.idleLeak*c.hotAir/max(c.air, 0.3)
	phi = b.path.port(phi, c.dt) * (1 + c.kick + min(c.extra, 0) + c.shared.x + b.own.step(c.dice, c.dt) + b.rough.step(c.dice, c.dt))
	return phi + c.purge + max(c.extra, 0) // vapour and gas pass no injector: they add (README)
}

// cell is the learning cell of long-term trim: speed and load (recordings of a real car: it jumps between them).
func (c *car) cell() int {
	i := 0
	if c.rpm > 1300 {
		i = 1
	}
	if c.rpm > 2400 {
		i = 2
	}
	if c.load > 45 {
		i += 3
	}
	return i
}

func (c *car) step() {
	c.t += c.dt
	c.driver.step(&c.engine, c.t, c.dt)
	c.purging.step(&c.engine, c.t, c.dt)
	if c.forced != nil {
		c.forced(c)
	}
	c.shared.step(c.dice, c.dt)
	air := c.air / float64(len(c.banks))
	for _, b := range c.banks {
		phi := c.fuel(b)
		b.phi = b.path.step(phi, c.rpm, air, c.dt)
		if b.thinned > 0 {
			b.phi /= 1 + b.thinned*c.hotAir/max(c.air, 0.3)
		}
		b.behind = 0.9*b.behind + 0.1*b.rear.step(b.cat.step(b.phi, air, c.dt), c.dt)
		if b.wide != nil {
			b.wide.sense(b.phi, c.dt)
		} else {
			b.front.step(b.phi, c.dt)
		}
	}
	for i, b := range c.banks {
		from := b // whose sensor and wire this input has
		if c.crossed {
			from = c.banks[1-i]
		}
		if b.wide != nil {
			b.volts = from.wide.reads
			b.wide.step(b, c)
			continue
		}
		b.volts = b.input.volts(from.front.volts, from.front.inner, from.joined, from.held)
		b.free = b.input.volts(from.front.volts, from.front.inner, true, nil)
		if c.oneLoop && i > 0 {
			b.short, b.long, b.status = c.banks[0].short, c.banks[0].long, c.banks[0].status
			continue
		}
		b.loop.step(c.whims, b.volts, c.dt, &c.engine, c.t < max(c.coldTill, c.openTill))
	}
}

// run goes on until the time t.
func (c *car) run(t float64, each func()) {
	for c.t < t {
		c.step()
		if each != nil {
			each()
		}
	}
}
