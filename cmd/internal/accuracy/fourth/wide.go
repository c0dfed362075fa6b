package fourth

import (
	"math"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// What may be wrong with a car that has a wide-range sensor.
var wideFaults = []weighted[string]{{38, "sound"}, {6, "leak within authority"}, {10, "sensor gain low"}, {3, "sensor gain high"}, {6, "sensor offset"}, {8, "sensor slow"}, {6, "sensor slow one way"},
	{6, "sensor late one way"}, {8, "pump wire open"}, {7, "fuel not delivered"}, {6, "trim frozen"}, {3, "engine cold"}}

// Wide draws the test of a seed: a car with a wide-range sensor whose mixture is moved.
func Wide(seed uint64) (*truth.Test, []obd.Record) {
	w, d := drawWide(seed)
	list, seen := w.run(d)
	return w.truth(seen), list
}

// WideDrive draws an hour that nobody forces.
func WideDrive(seed uint64) (*truth.Test, []obd.Record) {
	src := newSource(seed, 0x776472)
	w := wideBase(src, seed)
	kind := []string{"idle", "town", "cruise", "snaps"}[seed%4]
	w.fault, w.length = kind, 3600
	list, _ := w.run(driving(src, kind, src.between(620, 900), src.between(0.22, 0.34), w.length))
	return &truth.Test{Seed: seed, Rate: w.port.rate, Fault: kind, By: "mixture", Accepted: []string{"nothing_forced", "not_ready"}, Hours: w.length / 3600}, list
}

func wideBase(src source, seed uint64) *wideTest {
	w := &wideTest{seed: seed, fault: "sound", by: "mixture", coolant: src.between(78, 101), engine: newEngine(src, 1), rear: newCellSpec(src)}
	w.engine.mixture = 1 / (1 + src.between(-0.09, 0.09))
	w.engine.drift.sd *= 0.6
	w.rear.tauRich, w.rear.tauLean = src.between(0.1, 0.6), src.between(0.1, 0.6)
	tau := src.between(0.05, 0.12)
	w.cell = wideSpec{gain: src.between(0.95, 1.05), offset: 0.002 * src.NormFloat64(), tau: [2]float64{tau, tau * src.between(0.8, 1.25)}, ceiling: pick(src, []weighted[float64]{{1, 1.27}, {1, 1.39}, {2, 2}}),
		noise: drifting{sd: src.logBetween(0.0005, 0.005), tau: src.between(0.05, 0.3)}}
	w.loop = wideLoop{kp: src.between(0.1, 0.35), ki: src.logBetween(0.2, 0.9), limit: pick(src, []weighted[float64]{{1, 0.2}, {2, 0.25}, {1, 0.33}}), swayPeriod: src.between(1, 5), learnTau: src.logBetween(10, 150), status: 2, target: 1}
	if src.chance(0.6) {
		w.loop.sway = src.between(0.003, 0.03)
	}
	if src.chance(0.6) {
		w.loop.rearTau = src.logBetween(10, 60)
	}
	w.loop.long = clamp(1/w.engine.mixture-1+0.01*src.NormFloat64(), -0.2, 0.2)
	w.refresh = pick(src, []weighted[float64]{{2, 0.05}, {3, 0.1}, {2, 0.2}, {1, 0.5}})
	w.port = portSpec{watched: "EQ_RAT11", rate: pick(src, []weighted[float64]{{1, 1.5}, {2, 2}, {3, 3}, {3, 5}, {3, 8}, {2, 12}}) * src.between(0.9, 1.1), jitter: src.between(0.02, 0.2), each: 1 + src.IntN(3),
		slow: []string{"FUELSYS1", "EQ_RAT", "LONGFT1", "RPM", "LOAD_PCT", "ECT"}}
	w.port.together = w.port.rate > 3.5 && src.chance(0.6)
	for _, x := range []struct {
		name   string
		chance float64
	}{{"O2S12", 0.85}, {"O2S11_WIDE_MA", 0.5}, {"MAF", 0.6}, {"LGSO2FT1", 0.3}} {
		if src.chance(x.chance) {
			w.port.slow = append(w.port.slow, x.name)
		}
	}
	return w
}

func (w *wideTest) breakIt(src source, fault string) {
	w.fault = fault
	c, l, e := &w.cell, &w.loop, &w.engine
	switch fault {
	case "leak within authority":
		need := src.between(0.06, 0.18)
		e.mixture, e.unmetered, l.long = 1, need*e.airflow(point{rpm: 750, load: 0.28}), need
	case "sensor gain low":
		c.gain = src.between(0.35, 0.58)
	case "sensor gain high":
		c.gain = src.between(1.5, 1.9)
	case "sensor offset":
		c.offset = src.between(0.03, 0.1)
		if src.chance(0.5) {
			c.offset = -c.offset
		}
		l.long = clamp(1/e.mixture-1-c.offset, -0.25, 0.25)
	case "sensor slow":
		tau := src.logBetween(0.5, 1.6)
		c.tau = [2]float64{tau, tau}
	case "sensor slow one way":
		c.tau[src.IntN(2)] = src.logBetween(0.5, 2)
	case "sensor late one way":
		c.delay[src.IntN(2)] = src.between(0.4, 1.2)
	case "pump wire open":
		c.open, l.rearTau = true, 0
		l.long = clamp(l.long+src.between(-0.02, 0.02), -0.25, 0.25)
	case "fuel not delivered":
		e.delivered = src.between(0, 0.06)
		e.mixture = 1 + src.between(-0.02, 0.02)
		l.long = 0
	case "trim frozen":
		l.frozen = true
	case "engine cold":
		l.cold, w.coolant, l.long = true, src.between(5, 45), 0
	}
	if c.tau[0]+c.tau[1]+c.delay[0]+c.delay[1] > 0.5 {
		// A loop around a late sensor that did not swing is what the car was calibrated for.
		l.ki, l.kp = min(l.ki, 0.35), min(l.kp, 0.2)
	}
}

func drawWide(seed uint64) (*wideTest, *driver) {
	src := newSource(seed, 0x77696465)
	w := wideBase(src, seed)
	w.breakIt(src, pick(src, wideFaults))
	w.by = pick(src, []weighted[string]{{85, "mixture"}, {15, "fuelcut"}})
	w.metered = src.chance(0.25)
	w.marks = pick(src, []weighted[string]{{75, "well"}, {15, "none"}, {10, "late"}})
	t := src.between(25, 60)
	idle, load := src.between(620, 900), src.between(0.22, 0.34)
	d := standing(src, idle, load, 1e4)
	if w.by == "fuelcut" {
		d.segments = d.segments[:0]
	}
	side := pick(src, []weighted[string]{{75, "rich"}, {25, "lean"}})
	for range pick(src, []weighted[int]{{35, 1}, {65, 2}}) {
		f := feed{side: side, begin: t, end: t + src.between(8, 18), size: src.between(0.05, 0.12), ramp: src.logBetween(0.3, 4), said: w.marks != "none"}
		if w.by == "fuelcut" {
			f.side, f.end, f.size, f.ramp = "lean", t+src.between(3, 6), 1, 0.3
			d.segments = append(d.segments, segment{until: t - 5, rpm: idle, load: load, quick: 0.6}, segment{until: t, rpm: src.between(2500, 3000), load: 0.3, quick: 0.8},
				segment{until: f.end, rpm: 1400, load: 0.15, cut: true, quick: 2.5})
		} else if side == "rich" {
			side = "lean"
		} else {
			side = "rich"
		}
		w.feeds = append(w.feeds, f)
		t = f.end + src.between(18, 35)
	}
	if w.by == "fuelcut" {
		d.segments = append(d.segments, segment{until: 1e4, rpm: idle, load: load, quick: 0.6})
	}
	w.length = t
	return w, d
}

// run lets the car run, with the technician and the readings.
func (w *wideTest) run(d *driver) ([]obd.Record, []moveSeen) {
	c := newWideCar(w, d)
	for range int(20 / dt) {
		c.step()
		c.t = 0
	}
	p := &port{portSpec: w.port, next: 0.1}
	var said []saying
	seen := make([]moveSeen, len(w.feeds))
	late := newSource(w.seed, 0x6c617465)
	for i, f := range w.feeds {
		seen[i] = moveSeen{feed: f, rest: [2]float64{1, 0}}
		if f.said {
			off := late.between(-0.5, 0.8)
			if w.marks == "late" {
				off = late.between(0.8, 2)
			}
			said = append(said, saying{f.begin + off, obd.MarkKind(f.side)}, saying{f.end + late.between(-0.3, 0.9), obd.MarkRelease})
		}
	}
	for c.t < w.length {
		c.step()
		for len(said) > 0 && c.t >= said[0].at {
			p.mark(c.t, said[0].kind)
			said = said[1:]
		}
		p.step(c.t, c.src, func(name string) float64 { return c.told[name] })
		for i := range seen {
			seen[i].watch(c)
		}
	}
	return p.list, seen
}

// watch notes what a feed does.
func (m *moveSeen) watch(c *wideCar) {
	sign := 1.0
	if m.side == "lean" {
		sign = -1
	}
	trim := (1+c.loop.trim)*(1+c.loop.long) - 1
	switch {
	case c.t < m.begin:
		m.rest[0], m.rest[1] = lag(m.rest[0], c.phi, 4), lag(m.rest[1], trim, 4)
	case c.t < m.end:
		m.gas = max(m.gas, sign*(c.phi-m.rest[0]))
		m.shown = max(m.shown, sign*(c.cell.shown-1-c.cell.offset))
		m.trim = -sign * (trim - m.rest[1])
		m.rearSays = m.rearSays || sign > 0 && c.rearV > 0.7 || sign < 0 && c.rearV < 0.2
	case c.t < m.end+5:
		m.rebound = max(m.rebound, -sign*(c.phi-m.rest[0]))
	}
}

// truth is what a master technician would say of it.
func (w *wideTest) truth(seen []moveSeen) *truth.Test {
	t := &truth.Test{Seed: w.seed, Rate: w.port.rate, Fault: w.fault, Style: w.by + ", marks " + w.marks, Marks: w.marks != "none", Sensor: "B1S1", By: w.by,
		Wide: &truth.Wide{Gain: w.cell.gain * w.engine.delivered, Tau: w.cell.tau, Delay: w.cell.delay}}
	if w.cell.open {
		t.Wide.Gain = 0
	}
	lean, rich, rear := false, false, false
	for i := range seen {
		m := &seen[i]
		// Of air that the computer meters the mixture shows little: what was noted of it is the target's own sway.
		faint := m.gas < 0.025 || w.metered && m.side == "lean" && w.by == "mixture"
		clear := !faint && m.end-m.begin >= 8 && w.port.rate >= 1.8 && (m.trim > 0.035 || w.loop.frozen || w.engine.delivered < 0.5 || w.cell.open)
		rich, lean = rich || clear && m.side == "rich", lean || clear && m.side == "lean"
		rear = rear || m.rearSays && slices.Contains(w.port.slow, "O2S12")
		// A sensor whose pump wire is open reads 1.000 whatever is done: nobody can see that anything was.
		t.Forces = append(t.Forces, truth.Force{Side: m.side, Begin: m.begin, End: m.end, Faint: faint || w.cell.open})
	}
	if w.by == "fuelcut" {
		lean, rich = false, false
	}
	t.Accepted, t.Undecided = w.conclusions(lean, rich, rear)
	switch w.fault {
	case "sound", "leak within authority":
		// It is so, however few readings say it.
		t.Accepted = append(t.Accepted, "loop_proven")
	case "fuel not delivered", "trim frozen":
		if w.by == "fuelcut" {
			// Fuel that is shut off goes not by way of trim: it shows the sensor alone, and that is sound.
			t.Accepted = append(t.Accepted, "partly_proven")
		}
	}
	if w.marks == "none" {
		// Nobody said that the mixture was moved: it may as well be the car's own doing.
		t.Accepted = append(t.Accepted, "nothing_forced", "unclear")
	}
	t.Undecided = slices.DeleteFunc(slices.Clone(t.Undecided), func(c string) bool { return slices.Contains(t.Accepted, c) })
	t.False = w.falseClaims()
	return t
}

// conclusions knows whether either side was moved so that nobody could miss it, and whether
// the sensor behind the catalyst bore it out.
func (w *wideTest) conclusions(lean, rich, rear bool) (accepted, undecided []string) {
	clear := lean || rich
	loose := func(c ...string) []string {
		if clear && rear {
			return c
		}
		return append(c, "unclear")
	}
	switch w.fault {
	case "sound", "leak within authority":
		switch {
		case lean && rich:
			return []string{"loop_proven"}, shrug
		case clear:
			// Shutting off is a flank to the other side.
			return []string{"loop_proven", "partly_proven"}, shrug
		}
		return []string{"partly_proven", "unclear"}, append([]string{"loop_proven"}, shrug...)
	case "sensor gain low", "sensor gain high":
		if !clear || w.port.rate < 2.5 || w.fault == "sensor gain high" {
			return []string{"sensor_skewed", "unclear", "partly_proven"}, append([]string{"loop_proven"}, shrug...)
		}
		return []string{"sensor_skewed", "unclear"}, shrug
	case "sensor offset":
		// The loop makes λ right by this sensor whatever it is: only the rear can tell.
		accepted = []string{"sensor_skewed", "unclear", "partly_proven"}
		if math.Abs(w.cell.offset) < 0.06 || !slices.Contains(w.port.slow, "O2S12") {
			return append(accepted, "loop_proven"), shrug
		}
		return accepted, append([]string{"loop_proven"}, shrug...)
	case "sensor slow", "sensor slow one way", "sensor late one way":
		slow := max(w.cell.tau[0]+w.cell.delay[0], w.cell.tau[1]+w.cell.delay[1])
		if !clear || slow < 0.45+2/w.port.rate+w.refresh || slow < 0.8 {
			return []string{"sensor_slow", "unclear", "partly_proven", "loop_proven"}, shrug
		}
		return []string{"sensor_slow", "unclear"}, append([]string{"loop_proven"}, shrug...)
	case "pump wire open":
		return loose("sensor_dead"), append([]string{"input_dead"}, shrug...)
	case "fuel not delivered":
		return loose("no_delivery"), shrug
	case "trim frozen":
		return []string{"no_command", "unclear"}, shrug
	}
	return []string{"not_ready"}, shrug
}

func (w *wideTest) falseClaims() map[string][]string {
	f := map[string][]string{"bank": {"failed"}}
	never := func(state string, proofs ...string) {
		for _, p := range proofs {
			f[p] = append(f[p], state)
		}
	}
	late := w.cell.tau[0]+w.cell.tau[1]+w.cell.delay[0]+w.cell.delay[1] > 0.5
	if w.cell.open {
		never("proven", "sensor_rich", "sensor_lean", "sensor_scale")
	} else if !late {
		never("failed", "sensor_rich", "sensor_lean")
	}
	if w.loop.frozen || w.loop.cold {
		never("proven", "adds_fuel", "cuts_fuel", "delivery")
	} else if !w.cell.open && w.engine.delivered > 0.5 {
		never("failed", "adds_fuel", "cuts_fuel")
	}
	if w.engine.delivered < 0.5 {
		never("proven", "delivery")
	} else if !w.cell.open && !w.loop.frozen && !w.loop.cold && w.fault != "sensor gain low" {
		never("failed", "delivery")
	}
	switch w.fault {
	case "sound", "leak within authority":
		never("failed", "sensor_scale", "recovery")
	case "sensor gain low":
		never("proven", "sensor_scale")
	}
	return f
}
