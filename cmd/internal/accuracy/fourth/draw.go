package fourth

import "math"

// What may be wrong with a car, with its weight in the draw.
var faults = []weighted[string]{
	{34, "sound"}, {6, "leak within authority"}, {5, "exhaust leak within authority"},
	{5, "sensor stuck lean"}, {4, "sensor stuck rich"}, {5, "sensor open"}, {6, "sensor slow"}, {2, "sensor cold"},
	{4, "input stuck"}, {3, "harness open"},
	{5, "trim frozen"}, {3, "never adds"}, {3, "never cuts"},
	{5, "fuel not delivered"}, {3, "leak beyond authority"}, {2, "exhaust leak beyond authority"},
	{2, "harness crossed"}, {2, "command crossed"}, {2, "engine cold"},
	{3, quirkStatus}, {3, quirkTrim}, {1, quirkRich}, {2, quirkPause},
}

// base draws a sound car.
func base(src source, seed uint64) *spec {
	s := &spec{seed: seed, fault: "sound", banks: 1, coolant: src.between(78, 101)}
	if src.chance(0.3) {
		s.banks = 2
	}
	e := newEngine(src, s.banks)
	front, rear := newCellSpec(src), newCellSpec(src)
	rear.tauRich, rear.tauLean = src.between(0.1, 0.6), src.between(0.1, 0.6)
	loop := newLoopSpec(src)
	in := newInput(src)
	for b := range s.banks {
		s.engines[b], s.cells[b], s.rears[b], s.inputs[b], s.computer.loops[b] = e, front, rear, in, loop
		s.engines[b].mixture = 1 / (1 + src.between(-0.09, 0.09))
		s.learned[b] = clamp(1/s.engines[b].mixture-1+0.01*src.NormFloat64(), -0.2, 0.2)
	}
	s.computer.learnTau = src.logBetween(8, 150)
	s.computer.learnLimit = [2]float64{src.between(0.15, 0.35), src.between(0.15, 0.3)}
	s.computer.refresh = pick(src, []weighted[float64]{{15, 0.02}, {25, 0.05}, {25, 0.1}, {15, 0.2}, {12, 0.5}, {8, 1}})
	if src.chance(0.2) {
		s.computer.average = src.between(0.05, 0.4)
	}
	s.computer.biasMonitor = src.chance(0.5)
	s.computer.single = s.banks == 2 && src.chance(0.3)
	s.port = newPort(src, s.banks)
	return s
}

func newEngine(src source, banks int) engineSpec {
	litres := src.logBetween(1.0, 3.6)
	if banks == 2 {
		litres = src.between(2.4, 5.5) / 2
	}
	// The exhaust is 0.41 g/L at 850 K.
	volume := src.logBetween(0.5, 2.5)
	return engineSpec{litres: litres, turns: src.between(1, 2), plugGrams: 0.41 * volume * src.between(0.5, 0.8), mixGrams: 0.41 * volume * src.between(0.1, 0.25),
		film: src.between(0.1, 0.4), filmTau: src.between(0.15, 0.8), scatter: src.logBetween(0.006, 0.04), drift: drifting{sd: src.between(0.003, 0.015), tau: src.logBetween(1, 20)},
		delivered: 1, storage: src.logBetween(0.02, 1.6), slip: src.between(0.02, 0.1)}
}

func newCellSpec(src source) cellSpec {
	kelvin := src.between(820, 1100)
	c := cellSpec{kelvin: kelvin, curve: newCurve(kelvin, src.between(0.9, 1), src.between(0, 0.025), src.between(0.0015, 0.004)), diffusion: src.between(0.01, 0.05), noise: src.between(0.004, 0.025), stuck: math.NaN()}
	c.tauRich = src.between(0.025, 0.09)
	c.tauLean = c.tauRich * src.between(0.6, 1.4)
	return c
}

func newInput(src source) inputSpec {
	in := inputSpec{ohms: src.logBetween(0.3e6, 4e6), rc: src.between(0.002, 0.03), top: pick(src, []weighted[float64]{{70, 1.275}, {30, 1.1}}), stuck: math.NaN()}
	in.bias = pick(src, []weighted[float64]{{70, src.between(0.38, 0.5)}, {12, 0}, {10, 1.1}, {8, 5}})
	if src.chance(0.12) {
		in.raised = src.between(0.05, 0.2)
	}
	return in
}

// newLoopSpec draws a control. Ramp and holds are drawn so that with 0.2 to 0.6 s of dead time it
// hunts with periods from 0.4 to 6 s.
func newLoopSpec(src source) loopSpec {
	l := loopSpec{kind: pick(src, []weighted[string]{{28, kindRamp}, {28, kindDelayed}, {20, kindPI}, {10, kindBand}, {14, kindStrokes}}),
		level: src.between(0.42, 0.5), band: src.between(0, 0.03), filter: src.logBetween(0.01, 0.3)}
	ramp := src.logBetween(0.008, 0.07)
	jump := 0.0
	if src.chance(0.7) {
		jump = src.between(0.005, 0.035)
	}
	l.ramp = [2]float64{ramp, ramp * src.between(0.7, 1.4)}
	l.jump = [2]float64{jump, jump * src.between(0.6, 1.4)}
	limit := pick(src, []weighted[float64]{{10, 0.12}, {25, 0.2}, {45, 0.25}, {20, 0.33}})
	l.limit = [2]float64{limit, limit}
	if src.chance(0.3) {
		l.limit[1] = limit * src.between(0.6, 1)
	}
	switch l.kind {
	case kindDelayed:
		l.hold = [2]float64{src.logBetween(0.1, 1.8), src.logBetween(0.1, 1.8)}
	case kindPI:
		l.jump, l.ramp = [2]float64{src.between(0.01, 0.04)}, [2]float64{src.logBetween(0.01, 0.06)}
		l.filter = src.logBetween(0.05, 1)
	case kindBand:
		l.band = src.between(0.05, 0.15)
	case kindStrokes:
		l.stride, l.every, l.jump = 0.01, 50, [2]float64{}
		if src.chance(0.4) {
			l.stride, l.every = 0.025, 10
		}
	}
	return l
}

