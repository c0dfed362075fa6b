package simcar

import (
	"math/rand/v2"
	"time"

	"pushback/obd"
)

// WideTruth is what a test of a car with wide-range sensors can measure, and what it truly is.
type WideTruth struct {
	By            string  // what the technician forces: mixture, fuelcut or wire (the rear sensor's)
	Gain          float64 // what a per cent of commanded fuel does to the ratio that is told
	Offset        float64 // excess fuel told where there is none
	Rich, Lean    float64 // s: the element's lag when it grows richer, leaner
	Delay         float64 // s: from injection to the element, at idle, without its own
	OwnRich       float64 // s: the element's own pure delay
	OwnLean       float64
	Ramp          float64 // s in which the propane valve opens
	Share         float64 // of the fuel that propane adds
	AirIsMetered  bool    // a hose off is metered too: lambda hardly moves
	RearTrimShown bool    // PIDs 55 to 58
}

// RandomWide returns a car with wide-range sensors, sound or faulty, with the forces of one
// session, what should come of it and the truth behind it. Equal seeds give equal cars.
// Lags, gains and offsets are those that published figures name as healthy or as faults.
func RandomWide(seed uint64) (Config, Expected, WideTruth) {
	r := dice{rand.New(rand.NewPCG(seed, 0x77696465))}
	c := r.wide(seed)
	cfg := Config{Seed: seed}
	bank := r.IntN(c.engine.banks)
	c.Sensor = []string{"B1S1", "B2S1"}[bank]
	cfg.Busy = r.chance(0.2)
	e := Expected{Fault: "sound", Conclusion: "loop_proven"}
	if r.chance(0.55) {
		fault := wideFaults[r.IntN(len(wideFaults))]
		e.Fault, e.Conclusion = fault.name, fault.conclusion
		e.Also = fault.do(&r, &c, bank)
	}
	c.balance()
	truth := c.wideTruth(bank)
	switch x := r.Float64(); {
	case x < 0.75 || !c.downstream:
		truth.By = "mixture"
		cfg.Forces, e.Length = r.mixture(&truth)
		if c.engine.speedDensity { // the lean side cannot be moved
			e.Also = append(e.Also, "partly_proven")
		}
	case x < 0.9:
		truth.By = "fuelcut"
		cfg.Forces, e.Length = r.fuelCuts()
	default:
		truth.By = "wire"
		c.Sensor = []string{"B1S2", "B2S2"}[bank]
		cfg.Forces = []Force{{Kind: ForceLean, At: r.span(30*time.Second, 45*time.Second), For: r.span(20*time.Second, 29*time.Second)}}
		e.Length = cfg.Forces[0].Ends() + 40*time.Second
	}
	if truth.By != "mixture" { // one side is moved at the most, and little
		if e.Conclusion == "loop_proven" {
			e.Conclusion = "partly_proven"
		}
		e.Also = append(e.Also, "unclear", "partly_proven", "loop_proven")
	}
	c.mayBeSecond(seed)
	c.mayBeOdd(seed, &e, &truth)
	c.Expect = e.Conclusion
	cfg.Car = c
	return cfg, e, truth
}

// RandomWideSound returns a sound car with wide-range sensors that nobody forces.
func RandomWideSound(seed uint64) Config {
	r := dice{rand.New(rand.NewPCG(seed, 0x77696465736f))}
	c := r.wide(seed)
	c.balance()
	return Config{Seed: seed, Car: c}
}

// wide draws a sound car with wide-range sensors.
func (r dice) wide(seed uint64) Car {
	c := healthy()
	c.Name, c.About = "random", "Drawn at random, with wide-range sensors."
	c.Bus = []obd.Bus{obd.CAN11at500, obd.CAN11at500, obd.CAN29at500, obd.ISO14230Fast, obd.ISO9141}[r.IntN(5)]
	r.vary(&c)
	c.wide, c.recent = true, true
	c.engine.speedDensity = r.chance(0.4)
	c.wideRear = c.downstream && r.chance(0.1)
	switch r.IntN(4) {
	case 0:
		c.mute24 = true
	case 1, 2:
		c.mute34 = r.chance(0.5)
		c.mute24 = !c.mute34
	}
	c.mute55 = r.chance(0.5)
	switch r.IntN(4) { // full scales as real cars declare them, and in round figures
	case 0:
		c.scales = [4]byte{2, 8, 128, 40}
	case 1:
		c.scales = [4]byte{[]byte{2, 4, 32}[r.IntN(3)], []byte{8, 16}[r.IntN(2)], []byte{8, 32, 128}[r.IntN(3)], 0}
	}
	k := &c.control
	k.wideLoop = wideLoop{kp: r.between(0.02, 0.15), ki: r.scale(0.25, 0.8), dither: r.between(0, 0.02), half: r.scale(0.5, 5),
		rear: r.scale(0.0008, 0.006), rearLimit: r.between(0.02, 0.05), hidden: r.chance(0.3)}
	k.refresh = time.Duration(float64(time.Second) * r.scale(0.02, 0.5)).Round(step)
	ceiling := []float64{1.27, 1.39, 2.0, r.between(1.3, 2)}[r.IntN(4)]
	noise := r.scale(0.001, 0.02)
	lag := r.between(0.04, 0.11)
	for i := range c.bank {
		c.bank[i].wide = wideSpec{toRich: lag * r.between(0.9, 1.1), toLean: lag * r.between(0.9, 1.1), gain: r.between(0.95, 1.05),
			offset: 0.005 * r.NormFloat64(), ceiling: ceiling, noise: noise}
	}
	if r.chance(0.5) {
		k.pause = r.between(0.5, 5)
	}
	return c
}

