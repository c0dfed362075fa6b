package simcar

// randomHabits are what sound cars' computers and wiring may do besides, each with what may be
// concluded too.
var randomHabits = []struct {
	name string
	do   func(r dice, c *Car, bank int) (also []string)
}{
	{"return offset", func(r dice, c *Car, bank int) []string { c.raise(r.between(0.08, 0.3)); return nil }},
	{"lean clipped", func(r dice, c *Car, bank int) []string { c.raise(-r.between(0.09, 0.15)); return nil }},
	{"open level", func(r dice, c *Car, bank int) []string { c.bias([]float64{-1, 1.1, 5}[r.IntN(3)]); return nil }},
	{"hot cell", func(r dice, c *Car, bank int) []string {
		c.bank[bank].up.kelvin, c.bank[bank].up.output = 1100, r.between(0.85, 0.93)
		return []string{"partly_proven", "unclear"}
	}},
	{"trim given up", func(r dice, c *Car, bank int) []string {
		c.control.giveUp = r.between(3, 10)
		return []string{"partly_proven", "unclear"}
	}},
	{"sensor doubted", func(r dice, c *Car, bank int) []string {
		c.control.doubt = r.between(3, 12)
		return []string{"partly_proven", "unclear"}
	}},
	{"trim paused", func(r dice, c *Car, bank int) []string {
		c.control.rests = r.between(15, 60)
		return []string{"partly_proven", "unclear"}
	}},
	{"one control", func(r dice, c *Car, bank int) []string { c.oneControl = c.engine.banks == 2; return nil }},
	{"purge", func(r dice, c *Car, bank int) []string {
		c.engine.canister = r.between(0.2, 0.5)
		return []string{"partly_proven", "unclear"}
	}},
	{"idle term learned", func(r dice, c *Car, bank int) []string {
		c.bank[bank].leak = r.between(0.05, 0.12) * c.engine.idleFlow / float64(c.engine.banks)
		c.control.idleTerm, c.control.learn = r.scale(0.003, 0.03), 0
		return nil
	}},
	{"one exhaust half blocked", func(r dice, c *Car, bank int) []string {
		if lacks := r.between(0.002, 0.006); c.engine.banks == 2 {
			c.bank[bank].restricted, c.bank[1-bank].restricted = lacks, -lacks
		}
		return nil
	}},
	{"supply weak", func(r dice, c *Car, bank int) []string { c.bank[bank].starve = r.between(0.002, 0.007); return nil }},
	{"engine stops by itself", func(r dice, c *Car, bank int) []string {
		c.engine.stop = stopSpec{r.between(40, 150), r.between(8, 30), r.between(40, 90)}
		return []string{"partly_proven", "unclear", "not_ready"}
	}},
	{"one rear sensor", func(r dice, c *Car, bank int) []string {
		c.sharedRear = c.engine.banks == 2 && bank == 0
		return []string{"partly_proven", "unclear"}
	}},
}

// habit gives one sound car in four a habit, and returns what to call it.
func (r dice) habit(c *Car, bank int) (name string, also []string) {
	if !r.chance(0.25) {
		return "sound", nil
	}
	h := randomHabits[r.IntN(len(randomHabits))]
	return "sound, " + h.name, h.do(r, c, bank)
}

// fault is something that can be wrong, what a test of both sides should conclude, and how a car gets it.
type fault struct {
	name, conclusion string
	do               func(r *dice, c *Car, bank int) (also []string)
}