// ramped makes a ramp of it, both ways: a proportional loop has its gains at [0] alone.
func (l *loopSpec) ramped() {
	if l.kind == kindPI {
		l.ramp[1], l.jump[1] = l.ramp[0], l.jump[0]
	}
	l.kind = kindRamp
}

func newPort(src source, banks int) portSpec {
	p := portSpec{watched: "O2S11", rate: pick(src, []weighted[float64]{{6, 1}, {6, 1.5}, {14, 2}, {14, 3}, {16, 4}, {12, 6}, {14, 10}, {10, 15}, {8, 20}}) * src.between(0.9, 1.1),
		jitter: src.between(0.02, 0.2), each: 1 + src.IntN(4), slow: []string{"FUELSYS1", "LONGFT1", "RPM", "LOAD_PCT", "ECT"}}
	p.together = p.rate > 3.5 && src.chance(0.6)
	if src.chance(0.8) {
		p.slow = append(p.slow, "O2S12")
	}
	if src.chance(0.5) {
		p.slow = append(p.slow, "MAF")
	}
	if banks == 2 {
		p.slow = append(p.slow, "SHRTFT2", "O2S21", "FUELSYS2")
	}
	return p
}

// breakIt puts a fault into a sound car.
func (s *spec) breakIt(src source, fault string) {
	s.fault = fault
	k, c, e, in := &s.computer, &s.cells[0], &s.engines[0], &s.inputs[0]
	most := (1+k.loops[0].limit[0])*(1+k.learnLimit[0]) - 1
	idle := e.airflow(point{rpm: 750, load: 0.28})
	settled := func(need float64) { s.learned[0] = clamp(need, -k.learnLimit[1], k.learnLimit[0]) }
	switch fault {
	case "leak within authority":
		need := src.between(0.08, 0.8*k.learnLimit[0])
		e.mixture, e.unmetered = 1, need*idle
		settled(need)
	case "leak beyond authority":
		need := most * src.between(1.25, 1.8)
		e.mixture, e.unmetered = 1, need*idle
		settled(1)
	case "exhaust leak within authority":
		e.mixture, e.exhaustAir = 1, src.between(0.05, 0.8*k.learnLimit[0])
		settled(e.exhaustAir)
	case "exhaust leak beyond authority":
		e.mixture, e.exhaustAir = 1, most*src.between(1.25, 1.8)
		settled(1)
	case "sensor stuck lean":
		c.stuck = src.between(0.02, 0.2)
		settled(1)
	case "sensor stuck rich":
		c.stuck = src.between(0.7, 0.92)
		settled(-1)
	case "sensor open":
		c.open = true
		settled(0)
	case "sensor slow":
		slow := src.logBetween(0.45, 3)
		switch src.IntN(3) {
		case 0:
			c.tauRich, c.tauLean = slow, slow
		case 1:
			c.tauRich = slow
		default:
			c.tauLean = slow
		}
	case "sensor cold":
		c.kelvin = src.between(500, 560)
		c.tauRich, c.tauLean = src.between(0.3, 1), src.between(0.3, 1)
	case "input stuck":
		in.stuck = pick(src, []weighted[float64]{{1, 0}, {2, 0.45}, {1, 0.9}, {1, 1.1}}) + src.between(0, 0.02)
		settled(map[bool]float64{true: 1, false: -1}[in.stuck < k.loops[0].level])
	case "harness open":
		in.open = true
		settled(map[bool]float64{true: 1, false: -1}[in.bias < k.loops[0].level])
	case "trim frozen":
		k.frozen = true
	case "never adds", "never cuts":
		k.neverAdds, k.neverCuts = fault == "never adds", fault == "never cuts"
		// The base quantity errs to the side that is still governed.
		e.mixture = 1 + src.between(0.005, 0.03)
		if k.neverCuts {
			e.mixture = 1 - src.between(0.005, 0.03)
		}
		settled(0)
	case "fuel not delivered":
		e.delivered = src.between(0, 0.06)
		if src.chance(0.6) {
			e.mixture = 1 - src.between(0.04, 0.2)
			settled(1)
		} else {
			e.mixture = 1 + src.between(0.04, 0.2)
			settled(-1)
		}
	case "harness crossed", "command crossed":
		k.crossed = map[string]string{"harness crossed": "harness", "command crossed": "command"}[fault]
	case "engine cold":
		k.cold, s.coolant = true, src.between(5, 45)
	case quirkStatus, quirkTrim, quirkRich, quirkPause:
		// It does not take its own hunting for a fault.
		k.quirk, k.quirkAfter = fault, src.between(4, 10)
		k.loops[0].ramped()
		k.loops[1].ramped()
	}
}
