package thirdwide

import (
	"math"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
)

// A shown is what one hold gave to be seen.
type shown struct {
	left  float64 // how far the told ratio left the commanded one in the force's sense, and how often it was read there
	reads int
	moved float64 // trim against the force at its end, %
	seen  bool    // by 0.02 and 4 times its own scatter before, with eight readings
	rear  bool    // the sensor behind the catalyst crossed to the force's side in it, and lay on the other before
}

func (s *scene) look(h hold) (m shown) {
	dir := 1.0
	if h.Side == "lean" {
		dir = -1
	}
	var before, trim []float64
	away, behind, ahead := 0, 0.0, 0.0
	for _, l := range s.trace {
		switch {
		case l.t > h.Begin-12 && l.t <= h.Begin:
			before, trim, behind = append(before, l.y), append(trim, l.short), l.rear
		case l.t > h.Begin && l.t < h.End+0.5:
			m.reads++
			if l.y*dir > 0.02 {
				away++
			}
			m.left = max(m.left, l.y*dir)
			m.moved = -dir * (l.short - mean(trim))
			if ahead == 0 || dir*(l.rear-ahead) > 0 {
				ahead = l.rear
			}
		}
	}
	sd := 0.0
	for _, y := range before {
		sd += (y - mean(before)) * (y - mean(before))
	}
	sd = math.Sqrt(sd / max(1, float64(len(before))))
	m.seen = m.left > max(0.02, 4*sd) && away >= 3 && m.reads >= 8 && len(before) >= 5
	m.rear = dir > 0 && behind < 0.7 && ahead > 0.8 || dir < 0 && behind > 0.3 && ahead < 0.2
	return m
}

func mean(l []float64) (m float64) {
	for _, v := range l {
		m += v / float64(len(l))
	}
	return m
}

// A sum is what all holds gave together.
type sum struct {
	rich, lean bool    // held where it can show, and seen
	moved      float64 // the most that trim moved against a force that was seen, %
	rear       bool
	long       int // holds seen for ten seconds and more with λ away by 0.03
}

func (s *scene) sum() (t sum) {
	for _, h := range s.Holds {
		m := s.look(h)
		t.rear = t.rear || m.rear
		if !m.seen {
			continue
		}
		t.rich, t.lean = t.rich || h.Side == "rich", t.lean || h.Side == "lean"
		t.moved = max(t.moved, m.moved)
		if h.End-h.Begin >= 10 && m.left >= 0.03 {
			t.long++
		}
	}
	return t
}

func (s *scene) accept(list ...string) { s.Accepted = append(s.Accepted, list...) }

func (s *scene) never(state string, ids ...string) {
	for _, id := range ids {
		s.False[id] = append(s.False[id], state)
	}
}

// judge decides what may be said.
func (s *scene) judge() {
	s.False = map[string][]string{}
	s.Undecided = []string{"unclear", "nothing_forced", "not_ready"}
	t := s.sum()
	g := s.Car.Ring
	s.Wide = &truth.Wide{Gain: g.Gain, Tau: g.Tau, Delay: g.Own}
	switch s.Fault {
	case "undelivered", "pump open", "cold":
		s.Wide.Gain = 0
	case "injector":
		s.Wide.Gain *= 1 - s.Car.Size
	}
	if s.By != "mixture" || s.Fault == "untouched" {
		s.Wide = nil
	}
	switch {
	case s.Fault == "untouched":
		s.accept("nothing_forced", "not_ready")
		s.coasted()
		s.never("failed", "input", "adds_fuel", "cuts_fuel", "delivery", "sensor_rich", "sensor_lean", "bank", "sensor_scale")
	case s.Fault == "cold":
		s.accept("not_ready")
	case s.Sensor == "B1S2":
		s.behind()
	case s.By == "fuelcut":
		s.fuelCut()
	default:
		s.mixture(t)
	}
	slices.Sort(s.Accepted)
	s.Accepted = slices.Compact(s.Accepted)
	for _, h := range s.Holds {
		faint := !s.look(h).seen
		switch {
		case s.Sensor == "B1S2":
			faint = s.Fault != "sound"
		case s.By == "fuelcut":
			faint = s.Fault == "pump open" || s.Rate < 2
		}
		s.Forces = append(s.Forces, truth.Force{Side: h.Side, Begin: h.Begin, End: h.End, Faint: faint})
	}
}

// coasted accepts that the lean side is proven where the computer cut the fuel for long enough on a drive:
// whoever lifted the foot, the sensor had to show it.
func (s *scene) coasted() {
	if s.cut > 1.5 {
		s.accept("partly_proven")
	}
	// Vapour that purge lets in is propane by another name: the loop does answer it, and the sensor shows it.
	if s.purge > 0.03 {
		s.accept("partly_proven", "loop_proven")
	}
}

