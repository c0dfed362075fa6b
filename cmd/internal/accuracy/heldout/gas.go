package heldout

import "math"

// path is the way of the fuel from its command to the sensor.
type path struct {
	revs   float64 // crank revolutions from injection to the open exhaust valve
	litres float64 // of exhaust before the sensor
	film   float64 // share of the fuel that wets the port first
	filmS  float64 // s, until it has dried
	wet    lag
	ring   [512]float64
	n      int
}

// delay in s: revolutions, and the pipe's gas at 900 K, 0.39 g/L (ideal gas), swept by the flow.
// A controller maker's manual has 3 to 10 revolutions altogether.
func (p *path) delay(rpm, air float64) float64 {
	return p.revs*60/max(rpm, 300) + p.litres*0.39/max(air, 0.3)
}

// port is what reaches the cylinders of φ as injected.
func (p *path) port(phi, dt float64) float64 {
	return (1-p.film)*phi + p.film*p.wet.step(phi, p.filmS, dt)
}

// step takes φ in the cylinders and returns φ at the sensor.
func (p *path) step(phi, rpm, air, dt float64) float64 {
	p.n++
	p.ring[p.n&511] = phi
	back := p.delay(rpm, air) / dt
	i := min(int(back), 509)
	f := min(back-float64(i), 1)
	return p.ring[(p.n-i)&511]*(1-f) + p.ring[(p.n-i-1)&511]*f
}

func (p *path) fill(phi float64) {
	p.wet.x = phi
	for i := range p.ring {
		p.ring[i] = phi
	}
}

// catalyst stores oxygen and gives it up: dm/dt = 0.2315·air·(1-φ) g/s (0.2315 is oxygen's share of air by mass).
type catalyst struct {
	grams float64 // that it can hold; 0.3 to 2 (from memory), under 0.03 worn out (one maker's limit)
	full  float64 // 0 to 1
	sharp float64 // how suddenly it is through
}

// step returns φ behind it.
func (c *catalyst) step(phi, air, dt float64) float64 {
	lean := 1 - phi
	through, room := 0.0, c.full
	if lean > 0 {
		room = 1 - c.full
	}
	if c.sharp*room < 9 { // else next to nothing
		through = math.Exp(-c.sharp * room)
	}
	c.full = min(max(c.full+0.2315*air*lean*(1-through)*dt/c.grams, 0), 1)
	// At rest it reads 0.5 to 0.75 V on most cars: a trace richer than the gas before it (common practice, no source).
	return 1 - lean*through + 0.0015*(0.9-c.full)
}
