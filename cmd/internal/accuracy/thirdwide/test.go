package thirdwide

import (
	"math"
	"math/rand/v2"
	"slices"

	"pushback/cmd/internal/accuracy/third"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// A hold is one force.
type hold struct {
	Side       string
	Begin, End float64
	Full       force
	Ramp, Tail float64 // s in which the valve is opened; time constant by which the hose empties
}

// at is the force at t.
func (h hold) at(t float64) force {
	if t < h.Begin || h.Full.Wire && t >= h.End {
		return force{}
	}
	k := min(1, (t-h.Begin)/h.Ramp)
	if t >= h.End {
		k = min(1, (h.End-h.Begin)/h.Ramp) * math.Exp(-(t-h.End)/h.Tail)
	}
	return force{Propane: k * h.Full.Propane, Hose: k * h.Full.Hose, Volts: h.Full.Volts, Wire: h.Full.Wire}
}

// A scene is one test: car, technician, recording.
type scene struct {
	*truth.Test
	Car   *Car
	Holds []hold
	Port  *third.Port
	marks []said
	trace []look
	end   float64
	cut   float64 // s of the longest fuel cut
	purge float64 // the most that purge added
}

type said struct {
	At   float64
	Kind obd.MarkKind
}

// A look is what was true, and told, when the sensor was read.
type look struct{ t, y, short, rear, rearTrim float64 }

var faults = []struct {
	name   string
	weight int
}{{"", 30}, {"gain", 10}, {"offset", 4}, {"lag", 6}, {"lag one way", 5}, {"delay", 2}, {"pump open", 7}, {"cold", 3}, {"undelivered", 6}, {"nocommand", 5}, {"injector", 4}, {"untouched", 6}}

// Wide draws the test of a seed.
func Wide(seed uint64) (*truth.Test, []obd.Record) {
	s := draw(seed)
	s.run()
	s.judge()
	return s.Test, s.Port.Records
}

// Unforced draws an hour of driving in a sound car, recorded as if its mixture were to be moved.
func Unforced(seed uint64) (*truth.Test, []obd.Record) {
	r := rand.New(rand.NewPCG(seed, 0x64726976))
	how := []string{"idle", "town", "motorway", "mixed"}[seed%4]
	s := &scene{Test: &truth.Test{Seed: seed, Fault: "drive: " + how, By: "mixture", Hours: 1, Accepted: []string{"nothing_forced", "not_ready"}, Undecided: []string{"unclear"}}, end: 3600}
	s.Car = NewCar(r, "", third.Drive(r, how, s.end+60))
	s.port(r)
	s.run()
	s.coasted()
	return s.Test, s.Port.Records
}

func draw(seed uint64) *scene {
	r := rand.New(rand.NewPCG(seed, 0x7468697764))
	sum := 0
	for _, f := range faults {
		sum += f.weight
	}
	k, fault := r.IntN(sum), ""
	for _, f := range faults {
		if k -= f.weight; k < 0 {
			fault = f.name
			break
		}
	}
	s := &scene{Test: &truth.Test{Seed: seed, Fault: fault, By: "mixture", Marks: r.Float64() < 0.6}}
	begin := between(r, 18, 60)
	legs := s.technician(r, begin, fault)
	real := fault
	if fault == "untouched" {
		s.Holds, s.marks, s.Marks, s.Style, real, s.By, s.Sensor = nil, nil, false, "drives", "", "mixture", ""
		legs = third.Drive(r, []string{"idle", "town", "motorway", "mixed"}[r.IntN(4)], s.end+60)
	}
	if s.Sensor != "" && fault != "" {
		real, s.Fault = "rear open", "rear wire open"
	}
	s.Car = NewCar(r, real, legs)
	if s.Fault == "" {
		s.Fault = "sound"
	}
	s.port(r)
	return s
}

// technician draws what they do from begin on, and what the car is driven like meanwhile.
func (s *scene) technician(r *rand.Rand, begin float64, fault string) []third.Leg {
	t := begin
	legs := third.Standing(r, begin, begin)
	how := r.Float64()
	switch {
	case how < 0.18 && fault != "cold":
		s.By = "fuelcut"
		for range 2 + r.IntN(2) { // on the road, or on rollers, so that the engine does not fall at once
			legs = append(legs, third.Leg{Until: t + 8, RPM: between(r, 2300, 3200), Load: 0.35, Speed: 60})
			end := t + 8 + between(r, 2.5, 7)
			legs = append(legs, third.Leg{Until: end, RPM: between(r, 1700, 2300), Load: 0.04, Speed: 50})
			s.Holds = append(s.Holds, hold{Side: "lean", Begin: t + 8, End: end})
			t = end + between(r, 12, 30)
			legs = append(legs, third.Leg{Until: t, Load: 0.2})
		}
	case how < 0.26 && (fault == "" || fault == "gain"): // else nothing is wrong with what is held
		s.Sensor, s.By = "B1S2", "wire"
		h := hold{Side: "lean", Begin: t, End: t + between(r, 18, 32), Full: force{Wire: true, Volts: between(r, 0, 0.06)}, Ramp: dt}
		s.Holds, t = append(s.Holds, h), h.End+between(r, 20, 45)
	default:
		sides := [][]string{{"rich", "rich"}, {"rich", "lean"}, {"lean", "rich"}, {"rich"}, {"lean"}, {"rich", "lean", "rich"}}[r.IntN(6)]
		for _, side := range sides {
			h := hold{Side: side, Begin: t, End: t + between(r, 8, 25), Ramp: between(r, 0.3, 4), Tail: between(r, 0.2, 1.5)}
			if side == "rich" {
				h.Full.Propane = between(r, 0.03, 0.13)
			} else {
				h.Full.Hose, h.Ramp, h.Tail = between(r, 0.04, 0.14), between(r, 0.1, 1), 0.2
			}
			s.Holds = append(s.Holds, h)
			t = h.End + between(r, 14, 35)
		}
	}
	s.end = t
	s.Style = "by " + s.By
	late := between(r, 0, 2)
	for _, h := range s.Holds {
		kind := obd.MarkLean
		if h.Side == "rich" {
			kind = obd.MarkRich
		}
		if s.Marks {
			s.marks = append(s.marks, said{h.Begin + between(r, -1, 0.5) + late, kind}, said{max(h.Begin+late+0.6, h.End+between(r, -0.5, 1.5)), obd.MarkRelease})
		}
	}
	slices.SortStableFunc(s.marks, func(a, b said) int { return int(math.Copysign(1, a.At-b.At)) })
	return append(legs, third.Leg{Until: s.end + 60, Load: 0.2})
}

// port draws how the car is read.
func (s *scene) port(r *rand.Rand) {
	rate := math.Exp(between(r, math.Log(0.8), math.Log(14)))
	fast := []string{"EQ_RAT11", "SHRTFT1", "EQ_RAT"}
	if s.Sensor == "B1S2" {
		fast = []string{"O2S12", "SHRTFT1", "EQ_RAT11"}
	}
	slow := []string{"RPM", "FUELSYS1", "LONGFT1", "ECT", "FUELSYS1", "RPM", "VSS", "LOAD_PCT"}
	if s.Sensor == "B1S2" {
		slow = append(slow, "EQ_RAT", "STSO2FT1")
	} else {
		if r.Float64() < 0.6 {
			fast = append(fast, "O2S11_WIDE_MA")
		}
		if r.Float64() < 0.8 {
			slow = append([]string{"O2S12"}, slow...)
		}
		if r.Float64() < 0.3 {
			slow = append(slow, "STSO2FT1")
		}
	}
	if s.Car.Ring.Metered {
		slow = append(slow, "MAP")
	} else {
		slow = append(slow, "MAF")
	}
	if r.Float64() < 0.4 {
		slow = append(slow, "EVAP_PCT")
	}
	if len(s.Car.banks) == 2 {
		slow = append(slow, "EQ_RAT21", "SHRTFT2", "EQ_RAT21", "LONGFT2", "SHRTFT2")
	}
	s.Port = third.NewPort(r, rate, rate > 3 || r.Float64() < 0.5, fast, slow)
	for i := range s.Port.Refresh {
		s.Port.Refresh[i] = between(r, 0.05, 0.5)
	}
	if s.Port.Together { // λ and current come of one measurement
		s.Port.Refresh[len(fast)-1] = s.Port.Refresh[0]
	}
	if r.Float64() < 0.2 {
		at := between(r, 5, s.end)
		s.Port.Gaps = append(s.Port.Gaps, [2]float64{at, at + between(r, 1, 5)})
	}
	s.Rate = math.Round(rate*10) / 10
}

// warm is how long the car runs before the recording, s.
const warm = 60

func (s *scene) run() {
	c, left := s.Car, s.marks
	for c.t = -warm; c.t < 0; {
		c.Step(force{})
	}
	cut := 0.0
	for t := 0.0; t < s.end; t += dt {
		if cut += dt; !c.Cut {
			cut = 0
		}
		s.cut, s.purge = max(s.cut, cut), max(s.purge, c.Purge*c.Vapour*min(1, 3/c.Flow))
		var f force
		for _, h := range s.Holds {
			now := h.at(t)
			f.Propane, f.Hose = f.Propane+now.Propane, f.Hose+now.Hose
			if now.Wire {
				f = now
			}
		}
		c.Step(f)
		for len(left) > 0 && left[0].At <= t {
			s.Port.Mark(t, left[0].Kind)
			left = left[1:]
		}
		n := len(s.Port.Reads)
		s.Port.Step(t, c.Value)
		if b := c.banks[0]; len(s.Port.Reads) > n && s.Hours == 0 {
			s.trace = append(s.trace, look{t, c.excess(b), 100 * b.short, b.read, 100 * b.trim})
		}
	}
}
