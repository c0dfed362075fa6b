// Package thirdwide is a model of cars with a wide-range sensor in front of the catalyst, of those who
// move their mixture, and of what may be said of it, written apart from the watcher and from the other
// models. The engine, the road and the port are those of package third.
//
// Physics: φ = (1+error)(1+short)(1+long)(1+vapour+propane) over the air that nothing metered, carried
// and mixed; the sensor tells gain·(φ−1)+offset after a delay and a lag, each its own towards rich and
// towards lean; the loop is PI on λc/λm − 1. Figures without a source are common practice.
package thirdwide

import (
	"math"
	"math/rand/v2"

	"pushback/cmd/internal/accuracy/third"
)

const dt = third.Dt

// A ring is the sensor and the loop about it.
type ring struct {
	Gain, Offset float64    // of the sensor
	Tau, Own     [2]float64 // its lag and its pure delay, s, towards rich and towards lean
	Noise        float64    // of λ
	Ceiling      float64    // λ told in a fuel cut, each car its own
	Kp, Ki       float64    // of the loop; Ki in 1/s
	Limit        float64
	Learn        float64 // s between two counts of the learned trim, 0: never
	Dither       float64 // of the command
	Period       float64 // s
	RearRate     float64 // by which the sensor behind the catalyst moves the command, 1/s for 1 V
	RearLimit    float64
	Metered      bool // air by a hose is metered: manifold pressure, no air-flow meter
	CutTells     bool // the command is told as lean in a fuel cut
}

type bank struct {
	err         float64
	pipe        []float64
	head        int
	mixed       float64
	own         []float64 // what the cell sees, newest at head
	y           float64   // what it tells, φ − 1
	short, long float64
	integ       float64
	learn       float64
	store, tail float64
	rear        float64 // V, of the cell
	read        float64 // V, as the computer reads it
	trim        float64 // by the rear sensor
	noise       float64
}

// A force is what is done to the mixture, or to the rear wire.
type force struct {
	Propane float64 // share of the fuel, at idle
	Hose    float64 // air, share of the flow at idle
	Volts   float64 // on the rear wire
	Wire    bool
}

// Car is a car with a wide-range sensor; it is a function of its seed.
type Car struct {
	*third.Engine
	Ring   ring
	Fault  string
	Size   float64
	Delay  float64 // s from the injector to the sensor at idle
	Oxygen float64 // g in the catalyst
	Hot    float64
	Status byte

	banks []*bank
	open  float64 // s for which the loop stays open after a cut
	t     float64
	idle  float64 // g/s
	r     *rand.Rand
}

// NewCar draws a car with a fault, "" for none.
func NewCar(r *rand.Rand, fault string, legs []third.Leg) *Car {
	c := &Car{Engine: third.NewEngine(r, legs), Fault: fault, Delay: between(r, 0.1, 0.7), Oxygen: math.Exp(between(r, math.Log(0.03), math.Log(1.2))), Hot: between(r, 80, 104), Status: 2, r: r}
	c.idle = c.Idle / 120 * c.Litres * 1.2 * 0.2
	g := ring{Gain: between(r, 0.94, 1.06), Tau: [2]float64{between(r, 0.05, 0.1), between(r, 0.05, 0.1)}, Own: [2]float64{between(r, 0, 0.06), between(r, 0, 0.06)},
		Noise: between(r, 0.001, 0.006), Ceiling: between(r, 1.25, 2), Limit: between(r, 0.15, 0.4), RearRate: between(r, 0, 0.004), RearLimit: between(r, 0.01, 0.04),
		Metered: r.Float64() < 0.4, CutTells: r.Float64() < 0.3}
	if r.Float64() < 0.6 {
		g.Learn = between(r, 1.5, 12)
	}
	if r.Float64() < 0.6 {
		g.Dither, g.Period = between(r, 0.004, 0.03), between(r, 1, 5)
	}
	c.Ring = g
	c.breaks()
	// A loop is set for its own dead time: the crossover of PI on a delay D lies well below 1/D.
	slow := c.Delay + 0.15
	c.Ring.Ki, c.Ring.Kp = between(r, 0.06, 0.4)/slow, between(r, 0, 0.25)
	n := 1
	if r.Float64() < 0.4 {
		n = 2
	}
	for range n {
		b := &bank{err: between(r, -0.06, 0.06), pipe: make([]float64, int(2/dt)), own: make([]float64, int(2/dt)), mixed: 1, tail: 1, store: c.Oxygen / 2, rear: 0.6}
		for i := range b.pipe {
			b.pipe[i] = 1
		}
		if g.Learn > 0 {
			b.long = math.Round(-128*b.err*between(r, 0.6, 1)) / 128
		}
		c.banks = append(c.banks, b)
	}
	if fault == "injector" {
		c.Size = 1 / float64(3+r.IntN(2)) // one of the 3 or 4 of this bank
	}
	return c
}

