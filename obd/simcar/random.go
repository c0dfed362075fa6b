package simcar

import (
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"pushback/obd"
)

// Expected is what a perfect judge would say of a random car.
type Expected struct {
	Fault      string // what is wrong with it, for tables: "sound", "wire open", …
	Conclusion string // by the names of the JSON verdict
	// Also lists conclusions that are not wrong either, where the data may not decide.
	Also []string
	// Length is how long the session must last to show it.
	Length time.Duration
}

// Random returns one of hundreds of kinds of cars, sound and faulty, on any bus, with
// the forces of one session, and what should come of it. Equal seeds give equal cars.
// The ranges are those of the package's named cars, widened to what trade texts and
// published defaults allow: ramps 0.3 to 5 %/s, jumps to 8 %, authority 20 to 33 %; their
// readings and trims are as rough as recordings of a real car.
func Random(seed uint64) (Config, Expected) { return random(seed, true) }

// RandomSmooth returns the car of that seed without what roughens its readings and trims.
func RandomSmooth(seed uint64) (Config, Expected) { return random(seed, false) }

func random(seed uint64, rough bool) (Config, Expected) {
	r := dice{rand.New(rand.NewPCG(seed, 0x72616e646f6d))}
	c := healthy()
	c.Name = "random"
	c.About = "Drawn at random."
	c.Bus = obd.Bus(1 + r.IntN(int(obd.CAN29at250)))
	r.vary(&c)
	if rough {
		asLogged(seed).roughen(&c)
	}
	cfg := Config{Seed: seed}
	bank := r.IntN(c.engine.banks)
	c.Sensor = []string{"B1S1", "B2S1"}[bank]
	if r.chance(0.2) {
		cfg.Drive = Fast
	}
	cfg.Busy = r.chance(0.25)

	var e Expected
	e.Fault, e.Conclusion = "sound", "loop_proven"
	oneSide := r.chance(0.25)
	if o := asLogged(seed + 2<<40); rough && o.chance(0.08) {
		other := others[o.IntN(len(others))]
		e.Fault, e.Conclusion = other.name, other.conclusion
		e.Also = other.do(&o, &c, bank)
		oneSide = false
	} else if r.chance(0.6) {
		fault := faults[r.IntN(len(faults))]
		e.Fault, e.Conclusion = fault.name, fault.conclusion
		e.Also = fault.do(&r, &c, bank)
		oneSide = false // one side shows but some faults
	} else if oneSide {
		e.Conclusion = "partly_proven"
	}
	if rough && e.Fault == "sound" {
		e.Fault, e.Also = asLogged(seed+1<<40).habit(&c, bank)
	}
	if strings.HasPrefix(e.Fault, "sound") && c.control.ramp < 0.006 {
		// So slow a loop makes a mixture on which purge or fan may win.
		e.Also = append(e.Also, "partly_proven", "unclear")
	}
	if c.control.filter > 0.4 || c.control.refresh > 600*time.Millisecond {
		// What is reported follows too late to tell an answer of the sensor from the loop's.
		e.Also = append(e.Also, "partly_proven", "unclear")
	}
	if !c.downstream && e.Conclusion == "sensor_dead" {
		// Fuel that is not delivered would look the same.
		e.Also = append(e.Also, "unclear")
	}
	c.balance()
	cfg.Forces, e.Length = r.forces(oneSide)
	for _, f := range cfg.Forces {
		switch {
		case f.For < 2*time.Second: // too short for any answer, and perhaps to be seen
			e.Also = append(e.Also, "unclear", "partly_proven", "nothing_forced")
		case f.Shaky:
			e.Also = append(e.Also, "unclear")
		}
	}
	c.Expect = e.Conclusion
	c.mayBeSecond(seed)
	cfg.Car = c
	return cfg, e
}

// RandomSound returns a sound car that nobody forces.
func RandomSound(seed uint64) Config {
	r := dice{rand.New(rand.NewPCG(seed, 0x736f756e64))}
	c := healthy()
	c.Name, c.About = "random", "Drawn at random, sound."
	c.Bus = obd.Bus(1 + r.IntN(int(obd.CAN29at250)))
	r.vary(&c)
	asLogged(seed).roughen(&c)
	c.balance()
	return Config{Seed: seed, Car: c}
}

