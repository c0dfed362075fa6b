package third

import (
	"math"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
)

// A shown is what one hold gave to be seen.
type shown struct {
	visible  bool    // the level is not the one at which the reading lay anyway
	moved    float64 // trim beyond its own hunting before, against the force, % (of the bank whose input was held)
	answers  bool    // by three counts and more, and long enough
	displace bool    // and still so when it was released: only then does the release test the sensor
	released bool    // the cell then stood where the loop had put the mixture, and was read there twice
	reads    int
}

// left is how far trim must leave its own hunting to be seen, %: three counts.
const left = 2.3

// look sees what a hold gave to be seen.
func (s *scene) look(h hold) (m shown) {
	dir := 1.0
	if h.Side == "rich" {
		dir = -1
	}
	trim := func(l look) float64 {
		if s.Fault == "crossed" {
			return l.other * dir
		}
		return l.short * dir
	}
	own, last := -100.0, 0.0
	var before, inside []float64
	after, right := 0, 0
	for _, l := range s.trace {
		switch {
		case l.t > h.Begin-10 && l.t <= h.Begin:
			own, before = max(own, trim(l)), append(before, l.volts)
		case l.t > h.Begin && l.t < h.End:
			m.moved, last = max(m.moved, trim(l)-own), trim(l)-own
			m.reads++
			if l.t > h.Begin+1 {
				inside = append(inside, l.volts)
			}
		case l.t >= h.End && l.t < h.End+2.5:
			after++
			if (l.emf-0.45)*dir > 0.15 {
				right++
			}
		}
	}
	if len(inside) == 0 || len(before) == 0 {
		return m
	}
	slices.Sort(inside)
	level, near := inside[len(inside)/2], 0
	for _, v := range before {
		if math.Abs(v-level) < 0.06 {
			near++
		}
	}
	long := h.End - h.Begin
	for _, x := range h.Slips {
		long -= x[1] - x[0]
	}
	m.visible = near*10 < 7*len(before)
	m.answers = m.moved >= left && m.reads >= 6 && long >= 6 && m.visible
	m.displace = last >= left
	m.released = m.displace && after >= 2 && right >= 2
	return m
}

// A sum is what the holds of a side gave to be seen together.
type sum struct{ held, visible, answers, clear, silent bool }

func (s *scene) side(name string) (t sum) {
	for _, h := range s.Holds {
		if h.Side != name {
			continue
		}
		m := s.look(h)
		t.held = true
		t.visible = t.visible || m.visible
		t.answers = t.answers || m.answers
		t.clear = t.clear || m.answers && m.released
		t.silent = t.silent || m.moved < 1.6 && h.End-h.Begin >= 10 && m.reads >= 8
	}
	return t
}

var proofs = []string{"input", "adds_fuel", "cuts_fuel", "delivery", "sensor_rich", "sensor_lean", "bank", "recovery"}

// judge decides what may be said.
func (s *scene) judge() {
	s.False = map[string][]string{}
	lean, rich := s.side("lean"), s.side("rich")
	if s.Fault == "crossed" {
		lean.answers, rich.answers = lean.held, rich.held
	}
	never := func(state string, ids ...string) {
		for _, id := range ids {
			s.False[id] = append(s.False[id], state)
		}
	}
	if !lean.held {
		never("proven", "adds_fuel")
		never("failed", "adds_fuel")
	}
	if !rich.held {
		never("proven", "cuts_fuel")
		never("failed", "cuts_fuel")
	}
	s.Undecided = []string{"unclear", "nothing_forced", "not_ready"}
	rear := slices.Contains(s.Port.Slow, "O2S12")
	switch s.Fault {
	case "untouched":
		s.accept("nothing_forced", "not_ready")
		never("failed", proofs...)
	case "cold":
		s.accept("not_ready")
		never("failed", "adds_fuel", "cuts_fuel", "sensor_rich", "sensor_lean", "delivery")
	case "sound", "exhaustleak small":
		s.sound(lean, rich, never)
	case "lazy":
		s.sound(lean, rich, never)
		s.lazy()
	case "low", "high", "mid":
		s.dead(lean, rich, never)
	case "open":
		s.accept("input_dead")
		// A dead input at the level of the wire that is held says nothing; nor does one that nobody speaks of.
		if !s.Marks || !lean.visible && !rich.visible {
			s.accept("nothing_forced", "unclear", "not_ready")
		}
		never("proven", "input", "adds_fuel", "cuts_fuel", "sensor_rich", "sensor_lean")
	case "nocommand", "adds only", "cuts only", "wrongway":
		s.silent(lean, rich, never)
	case "airleak", "exhaustleak large":
		s.leaks(lean, rich, rear, never)
	case "undelivered":
		s.accept("unclear")
		if rear {
			s.accept("no_delivery")
		}
		// Without the sensor behind the catalyst a dead sensor looks the same, so 'not delivered' says too much, but no untruth.
		s.Undecided = append(s.Undecided, "no_delivery")
		if !s.two {
			s.Undecided = append(s.Undecided, "partly_proven")
		}
		never("proven", "delivery")
		never("failed", "input", "adds_fuel", "cuts_fuel")
	case "crossed":
		s.crossed(never)
	}
	s.misled()
	// Nobody sees what does not show.
	if !lean.visible && !rich.visible && !s.Marks {
		s.accept("nothing_forced", "unclear", "not_ready")
	}
	slices.Sort(s.Accepted)
	s.Accepted = slices.Compact(s.Accepted)
	s.forces()
}