// mixture is what may be said where propane or a hose moved it.
func (s *scene) mixture(t sum) {
	g := s.Car.Ring
	seen := t.rich || t.lean
	if !seen { // too little of it, air that is metered, or a sensor that tells nothing
		s.accept("unclear", "nothing_forced", "not_ready")
	}
	alive := s.Fault != "pump open"
	if alive {
		s.never("failed", "sensor_rich", "sensor_lean")
	}
	switch s.Fault {
	case "pump open":
		s.accept("unclear")
		if t.rear || len(s.Car.banks) == 2 || slices.Contains(s.Port.Slow, "O2S12") {
			s.accept("sensor_dead")
		}
		s.never("proven", "sensor_rich", "sensor_lean", "sensor_scale")
		s.never("failed", "adds_fuel", "cuts_fuel", "delivery")
		return
	case "undelivered":
		s.accept("no_delivery")
		s.never("proven", "delivery")
		// 'Not delivered' asks for ten per cent of trim without effect; one that stood at its limit shows none.
		if t.moved < 10 || t.long == 0 {
			s.accept("unclear")
		}
		if t.moved < 4 {
			s.accept("no_command") // at its limit all the time: it looks as if it did not answer
			return
		}
		s.never("failed", "adds_fuel", "cuts_fuel")
		return
	case "nocommand":
		s.accept("no_command")
		s.never("proven", "adds_fuel", "cuts_fuel")
		if t.long < 2 {
			s.accept("unclear")
		}
		return
	}
	s.never("failed", "adds_fuel", "cuts_fuel", "delivery")
	if t.rich && t.lean {
		s.accept("loop_proven")
		s.Undecided = append(s.Undecided, "partly_proven")
	} else { // one flank moved it, shutting off moved it back: both sides, or one of them
		s.accept("loop_proven", "partly_proven")
	}
	if t.moved < 4 {
		s.accept("unclear", "partly_proven")
	}
	if s.Wide.Gain >= 0.75 && s.Wide.Gain <= 1.35 && s.Fault != "offset" {
		s.never("failed", "sensor_scale")
	}
	slow := math.Max(g.Tau[0], g.Tau[1])
	switch s.Fault {
	case "gain":
		s.skewed()
	case "injector":
		// The sensor tells the truth, and three quarters of a trim arrive: from what is read a skewed sensor and
		// one injector that follows nothing are alike.
		s.accept("unclear", "sensor_skewed", "no_delivery")
	case "offset":
		// The loop makes λm = λc whatever is true; the sensor behind shows it, and that has a bias of its own.
		s.accept("unclear", "sensor_skewed")
	case "lag", "lag one way", "delay":
		often := s.Rate >= 5 && s.Port.Refresh[0] <= 0.25
		if often && slow >= 0.6 && seen && t.moved >= 4 && (s.Fault == "lag" || t.rich) {
			s.Undecided = append(s.Undecided, s.Accepted...)
			s.Accepted = nil
		} else {
			s.accept("unclear") // a delay of the sensor's own is not told from the engine's
		}
		s.accept("sensor_slow")
	}
}

// skewed is what may be said of a wrong gain. A sound ring at 5 readings/s is measured as 0.84 to 1.18.
func (s *scene) skewed() {
	switch gain := s.Car.Ring.Gain; {
	case gain < 0.65 || gain > 1.45:
		s.Undecided = append(s.Undecided, s.Accepted...)
		s.Accepted = nil
		s.accept("sensor_skewed", "unclear")
	case gain < 0.8 || gain > 1.25:
		s.accept("sensor_skewed", "unclear")
	}
}

// fuelCut is what may be said where only the throttle was lifted: lean was shown, rich was not. What
// comes after a cut is rich in some cars, and the loop's own.
func (s *scene) fuelCut() {
	s.Undecided = append(s.Undecided, "loop_proven")
	switch s.Fault {
	case "pump open":
		s.accept("sensor_dead", "unclear")
		s.never("proven", "sensor_lean", "sensor_rich")
		s.Undecided = append(s.Undecided, "input_dead")
	case "lag", "lag one way", "delay":
		s.accept("sensor_slow", "partly_proven", "unclear")
		s.never("failed", "sensor_lean", "sensor_rich")
	case "undelivered":
		s.accept("partly_proven", "unclear", "no_delivery") // trim wanders to its limit while λ stays away
		s.never("proven", "delivery")
	case "nocommand":
		s.accept("partly_proven", "unclear", "no_command")
		s.never("failed", "sensor_lean", "sensor_rich")
	default:
		s.accept("partly_proven")
		if s.Fault == "offset" || s.Fault == "gain" {
			s.accept("sensor_skewed")
		}
		if s.Rate < 2 {
			s.accept("unclear", "nothing_forced")
		}
		s.never("failed", "adds_fuel", "cuts_fuel", "delivery", "sensor_lean", "sensor_rich")
	}
}

// behind is what may be said where the rear sensor's wire was held lean: a command of a few per cent
// at most, in tens of seconds.
func (s *scene) behind() {
	if s.Fault == "rear wire open" {
		s.accept("input_dead")
		if !s.Marks {
			s.accept("nothing_forced", "unclear", "not_ready")
		}
		s.never("proven", "input")
		return
	}
	s.never("failed", "input", "adds_fuel", "cuts_fuel", "delivery")
	s.accept("partly_proven")
	from, most := 0.0, 0.0
	for _, l := range s.trace {
		if h := s.Holds[0]; l.t <= h.Begin {
			from = l.rearTrim
		} else if l.t < h.End {
			most = max(most, l.rearTrim-from)
		}
	}
	if most < 2.3 { // less than three counts of a command: nothing to go by
		s.accept("unclear", "nothing_forced")
		s.never("failed")
	}
	if s.Car.Ring.RearRate < 0.0005 {
		s.accept("no_command") // this computer does not steer by it at all, as far as anybody sees
		s.False["adds_fuel"] = nil
	}
}
