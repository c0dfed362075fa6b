package simcar

import "math"

// Drive is what the engine is doing while it is being read.
type Drive uint8

const (
	Idle  Drive = iota // at rest, warm idle
	Fast               // held at 2500 rpm in neutral
	Town               // a seeded mixture of idle, pulling away, cruise, coasting with the fuel cut, snap throttle
	Pulls              // full load, cruise and a long fuel cut in turn, on an empty road
	led                // what it is told, on the road
)

// segment kinds of town driving.
type segment uint8

const (
	idling segment = iota
	holding
	pulling
	cruising
	coasting
	snapping
)

// driver moves pedal and gear, and switches what loads the engine.
type driver struct {
	drive     Drive
	busy      bool // fan, compressor and purge come and go
	now       segment
	until     float64 // s
	rpm       float64 // wanted
	load      float64 // wanted share; 0: what holds the idle
	wobble    float64 // rpm noise
	foot      float64 // load that an unsteady foot adds on the road
	extra     float64 // load of fan and compressor now
	extraGoal float64
	nextLoad  float64
	purge     float64 // g/s of air-equivalent vapour now
	purgeGoal float64
	nextPurge float64
	neutral   bool // out of gear: a snap of the throttle
	lifts     bool // the throttle is to be closed after the cruise
}

func (d *driver) init(c *car, cfg *Config) {
	d.drive = cfg.Drive
	d.busy = cfg.Busy || cfg.Drive == Town
	d.nextLoad = c.seconds() + 5 + c.rng.ExpFloat64()*30
	d.nextPurge = c.seconds() + 10 + c.rng.ExpFloat64()*60
	d.rpm = c.spec.engine.idleRPM
	if d.drive == Fast {
		d.now, d.rpm, d.load, d.until = holding, 2500, 0.19, math.Inf(1)
	} else if d.drive == Idle {
		d.until = math.Inf(1)
	} else if d.drive == Pulls {
		d.until = c.seconds() + 15
	} else {
		d.until = c.seconds() + 10 + c.rng.ExpFloat64()*40
	}
}

// step moves rpm, load, airflow and speed by dt.
func (d *driver) step(c *car) {
	t := c.seconds()
	if t >= d.until {
		d.next(c, t)
	}
	e := &c.spec.engine
	if c.n%stepsPerTick == 0 {
		d.wobble += -d.wobble*tick/1.0 + 6*math.Sqrt(2*tick)*c.rng.NormFloat64()
		if d.drive == Town {
			d.foot += -d.foot*tick/3 + 0.06*math.Sqrt(2*tick/3)*c.rng.NormFloat64()
		}
		if d.busy {
			d.disturb(c, t)
		}
		d.extra += (d.extraGoal - d.extra) * tick / 0.3
		d.purge += (d.purgeGoal - d.purge) * tick / 0.8
	}
	rpm, load := d.rpm, d.load
	rpmTau, loadTau := 0.8, 0.15
	if load == 0 {
		rpm = e.idleRPM - 600*(d.extraGoal-d.extra) // dips until the idle control has caught the step
		if e.hunting > 0 {
			rpm += e.hunting * math.Sin(2*math.Pi*t/2.6)
		}
		idle := e.idleFlow / (1.184 * e.litres / 2 * e.idleRPM / 60)
		load = idle + d.extra + 0.0002*(rpm-c.rpm)
		rpmTau, loadTau = 0.5, 0.25
	}
	switch d.now {
	case cruising:
		load, rpm = max(load+d.foot, 0.14), rpm+3000*d.foot
	case pulling:
		rpmTau = 2.5
	case coasting:
		rpmTau = 4
	case snapping:
		rpmTau = 0.5
	}
	// A very lean engine loses power (indicative, no source).
	rpm -= min(400*max(0.87-c.banks[0].mixed, 0), 60)
	c.rpm += (rpm + d.wobble - c.rpm) * dt / rpmTau
	c.load += (load - c.load) * dt / loadTau
	c.air = max(c.maxFlow()*c.load, 0.5)
	speed := 0.0
	if !d.neutral && (d.now == pulling || d.now == cruising || d.now == coasting) {
		speed = c.rpm / 35
	}
	c.speed += (speed - c.speed) * dt / 2
}

// pedal is the technician's foot: the engine is held at 2700 rpm without load, or let go.
func (d *driver) pedal(c *car, down bool) {
	if down {
		d.now, d.rpm, d.load, d.until = holding, 2700, 0.2, math.Inf(1)
		return
	}
	d.drive = Idle
	d.now, d.rpm, d.load, d.until = coasting, c.spec.engine.idleRPM, 0.06, c.seconds()+4
}