// misled accepts a dead input where the reading did not follow what was said: they said rich and held lean on
// a reading that was lean already, or they let go after a few readings and never said so.
func (s *scene) misled() {
	for _, h := range s.Holds {
		if !s.Marks {
			return
		}
		m := s.look(h)
		if string(h.Marks[0].Kind) != h.Side && !m.visible || len(h.Marks) == 1 && !m.answers && (m.reads < 6 || h.End-h.Begin < 6) {
			s.accept("input_dead")
			s.False["input"] = slices.DeleteFunc(s.False["input"], func(state string) bool { return state == "failed" })
		}
	}
}

func (s *scene) accept(list ...string) { s.Accepted = append(s.Accepted, list...) }

// sound is what may be said of a loop that works, by what could be seen of it.
func (s *scene) sound(lean, rich sum, never func(string, ...string)) {
	never("failed", "input", "delivery", "sensor_rich", "sensor_lean", "bank")
	// A computer that has paused its trim all the while looks like one that gives no command: two silent
	// forces, 30 s apart, are as much as anybody waits for.
	if s.two && lean.silent && rich.silent && !lean.answers && !rich.answers && s.Holds[1].Begin-s.Holds[0].Begin >= 30 {
		s.accept("no_command")
	} else {
		never("failed", "adds_fuel", "cuts_fuel")
	}
	switch {
	case s.two && lean.clear && rich.clear:
		s.accept("loop_proven")
		s.Undecided = append(s.Undecided, "partly_proven")
	case s.two:
		s.accept("loop_proven", "partly_proven", "unclear")
	default:
		s.accept("partly_proven")
		if !lean.clear && !rich.clear {
			s.accept("unclear")
		}
	}
	if !lean.answers && !rich.answers {
		s.accept("nothing_forced", "not_ready")
	}
	// A slow ramp takes long to come back, so that the loop has not recovered when the recording ends.
	if b := s.Car.banks[0]; len(s.Holds) > 0 && math.Abs(b.short-b.mean) < 0.02 && s.end-s.Holds[len(s.Holds)-1].End > 20 {
		s.False["recovery"] = append(s.False["recovery"], "failed")
	}
}

// lazy adds what a slow cell allows. At rest its lag shows in the crossings only: while the wire is held
// the cell goes on living in the gas, so that it stands ready when it is let go. A crossing shows it
// where mixture itself passes the step faster, and where it is read often enough.
func (s *scene) lazy() {
	c := s.Car
	ramp := c.Loop.Ramp
	if c.Loop.Tick > 0 {
		ramp = 1.0 / 128 / c.Loop.Tick
	}
	swift := c.Loop.Jump > 2*c.Sensor.Width || 4*c.Sensor.Width/ramp < c.Size/2
	often := s.Rate*c.Size >= 3 && s.Port.Refresh[0] < c.Size/3 && c.Sensor.Filter < c.Size/3
	if swift && often {
		s.Undecided = append(s.Undecided, s.Accepted...)
		s.Accepted = nil
	}
	s.accept("sensor_slow")
}

// dead is what may be said of a cell that tells nothing.
func (s *scene) dead(lean, rich sum, never func(string, ...string)) {
	s.accept("sensor_dead", "unclear")
	never("failed", "input", "adds_fuel", "cuts_fuel")
	// Stuck on a side, its trim stands at the limit: who holds the other side alone sees trim leave it, and on
	// release the cell tells what is true, by chance.
	switch s.Fault {
	case "low":
		never("proven", "sensor_rich")
		if !lean.held {
			s.Undecided = append(s.Undecided, "partly_proven")
		}
	case "high":
		never("proven", "sensor_lean")
		if !rich.held {
			s.Undecided = append(s.Undecided, "partly_proven")
		}
	default:
		never("proven", "sensor_rich", "sensor_lean")
	}
}

