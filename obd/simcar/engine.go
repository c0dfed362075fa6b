package simcar

import (
	"math"
	"math/rand/v2"
	"time"
)

// The car's step. Two milliseconds resolve the shortest delay (about 90 ms) and the
// fastest cell (50 ms) well.
const (
	step         = 2 * time.Millisecond
	dt           = 0.002 // the same in seconds
	stepsPerTick = 5     // the computer and the noise sources run each 10 ms
	tick         = dt * stepsPerTick
)

// engineSpec is what both banks share.
type engineSpec struct {
	banks        int
	canister     float64 // g/s of air-equivalent vapour while the purge valve is open, and PID 2E tells of it; 0: none
	litres       float64
	idleRPM      float64
	idleFlow     float64 // g/s, metered, at idle with everything off
	coolant      float64 // °C at the start
	justBegun    bool    // the engine starts with the simulation; otherwise it has run for a while
	hunting      float64 // rpm amplitude of a hunting idle
	meter        float64 // error of the air meter: -0.1 reads a tenth low
	speedDensity bool    // air is worked out from manifold pressure: what leaks in is metered too
	transport    struct {
		turns float64 // crank turns from injection to the exhaust port
		pipe  float64 // litres from the port to the sensor
	}
	filmShare    float64 // of the fuel that lands on the wall
	filmTau      float64 // s
	mixing       float64 // s at idle flow
	stop         stopSpec
	secondaryAir bool  // air is pumped into the exhaust ports
	mapError     *grid // of the fuel, by speed and load: what the cells of learning have to learn; nil: none
}

// A grid is a value by speed and load, as maps and cells of learning have it.
type grid [12][12]float64

// slot returns where in a grid an engine runs: steps of 200 rpm from 1000 on and of a
// twelfth of load; idle is a slot of its own.
func (c *car) slot() (i, j int) {
	if c.rpm < 1000 && c.load < 0.4 {
		return 0, 0
	}
	return min(max(1+int((c.rpm-1000)/200), 1), 11), min(int(c.load*12), 11)
}

// at returns the value of a slot; nil is zero all over.
func (g *grid) at(i, j int) float64 {
	if g == nil {
		return 0
	}
	return g[i][j]
}

// purgeEvery is how long a canister's valve is open, and then shut, s.
const purgeEvery = 40.0

// purge is the vapour, in g/s, that the spec's canister gives now.
func (c *car) purge() float64 {
	if e := &c.spec.engine; e.canister > 0 && math.Mod(c.seconds()+1e4*purgeEvery, 2*purgeEvery) < purgeEvery {
		return e.canister
	}
	return 0
}

// stopSpec is an engine that stops by itself: at first, for off seconds, then it runs for on
// seconds, and so forth. The zero value never stops.
type stopSpec struct{ first, off, on float64 }

// stopped reports whether it stands at t.
func (s stopSpec) stopped(t float64) bool {
	return s.off > 0 && t >= s.first && math.Mod(t-s.first, s.off+s.on) < s.off
}

// bankSpec is one bank's fuel, exhaust, sensors and wires.
type bankSpec struct {
	fuelError        float64 // fuel delivered beyond what was asked for: -0.02 is 2 % lean
	starve           float64 // share of the fuel that the supply fails to bring, for each g/s of air
	injector         float64 // g/s of air-equivalent fuel that leaks in, constant
	leak             float64 // g/s of unmetered air at idle vacuum
	lost             float64 // share of its metered air that gets out again under boost, which builds from 0.3 to 0.5 of full load: a leak behind the meter
	falseAir         float64 // share of outside air in the exhaust at the sensor, at idle
	plume            float64 // more of it that passes the sensor alone, not yet mixed with the rest
	restricted       float64 // share of its air that it lacks, for each g/s that the engine draws; below 0: the other's lack
	undelivered      bool    // the trims do not reach the injectors
	wander           float64 // sigma of the slow mixture noise
	wanderTau        float64 // s
	cycleNoise       float64 // sigma of the noise from cycle to cycle
	catalyst         float64 // g of oxygen that it stores
	up, down         cellSpec
	upWire, downWire wireSpec
	wide             wideSpec // in place of up where the car has wide-range sensors
}

// ring holds one bank's mixture history for the transport delay.
const ring = 2048 // 4.1 s

// bank is one bank's state.
type bank struct {
	spec               bankSpec
	film               float64 // g of air-equivalent fuel on the wall
	wander             float64
	noise              float64
	past               [ring]float64 // phi at the exhaust valve
	atCell             float64       // phi at the upstream sensor, false air included
	inPipe             float64       // the same without what passes the sensor alone
	mixed              float64       // phi in the pipe at the upstream sensor
	stored             float64       // filled share of the catalyst's oxygen store
	afterCat           float64       // phi behind the catalyst
	up, down           cell
	front, rear        wideCell // wide-range elements
	inputUp, inputDown float64  // V at the computer's inputs
}

