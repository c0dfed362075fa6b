// Package third is a model of cars with a narrow sensor, of those who test them by wire, and of
// what may be said of it, written apart from the watcher and from the other models.
//
// Physics: a cylinder's equivalence ratio φ = (1+error)(1+short)(1+long)(1+vapour), carried
// to the sensor in a time that falls with air flow, mixed, turned into a voltage by a smooth step,
// joined on the wire with what is held there. Figures without a source are common practice.
package third

import (
	"math"
	"math/rand/v2"
)

// A loop is how a computer turns the sensor's voltage into trim; fractions and s.
type loop struct {
	Kind   string  // integrator, jump, deadband, steps, linear
	Ramp   float64 // 1/s
	Jump   float64
	Tick   float64 // s between two steps of one count
	Limit  float64
	Low    float64 // V; between Low and High nothing is done (deadband) or the side is kept
	High   float64
	Skew   float64 // how much faster it adds than it cuts: the rear sensor's bias
	Dwell  float64 // s that a crossing to rich is answered late, for the same end
	Learn  float64 // s between two counts of the learned trim; 0: never
	Pauses bool    // while the canister is purged
	Zeroes bool    // and trim is then 0
	LetsGo float64 // s on one side after which it stops using the sensor; 0: never
	Faulty byte    // the status then told: 10 or 08, or 02
}

// A sensor is a narrow cell and its wire.
type sensor struct {
	Lean, Rich float64    // V
	Width      float64    // of the step, in φ
	Tau        [2]float64 // lag towards rich, towards lean, s
	Ohm        float64
	Noise      float64 // V
	BiasV      float64 // of the input, and through which resistance
	BiasOhm    float64
	Return     float64 // V of the sensor return over the computer's ground
	Filter     float64 // of the computer's input, s
}

// A bank is one side of the engine with its loop.
type bank struct {
	err   [9]float64 // of the mixture by cell of speed and load
	long  [9]float64
	pipe  []float64 // φ on its way, newest at head
	head  int
	mixed float64
	emf   float64
	volts float64 // as the computer reads it
	short float64
	integ float64
	side  float64 // +1: taken for rich
	since float64
	acc   float64
	mean  float64 // of short, over 5 s
	learn float64
	stuck float64 // s on one side
	gone  bool    // the sensor is let go of
	store float64 // g of oxygen in the catalyst
	tail  float64 // φ behind it
	rear  float64 // V
}

// A grip is a wire held at a voltage through a resistance.
type grip struct {
	V, Ohm float64
	Open   bool // the sensor's branch is open
}

// Car is a car; it is a function of its seed.
type Car struct {
	*Engine
	Loop   loop
	Sensor sensor
	Fault  string
	Size   float64 // of the fault
	Leak   float64 // g/s of air that nothing metered
	Delay  float64 // s from the injector to the sensor at idle
	Oxygen float64 // g that the catalyst can hold
	Miss   float64 // misfires/s
	Status byte
	Cold   bool
	Hot    float64 // coolant, °C

	banks []*bank
	t     float64
	idle  float64 // flow at idle, g/s
	r     *rand.Rand
}

// NewCar draws a car with a fault, "" for none, on the legs.
func NewCar(r *rand.Rand, fault string, legs []Leg) *Car {
	c := &Car{Engine: NewEngine(r, legs), Fault: fault, r: r, Status: 2, Delay: between(r, 0.1, 1.2), Oxygen: math.Exp(between(r, math.Log(0.03), math.Log(1.5))), Hot: between(r, 80, 100)}
	c.Loop, c.Sensor = drawLoop(r), drawSensor(r)
	c.idle = c.Idle / 120 * c.Litres * 1.2 * 0.2
	if r.Float64() < 0.1 {
		c.Hot, c.Idle = between(r, 102, 112), c.Idle+60 // hot idle
	}
	if r.Float64() < 0.08 {
		c.Miss = between(r, 0.2, 2)
	}
	n := 1
	if r.Float64() < 0.35 || fault == "crossed" {
		n = 2
	}
	for range n {
		b := &bank{pipe: make([]float64, int(2/Dt)), mixed: 1, tail: 1, store: c.Oxygen / 2, emf: 0.5, volts: 0.5, side: -1}
		for i := range b.pipe {
			b.pipe[i] = 1
		}
		common := between(r, -0.04, 0.04)
		for i := range b.err {
			b.err[i] = common + between(r, -0.04, 0.04)
			if c.Loop.Learn > 0 {
				b.long[i] = clamp(math.Round(-b.err[i]*between(r, 0.6, 1.1)*128)/128, 0.2)
			}
		}
		c.banks = append(c.banks, b)
	}
	c.break_()
	return c
}

