package heldout

import (
	"slices"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// Wide draws a test of a car with wide-range sensors: the mixture is moved, or the throttle lifted.
func Wide(seed uint64) (*truth.Test, []obd.Record) {
	d := newDice(seed, 22)
	weights := make([]float64, len(wideFaults))
	for i, f := range wideFaults {
		weights[i] = f.weight
	}
	fault := wideFaults[d.pick(weights...)].name
	by := "mixture"
	if d.chance(0.2) {
		by = "fuelcut"
	}
	build := func() *car {
		c := drawWide(seed)
		if fault == crossed && len(c.banks) < 2 {
			fault = sound
		}
		c.spoilWide(newDice(seed, 23), fault)
		if by == "fuelcut" {
			c.driver = newLifting(newDice(seed, 24), &c.engine)
		} else {
			c.driver = newIdling(newDice(seed, 24), &c.engine)
		}
		c.t = -burn
		return c
	}
	c, twin := build(), build()
	rear := d.chance(0.8)
	p := widePort(newDice(seed, 25), len(c.banks), rear)
	hands := &technician{dice: newDice(seed, 26)}
	metered := d.chance(0.15)
	if by == "mixture" {
		hands.planMixture(hands.in(15, 50), metered)
		hands.say()
	} else {
		hands.style = "lifts off"
		for _, l := range c.driver.(*lifting).lifts {
			hands.holds = append(hands.holds, hold{side: "lean", begin: l[0], end: l[1]})
			hands.ends = l[1] + 15
		}
	}
	t := tryWide(seed, c, twin, p, hands, fault, by, rear)
	return t, p.recording(hands.marks)
}

// tryWide runs a test beside a twin whom nobody forces, of the same chances: what differs is the answer.
func tryWide(seed uint64, c, twin *car, p *port, hands *technician, fault, by string, rear bool) *truth.Test {
	if by == "mixture" {
		c.forced = hands.force
	}
	w := &witness{holds: hands.holds, moved: make([]motion, len(hands.holds)), next: -burn + 15}
	j := &wideJudge{judge: judge{witness: w, car: c, port: p, hands: hands, rear: rear}, apart: make([]apart, len(hands.holds))}
	p.told, p.twin = j.told, twin
	p.open(c)
	c.run(hands.ends, func() {
		w.watch(c, p)
		if by == "mixture" {
			twin.step()
			j.compare(twin)
		}
		p.watch(c)
	})
	j.Test = &truth.Test{Seed: seed, Rate: float64(p.reads) / hands.ends, Fault: fault, Style: hands.style, Marks: hands.said, Sensor: "B1S1", By: by}
	j.decide()
	return j.Test
}

// planMixture: propane for 5 to 10 % of fuel (0.3 L/min at 2.5 g/s is 5.7 %: README), or what comes of it; a small hose off for less.
func (w *technician) planMixture(t float64, metered bool) {
	style := w.pick(38, 22, 10, 10, 8, 12)
	w.style = []string{"propane and hose", "propane only", "propane twice", "hose only", "short", "long"}[style]
	sides := [][]string{{"rich", "lean"}, {"rich"}, {"rich", "rich"}, {"lean"}, {"rich", "lean"}, {"rich", "lean"}}[style]
	if w.chance(0.25) {
		slices.Reverse(sides)
	}
	gas, hose := w.spread(0.03, 0.11), w.spread(0.03, 0.1)
	if w.chance(0.12) { // a bottle that is hardly open
		gas = w.in(0.012, 0.03)
	}
	onset, emptying := w.spread(0.15, 2), w.spread(0.2, 2.5)
	if metered { // the air meter's car without one: the leak's air is metered too
		hose *= w.in(0, 0.2)
	}
	for _, side := range sides {
		h := hold{side: side, begin: t, moves: gas, onset: onset, emptying: emptying}
		if side == "lean" {
			h.moves, h.onset, h.emptying = -hose, w.in(0.1, 0.4), w.in(0.1, 0.4)
		}
		length := w.in(9, 20)
		switch w.style {
		case "short":
			length = w.in(2, 6)
		case "long":
			length = w.in(25, 60)
		}
		h.end = t + length
		w.holds = append(w.holds, h)
		t = h.end + w.in(15, 45)
	}
	w.ends = t
}

// lifting is a car in gear that is let roll, again and again: from 2500 to 3000 rpm for 3 s or more (a maker's workshop text).
type lifting struct {
	*idling
	lifts  [][2]float64
	cruise float64 // rpm
	pedal  lag
}

func newLifting(d dice, e *engine) *lifting {
	l := &lifting{idling: newIdling(d, e), cruise: d.in(2300, 3100)}
	t := d.in(20, 50)
	for range 1 + d.IntN(4) {
		l.lifts = append(l.lifts, [2]float64{t, t + d.spread(2, 9)})
		t += d.in(20, 45)
	}
	l.pedal.x = 1
	return l
}

func (l *lifting) step(e *engine, t, dt float64) {
	want := 1.0
	e.cut = false
	for _, s := range l.lifts {
		if t >= s[0] && t < s[1] {
			want = 0
			e.cut = t > s[0]+0.3
		}
	}
	p := l.pedal.step(want, 0.25, dt)
	w := l.wander.step(l.dice, dt)
	if want > 0 {
		e.rpm += (l.cruise*(1+0.2*w) - e.rpm) * dt / 2.5
	} else {
		e.rpm += (1100 - e.rpm) * dt / 8
	}
	e.load = (14 + 22*p) * (1 + w)
	e.air = e.load / 100 * e.rpm / 120 * e.litres * 1.18
	e.speed = e.rpm / 1000 * 29
	e.throttle = 12 + 12*p
	e.kick *= 1 - dt/0.5
}
