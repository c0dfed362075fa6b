package heldout

import (
	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// moment is what was, twenty times a second.
type moment struct {
	t, volts, free, short, rear float64
	target                      float64 // φ, by a wide-range sensor's car
	closed, given               bool    // status 02; the computer has given the sensor up
}

const each = 0.05 // s between moments

// witness keeps what the truth is decided from.
type witness struct {
	moments []moment
	next    float64
	holds   []hold
	moved   []motion
	was     float64 // short-term trim a step ago
}

// motion is when trim was moved against a force, and when the port told it; s, session time of the car.
type motion struct {
	commanded, told float64
	shown           float64 // trim told when it was commanded
}

func (w *witness) watch(c *car, p *port) {
	b := c.banks[0]
	if c.t >= w.next {
		w.next += each
		w.moments = append(w.moments, moment{c.t, b.volts, b.free, b.short, b.behind, 1, b.status == statusClosed, b.given})
		if b.wide != nil {
			w.moments[len(w.moments)-1].target = b.wide.target
		}
	}
	for i := range w.holds {
		h, m := &w.holds[i], &w.moved[i]
		if c.t < h.begin || c.t >= h.end || h.wire != 0 || m.commanded > 0 || b.given || b.pausedFor > 0 || b.status != statusClosed {
			continue
		}
		if (b.short-w.was)*toward(h.side) > 1e-9 {
			m.commanded, m.shown = c.t, p.trims[0]
		}
	}
	w.was = b.short
}

// told is called when a record with the trim went out.
func (w *witness) told(p *port, at float64) {
	for i := range w.holds {
		m := &w.moved[i]
		if m.commanded > 0 && m.told == 0 && at < w.holds[i].end && (p.trims[0]-m.shown)*toward(w.holds[i].side) > 1e-6 {
			m.told = at
		}
	}
}

// toward is which way trim goes against a force.
func toward(side string) float64 {
	if side == "lean" {
		return 1
	}
	return -1
}

// burn is how long a car runs before a test begins.
const burn = 40.0

// Narrow draws a test by wire on a car with switching sensors.
func Narrow(seed uint64) (*truth.Test, []obd.Record) {
	d := newDice(seed, 1)
	c := drawCar(d, 0.01)
	weights := make([]float64, len(faults))
	for i, f := range faults {
		weights[i] = f.weight
	}
	fault := faults[d.pick(weights...)].name
	if fault == crossed && len(c.banks) < 2 {
		fault = sound
	}
	c.oneLoop = c.oneLoop && fault != crossed
	c.spoil(newDice(seed, 2), fault)
	if d.chance(0.15) { // a raised idle, as shops do it
		r := d.in(1.8, 3)
		c.hotIdle *= r
		c.hotAir *= r * 0.9
	}
	rear := d.chance(0.8)
	p := drawPort(newDice(seed, 3), len(c.banks), rear)
	hands := &technician{dice: newDice(seed, 4)}
	hands.plan(hands.in(12, 50), len(c.banks), hands.chance(0.12))
	hands.say()
	idle := newIdling(newDice(seed, 5), &c.engine)
	if idle.chance(0.12) && len(hands.holds) > 1 && c.hotIdle < 1000 { // it is kept warm between the holds
		at := hands.holds[0].end + idle.in(6, 12)
		idle.blips = [][2]float64{{at, at + idle.in(1, 5)}}
	}
	c.driver = idle
	t := try(seed, c, p, hands, fault, rear)
	return t, p.recording(hands.marks)
}

// try runs a test and decides its truth.
func try(seed uint64, c *car, p *port, hands *technician, fault string, rear bool) *truth.Test {
	c.forced = hands.force
	w := &witness{holds: hands.holds, moved: make([]motion, len(hands.holds)), next: -burn + 15}
	p.told = func(at float64) { w.told(p, at) }
	c.t = -burn
	p.open(c)
	c.run(hands.ends, func() {
		w.watch(c, p)
		p.watch(c)
	})
	t := &truth.Test{
		Seed: seed, Rate: float64(p.reads) / hands.ends, Fault: fault, Style: hands.style,
		Marks: hands.said, Sensor: "B1S1", By: "wire",
	}
	(&judge{Test: t, witness: w, car: c, port: p, hands: hands, rear: rear}).narrow()
	return t
}

// Drive is an hour on the road that nobody forces.
func Drive(seed uint64) (*truth.Test, []obd.Record) {
	c, p := onTheRoad(seed, drawCar(newDice(seed, 11), 0.02))
	c.run(3600, func() { p.watch(c) })
	return unforced(seed, p, "wire"), p.recording(nil)
}

func unforced(seed uint64, p *port, by string) *truth.Test {
	return &truth.Test{
		Seed: seed, Rate: float64(p.reads) / 3600, Fault: sound, Style: "a drive", Sensor: "B1S1", By: by, Hours: 1,
		Accepted: []string{"nothing_forced", "not_ready"}, Undecided: []string{"unclear", "partly_proven"},
	}
}

func onTheRoad(seed uint64, c *car) (*car, *port) {
	d := newDice(seed, 12)
	c.driver = newRoad(newDice(seed, 13), &c.engine)
	for _, b := range c.banks {
		for i := range b.cells { // they differ by a per cent or two (recordings of a real car)
			b.cells[i] = 1.5 * d.NormFloat64()
		}
	}
	p := drawPort(newDice(seed, 14), len(c.banks), d.chance(0.7))
	p.gap = max(p.gap, 0.125)
	p.open(c)
	c.t = -burn
	return c, p
}