func drawLoop(r *rand.Rand) loop {
	l := loop{Kind: []string{"integrator", "jump", "jump", "deadband", "steps", "steps", "linear"}[r.IntN(7)],
		Ramp: math.Exp(between(r, math.Log(0.006), math.Log(0.06))), Limit: between(r, 0.1, 0.4), Low: 0.45, High: 0.45, Skew: between(r, -0.3, 0.3), Dwell: between(r, -0.4, 0.3)}
	switch l.Kind {
	case "jump":
		l.Jump = between(r, 0.015, 0.045)
	case "deadband":
		l.Low, l.High, l.Jump = between(r, 0.3, 0.42), between(r, 0.48, 0.62), between(r, 0.008, 0.03)
	case "steps":
		l.Tick, l.Jump = 1/math.Exp(between(r, math.Log(0.25), math.Log(5))), float64(r.IntN(4))/128
		if l.Tick > 1 {
			l.Jump = max(l.Jump, 2.0/128) // so slow a ramp alone would not cycle within a minute
		}
	default:
		l.Ramp = max(l.Ramp, 0.015)
		l.Low, l.High = 0.45-between(r, 0, 0.08), 0.45+between(r, 0, 0.08)
	}
	if r.Float64() < 0.6 {
		l.Learn = between(r, 1.5, 12)
	}
	if r.Float64() < 0.2 {
		l.Pauses, l.Zeroes = true, r.Float64() < 0.4
	}
	if r.Float64() < 0.12 {
		l.LetsGo, l.Faulty = between(r, 8, 30), []byte{0x10, 0x08, 0x02}[r.IntN(3)]
	}
	return l
}

func drawSensor(r *rand.Rand) sensor {
	s := sensor{Lean: between(r, 0.02, 0.15), Rich: between(r, 0.75, 0.95), Width: between(r, 0.0008, 0.003), Ohm: math.Exp(between(r, math.Log(60), math.Log(8000))),
		Noise: between(r, 0.001, 0.015), BiasV: 0.45, BiasOhm: math.Exp(between(r, math.Log(2e5), math.Log(4e6))), Filter: Dt}
	s.Tau = [2]float64{between(r, 0.05, 0.2), between(r, 0.05, 0.2)}
	if r.Float64() < 0.3 {
		s.BiasV = []float64{0, 0.38, 0.52, 1.1}[r.IntN(4)]
	}
	if r.Float64() < 0.4 {
		s.Filter = between(r, 0.05, 0.4)
	}
	if r.Float64() < 0.12 {
		s.Return = between(r, 0.05, 0.25)
	}
	return s
}

// break_ makes the fault.
func (c *Car) break_() {
	r := c.r
	switch c.Fault {
	case "low":
		c.Size = between(r, 0.01, 0.14)
	case "high":
		c.Size = between(r, 0.72, 0.9)
	case "mid":
		c.Size = between(r, 0.4, 0.5)
	case "lazy":
		long := between(r, 0.6, 2.5)
		switch r.IntN(4) {
		case 0:
			c.Sensor.Tau[0] = long
		case 1:
			c.Sensor.Tau[1] = long
		default:
			c.Sensor.Tau = [2]float64{long, long * between(r, 0.7, 1.3)}
		}
		c.Size = max(c.Sensor.Tau[0], c.Sensor.Tau[1])
	case "nocommand":
		c.banks[0].short = math.Round(128*between(r, -0.1, 0.1)) / 128
	case "undelivered":
		c.Size = between(r, 0.03, 0.15) * []float64{1, -1}[r.IntN(2)]
	case "airleak": // more than the computer may add
		c.Loop.Limit = between(r, 0.1, 0.25)
		c.Leak = c.idle * ((1+c.Loop.Limit)*(1+between(r, 0.15, 0.4)) - 1)
		c.Loop.Learn = 0
	case "exhaustleak small":
		c.Size = between(r, 0.01, 0.03)
	case "exhaustleak large":
		c.Size = between(r, 0.5, 0.7)
	}
	if c.Fault == "" && r.Float64() < 0.25 {
		c.Leak = c.idle * between(r, 0.02, 0.12) // within its authority
		c.Loop.Limit = max(c.Loop.Limit, 0.2)
	}
}

func clamp(v, most float64) float64 { return min(most, max(-most, v)) }

