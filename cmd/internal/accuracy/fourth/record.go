package fourth

import (
	"math"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// Narrow draws the test of a seed: a car with a narrow sensor whose signal wire is forced.
// It returns the truth of it and the records, as an import yields them.
func Narrow(seed uint64) (*truth.Test, []obd.Record) {
	s, d := drawNarrow(seed)
	list, seen := s.run(d)
	return s.truth(seen), list
}

func drawNarrow(seed uint64) (*spec, *driver) {
	src := newSource(seed, 0x6e6172)
	s := base(src, seed)
	fault := pick(src, faults)
	if fault == "harness crossed" || fault == "command crossed" {
		for s.banks == 1 {
			s = base(src, seed)
		}
	}
	s.breakIt(src, fault)
	s.plan = newPlan(src, src.between(18, 50))
	last := s.plan.holds[len(s.plan.holds)-1]
	s.length = last.end + src.between(14, 40)
	if s.fault == quirkPause {
		h := s.plan.holds[src.IntN(len(s.plan.holds))]
		from := h.begin - src.between(0, 3)
		s.computer.pause = [2]float64{from, from + src.between(10, 20)}
	}
	if src.chance(0.08) {
		from := src.between(0, s.length)
		s.port.gap = [2]float64{from, from + src.between(0.5, 4)}
	}
	rpm, load := src.between(620, 900), src.between(0.22, 0.34)
	if src.chance(0.12) {
		rpm = src.between(1800, 2600)
	}
	s.throttled(point{rpm: rpm, load: load})
	return s, standing(src, rpm, load, s.length)
}

// throttled takes a leak that is beyond authority at idle for one that is not where the engine breathes so much more that
// its share is in reach.
func (s *spec) throttled(p point) {
	k, e := &s.computer, &s.engines[0]
	most := (1+k.loops[0].limit[0])*(1+k.learnLimit[0]) - 1
	air := e.airflow(p)
	switch need := max(e.unmetered/air, e.exhaustAir*min(1, 4/air)); {
	case need > most:
	case s.fault == "leak beyond authority":
		s.fault = "leak within authority"
	case s.fault == "exhaust leak beyond authority":
		s.fault = "exhaust leak within authority"
	}
}

// run lets the car run, with the technician and the readings.
func (s *spec) run(d *driver) ([]obd.Record, []seen) {
	c := newCar(s, d)
	h := &hands{plan: s.plan, src: newSource(s.seed, 0x68616e64)}
	p := &port{portSpec: s.port, next: 0.1}
	w := newWitness(s)
	// The engine ran before the port was read.
	for range int(20 / dt) {
		c.step(touch{branch: true})
		c.t = 0
	}
	said := s.plan.marksInOrder()
	for c.t < s.length {
		c.step(h.touch(c.t))
		for len(said) > 0 && c.t >= said[0].at {
			p.mark(c.t, said[0].kind)
			said = said[1:]
		}
		p.step(c.t, c.src, c.reads)
		w.step(c)
	}
	return p.list, w.holds
}

type saying struct {
	at   float64
	kind obd.MarkKind
}

func (p *plan) marksInOrder() []saying {
	var list []saying
	if p.marks == "none" {
		return nil
	}
	for _, f := range p.holds {
		if !math.IsNaN(f.marks[0]) {
			list = append(list, saying{f.marks[0], obd.MarkKind(f.said)})
		}
		if !math.IsNaN(f.marks[1]) {
			list = append(list, saying{f.marks[1], obd.MarkRelease})
		}
	}
	return list
}

// Drive draws an hour that nobody forces: idle, cruise, town, snaps of the throttle, by seed.
func Drive(seed uint64) (*truth.Test, []obd.Record) { return driveFor(seed, 3600) }

func driveFor(seed uint64, seconds float64) (*truth.Test, []obd.Record) {
	src := newSource(seed, 0x6472)
	s := base(src, seed)
	kind := []string{"idle", "town", "cruise", "snaps"}[seed%4]
	s.fault, s.length = kind, seconds
	s.port.slow = append(s.port.slow, "VSS")
	list, _ := s.run(driving(src, kind, src.between(620, 900), src.between(0.22, 0.34), s.length))
	return &truth.Test{Seed: seed, Rate: s.port.rate, Fault: kind, Accepted: []string{"nothing_forced", "not_ready"}, Hours: s.length / 3600}, list
}
