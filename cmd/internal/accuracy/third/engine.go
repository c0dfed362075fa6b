package third

import (
	"math"
	"math/rand/v2"
)

// Dt is the step of the physics, s.
const Dt = 0.02

// A Leg is a stretch of standing or driving.
type Leg struct {
	Until float64 // s
	RPM   float64 // asked for; 0: idle
	Load  float64 // of what the cylinders can take in, 0 to 1
	Speed float64 // km/h
}

// Standing idles until the end, now and then with a foot on the pedal before quiet, s.
func Standing(r *rand.Rand, quiet, end float64) []Leg {
	var legs []Leg
	t := 0.0
	for t < quiet-12 && r.Float64() < 0.5 {
		t += between(r, 2, 8)
		legs = append(legs, Leg{Until: t, Load: 0.2}, Leg{Until: t + between(r, 1, 4), RPM: between(r, 1500, 3000), Load: 0.22})
		t = legs[len(legs)-1].Until
	}
	return append(legs, Leg{Until: end, Load: 0.2})
}

// Drive drives until the end: idle, town, motorway, or all of them in turn.
func Drive(r *rand.Rand, how string, end float64) []Leg {
	var legs []Leg
	t := 0.0
	leg := func(length, rpm, load, speed float64) {
		t += length
		legs = append(legs, Leg{t, rpm, load, speed})
	}
	leg(3, 0, 0.2, 0)
	for t < end {
		kind := how
		if how == "mixed" {
			kind = []string{"idle", "town", "town", "motorway"}[r.IntN(4)]
		}
		switch kind {
		case "idle":
			leg(between(r, 10, 90), 0, 0.2, 0)
		case "town":
			v := between(r, 25, 60)
			leg(between(r, 3, 9), between(r, 2000, 3200), between(r, 0.5, 1), v/2)
			leg(between(r, 4, 40), between(r, 1400, 2300), between(r, 0.25, 0.5), v)
			leg(between(r, 1, 9), between(r, 1300, 2200), 0.05, v*0.7)
			leg(between(r, 2, 25), 0, 0.2, 0)
		default:
			v := between(r, 90, 140)
			for range 3 {
				leg(between(r, 10, 70), v*25, between(r, 0.35, 0.7), v)
				leg(between(r, 2, 7), v*27, 1, v+10)
				leg(between(r, 1, 20), v*24, 0.05, v-10)
			}
		}
	}
	return legs
}

// An Engine is what runs: air, and what disturbs its mixture beside the loop.
type Engine struct {
	canister
	RPM, Load, Speed float64
	Flow             float64 // g/s
	Cut, Full        bool    // fuel cut, full load: the loop is open
	Extra            float64 // fuel beside the injectors' as a fraction: purge, tank vapour, wall film

	Idle    float64 // rpm
	Litres  float64
	Hunting float64 // rpm by which it does at idle
	Film    float64 // share of the fuel that the wall takes where load rises by half
	CutsOff bool    // fuel is cut on overrun
	Legs    []Leg

	r        *rand.Rand
	film     float64
	wander   float64
	fullFor  float64
	leg      int
	accessor float64 // load by fan, steering pump, compressor
}

// A canister holds the tank's vapour, and is purged now and then.
type canister struct {
	Vapour float64 // what it adds at most, fraction of the fuel
	Purge  float64 // how far its valve is open, 0 to 1
	Purged float64 // s since it began to open
	opens  bool
	valve  float64 // s in which it is opened and shut
	next   float64 // when it opens or shuts
}

// NewEngine draws an engine.
func NewEngine(r *rand.Rand, legs []Leg) *Engine {
	e := &Engine{r: r, Legs: legs, Idle: between(r, 580, 950), Litres: between(r, 0.9, 4), Film: between(r, 0, 0.06), CutsOff: r.Float64() < 0.85}
	if r.Float64() < 0.2 {
		e.Hunting = between(r, 15, 70)
	}
	if r.Float64() < 0.7 {
		e.Vapour = math.Pow(r.Float64(), 2) * 0.1
	}
	e.valve = between(r, 1.5, 12)
	e.RPM, e.Load, e.next = e.Idle, 0.2, between(r, -20, 90)
	return e
}

// Step moves the engine on to t, s.
func (e *Engine) Step(t float64) {
	for e.leg < len(e.Legs)-1 && t >= e.Legs[e.leg].Until {
		e.leg++
	}
	leg, r := e.Legs[e.leg], e.r
	target := max(leg.RPM, e.Idle)
	if leg.RPM == 0 {
		target += e.Hunting * math.Sin(2*math.Pi*t/3.1)
	}
	if r.Float64() < Dt/40 {
		e.accessor = between(r, 0, 0.06)
	}
	e.RPM += (target-e.RPM)*Dt/0.6 + r.NormFloat64()*e.Idle*0.002
	before := e.Load
	e.Load += (leg.Load + e.accessor - e.Load) * Dt / 0.25
	e.Speed += (leg.Speed - e.Speed) * Dt / 3
	// Four strokes draw Litres in two turns; air weighs 1.2 g a litre.
	e.Flow = e.RPM / 120 * e.Litres * 1.2 * max(e.Load, 0.08)
	e.Cut = e.CutsOff && leg.Load < 0.1 && e.Load < 0.12 && e.RPM > e.Idle*1.4
	e.fullFor += Dt
	if leg.Load < 0.85 {
		e.fullFor = 0
	}
	e.Full = e.fullFor > 0.8
	e.film += (e.Load-before)*e.Film/0.5 - e.film*Dt/0.7
	if t >= e.next {
		e.opens = !e.opens
		e.next = t + between(r, 8, 60)
		if !e.opens {
			e.next = t + between(r, 20, 150)
		}
	}
	open := 0.0
	e.Purged += Dt
	if !e.opens {
		e.Purged = 0
	}
	if e.opens && !e.Cut {
		open = 1
	}
	e.Purge += (open - e.Purge) * Dt / e.valve
	// As much vapour is the smaller share, the more the engine burns.
	e.wander += -e.wander*Dt/20 + 0.006*math.Sqrt(2*Dt/20)*r.NormFloat64()
	e.Extra = e.Purge*e.Vapour*min(1, 3/e.Flow) - e.film + e.wander
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// Value is what the port tells of the engine; hot is the coolant, °C.
func (e *Engine) Value(name string, hot float64) float64 {
	switch name {
	case "RPM":
		return Count(e.RPM, 0.25, 0, 16383)
	case "ECT":
		return math.Floor(hot)
	case "VSS":
		return math.Floor(e.Speed)
	case "LOAD_PCT":
		return Count(100*e.Load, 100.0/255, 0, 100)
	case "MAF":
		return Count(e.Flow, 0.01, 0, 655)
	case "EVAP_PCT":
		return Count(100*e.Purge, 100.0/255, 0, 100)
	}
	return 0
}