// AnotherDay returns the same car on another day, by seed: nothing was repaired and nothing
// broke, but the tank holds another batch (fuel needs 1 % more or less air, as a standard
// deviation), the engine draws a little more or less at idle, and is a little warmer or
// cooler (all indicative).
func AnotherDay(c Car, seed uint64) Car {
	r := dice{rand.New(rand.NewPCG(seed, 0x646179))}
	batch := 0.01 * r.NormFloat64()
	for i := range c.bank {
		c.bank[i].fuelError += batch
	}
	c.engine.idleFlow *= r.between(0.95, 1.05)
	c.engine.coolant += r.between(-3, 3)
	return c
}

// dice draws.
type dice struct{ *rand.Rand }

func (r dice) chance(p float64) bool { return r.Float64() < p }

func (r dice) between(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// scale draws evenly by ratio.
func (r dice) scale(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }

func (r dice) span(lo, hi time.Duration) time.Duration {
	return (lo + time.Duration(r.Float64()*float64(hi-lo))).Round(step)
}

// vary draws what sound cars differ in.
func (r dice) vary(c *Car) {
	e := &c.engine
	if r.chance(0.3) {
		vee(c)
	}
	e.litres *= r.between(0.6, 1.4)
	e.idleFlow *= r.between(0.7, 1.3)
	e.idleRPM = r.between(620, 880)
	e.coolant = r.between(75, 95)
	e.transport.turns = r.between(2, 4)
	e.transport.pipe = r.between(0.4, 1.6)
	e.mixing = r.between(0.03, 0.1)
	if r.chance(0.1) {
		e.hunting = r.between(20, 80)
	}
	c.downstream = r.chance(0.85)
	c.recent, c.fourBanks, c.gearbox = r.chance(0.6), r.chance(0.5), r.chance(0.4)
	c.refuses = r.chance(0.2)
	c.trimApart = r.chance(0.15)
	c.padding = []int{0, 0x55, 0xAA, -1}[r.IntN(4)]
	for i := range c.bank {
		b := &c.bank[i]
		b.fuelError = 0.03 * r.NormFloat64()
		b.wander, b.wanderTau, b.cycleNoise = r.between(0.001, 0.006), r.between(2, 15), r.between(0.002, 0.008)
		b.catalyst = r.scale(0.15, 1.5)
		b.up.toRich, b.up.toLean = r.between(0.05, 0.14), r.between(0.04, 0.1)
		b.up.kelvin, b.up.output = r.between(800, 950), r.between(0.95, 1)
		b.up.resistanceBy = r.scale(1, 30)
		switch r.IntN(6) {
		case 0:
			b.leak = r.between(0, 0.12) * e.idleFlow / float64(e.banks)
		case 1:
			b.injector = r.between(0, 0.1) * e.idleFlow / float64(e.banks)
		case 2:
			b.falseAir = r.between(0, 0.06)
		}
	}
	k := &c.control
	k.ramp = r.scale(0.003, 0.05)
	// A jump covers what the ramp overshoots in the dead time, which is below a second.
	k.jump = r.between(0, min(0.03, 2*k.ramp))
	k.limit = []float64{0.20, 0.25, 0.25, 0.33}[r.IntN(4)]
	k.learn = r.scale(0.0003, 0.006)
	k.refresh = r.span(10*time.Millisecond, 100*time.Millisecond)
	switch usual := UsualReply(c.Bus); {
	case usual > 20*time.Millisecond:
		c.reply = r.span(25*time.Millisecond, 45*time.Millisecond)
	default:
		c.reply = r.span(3*time.Millisecond, 30*time.Millisecond)
	}
}

// asLogged returns dice of their own, so that what they draw leaves the rest of a car as it is.
func asLogged(seed uint64) dice { return dice{rand.New(rand.NewPCG(seed, 0x6c6f67))} }

// roughen draws what the recordings of a real car with a switching sensor showed beside a smooth
// one: noise on the reading, turns of the ramp that come late and so long periods, little time
// in mid-swing, cells of learning that differ, trim that rests after a step of the load, and
// readings that are refreshed slowly and filtered. A share of the cars has none of each, so
// that the smooth car stays within the draw. TestAsLogged holds the draw against the figures.
func (r dice) roughen(c *Car) {
	k := &c.control
	if r.chance(0.75) {
		noise := r.scale(0.003, 0.05)
		for i := range c.bank {
			up := &c.bank[i].up
			up.noise, up.noiseTau = noise*r.between(0.8, 1.2), r.scale(0.03, 0.5)
		}
		k.band = max(switchBand, noise)
	}
	if r.chance(0.6) {
		late := r.between(0.1, 2.6)
		k.toRich, k.toLean = late*r.between(0.8, 1.5), late*r.between(0.5, 1.1)
		k.ramp = min(k.ramp, 0.07/(late+0.5)) // swings of ±7 % at most (Ribbens, Understanding Automotive Electronics, 1998)
		k.jump = r.between(0, min(0.07, 3*k.ramp*(late+0.5)))
		if late > 1 && r.chance(0.7) { // it jumps from side to side
			k.ramp, k.jump = r.scale(0.003, 0.03), r.between(0.04, 0.08)
		}
	}
	if r.chance(0.6) {
		e := &grid{}
		cells := &grid{}
		for i := 1; i < len(e); i++ { // neighbours are alike; idle is where the rest of the car is set
			for j := range e[i] {
				e[i][j] = 0.6*(e[i-1][j]+e[i][max(j-1, 0)])/2 + 0.015*r.NormFloat64()
				cells[i][j] = -e[i][j] + 0.006*r.NormFloat64()
			}
		}
		c.engine.mapError, k.cells = e, cells
	}
	c.engine.filmShare, c.engine.filmTau = r.between(0.03, 0.3), r.scale(0.1, 0.5)
	for i := range c.bank {
		c.bank[i].up.hotter = r.between(0, 250)
		c.bank[i].upWire.raised = max(0, r.between(-0.04, 0.05))
	}
	if r.chance(0.5) {
		k.pause = r.between(0.5, 5)
	}
	if r.chance(0.4) {
		k.refresh = time.Duration(float64(time.Second) * r.scale(0.1, 1)).Round(step)
	}
	if r.chance(0.3) {
		k.filter = r.between(0.05, 0.6)
	}
}

// clean takes the bank's own mixture errors away and leaves the given one.
func (c *Car) clean(bank int, fuelError float64) {
	b := &c.bank[bank]
	b.leak, b.injector, b.falseAir, b.fuelError = 0, 0, 0, fuelError
}

// balance starts the trims where the loop will hold them at idle, half of it learned,
// unless something else has set them.
func (c *Car) balance() {
	k := &c.control
	for i := range c.engine.banks {
		b := &c.bank[i]
		if k.shortTerm[i] != 0 || k.frozen || b.undelivered || b.upWire.broken() || b.up.stuck {
			continue
		}
		flow := c.engine.idleFlow / float64(c.engine.banks)
		need := (1+b.leak/flow)/(1-b.falseAir) - b.injector/flow
		need = need/(1+b.fuelError) - 1
		if k.canCut && k.canAdd {
			k.learned[i] = min(max(need/2, -0.2), 0.2)
		}
		k.shortTerm[i] = min(max((1+need)/(1+k.learned[i])-1, -k.limit), k.limit)
	}
}

// forces draws a session: both sides in either order, or one.
func (r dice) forces(oneSide bool) ([]Force, time.Duration) {
	kinds := []ForceKind{ForceLean, ForceRich}
	if r.chance(0.3) {
		kinds[0], kinds[1] = kinds[1], kinds[0]
	}
	if oneSide {
		kinds = kinds[:1]
	}
	at := r.span(25*time.Second, 40*time.Second)
	var all []Force
	for _, k := range kinds {
		f := Force{Kind: k, At: at, For: r.span(10*time.Second, 15*time.Second), Shaky: r.chance(0.1)}
		if k == ForceRich {
			f.Volts, f.Ohms = r.between(0.82, 0.98), r.scale(60, 1000)
			if r.chance(0.15) { // a weak source
				f.Volts = r.between(0.68, 0.76)
			}
		} else {
			f.Ohms = r.scale(0.1, 1000)
		}
		if r.chance(0.03) { // a touch
			f.For = r.span(500*time.Millisecond, 1500*time.Millisecond)
		}
		all = append(all, f)
		at = f.Ends() + r.span(25*time.Second, 40*time.Second)
	}
	return all, at
}
