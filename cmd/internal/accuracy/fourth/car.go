package fourth

import "math"

// spec is a car as it was drawn, and all that happens to it.
type spec struct {
	seed     uint64
	fault    string
	banks    int
	engines  [2]engineSpec
	cells    [2]cellSpec
	rears    [2]cellSpec
	inputs   [2]inputSpec
	computer computerSpec
	learned  [2]float64 // long-term trim in the beginning
	coolant  float64    // °C
	plan     plan
	port     portSpec
	length   float64
}

// car is a car at work.
type car struct {
	*spec
	src    source
	t      float64
	drive  *driver
	engine [2]*bank
	cell   [2]*cell
	rear   [2]*cell
	brain  *computer
	now    point
	volts  [2]float64 // at the computer's inputs
	phi    [2]float64 // at the sensors
	emf    [2]float64 // of the cells, V
}

func newCar(s *spec, d *driver) *car {
	c := &car{spec: s, src: newSource(s.seed, 0x636172), drive: d, brain: newComputer(s.computer, s.banks, s.learned)}
	for b := range s.banks {
		c.engine[b] = newBank(s.engines[b])
		c.cell[b], c.rear[b] = newCell(s.cells[b]), newCell(s.rears[b])
		c.volts[b] = 0.45
	}
	return c
}

// step goes on by dt while the technician holds the wire of bank 1's sensor so.
func (c *car) step(hand touch) {
	c.t += dt
	c.now = c.drive.step(c.src, c.t)
	rear := [2]float64{}
	for b := range c.banks {
		var behind float64
		c.phi[b], behind = c.engine[b].step(c.src, c.now, c.brain.total(b))
		c.emf[b] = c.cell[b].step(c.src, c.phi[b])
		rear[b] = c.rear[b].step(c.src, behind)
	}
	for b := range c.banks {
		wire := b // whose sensor's connector this input is wired to
		if c.computer.crossed == "harness" {
			wire = 1 - b
		}
		h := touch{branch: true}
		if wire == 0 {
			h = hand
		}
		ohms := resistance(c.cell[wire].kelvin)
		if c.cell[wire].open {
			ohms = math.Inf(1)
		}
		in := c.inputs[b]
		c.volts[b] = lag(c.volts[b], min(in.read(c.emf[wire], ohms, h), in.top), in.rc)
	}
	c.brain.step(c.t, c.now, c.volts, rear, c.inputs[0].bias)
}
