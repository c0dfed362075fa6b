package unseenwide

import "math"

// bankSpec is a row of cylinders with its injectors, exhaust, catalyst and sensors.
type bankSpec struct {
	film, filmTau float64 // share of the fuel that falls on the wall, and how long it stays there, s (Aquino's form, SAE 810494, from memory)
	flow          float64 // injectors' flow beside their rated one
	dull          float64 // ms that injectors open later than the computer thinks, of some 3 ms at idle
	one           float64 // what a single injector delivers of its share
	obeys         bool    // trim reaches the injectors
	cycles, gas   float64 // delay to the sensor: engine cycles, and g of gas in the way
	mixing        float64 // s
	scatter       float64 // of φ from cycle to cycle
	store         float64 // g of oxygen in the catalyst
	rearLag       float64
	cell          cellSpec
}

// bank is its state.
type bank struct {
	bankSpec
	cell       cell
	wall       float64   // g of fuel
	history    []float64 // φ that left the cylinders
	at         int
	phi, mixed float64
	full       float64 // share of the store that is full of oxygen
	rear       float64 // V
	cylinders  int
	roughness  float64
	shown      float64 // φ at the computer's input
}

const historyS = 4.0

func newBank(s bankSpec, cylinders int, dt, fuel float64) bank {
	b := bank{bankSpec: s, cylinders: cylinders, wall: s.film * s.filmTau * fuel, history: make([]float64, int(historyS/dt)), phi: 1, mixed: 1, full: 0.5, rear: 0.6, shown: 1}
	for i := range b.history {
		b.history[i] = 1
	}
	b.cell = cell{cellSpec: s.cell, tip: 1}
	return b
}

// transport is the delay from the injector to the sensor, s.
func (s bankSpec) transport(rpm, air float64) float64 { return s.cycles*120/rpm + s.gas/max(air, 0.3) }

// injected is what leaves the injectors, g/s, of what is commanded: base without trim; charge is a pulse beside idle's.
func (b *bank) injected(base, trim, charge float64) float64 {
	if base <= 0 {
		return 0
	}
	if !b.obeys {
		trim = 1
	}
	late := 1 - b.dull/(3*max(charge, 0.5))
	n := float64(b.cylinders)
	return base * trim * b.flow * late * (n - 1 + b.one) / n
}

// burn puts fuel (g/s injected), vapour (g/s) and air (g/s) together, runs the exhaust and the sensors.
func (b *bank) burn(dt, fuel, vapour, air, rpm float64, gauss [3]float64) {
	in := (1-b.film)*fuel + b.wall/b.filmTau
	b.wall += (b.film*fuel - b.wall/b.filmTau) * dt
	b.roughness = wander(b.roughness, dt, 60/rpm, gauss[0])
	b.phi = max(0, stoich*(in+vapour)/max(air, 0.05)*(1+b.scatter*b.roughness))
	b.at = (b.at + 1) % len(b.history)
	b.history[b.at] = b.phi
	back := int(clamp(b.transport(rpm, air)/dt, 0, float64(len(b.history)-1)))
	b.mixed = toward(b.mixed, b.history[(b.at-back+len(b.history))%len(b.history)], dt, b.mixing)
	b.shown = b.cell.step(dt, b.mixed, gauss[1])
	b.behind(dt, air, gauss[2])
}

// behind fills and empties the catalyst with oxygen and reads the narrow sensor behind it: 0.2315 of air is oxygen.
func (b *bank) behind(dt, air, gauss float64) {
	b.full = clamp(b.full+0.2315*air*(1-b.mixed)*dt/b.store, 0, 1)
	volts := 0.70 - 0.12*b.full
	switch {
	case b.full <= 0 && b.mixed > 1:
		volts = min(0.70+2*(b.mixed-1), 0.86)
	case b.full > 0.92:
		volts = max(0.58-0.53*(b.full-0.92)/0.06, 0.05)
	}
	b.rear = clamp(toward(b.rear, volts, dt, b.rearLag)+0.001*gauss*math.Sqrt(dt/0.01), 0, 1.2)
}