// snap opens the throttle wide for a moment, without load, and lets it go.
func (d *driver) snap(c *car) {
	d.neutral = true
	d.now, d.rpm, d.load, d.until = snapping, 4000, 0.9, c.seconds()+0.9
}

// road does on the road what is asked for: a fuel cut after some seconds of cruise, or full load.
func (d *driver) road(c *car, kind ForceKind) {
	d.drive, d.neutral = led, false
	if kind == ForcePull {
		d.now, d.rpm, d.load, d.until = pulling, 3800, 0.92, c.seconds()+6.5
		return
	}
	d.now, d.rpm, d.load, d.until, d.lifts = cruising, 2800, 0.35, c.seconds()+5, true
}

// next chooses the following segment of town driving.
func (d *driver) next(c *car, t float64) {
	if d.drive == Pulls {
		d.pulls(c, t)
		return
	}
	if d.drive == led {
		if d.now, d.rpm, d.load, d.until = cruising, 2200, 0.3, math.Inf(1); d.lifts {
			d.now, d.rpm, d.load, d.until, d.lifts = coasting, 1100, 0.07, t+8, false
		}
		return
	}
	if d.drive != Town && d.now == snapping {
		d.now, d.rpm, d.load, d.until = coasting, c.spec.engine.idleRPM, 0.07, t+3
		return
	}
	if d.drive != Town { // let go, the engine idles again
		d.now, d.rpm, d.load, d.until = idling, c.spec.engine.idleRPM, 0, math.Inf(1)
		return
	}
	r := c.rng.Float64()
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*c.rng.Float64() }
	switch {
	case d.now == pulling:
		d.now, d.rpm, d.load, d.until = cruising, between(1700, 2600), between(0.25, 0.5), t+between(8, 60)
	case d.now == cruising && r < 0.7:
		d.now, d.rpm, d.load, d.until = coasting, between(1100, 1800), 0.07, t+2+min(c.rng.ExpFloat64()*5, 46)
	case d.now == snapping:
		d.now, d.rpm, d.load, d.until = coasting, c.spec.engine.idleRPM, 0.07, t+between(2, 4)
	case d.now == coasting && r < 0.4:
		d.now, d.rpm, d.load, d.until = cruising, between(1700, 2600), between(0.25, 0.5), t+between(8, 60)
	case d.now == idling && r < 0.15:
		d.now, d.rpm, d.load, d.until = snapping, 4000, 0.9, t+between(0.5, 1.2)
	case d.now == idling && r < 0.35:
		d.now, d.rpm, d.load, d.until = holding, between(1500, 2600), between(0.17, 0.22), t+between(5, 40)
	case d.now == idling:
		d.now, d.rpm, d.load, d.until = pulling, between(2500, 3800), between(0.55, 0.95), t+3+min(c.rng.ExpFloat64()*3, 21)
	default:
		d.now, d.rpm, d.load, d.until = idling, c.spec.engine.idleRPM, 0, t+between(5, 90)
	}
}

// pulls chooses the following segment of a drive that shows the sensor behind the catalyst both sides.
func (d *driver) pulls(c *car, t float64) {
	switch d.now {
	case pulling:
		d.now, d.rpm, d.load, d.until = cruising, 2800, 0.35, t+6
	case cruising:
		d.now, d.rpm, d.load, d.until = coasting, 1100, 0.07, t+9
	default:
		d.now, d.rpm, d.load, d.until = pulling, 3800, 0.92, t+6
	}
}

// disturb switches fan, compressor and canister purge at random moments.
func (d *driver) disturb(c *car, t float64) {
	if t >= d.nextLoad {
		d.nextLoad = t + 4 + c.rng.ExpFloat64()*40
		if d.extraGoal > 0 {
			d.extraGoal = 0
		} else {
			d.extraGoal = 0.03 + 0.05*c.rng.Float64()
		}
	}
	if t >= d.nextPurge {
		if d.purgeGoal != 0 {
			d.purgeGoal = 0
			d.nextPurge = t + 15 + c.rng.ExpFloat64()*90
		} else {
			// From plain air through an empty canister to rich vapour from a full one.
			d.purgeGoal = c.spec.engine.idleFlow * (-0.03 + 0.13*c.rng.Float64())
			d.nextPurge = t + 4 + c.rng.ExpFloat64()*15
		}
	}
}