// cell is the learning cell in which the engine runs.
func (c *Car) cell() int {
	return min(2, int(c.RPM/1400))*3 + min(2, int(c.Load/0.34))
}

// Step moves the car on by Dt. g is what is held on the wire of bank 1's sensor, nil for nothing.
func (c *Car) Step(g *grip) {
	c.t += Dt
	c.Engine.Step(c.t)
	if c.Status == 2 || c.Status == 4 || c.Status == 1 {
		switch {
		case c.Cold:
			c.Status = 1
		case c.Cut, c.Full:
			c.Status = 4
		default:
			c.Status = 2
		}
	}
	for _, b := range c.banks {
		c.burn(b)
	}
	for i, b := range c.banks {
		from := b
		if c.Fault == "crossed" {
			from = c.banks[1-i]
		}
		var held *grip
		if from == c.banks[0] { // they hold the wire at the sensor in bank 1's pipe
			held = g
		}
		v := c.wire(from, held, i == 0)
		b.volts += (v - b.volts) * Dt / max(c.Sensor.Filter, Dt)
	}
	for i, b := range c.banks {
		c.control(b, i == 0)
	}
}

// Phi is the equivalence ratio in the cylinders of a bank.
func (c *Car) phi(b *bank) float64 {
	k := c.cell()
	if c.Cut {
		return 0.02
	}
	fuel := (1 + b.err[k]) * (1 + b.short) * (1 + b.long[k])
	if c.Fault == "undelivered" && b == c.banks[0] {
		fuel = 1 + c.Size
	}
	if c.Full {
		fuel = 1.13
	}
	return fuel * (1 + c.Extra) * c.Flow / (c.Flow + c.Leak)
}

func (c *Car) burn(b *bank) {
	b.head = (b.head + 1) % len(b.pipe)
	b.pipe[b.head] = c.phi(b) * (1 + 0.006*c.r.NormFloat64())
	late := int(c.Delay * (0.25 + 0.75*min(1, c.idle/c.Flow)) / Dt)
	b.mixed += (b.pipe[(b.head-late+len(b.pipe))%len(b.pipe)] - b.mixed) * Dt / 0.08
	seen := b.mixed
	if c.Miss > 0 && c.r.Float64() < c.Miss*Dt {
		b.mixed -= 0.03 // the charge's oxygen, in that cylinder's share of the gas
	}
	idle := min(1, c.idle/c.Flow) // a leak of the exhaust draws air between pulses, at idle most
	if c.Fault == "exhaustleak small" || c.Fault == "exhaustleak large" {
		seen *= 1 - c.Size*(0.3+0.7*idle)
	}
	s := c.Sensor
	x := math.Tanh((seen - 1) / s.Width / 2)
	emf := (s.Rich+s.Lean)/2 + (s.Rich-s.Lean)/2*x + 0.15*clamp(seen-1, 0.2)*math.Abs(x)
	if seen < 0.3 {
		emf = min(emf, 0.035)
	}
	tau := s.Tau[1]
	if emf > b.emf {
		tau = s.Tau[0]
	}
	b.emf += (emf - b.emf) * Dt / max(tau, Dt)
	b.store += Oxygen(c.Flow/float64(len(c.banks)), b.mixed) * Dt
	out := 1.0
	if b.store < 0 || b.store > c.Oxygen {
		b.store, out = min(max(b.store, 0), c.Oxygen), b.mixed
	}
	b.tail += (out - b.tail) * Dt / 0.8
	e := 0.45 + 0.38*math.Tanh((b.tail-1)/0.006) + 0.2*(0.5-b.store/c.Oxygen)
	b.rear += (min(0.88, max(0.04, e)) - b.rear) * Dt / 0.5
}

// Oxygen is how much is left over, g/s, of a flow of air, g/s, burnt at φ: air is 0.2315 oxygen by mass.
func Oxygen(air, phi float64) float64 { return 0.2315 * air * (1 - phi) }

// wire is the voltage at an input: cell, what is held, and the input's own source, joined.
func (c *Car) wire(b *bank, g *grip, first bool) float64 {
	s := c.Sensor
	emf, ohm := b.emf, s.Ohm
	if b == c.banks[0] {
		switch c.Fault {
		case "low", "high":
			emf = c.Size + 0.01*math.Sin(c.t/4)
		case "mid":
			emf, ohm = 0, 1e9
			if s.BiasV < 0.3 || s.BiasV > 0.6 {
				emf, ohm = c.Size, 1e4
			}
		}
	}
	if c.Cold {
		ohm = 3e6
	}
	sum, div := s.BiasV/s.BiasOhm, 1/s.BiasOhm
	if c.Fault != "open" || !first {
		if g == nil || !g.Open {
			sum, div = sum+emf/ohm, div+1/ohm
		}
		if g != nil {
			sum, div = sum+g.V/g.Ohm, div+1/g.Ohm
		}
	}
	return sum/div + s.Return + s.Noise*c.r.NormFloat64()
}