// silent is what may be said where trim does not answer, on one side or both.
func (s *scene) silent(lean, rich sum, never func(string, ...string)) {
	never("failed", "input")
	// Both sides silent over ten seconds, or else it is a guess.
	s.accept("no_command")
	if !s.Marks {
		s.accept("unclear", "nothing_forced") // no word and no answer: a level alone
	}
	if s.Fault != "nocommand" || !lean.silent || !rich.silent {
		s.accept("unclear")
	}
	switch s.Fault {
	case "adds only":
		never("failed", "adds_fuel")
		if !rich.answers {
			never("proven", "cuts_fuel")
		} else {
			s.accept("loop_proven", "partly_proven") // it cut as far as it could: to 0, which looks like a limit
		}
		if !rich.held {
			s.accept("partly_proven")
		}
	case "cuts only":
		never("failed", "cuts_fuel")
		if !lean.answers {
			never("proven", "adds_fuel")
		} else {
			s.accept("loop_proven", "partly_proven")
		}
		if !lean.held {
			s.accept("partly_proven")
		}
	default:
		never("proven", "adds_fuel", "cuts_fuel")
	}
}

// leaks is what may be said where more air comes in than trim can feed, into the engine or into
// the exhaust. The sensor tells the truth of the gas about it, and only lean is ever read.
func (s *scene) leaks(lean, rich sum, rear bool, never func(string, ...string)) {
	s.accept("unclear")
	never("failed", "input", "adds_fuel")
	never("proven", "sensor_rich")
	s.Undecided = append(s.Undecided, "partly_proven")
	if rich.held {
		s.accept("partly_proven")
	}
	if s.Fault == "airleak" {
		s.Undecided = append(s.Undecided, "no_delivery")
		return
	}
	if !rear {
		s.Undecided = append(s.Undecided, "no_delivery")
	}
	for _, l := range s.trace {
		if s.held(l.t) == nil && l.emf > 0.6 {
			return // at speed it read rich: it lives
		}
	}
	// Lean for ever with the other sensor rich: a dead cell looks just so.
	s.Undecided = append(s.Undecided, "sensor_dead")
}

// crossed is what may be said where the sensors' plugs are exchanged.
func (s *scene) crossed(never func(string, ...string)) {
	s.accept("wrong_bank")
	never("proven", "bank")
	moved, often := false, s.Rate/float64(2*len(s.Port.Slow))
	enough := false
	for _, h := range s.Holds {
		m := s.look(h)
		moved = moved || m.moved >= left
		enough = enough || (h.End-h.Begin)*often*2 >= 3 // the other bank's trim is read twice a round
	}
	if !moved || !enough {
		s.accept("unclear", "input_dead") // the other bank stood at its limit, or was hardly read
	}
	if !enough {
		s.accept("sensor_dead") // lean for ever, trim at its limit and rich behind the catalyst: bank 1 alone looks just so
	}
	if !s.Marks {
		s.accept("unclear", "nothing_forced", "not_ready")
	}
}

// forces puts down the holds, and each grip after a slip as one that need not be told apart.
func (s *scene) forces() {
	for i, h := range s.Holds {
		m := s.look(h)
		faint := h.End-h.Begin < 6 || !m.visible || m.reads < 4 || s.Fault == "open" || s.Fault == "crossed"
		f := truth.Force{Side: h.Side, Begin: h.Begin, End: h.End, Faint: faint}
		if i < len(s.latency) && s.latency[i].told > 0 && !faint {
			f.Commanded, f.Told = s.latency[i].moved-h.Begin, s.latency[i].told-h.Begin
		}
		s.Forces = append(s.Forces, f)
		for _, x := range h.Slips {
			s.Forces = append(s.Forces, truth.Force{Side: h.Side, Begin: x[1], End: h.End, Faint: true})
		}
	}
}

// An onset is when trim first moved against a hold, and when the port first showed it, s.
type onset struct {
	was, low    float64
	moved, told float64
	begun       bool
	turns       bool // trim went the other way when the hold began, so that its answer is a turn
}

// watch follows the trim of the bank that is held.
func (s *scene) watch(t float64) {
	if s.latency == nil {
		s.latency = make([]onset, len(s.Holds))
	}
	b := s.Car.banks[0]
	for i, h := range s.Holds {
		o := &s.latency[i]
		dir := 1.0
		if h.Side == "rich" {
			dir = -1
		}
		if t < h.Begin || t >= h.End || o.told > 0 {
			continue
		}
		short, port := b.short*dir, s.Port.shown[1]*dir
		if !o.begun {
			o.begun, o.turns, o.was, o.low = true, b.side*dir > 0, short, port
		}
		if o.turns && o.moved == 0 && short > o.was {
			o.moved = t
		}
		if o.moved > 0 && port > o.low {
			o.told = t
		}
		o.was, o.low = short, min(o.low, port)
	}
}
