package third

import (
	"math"
	"math/rand/v2"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// A hold is one force, as it was made and as it was said.
type hold struct {
	Side       string
	Begin, End float64
	Slips      [][2]float64
	Grip       grip
	Marks      []said
}

type said struct {
	At   float64
	Kind obd.MarkKind
}

// A scene is one test: car, technician, recording.
type scene struct {
	*truth.Test
	Car     *Car
	Holds   []hold
	Port    *Port
	trace   []look
	end     float64
	said    []said
	two     bool // both sides are held
	latency []onset
}

// A look is what was true when the watched sensor was read.
type look struct{ t, volts, short, other, emf float64 }

var faults = []struct {
	name   string
	weight int
}{{"", 34}, {"low", 4}, {"high", 4}, {"mid", 4}, {"lazy", 7}, {"open", 6}, {"nocommand", 5}, {"adds only", 2}, {"cuts only", 2}, {"wrongway", 3}, {"airleak", 4},
	{"undelivered", 5}, {"crossed", 4}, {"exhaustleak small", 5}, {"exhaustleak large", 3}, {"cold", 3}, {"untouched", 7}}

// Narrow draws the test of a seed.
func Narrow(seed uint64) (*truth.Test, []obd.Record) {
	s := draw(seed)
	s.run()
	s.judge()
	return s.Test, s.Port.Records
}

// Unforced draws an hour of driving in a sound car.
func Unforced(seed uint64) (*truth.Test, []obd.Record) {
	r := rand.New(rand.NewPCG(seed, 0x64726976))
	how := []string{"idle", "town", "motorway", "mixed"}[seed%4]
	s := &scene{Test: &truth.Test{Seed: seed, Fault: "drive: " + how, Hours: 1, Accepted: []string{"nothing_forced", "not_ready"}, Undecided: []string{"unclear"}}, end: 3600}
	s.Car = NewCar(r, "", Drive(r, how, s.end+60))
	s.port(r)
	s.run()
	return s.Test, s.Port.Records
}

func draw(seed uint64) *scene {
	r := rand.New(rand.NewPCG(seed, 0x7468697264))
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
	s := &scene{Test: &truth.Test{Seed: seed, Fault: fault, Marks: r.Float64() < 0.5}}
	begin := between(r, 18, 60)
	s.technician(r, begin)
	legs := Standing(r, begin, s.end+60)
	real := fault
	if fault == "untouched" {
		s.Holds, s.Style, s.said, real = nil, "drives", nil, ""
		s.Marks, legs = false, Drive(r, []string{"idle", "town", "motorway", "mixed"}[r.IntN(4)], s.end+60)
	}
	s.Car = NewCar(r, real, legs)
	if fault == "cold" {
		s.Car.Cold, s.Car.Hot = true, between(r, 5, 45)
	}
	if fault == "" {
		s.Fault = "sound"
	}
	s.port(r)
	return s
}

// technician draws what they do from begin on, and how long the recording is.
func (s *scene) technician(r *rand.Rand, begin float64) {
	sides := [][]string{{"lean", "rich"}, {"lean", "rich"}, {"rich", "lean"}, {"lean"}, {"rich"}, {"lean", "rich", "lean"}}[r.IntN(6)]
	s.two = len(sides) > 1
	s.Style = []string{"", "one side", "both sides", "again"}[len(sides)]
	open := r.Float64() < 0.6
	marks := []string{"exact", "exact", "exact", "early", "late", "wrong button", "no release"}[r.IntN(7)]
	long := math.Exp(between(r, math.Log(4), math.Log(40)))
	wrong := r.IntN(len(sides))
	t := begin
	for i, side := range sides {
		h := hold{Side: side, Begin: t, End: t + min(40, max(4, long*between(r, 0.7, 1.4))), Grip: grip{V: between(r, 0, 0.1), Ohm: between(r, 0.2, 5), Open: open}}
		if r.Float64() < 0.25 {
			h.Grip.Ohm = between(r, 5, 40) // a poor contact
		}
		if side == "rich" {
			h.Grip.V = between(r, 0.85, 1)
			h.Grip.Ohm += []float64{1, 60, 400}[r.IntN(3)] * map[bool]float64{true: 1, false: 0.05}[open]
		}
		if r.Float64() < 0.15 && h.End-h.Begin > 8 {
			at := between(r, h.Begin+3, h.End-3)
			h.Slips = [][2]float64{{at, at + between(r, 0.3, 2)}}
			s.Style += ", slips"
		}
		kind, other := obd.MarkLean, obd.MarkRich
		if side == "rich" {
			kind, other = other, kind
		}
		at := h.Begin + between(r, -0.7, 1)
		switch marks {
		case "early":
			at = h.Begin - between(r, 1, 6)
		case "late":
			at = h.Begin + between(r, 1, 6)
		case "wrong button":
			if i == wrong {
				kind = other
			}
		}
		h.Marks = append(h.Marks, said{max(0, at), kind})
		if marks != "no release" {
			h.Marks = append(h.Marks, said{max(at+0.5, h.End+between(r, -0.5, 1.2)), obd.MarkRelease})
		}
		s.Holds = append(s.Holds, h)
		t = h.End + between(r, 10, 40)
	}
	s.end = t
	if s.Marks {
		s.Style += ", " + marks
		for _, h := range s.Holds {
			s.said = append(s.said, h.Marks...)
		}
		slices.SortStableFunc(s.said, func(a, b said) int { return int(math.Copysign(1, a.At-b.At)) })
	}
}

// port draws how the car is read.
func (s *scene) port(r *rand.Rand) {
	rate := math.Exp(between(r, math.Log(0.5), math.Log(20)))
	together := rate > 4 || r.Float64() < 0.4
	slow := []string{"RPM", "FUELSYS1", "LONGFT1", "RPM", "ECT", "FUELSYS1", "LOAD_PCT", "VSS"}
	fast := []string{"O2S11", "SHRTFT1"}
	if r.Float64() < 0.6 {
		slow = append(slow, "MAF")
	}
	if r.Float64() < 0.75 {
		slow = append([]string{"O2S12"}, slow...)
	}
	if r.Float64() < 0.25 {
		slow = append(slow, "EVAP_PCT")
	}
	if len(s.Car.banks) == 2 {
		slow = append(slow, "O2S21", "SHRTFT2", "LONGFT2", "SHRTFT2", "O2S21")
	}
	s.Port = NewPort(r, rate, together, fast, slow)
	for range r.IntN(3) {
		if at := between(r, 5, s.end); r.Float64() < 0.3 {
			s.Port.Gaps = append(s.Port.Gaps, [2]float64{at, at + between(r, 1, 6)})
		}
	}
	s.Rate = math.Round(rate*10) / 10
}

// warm is how long the car runs before the recording, s.
const warm = 40

func (s *scene) run() {
	c, left := s.Car, s.said
	for c.t = -warm; c.t < 0; {
		c.Step(nil)
	}
	for t := 0.0; t < s.end; t += Dt {
		c.Step(s.held(t))
		for len(left) > 0 && left[0].At <= t {
			s.Port.Mark(t, left[0].Kind)
			left = left[1:]
		}
		n := len(s.Port.Reads)
		s.Port.Step(t, c.Value)
		s.watch(t)
		if len(s.Port.Reads) > n && s.Hours == 0 {
			b := c.banks[0]
			s.trace = append(s.trace, look{t, b.volts, Trim(b.short), c.Value("SHRTFT2"), b.emf})
		}
	}
}

// held is what is on the wire at t, nil for nothing.
func (s *scene) held(t float64) *grip {
	for i := range s.Holds {
		h := &s.Holds[i]
		if t < h.Begin || t >= h.End {
			continue
		}
		for _, slip := range h.Slips {
			if t >= slip[0] && t < slip[1] {
				return nil
			}
		}
		return &h.Grip
	}
	return nil
}