// car is plant, computer and technician: all that moves with time but the adapter.
type car struct {
	spec           *Car
	stopped        bool  // ignition on, engine not running
	n, zero        int64 // steps done, and those of them before the start
	rng            *rand.Rand
	rpm, load, air float64 // 1/min, share, g/s metered
	coolant        float64
	ran            float64 // s since the engine started, at n = 0
	speed          float64 // km/h
	delay          float64 // s, transport
	mapError       float64 // of the fuel at this speed and load
	driver         driver
	banks          [2]bank
	tech           technician
	computer       computer
	trace          tracer
	rearPhi        float64       // in front of a catalyst that both banks share
	udsBusy        time.Duration // until then the engine's computer works on a request
}

// settling is how many steps a warm car has run before the simulation's start, so
// that its loop, catalyst and noises are where they belong.
const settling = 20000

// now returns the car's time; negative while it settles.
func (c *car) now() time.Duration { return time.Duration(c.n-c.zero) * step }

// seconds returns the car's time in seconds.
func (c *car) seconds() float64 { return float64(c.n-c.zero) * dt }

// maxFlow is the engine's airflow at full load, g/s: half its litres each turn of air
// at 1.184 g/l (25 °C, 1 atm).
func (c *car) maxFlow() float64 { return 1.184 * c.spec.engine.litres / 2 * max(c.rpm, 300) / 60 }

// newCar puts the car into the state of an engine that has idled for a while, or
// has just been started.
func newCar(cfg *Config) *car {
	c := &car{spec: &cfg.Car, stopped: cfg.Stopped || cfg.Car.off, rng: rand.New(rand.NewPCG(cfg.Seed, 0x9e3779b97f4a7c15))}
	e := &c.spec.engine
	c.coolant = e.coolant
	c.rpm = e.idleRPM
	c.air = e.idleFlow
	c.load = e.idleFlow / c.maxFlow()
	if !e.justBegun {
		c.ran = 600 + float64(c.rng.IntN(600))
		c.zero = settling
	}
	c.driver.init(c, cfg)
	for i := range c.banks[:e.banks] {
		b := &c.banks[i]
		b.spec = c.spec.bank[i]
		b.stored = 0.5
		b.atCell, b.inPipe, b.mixed, b.afterCat = 1, 1, 1, 1
		b.front.lambda, b.rear.lambda = 1, 1
		b.film = e.filmShare * e.filmTau * c.air / float64(e.banks)
		for j := range b.past {
			b.past[j] = 1
		}
		b.up = cell{spec: b.spec.up, kelvin: b.spec.up.kelvin, emf: biasVolts}
		b.down = cell{spec: b.spec.down, kelvin: b.spec.down.kelvin, emf: 0.6}
		if e.justBegun || c.stopped {
			b.up.kelvin, b.down.kelvin = 300, 300
		}
		b.up.heat(0, 0)
		b.down.heat(0, 0)
	}
	c.tech.init(cfg)
	c.computer.init(c)
	c.trace.every = cfg.Trace
	c.run(0)
	return c
}

// run steps the car up to a time.
func (c *car) run(until time.Duration) {
	for target := c.zero + int64(until/step); c.n < target; {
		c.step()
	}
}

func (c *car) step() {
	c.n++
	if s := c.spec.engine.stop; s.off > 0 {
		c.stopped = s.stopped(c.seconds())
	}
	onTick := c.n%stepsPerTick == 0
	c.driver.step(c)
	if onTick {
		c.slow()
	}
	tap := c.tech.step(c)
	e := &c.spec.engine
	share := 1 / float64(e.banks)
	// Pipe at about 800 K: 0.44 g/l (ideal gas, 1 atm, 29 g/mol).
	c.delay = e.transport.turns*60/c.rpm + e.transport.pipe*0.44/(c.air*share)
	c.delay = min(c.delay, (ring-2)*dt)
	if c.spec.sharedRear { // behind the Y both banks' gas is mixed
		c.rearPhi = (c.banks[0].inPipe + c.banks[1].inPipe) / 2
	}
	for i := range c.banks[:e.banks] {
		c.banks[i].step(c, i, share, onTick, tap)
	}
	if onTick {
		c.computer.tick(c)
		c.trace.tick(c)
	}
}