// breaks makes the fault.
func (c *Car) breaks() {
	r, g := c.r, &c.Ring
	switch c.Fault {
	case "pump open":
		// Perfect at rest (trim 0, λ 1.000): a computer that steered by the rear sensor too would walk its trim to the limit.
		g.RearRate = 0
	case "gain":
		g.Gain = between(r, 0.6, 1.5)
	case "offset":
		g.Offset = math.Copysign(between(r, 0.03, 0.1), r.Float64()-0.5)
	case "lag":
		long := between(r, 0.6, 1.5)
		g.Tau = [2]float64{long, long * between(r, 0.8, 1.2)}
	case "lag one way":
		g.Tau[r.IntN(2)] = between(r, 0.7, 1.5)
	case "delay":
		long := between(r, 0.5, 1)
		g.Own = [2]float64{long, long}
	}
}

// Step moves the car on by dt under a force.
func (c *Car) Step(f force) {
	c.t += dt
	c.Engine.Step(c.t)
	switch {
	case c.Fault == "cold":
		c.Status = 1
	case c.Cut, c.Full:
		c.Status, c.open = 4, c.Delay+0.4
	case c.open > 0: // it waits until the gas of the closed loop has come to the sensor
		c.open -= dt
	default:
		c.Status = 2
	}
	for i, b := range c.banks {
		c.burn(b, f)
		c.sense(b, i == 0)
		c.behind(b, f, i == 0)
		c.control(b, i == 0)
	}
}

// phi is the equivalence ratio in a bank's cylinders.
func (c *Car) phi(b *bank, f force) float64 {
	if c.Cut {
		return 0.01
	}
	trims := (1 + b.short) * (1 + b.long)
	if b == c.banks[0] {
		switch c.Fault {
		case "undelivered":
			trims = 1
		case "injector": // one gives always the same
			trims = c.Size + (1-c.Size)*trims
		}
	}
	fuel := (1 + b.err) * trims * (1 + c.Extra + f.Propane*c.idle/c.Flow)
	if c.Full {
		fuel = 1.14
	} else {
		if c.Fault != "undelivered" || b != c.banks[0] { // what asks for fuel is not obeyed, whatever part of it
			fuel *= 1 / c.command(b, c.t)
		}
	}
	if !c.Ring.Metered {
		fuel *= c.Flow / (c.Flow + f.Hose*c.idle)
	}
	return fuel
}

// command is λ as the computer asks for it in closed loop at t: its own dither, and the rear sensor's part.
func (c *Car) command(b *bank, t float64) float64 {
	l := 1.0
	if g := c.Ring; g.Dither > 0 {
		l += math.Copysign(g.Dither/2, math.Sin(2*math.Pi*t/g.Period))
	}
	return l / (1 + b.trim)
}

func (c *Car) burn(b *bank, f force) {
	b.head = (b.head + 1) % len(b.pipe)
	b.pipe[b.head] = c.phi(b, f) * (1 + 0.006*c.r.NormFloat64())
	b.mixed += (at(b.pipe, b.head, c.Delay*(0.25+0.75*min(1, c.idle/c.Flow))) - b.mixed) * dt / 0.08
}

// at is what a line held some time ago, s.
func at(line []float64, head int, ago float64) float64 {
	return line[(head-int(ago/dt)+len(line))%len(line)]
}

// sense moves what the cell tells.
func (c *Car) sense(b *bank, first bool) {
	g := c.Ring
	if !first {
		g.Gain, g.Offset, g.Tau, g.Own = 1, 0, [2]float64{0.07, 0.07}, [2]float64{}
	}
	b.own[b.head] = g.Gain*(b.mixed-1) + g.Offset
	y := at(b.own, b.head, g.Own[0])
	way := 0
	if y < b.y {
		y, way = at(b.own, b.head, g.Own[1]), 1
	}
	b.y += (y - b.y) * dt / max(g.Tau[way], dt)
	b.noise += -b.noise*dt/0.15 + g.Noise*math.Sqrt(2*dt/0.15)*c.r.NormFloat64()
	if first && (c.Fault == "pump open" || c.Fault == "cold") {
		b.y, b.noise = 0, 0 // an open pump wire reads 1.000 and 0 mA
	}
}

// lambda is what the sensor tells.
func (c *Car) lambda(b *bank) float64 {
	return min(c.Ring.Ceiling, 1/max(0.3, 1+b.y+b.noise))
}

