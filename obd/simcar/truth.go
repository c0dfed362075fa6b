package simcar

import "time"

// ForceTruth is a force and what really came of it. Times are from the start; -1 is
// 'not yet'.
type ForceTruth struct {
	Force
	Begin, End time.Duration
	// Answer is when the short-term trim that the tapped or disturbed bank's sensor
	// feeds began to move against the force, never to turn back while it lasted; the
	// jump of a loop that was just turning counts.
	Answer time.Duration
}

// against returns the sign of the trim that answers the force: +1 adds fuel.
func (f *ForceTruth) against() float64 {
	if f.Kind == ForceLean || f.Kind == ForceVacuum {
		return 1
	}
	return -1
}

// Point is the plant at one moment, one value per bank.
type Point struct {
	At         time.Duration
	Lambda     [2]float64 // in the exhaust at the upstream sensor
	Upstream   [2]float64 // V at the computer's input, as converted
	Downstream [2]float64 // V
	STFT, LTFT [2]float64 // %
	Status     [2]byte    // FUELSYS
	RPM, Air   float64    // 1/min, g/s
	Delay      float64    // s from injection to sensor
}

// Truth is what tests may know and a tester cannot.
type Truth struct {
	Forces []ForceTruth
	Trace  []Point // each Config.Trace; empty without
}

// answered notes that the trim fed by the sensor of the given physical bank moved.
func (h *technician) answered(bank int, moved float64, now time.Duration) {
	if moved == 0 {
		return
	}
	for i := range h.forces {
		f := &h.forces[i]
		if f.Begin < 0 || f.End >= 0 || f.Kind == ForceOpen || f.sort() == 4 || (bank == h.bank) == f.Beside && f.Kind.Wire() {
			continue
		}
		switch {
		case moved*f.against() < 0:
			f.Answer = -1
		case f.Answer < 0:
			f.Answer = now
		}
	}
}

// tracer keeps Points.
type tracer struct {
	every, next time.Duration
	points      []Point
}

func (r *tracer) tick(c *car) {
	if r.every <= 0 || c.now() < r.next {
		return
	}
	r.next += r.every
	r.points = append(r.points, c.point())
}

// point describes the plant now.
func (c *car) point() Point {
	p := Point{At: c.now(), RPM: c.rpm, Air: c.air, Delay: c.delay}
	for i := range c.banks[:c.spec.engine.banks] {
		k := &c.computer.bank[i]
		p.Lambda[i] = 1 / max(c.banks[i].atCell, 0.01)
		p.Upstream[i], p.Downstream[i] = k.up, k.down
		p.STFT[i], p.LTFT[i], p.Status[i] = 100*k.stft, 100*k.learned(), k.status
	}
	return p
}
