package heldout

import "math"

// road is an hour of driving: idle, town, motorway, fuel cuts, stalls. Gear ratios and times
// are common practice, no source; shares and lengths of fuel cut are held to recordings of real cars (7 to 20 %, 3 s, up to 48 s).
type road struct {
	dice
	idle     *idling
	place    int // where: parked, town, country, motorway
	moveOn   float64
	want     float64 // km/h
	change   float64
	speed    float64
	pedal    lag
	stalled  float64 // until when the engine stands
	cutFrom  float64 // rpm
	ripple   drift
	cutSince float64
	closes   float64 // s from a start to closed loop: 45 of one open controller (its defaults), less when warm
}

const (
	parked = iota
	town
	country
	motorway
)

func newRoad(d dice, e *engine) *road {
	r := &road{dice: d, closes: d.in(3, 25), idle: newIdling(d, e), cutFrom: d.in(1200, 1700), ripple: drift{tau: d.in(0.5, 4), sd: d.in(0.02, 0.1)}}
	if d.chance(0.3) { // a cold start
		e.ect = d.in(0, 50)
		e.openTill = d.in(20, 120)
	}
	return r
}

func (r *road) step(e *engine, t, dt float64) {
	r.plan(t)
	e.off = t < r.stalled
	if e.off {
		e.openTill = r.stalled + r.closes
		e.rpm, e.air, e.load, e.cut, e.enrich = 0, 0.3, 0, false, 0
		return
	}
	// The driver follows the wanted speed: up to 2 m/s² up, 2.5 down.
	gap := r.want - r.speed
	a := min(max(0.5*gap/3.6, -2.5), 2*math.Exp(-r.speed/110))
	if r.want == 0 && r.speed < 3 {
		r.speed, a = 0, 0
	}
	r.speed = max(0, r.speed+a*3.6*dt)
	e.speed = r.speed
	if r.speed < 6 {
		e.cut, e.enrich = false, 0
		r.idle.step(e, t, dt)
		return
	}
	// km/h at 1000 rpm: 8, 14, 21, 29, 38.
	gear := 8.0
	for _, g := range []float64{14, 21, 29, 38} {
		if r.speed/g*1000 > 1500 {
			gear = g
		}
	}
	e.rpm = max(r.speed/gear*1000, 850)
	// A car of 1350 kg: rolling and air resistance, and what accelerates it; 12 kW a litre at 2000 rpm is about half load.
	kw := (180+0.035*r.speed*r.speed+1350*a)*r.speed/3.6/1000 + 2
	load := 14 + 100*kw/(e.litres*e.rpm*0.0092) + 100*r.ripple.step(r.dice, dt)*0.3
	pedal := r.pedal.step(min(max(load, 0), 100), 0.25, dt)
	cut := kw < -1 && e.rpm > r.cutFrom
	if cut && r.cutSince == 0 {
		r.cutSince = t
	} else if !cut {
		r.cutSince = 0
	}
	e.cut = cut && t-r.cutSince > 0.4
	e.enrich = 0
	if pedal > 88 {
		e.enrich = 1.12
	}
	was := e.air
	e.load = max(pedal, 12)
	e.throttle = e.load * 0.8
	e.air = e.load / 100 * e.rpm / 120 * e.litres * 1.18
	// Air that grows is ahead of its fuel, by some hundredths at 30 %/s (common practice, no source).
	e.kick = e.kick*(1-dt/0.5) - 0.06*(e.air-was)/max(was, 1)
	e.ect += (92 - e.ect) * dt / 400
}

// plan decides where and how fast.
func (r *road) plan(t float64) {
	if t >= r.moveOn {
		r.place = r.pick(2, 5, 3, 3)
		r.moveOn = t + []float64{r.in(30, 400), r.in(120, 700), r.in(120, 600), r.in(180, 900)}[r.place]
		r.change = t
	}
	if t < r.change {
		return
	}
	switch r.place {
	case parked:
		r.want, r.change = 0, r.moveOn
	case town:
		if r.want > 0 && r.chance(0.4) {
			r.want, r.change = 0, t+r.spread(6, 60)
			if r.chance(0.03) {
				r.stalled = t + 14 + r.in(2, 20)
			}
		} else {
			r.want, r.change = r.in(20, 60), t+r.spread(6, 50)
		}
	case country:
		r.want, r.change = r.in(45, 95), t+r.spread(8, 60)
	case motorway:
		r.want, r.change = r.in(85, 135), t+r.spread(15, 120)
	}
}