// faults are what can be wrong, each with the conclusion of a test of both sides.
var faults = []fault{
	{"input dead", "input_dead", func(r *dice, c *Car, bank int) []string {
		w := &c.bank[bank].upWire
		w.inputDead, w.inputAt = true, []float64{biasVolts, biasVolts, 0.02, 0.2, 0.75}[r.IntN(5)]
		c.lead(bank, w.inputAt)
		return nil
	}},
	{"wire open, computer side", "input_dead", func(r *dice, c *Car, bank int) []string {
		c.bank[bank].upWire.computerOpen = true
		c.control.unseen = []unseen{holds, holds, opens}[r.IntN(3)]
		if c.control.unseen == opens {
			return []string{"not_ready"}
		}
		return nil
	}},
	{"wire open, sensor side", "sensor_dead", func(r *dice, c *Car, bank int) []string {
		c.bank[bank].upWire.sensorOpen = true
		c.control.unseen = []unseen{holds, holds, drifts, opens}[r.IntN(4)]
		if c.control.unseen == opens {
			return []string{"not_ready", "unclear"}
		}
		return nil
	}},
	{"sensor stuck lean", "sensor_dead", func(r *dice, c *Car, bank int) []string {
		c.stick(bank, r.between(0.05, 0.2))
		return nil
	}},
	{"sensor stuck rich", "sensor_dead", func(r *dice, c *Car, bank int) []string {
		c.stick(bank, r.between(0.75, 0.9))
		return nil
	}},
	{"sensor flat", "sensor_dead", func(r *dice, c *Car, bank int) []string {
		c.stick(bank, r.between(0.42, 0.49))
		return nil
	}},
	{"sensor slow", "sensor_slow", func(r *dice, c *Car, bank int) []string {
		up := &c.bank[bank].up
		up.toRich = r.between(0.8, 2)
		up.toLean = up.toRich * r.between(0.7, 1.2)
		// Where the bus is slow or the loop's own swings are, the data cannot show it.
		return []string{"loop_proven", "unclear"}
	}},
	{"trim frozen", "no_command", func(r *dice, c *Car, bank int) []string {
		c.control.frozen = true
		return nil
	}},
	{"never cuts", "no_command", func(r *dice, c *Car, bank int) []string {
		c.control.canCut = false
		c.clean(bank, r.between(-0.02, 0))
		return nil
	}},
	{"never adds", "no_command", func(r *dice, c *Car, bank int) []string {
		c.control.canAdd = false
		c.clean(bank, r.between(0, 0.02))
		return nil
	}},
	{"fuel not delivered", "no_delivery", func(r *dice, c *Car, bank int) []string {
		c.clean(bank, r.between(-0.001, 0.004))
		b := &c.bank[bank]
		b.undelivered, b.wander, b.wanderTau = true, 0.01, r.between(0.5, 1.5)
		b.catalyst = r.between(0.08, 0.2)
		c.control.ramp, c.control.jump = r.scale(0.006, 0.03), r.between(0, 0.006)
		if !c.downstream {
			return []string{"unclear", "sensor_dead"}
		}
		return []string{"unclear"}
	}},
	{"leak beyond authority", "partly_proven", func(r *dice, c *Car, bank int) []string {
		c.clean(bank, -0.02)
		c.bank[bank].leak = (c.control.limit + r.between(0.15, 0.3)) * c.engine.idleFlow / float64(c.engine.banks)
		c.control.stored = []uint16{0x0171 + 3*uint16(bank)}
		// At speed the same leak may come back into reach; at the limit, only moving the
		// mixture would tell.
		return []string{"loop_proven", "unclear"}
	}},
	{"banks crossed", "wrong_bank", func(r *dice, c *Car, bank int) []string {
		if c.engine.banks == 1 {
			vee(c)
		}
		c.crossed = true
		c.control.shortTerm = [2]float64{c.control.limit, -c.control.limit}
		if r.chance(0.5) {
			c.control.shortTerm[0], c.control.shortTerm[1] = c.control.shortTerm[1], c.control.shortTerm[0]
		}
		return nil
	}},
	{"cold", "not_ready", func(r *dice, c *Car, bank int) []string {
		c.engine.coolant, c.engine.justBegun = r.between(-10, 30), true
		return nil
	}},
	{"wide-range sensor", "not_ready", func(r *dice, c *Car, bank int) []string {
		c.wide = true
		return nil
	}},
	{"monitor trips", "partly_proven", func(r *dice, c *Car, bank int) []string {
		c.control.ramp = r.between(0.03, 0.05)
		c.control.lowAfter, c.control.highAfter = r.between(1, 4), r.between(1, 4)
		// A short force may end before the monitor does.
		return []string{"loop_proven", "unclear"}
	}},
}

// others are cars on which no test of the loop counts, and a leak that looks like a dead sensor; drawn beside the faults, so
// that these stay as they were.
var others = []fault{
	{"hybrid", "not_ready", func(r *dice, c *Car, bank int) []string {
		c.battery, c.fuel = true, []byte{0, 0x11, 0x15}[r.IntN(3)]
		c.engine.stop = stopSpec{-r.between(5, 20), r.between(20, 60), r.between(8, 20)}
		return nil
	}},
	{"secondary air", "not_ready", func(r *dice, c *Car, bank int) []string { c.engine.secondaryAir = true; return nil }},
	{"flex fuel learning", "not_ready", func(r *dice, c *Car, bank int) []string {
		c.recent, c.alcohol, c.control.learnsFuel = true, true, true
		for i := range c.bank {
			c.bank[i].fuelError = -r.between(0.12, 0.25)
			c.control.shortTerm[i] = min(-1.1*c.bank[i].fuelError, c.control.limit)
		}
		return nil
	}},
	{"gas", "not_ready", func(r *dice, c *Car, bank int) []string {
		c.recent, c.fuel = true, []byte{0x05, 0x06, 0x0C, 0x0D}[r.IntN(4)]
		return nil
	}},
	{"engine off", "not_ready", func(r *dice, c *Car, bank int) []string { c.off = true; return nil }},
	{"wide-range, shown at a fifth", "not_ready", func(r *dice, c *Car, bank int) []string { c.wide, c.fifth = true, true; return nil }},
	{"exhaust leak, large", "unclear", func(r *dice, c *Car, bank int) []string {
		c.clean(bank, r.between(-0.01, 0.01))
		c.bank[bank].falseAir, c.bank[bank].plume = r.between(0.04, 0.07), r.between(0.3, 0.4)
		c.control.learned[bank], c.control.shortTerm[bank] = 0.1, c.control.limit
		return []string{"partly_proven", "loop_proven"}
	}},
}
