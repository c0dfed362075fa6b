package simcar

import (
	"math/rand/v2"
	"slices"
	"time"
)

// technician holds the forces, scripted and typed, and the hand that does them.
type technician struct {
	bank, position int  // of the tapped sensor: bank from 0, position from 1
	opensSensor    bool // a force on the wire takes the sensor off by itself
	wide           bool // the tapped wire is a wide-range sensor's
	forces         []ForceTruth
	hand           *rand.Rand
	slipped, revs  bool
	ramp, full     float64     // of the propane valve: s, and the share that it opens to
	propane, leak  float64     // share of idle airflow now
	wired          *ForceTruth // wire force now, for the computer
	beside         contact     // with the other bank's upstream wire now
}

func (h *technician) init(cfg *Config) {
	h.clip(&cfg.Car, cfg.Sensor)
	h.opensSensor = !cfg.SensorStays && !cfg.BranchByHand
	h.hand = rand.New(rand.NewPCG(cfg.Seed, 0x7465636868616e64))
	for _, f := range cfg.Forces {
		h.forces = append(h.forces, ForceTruth{Force: f, Begin: -1, End: -1, Answer: -1})
	}
}

// step returns what the tap does in this step.
func (h *technician) step(c *car) contact {
	now := c.now()
	var tap contact
	h.wired, h.beside = nil, contact{}
	propane, leak, open, rev, openBeside := 0.0, 0.0, false, false, false
	for i := range h.forces {
		f := &h.forces[i]
		if f.End >= 0 || now < f.At {
			continue
		}
		if f.Begin < 0 {
			f.Begin = now
		}
		if now >= f.Ends() {
			f.End = now
			continue
		}
		switch f.Kind {
		case ForcePropane:
			propane += f.percent() / 100
			h.ramp, h.full = f.Ramp.Seconds(), f.percent()/100
		case ForceVacuum:
			leak += f.percent() / 100
		case ForceOpen:
			open, openBeside = open || !f.Beside, openBeside || f.Beside
		case ForceRev:
			rev = true
		case ForceCoast, ForcePull:
			c.driver.road(c, f.Kind)
			f.End = now
		case ForceSnap:
			c.driver.snap(c)
			f.End = now
		default:
			if f.Beside {
				h.beside = contact{closed: true, volts: f.volts(), ohms: f.ohms(), opensSensor: h.opensSensor}
				continue
			}
			h.wired = f
			tap = contact{closed: true, volts: f.volts(), ohms: f.ohms()}
			if f.Shaky {
				h.tremble()
				tap.closed = !h.slipped
			}
		}
	}
	if rev != h.revs {
		h.revs = rev
		c.driver.pedal(c, rev)
	}
	h.beside.opensSensor = h.beside.opensSensor || openBeside
	tap.opensSensor = open || tap.closed && h.opensSensor
	if h.wide {
		tap.closed = false // such a cell is not modelled as a voltage; see computer.circuit
	}
	// Gas and hose take some tenths of a second to act in full, a valve as long as its ramp.
	if h.ramp > 0 {
		h.propane += min(max(propane-h.propane, -h.full*dt/h.ramp), h.full*dt/h.ramp)
	} else {
		h.propane += (propane - h.propane) * dt / 0.4
	}
	h.leak += (leak - h.leak) * dt / 0.2
	return tap
}

// tremble lets the contact slip about once in two seconds, for some 60 ms.
func (h *technician) tremble() {
	rate := dt / 2.0
	if h.slipped {
		rate = dt / 0.06
	}
	if h.hand.Float64() < rate {
		h.slipped = !h.slipped
	}
}

// place is where a sensor such as "B1S1" sits: the index of its bank, and its position from 1.
func place(sensor string) (bank, position int) { return int(sensor[1] - '1'), int(sensor[3] - '0') }

// clip moves the tap to another sensor's wire.
func (h *technician) clip(car *Car, sensor string) {
	h.bank, h.position = place(sensor)
	h.wide = car.wide && h.position == 1
}

// apply begins a force now; it takes the place of one on the same thing.
func (h *technician) apply(f Force, now time.Duration) {
	for i := range h.forces {
		g := &h.forces[i]
		if g.Begin >= 0 && g.End < 0 && g.sort() == f.sort() {
			g.End = now
		}
	}
	f.At = now
	h.forces = append(h.forces, ForceTruth{Force: f, Begin: now, End: -1, Answer: -1})
}

// release ends every force of these kinds that is on, at the tapped wire or at the one beside it; without any named, all.
func (h *technician) release(now time.Duration, beside bool, kinds ...ForceKind) {
	for i := range h.forces {
		if f := &h.forces[i]; f.Begin >= 0 && f.End < 0 && (len(kinds) == 0 || f.Beside == beside && slices.Contains(kinds, f.Kind)) {
			f.End = now
		}
	}
}