// control moves the trims of a bank by what its input reads.
func (c *Car) control(b *bank, first bool) {
	l, v := c.Loop, b.volts
	b.since += Dt
	side := b.side
	switch {
	case v > l.High:
		side = 1
	case v < l.Low:
		side = -1
	case l.Kind == "deadband":
		side = 0
	}
	if side == b.side {
		b.stuck += Dt
	} else {
		b.stuck = 0
	}
	if l.LetsGo > 0 && !b.gone && b.stuck > l.LetsGo && c.Status == 2 && math.Abs(b.short) > 0.6*l.Limit {
		b.gone = true
		c.Status = l.Faulty
	} else if b.gone && b.stuck == 0 {
		b.gone = false
		c.Status = 2
	}
	if first && c.Fault == "nocommand" {
		b.side = side
		return
	}
	paused := l.Pauses && c.Purge > 0.3 && c.Purged < 18
	switch {
	case c.Cold || c.Cut || c.Full || b.gone || paused && l.Zeroes:
		b.short += (0 - b.short) * Dt / 0.3
		b.integ, b.side = b.short, side
		return
	case paused:
		b.side = side
		return
	}
	if first && c.Fault == "wrongway" {
		v, side = 0.9-v, -side
	}
	before := b.short
	c.move(b, side, v)
	if first && (c.Fault == "adds only" && b.short < before || c.Fault == "cuts only" && b.short > before) && before*(b.short-before) >= 0 {
		b.short = before // beyond 0 it goes one way alone
	}
	c.teach(b)
}

// move is the loop proper.
func (c *Car) move(b *bank, side, v float64) {
	l := c.Loop
	if l.Kind == "linear" {
		x := clamp((0.45-v)/0.4, 1)
		b.integ = clamp(b.integ+x*l.Ramp*Dt, l.Limit)
		b.short = clamp(b.integ+0.02*x, l.Limit)
		b.side = side
		return
	}
	late := max(0, l.Dwell)
	if side < 0 {
		late = max(0, -l.Dwell)
	}
	if side != b.side {
		if b.since < late && b.side != 0 {
			side = b.side
		} else {
			b.short -= side * l.Jump
			b.side = side
		}
	} else {
		b.since = 0
	}
	switch {
	case l.Tick > 0:
		if b.acc += Dt; b.acc >= l.Tick {
			b.acc = 0
			b.short -= side / 128
		}
	default:
		b.short -= side * l.Ramp * (1 - side*l.Skew) * Dt
	}
	b.short = clamp(b.short, l.Limit)
}

// teach learns what short-term trim has to do all the time, by cell.
func (c *Car) teach(b *bank) {
	b.mean += (b.short - b.mean) * Dt / 5
	if b.learn += Dt; c.Loop.Learn == 0 || b.learn < c.Loop.Learn || math.Abs(b.mean) < 0.015 || c.Purge > 0.3 {
		return
	}
	b.learn = 0
	q := math.Copysign(1.0/128, b.mean)
	k := c.cell()
	if math.Abs(b.long[k]+q) < 0.25 {
		b.long[k] += q
		b.short, b.integ = b.short-q, b.integ-q
	}
}

// Value is what the port tells of a signal.
func (c *Car) Value(name string) float64 {
	b := c.banks[len(c.banks)-1]
	switch name {
	case "O2S11":
		return Count(c.banks[0].volts, 0.005, 0, 1.275)
	case "O2S21":
		return Count(b.volts, 0.005, 0, 1.275)
	case "O2S12":
		return Count(c.banks[0].rear+0.004*c.r.NormFloat64(), 0.005, 0, 1.275)
	case "SHRTFT1":
		return Trim(c.banks[0].short)
	case "SHRTFT2":
		return Trim(b.short)
	case "LONGFT1":
		return Trim(c.banks[0].long[c.cell()])
	case "LONGFT2":
		return Trim(b.long[c.cell()])
	case "FUELSYS1":
		return float64(c.Status)
	}
	return c.Engine.Value(name, c.Hot)
}