// behind moves the catalyst and the narrow sensor behind it.
func (c *Car) behind(b *bank, f force, first bool) {
	b.store += third.Oxygen(c.Flow/float64(len(c.banks)), b.mixed) * dt
	out := 1.0
	if b.store < 0 || b.store > c.Oxygen {
		b.store, out = min(max(b.store, 0), c.Oxygen), b.mixed
	}
	b.tail += (out - b.tail) * dt / 0.8
	e := 0.45 + 0.38*math.Tanh((b.tail-1)/0.006) + 0.3*(0.6-b.store/c.Oxygen)
	b.rear += (min(0.88, max(0.04, e)) - b.rear) * dt / 0.5
	b.read = b.rear
	if first && f.Wire && c.Fault != "rear open" {
		b.read = f.Volts
	}
	if first && c.Fault == "rear open" {
		b.read = 0.45
	}
	if c.Status == 2 {
		b.trim += (0.65 - b.read) * c.Ring.RearRate * dt
		b.trim = min(c.Ring.RearLimit, max(-c.Ring.RearLimit, b.trim))
	}
}

// excess is λc/λm − 1 as the computer has it: it knows how long a sound sensor takes to see a command.
func (c *Car) excess(b *bank) float64 {
	return c.command(b, c.t-c.Delay*(0.25+0.75*min(1, c.idle/c.Flow))-0.15)/c.lambda(b) - 1
}

// control is PI on λc/λm − 1.
func (c *Car) control(b *bank, first bool) {
	g := c.Ring
	if first && c.Fault == "nocommand" {
		return
	}
	if c.Status != 2 {
		b.short += -b.short * dt / 0.3
		b.integ = b.short
		return
	}
	y := c.excess(b)
	b.integ = min(g.Limit, max(-g.Limit, b.integ-g.Ki*y*dt))
	b.short = min(g.Limit, max(-g.Limit, b.integ-g.Kp*y))
	if b.learn += dt; g.Learn > 0 && b.learn > g.Learn && math.Abs(b.integ) > 0.015 && c.Purge < 0.3 {
		q := math.Copysign(1.0/128, b.integ)
		b.learn = 0
		if math.Abs(b.long+q) < 0.25 {
			b.long, b.integ = b.long+q, b.integ-q
		}
	}
}

// current is a sensor maker's public table: λ to pump current, mA.
func current(lambda float64) float64 {
	table := [][2]float64{{0.65, -2}, {0.70, -1.602}, {0.75, -1.243}, {0.80, -0.927}, {0.82, -0.8}, {0.85, -0.652}, {0.90, -0.405}, {0.95, -0.183}, {0.97, -0.106}, {0.99, -0.04}, {1.003, 0}, {1.18, 0.329}, {1.43, 0.671}, {1.70, 0.938}, {1.99, 1.15}}
	for i := 1; i < len(table); i++ {
		if a, b := table[i-1], table[i]; lambda < b[0] || i == len(table)-1 {
			return a[1] + (b[1]-a[1])*(lambda-a[0])/(b[0]-a[0])
		}
	}
	return 0
}

// Value is what the port tells of a signal.
func (c *Car) Value(name string) float64 {
	b, o := c.banks[0], c.banks[len(c.banks)-1]
	lambda := func(v float64) float64 { return third.Count(v, 2.0/65536, 0, 1.99997) }
	switch name {
	case "EQ_RAT11":
		return lambda(c.lambda(b))
	case "EQ_RAT21":
		return lambda(c.lambda(o))
	case "O2S11_WIDE_MA":
		if c.Fault == "pump open" || c.Fault == "cold" {
			return 0
		}
		return third.Count(current(c.lambda(b)), 1.0/256, -128, 127.996)
	case "EQ_RAT":
		switch {
		case c.Full:
			return lambda(0.88)
		case c.Cut && c.Ring.CutTells:
			return lambda(1.99997)
		case c.Cut:
			return 1
		}
		return lambda(c.command(b, c.t))
	case "SHRTFT1":
		return third.Trim(b.short)
	case "SHRTFT2":
		return third.Trim(o.short)
	case "LONGFT1":
		return third.Trim(b.long)
	case "LONGFT2":
		return third.Trim(o.long)
	case "STSO2FT1":
		return third.Trim(b.trim)
	case "O2S12":
		return third.Count(b.read+0.004*c.r.NormFloat64(), 0.005, 0, 1.275)
	case "FUELSYS1":
		return float64(c.Status)
	case "MAP":
		return math.Round(20 + 80*c.Load)
	}
	return c.Engine.Value(name, c.Hot)
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