// wideTruth is what is true of a bank.
func (c *Car) wideTruth(bank int) WideTruth {
	e, b := &c.engine, &c.bank[bank]
	w := &b.wide
	t := WideTruth{Gain: w.gain, Offset: w.offset, Rich: w.toRich, Lean: w.toLean, OwnRich: w.delayRich, OwnLean: w.delayLean,
		AirIsMetered: e.speedDensity, RearTrimShown: rearTrims(c),
		Delay: e.transport.turns*60/e.idleRPM + e.transport.pipe*0.44/(e.idleFlow/float64(e.banks))}
	if b.undelivered || w.pumpOpen || w.cold {
		t.Gain = 0
	}
	return t
}

// mixture draws propane and a hose off, in either order.
func (r dice) mixture(t *WideTruth) ([]Force, time.Duration) {
	t.Share, t.Ramp = r.between(0.05, 0.10), r.scale(0.3, 3.5)
	rich := Force{Kind: ForcePropane, Percent: 100 * t.Share, Ramp: time.Duration(t.Ramp * float64(time.Second))}
	lean := Force{Kind: ForceVacuum, Percent: r.between(6, 12)}
	all := []Force{rich, lean}
	if r.chance(0.3) {
		all[0], all[1] = lean, rich
	}
	at := r.span(30*time.Second, 45*time.Second)
	for i := range all {
		all[i].At, all[i].For = at, r.span(12*time.Second, 16*time.Second)
		at = all[i].Ends() + r.span(25*time.Second, 40*time.Second)
	}
	return all, at
}

// fuelCuts draws two snaps from 2700 rpm.
func (r dice) fuelCuts() ([]Force, time.Duration) {
	at := r.span(30*time.Second, 45*time.Second)
	var all []Force
	for range 2 {
		all = append(all, Force{Kind: ForceRev, At: at, For: r.span(6*time.Second, 10*time.Second)})
		at = all[len(all)-1].Ends() + r.span(20*time.Second, 30*time.Second)
	}
	return all, at
}

// wideFaults are what can be wrong with a car that has wide-range sensors.
var wideFaults = []struct {
	name, conclusion string
	do               func(r *dice, c *Car, bank int) (also []string)
}{
	{"half blind", "sensor_skewed", func(r *dice, c *Car, bank int) []string {
		c.bank[bank].wide.gain = r.between(0.45, 0.6)
		return []string{"unclear"}
	}},
	{"offset", "sensor_skewed", func(r *dice, c *Car, bank int) []string {
		c.bank[bank].wide.offset = r.between(0.03, 0.1)
		if r.chance(0.5) {
			c.bank[bank].wide.offset *= -1
		}
		// Without the rear sensor's word for it the loop hides it.
		return []string{"loop_proven", "partly_proven", "unclear"}
	}},
	{"slow, both ways", "sensor_slow", func(r *dice, c *Car, bank int) []string {
		w := &c.bank[bank].wide
		w.toRich = r.between(0.6, 1.4)
		w.toLean = w.toRich * r.between(0.8, 1.2)
		return []string{"loop_proven", "unclear"}
	}},
	{"slow, one way", "sensor_slow", func(r *dice, c *Car, bank int) []string {
		w := &c.bank[bank].wide
		slow := r.between(0.6, 1.4)
		if r.chance(0.5) {
			w.toRich = slow
		} else {
			w.toLean = slow
		}
		return []string{"loop_proven", "unclear"}
	}},
	{"late", "sensor_slow", func(r *dice, c *Car, bank int) []string {
		w := &c.bank[bank].wide
		late := r.between(0.35, 0.8)
		if r.chance(0.6) {
			w.delayRich = late
		}
		if w.delayRich == 0 || r.chance(0.5) {
			w.delayLean = late
		}
		return []string{"loop_proven", "unclear"}
	}},
	{"pump wire open", "sensor_dead", func(r *dice, c *Car, bank int) []string {
		c.bank[bank].wide.pumpOpen = true
		c.clean(bank, 0.005*r.NormFloat64())
		return []string{"unclear"}
	}},
	{"sensor cold", "not_ready", func(r *dice, c *Car, bank int) []string {
		c.bank[bank].wide.cold = true
		return nil
	}},
	{"fuel not delivered", "no_delivery", func(r *dice, c *Car, bank int) []string {
		c.clean(bank, r.between(-0.003, 0.003))
		c.bank[bank].undelivered = true
		return []string{"unclear"}
	}},
	{"one injector", "loop_proven", func(r *dice, c *Car, bank int) []string {
		// One of three or four gives a fifth to two fifths less, or leaks.
		c.clean(bank, -r.between(0.05, 0.13))
		if r.chance(0.3) {
			c.clean(bank, 0)
			c.bank[bank].injector = r.between(0.05, 0.12) * c.engine.idleFlow / float64(c.engine.banks)
		}
		return nil
	}},
	{"trim frozen", "no_command", func(r *dice, c *Car, bank int) []string {
		c.control.frozen = true
		return nil
	}},
	{"never cuts", "no_command", func(r *dice, c *Car, bank int) []string {
		c.control.canCut = false
		c.clean(bank, r.between(-0.02, 0))
		return []string{"unclear"}
	}},
	{"both banks", "sensor_skewed", func(r *dice, c *Car, bank int) []string {
		if c.engine.banks == 1 {
			vee(c)
		}
		for i := range c.bank {
			c.bank[i].wide.gain = r.between(0.45, 0.6)
		}
		return []string{"unclear"}
	}},
}