// slow moves what needs no fine step: coolant, cells' temperature.
func (c *car) slow() {
	// Warm-up of some 0.1 K/s at idle up to the thermostat (common practice, no source).
	c.mapError = c.spec.engine.mapError.at(c.slot())
	target := 90.0
	c.coolant += min(max(target-c.coolant, -0.05), 1) * 0.09 * (1 + c.air/20) * tick
	for i := range c.banks[:c.spec.engine.banks] {
		b := &c.banks[i]
		if !c.stopped || c.spec.engine.stop.off > 0 { // a heater waits for the engine's first start
			b.up.heat(c.load, tick)
			b.down.heat(c.load, tick)
		}
		b.noise = b.spec.cycleNoise * c.rng.NormFloat64()
		if tau := b.spec.wanderTau; tau > 0 { // Ornstein-Uhlenbeck
			b.wander += -b.wander*tick/tau + b.spec.wander*math.Sqrt(2*tick/tau)*c.rng.NormFloat64()
		}
	}
}

func (b *bank) step(c *car, i int, share float64, onTick bool, tap contact) {
	e := &c.spec.engine
	k := &c.computer
	metered := c.air * share
	vacuum := min(max(1.25*(1-c.load), 0), 1)
	leak := (b.spec.leak + c.tech.leak*e.idleFlow*share) * vacuum
	seen := metered
	if e.speedDensity {
		seen += leak
	}
	fuel := seen * (1 + e.meter) * k.enrich * (1 + b.spec.fuelError + b.wander + c.mapError - b.spec.starve*c.air)
	if !b.spec.undelivered {
		fuel *= (1 + k.bank[i].stft) * (1 + k.bank[i].learned())
	}
	fuel += k.bank[i].idle
	if k.cut || c.stopped {
		fuel = 0
	}
	// Part of the fuel goes by the wall film (Aquino's X-tau model).
	evaporated := b.film / e.filmTau
	b.film += dt * (e.filmShare*fuel - evaporated)
	burnt := (1-e.filmShare)*fuel + evaporated
	burnt += b.spec.injector + (c.driver.purge+c.purge()+c.tech.propane*e.idleFlow)*share
	air := metered*(1-b.spec.restricted*c.air-b.spec.lost*min(max(5*c.load-1.5, 0), 1)) + leak
	b.past[c.n%ring] = burnt / air * (1 + b.noise)

	late := c.delay / dt
	whole := int64(late)
	f := late - float64(whole)
	phi := b.past[(c.n-whole+ring)%ring]*(1-f) + b.past[(c.n-whole-1+ring)%ring]*f
	slower := e.idleFlow / c.air
	b.mixed += (phi - b.mixed) * dt / (e.mixing*slower + dt)
	b.inPipe = b.mixed * (1 - b.spec.falseAir*min(slower, 1.2))
	if e.secondaryAir {
		b.inPipe *= 0.75 // a pump's 15 to 20 kg/h are a third and more of an idling engine's air (indicative)
	}
	b.atCell = b.inPipe * (1 - b.spec.plume*min(slower, 1.2))
	b.up.gas(b.atCell, dt)
	if c.spec.wide {
		b.front.gas(&b.spec.wide, b.atCell, c.n, dt)
		b.rear.gas(&rearWide, b.afterCat, c.n, dt)
	}

	if c.spec.sharedRear {
		b.catalyse(metered, c.rearPhi)
	} else {
		b.catalyse(metered, b.inPipe)
	}
	if c.spec.downstream {
		b.down.gas(b.afterCat, dt)
	}
	if onTick {
		up, down := contact{}, contact{}
		if c.tech.bank == i {
			if c.tech.position == 1 {
				up = tap
			} else {
				down = tap
			}
		} else {
			up = c.tech.beside
		}
		if c.spec.wide {
			b.front.tell(&b.spec.wide, c.rng.NormFloat64)
			b.rear.tell(&rearWide, c.rng.NormFloat64)
		}
		b.up.stir(c.rng.NormFloat64)
		b.down.stir(c.rng.NormFloat64)
		b.inputUp = b.spec.upWire.input(b.up.volts(), b.up.ohms, up)
		b.inputDown = b.spec.downWire.input(b.down.volts(), b.down.ohms, down)
	}
}

// catalyse moves the oxygen store: lean gas fills it at 0.2315·flow·(1-phi) g/s
// (mass share of oxygen in air), rich gas empties it, and what the store cannot take
// or give passes on. Between full and empty the gas behind is slightly rich.
func (b *bank) catalyse(metered, phi float64) {
	excess := 1 - phi
	room := 1 - b.stored
	if excess < 0 {
		room = b.stored
	}
	// Breakthrough sets in when a tenth of the capacity is left.
	passes := 1 - min(room/0.1, 1)
	b.stored += 0.2315 * metered * excess * (1 - passes) / b.spec.catalyst * dt
	b.stored = min(max(b.stored, 0), 1)
	behind := 1 + 0.006 - 0.003*b.stored - excess*passes
	b.afterCat += (behind - b.afterCat) * dt / (0.15 + dt)
}
