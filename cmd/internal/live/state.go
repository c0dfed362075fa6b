package live

import (
	"math"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/hazard"
	"pushback/analysis/limits"
	"pushback/analysis/session"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/obd"
)

// Stale is the age at which a value is no longer shown as live.
const Stale = 2 * time.Second

// Kept is how much of the traces a State keeps.
const Kept = 5 * time.Minute

// Reading is the last value of one signal.
type Reading struct {
	Value float64
	At    time.Duration // when it was received
	Known bool
}

// Point is one reading of a trace; a NaN breaks the line (asked for, nothing came).
type Point struct {
	At    time.Duration
	Value float64
}

// Hold is a time for which the signal was held.
type Hold struct {
	Side     analysis.Side
	From, To time.Duration
	Open     bool // it still is; To does not count
}

// Tick is an event or a mark on the time axis.
type Tick = dossier.Tick

// Phase says where the technician's hands are, as far as the records tell.
type Phase uint8

const (
	Idle     Phase = iota
	Held           // the signal is held, seen by the watcher or said by a mark
	Released       // it was let go, and the loop has not recovered yet
)

// State is all that a view shows of a session at one moment. It follows from the
// frames alone, so live, replay and page show the same. Its Write is a Sink's; it
// is not for concurrent use.
type State struct {
	Setup   session.Setup
	Replay  bool // it is over and only shown again: nobody is told to do anything
	verdict func() analysis.Verdict
	shown   decode.Roles[shows]
	order   dossier.Order
	Readings
	Forcing
	Axis
	Second Second

	Ready   *bool // nil: not known yet
	Reasons []hazard.Advice
	Ring    ring.Ring
	Prompt  *session.Prompt   // nil: not guided, or not yet
	Drive   *trimmap.Guidance // nil: no drive is led, or nothing was said yet
	Lost    bool              // the line to the adapter is gone
	Last    *Tick             // what happened last that people are told of

	Verdict *analysis.Verdict // once the session is over
}

// shows is what of the state a signal is.
type shows uint8

const (
	showsNothing shows = iota
	showsLambda
	showsVolts
	showsCommand
	showsTrim
	showsOther
	showsOtherVolts
	showsRPM
	showsCoolant
	showsStatus
)

// shownAs is what the signal of a name is where a sensor is watched.
func shownAs(name string, id decode.SensorID) shows {
	switch {
	case name == id.Ratio():
		return showsLambda
	case name == id.Voltage():
		return showsVolts
	case name == "EQ_RAT":
		return showsCommand
	case slices.Contains(id.Trims(), name):
		return showsTrim
	case slices.Contains(decode.SensorID{Bank: 3 - id.Bank, Position: id.Position}.Trims(), name):
		return showsOther
	case name == id.Beside().Voltage():
		return showsOtherVolts
	case name == "RPM":
		return showsRPM
	case name == "ECT":
		return showsCoolant
	case name == id.Status():
		return showsStatus
	}
	return showsNothing
}

// Second is the other bank's sensor where its wire is held too; of what it reads see [Readings].
type Second struct {
	Sensor string // "": one wire is tested
	Proofs []analysis.Proof
}

// Readings are the last values, and the session time now.
type Readings struct {
	Now        time.Duration
	Volts      Reading // of the watched sensor, V; lambda of a wide-range one
	Command    Reading // the commanded lambda
	Wide       bool    // the sensor is a wide-range one
	Trim       Reading // short-term, of its bank, %
	OtherTrim  Reading // short-term, of the other bank, %
	OtherVolts Reading // of the sensor in the same place of the other bank, V
	RPM        Reading
	Coolant    Reading // °C
	FuelStatus Reading // byte of PID 03
}

// Forcing is what the technician does.
type Forcing struct {
	Phase Phase
	Side  analysis.Side // of the force that is held, or was last
	Since time.Duration // when the phase began
	Seen  bool          // in Held: the watcher sees it, it is not only said
	from  float64       // trim when the force began
	limit float64       // where trim was last seen to stand at the computer's limit, %; 0 nowhere
}

// Axis is what stands on the time axis, the latest last.
type Axis struct {
	Holds  []Hold
	Ticks  []Tick
	VTrace []Point
	CTrace []Point // the commanded lambda
	TTrace []Point
}

// NewState shows a session of this setup; verdict is the judge's. Without it the ring
// stays open.
func NewState(setup session.Setup, verdict func() analysis.Verdict) *State {
	id := setup.Sensor
	s := &State{Setup: setup, verdict: verdict, shown: decode.NewRoles(func(name string) shows { return shownAs(name, id) }), Ring: ring.New()}
	if setup.Kind == decode.WideRange {
		s.Ring.AddScale()
	}
	return s
}

// turnsWide: volts that a wide-range sensor showed besides are no reading of it.
func (s *State) turnsWide() {
	s.Wide, s.VTrace = true, nil
	s.Ring.AddScale()
}

// Write takes in a frame.
func (s *State) Write(f session.Frame) error {
	s.Now = max(s.Now, f.Record.At)
	for _, x := range f.Samples {
		var r *Reading
		var trace *[]Point
		switch s.shown.Of(x.Signal) {
		case showsLambda:
			if !x.Missing && !s.Wide {
				s.turnsWide()
			}
			r, trace = &s.Volts, &s.VTrace
		case showsVolts:
			if s.Wide {
				continue
			}
			r, trace = &s.Volts, &s.VTrace
		case showsCommand:
			r, trace = &s.Command, &s.CTrace
		case showsTrim:
			r, trace = &s.Trim, &s.TTrace
		case showsOther:
			r = &s.OtherTrim
		case showsOtherVolts:
			r = &s.OtherVolts
		case showsRPM:
			r = &s.RPM
		case showsCoolant:
			r = &s.Coolant
		case showsStatus:
			r = &s.FuelStatus
		default:
			continue
		}
		if x.Missing {
			// The other name of a trim that comes by this one is no gap in it.
			if trace == &s.VTrace {
				s.add(trace, Point{x.Received, math.NaN()})
			}
			continue
		}
		*r = Reading{x.Value, x.Received, true}
		if trace != nil {
			s.add(trace, Point{x.Received, x.Value})
		}
	}
	if x := f.Record.Exchange; x != nil {
		switch x.Outcome {
		case obd.LinkLost:
			s.Lost = true
		case obd.OK:
			s.Lost = false
		}
	}
	if m := f.Record.Mark; m != nil && m.Kind != obd.MarkStep {
		mark := *m
		s.tick(Tick{At: f.Record.At, Mark: &mark})
		s.mark(f.Record.At, mark.Kind)
	}
	for _, e := range f.Events {
		s.event(e)
	}
	s.second(f)
	if s.Phase == Released && s.Now-s.Since > GiveUp {
		s.enter(Idle, s.Side, s.Now)
	}
	if s.Phase == Held {
		s.Ring.Progress(command(s.Side), s.moved()/limits.TrimEnough)
	}
	if s.verdict != nil && (len(f.Events) > 0 || len(f.Beside) > 0 || f.Last) {
		v := s.verdict()
		s.Ring.Take(v.Of(s.Setup.Sensor.String()))
		s.Second.Proofs = v.Of(s.Second.Sensor).Proofs
		if f.Last {
			s.Ring.Test()
			s.close(s.Now)
			s.Phase, s.Verdict = Idle, &v
		}
	}
	return nil
}

// second takes what is told of the other bank's sensor, which a guide's step names that is about two.
func (s *State) second(f session.Frame) {
	for _, e := range f.Beside {
		s.tick(Tick{At: seconds(e.T), Event: &e})
	}
	m := f.Record.Mark
	if m == nil || m.Kind != obd.MarkStep || s.Second.Sensor != "" {
		return
	}
	if other := s.Setup.Sensor.Beside().String(); strings.Contains(m.Text, " "+other) {
		s.Second.Sensor = other
	}
}

// GiveUp is how long a release keeps arcs under test: after it the guide goes on too.
const GiveUp = 30 * time.Second

// moved is by how much trim has moved against the force, %.
func (s *State) moved() float64 {
	if s.Side == analysis.Rich {
		return s.from - s.Trim.Value
	}
	return s.Trim.Value - s.from
}

// Told takes in what the technician is asked to do.
func (s *State) Told(p session.Prompt) { s.Prompt = &p }

func (s *State) event(e analysis.Event) {
	at := seconds(s.order.At(e))
	s.tick(Tick{At: at, Event: &e})
	switch e.Name {
	case analysis.Ready, analysis.NotReady:
		ready := e.Name == analysis.Ready
		s.Ready, s.Reasons = &ready, why.Advices(e.Reasons)
	case analysis.ForceBegins:
		s.close(at)
		s.Holds = append(s.Holds, Hold{Side: e.Side, From: at, Open: true})
		if s.Phase != Held || s.Side != e.Side {
			s.from = s.trimAt(at)
		}
		s.enter(Held, e.Side, at)
		s.Seen = true
	case analysis.ForceEnds:
		s.close(at)
		s.enter(Released, e.Side, at)
	case analysis.TrimAtLimit:
		s.limit = e.Value
	case analysis.SwitchingResumes:
		if s.Phase == Released {
			s.enter(Idle, s.Side, s.Now)
		}
	}
}

func (s *State) mark(at time.Duration, k obd.MarkKind) {
	switch k {
	case obd.MarkLean, obd.MarkRich:
		if s.Phase != Held || s.Side != analysis.Side(k) {
			s.from = s.Trim.Value
			s.enter(Held, analysis.Side(k), at)
			s.Seen = false
		}
	case obd.MarkRelease:
		// Until the watcher sees it too, the hold goes on.
		if s.Phase == Held {
			s.enter(Released, s.Side, at)
		}
	}
}

func (s *State) enter(p Phase, side analysis.Side, at time.Duration) {
	s.Phase, s.Side, s.Since = p, side, at
	switch p {
	case Held:
		s.Ring.Test(analysis.ProofInput, command(side), analysis.ProofDelivery, analysis.ProofBank)
	case Released:
		sensor := analysis.ProofSensorRich // the loop added fuel
		if side == analysis.Rich {
			sensor = analysis.ProofSensorLean
		}
		s.Ring.Test(sensor, analysis.ProofDelivery, analysis.ProofRecovery, analysis.ProofScale)
	default:
		s.Ring.Test()
	}
}

func command(side analysis.Side) analysis.ProofID {
	if side == analysis.Rich {
		return analysis.ProofCutsFuel
	}
	return analysis.ProofAddsFuel
}

// close ends the hold that is open.
func (s *State) close(at time.Duration) {
	if n := len(s.Holds); n > 0 && s.Holds[n-1].Open {
		s.Holds[n-1].Open, s.Holds[n-1].To = false, at
	}
}

func (s *State) tick(t Tick) {
	s.Ticks = append(s.Ticks, t)
	if len(s.Ticks) > 1000 {
		s.Ticks = slices.Delete(s.Ticks, 0, 500)
	}
	s.Last = &t
}

func (s *State) add(trace *[]Point, p Point) {
	t := append(*trace, p)
	// Now and then, so that it costs nothing: the old half is let go.
	if len(t) > 64 && t[0].At < s.Now-2*Kept {
		i, _ := slices.BinarySearchFunc(t, s.Now-Kept, func(p Point, at time.Duration) int { return int(p.At - at) })
		t = slices.Delete(t, 0, i)
	}
	*trace = t
}

// trimAt is the last trim before a time.
func (s *State) trimAt(at time.Duration) float64 {
	for i := len(s.TTrace) - 1; i >= 0; i-- {
		if s.TTrace[i].At <= at {
			return s.TTrace[i].Value
		}
	}
	return s.Trim.Value
}

// Rate is how many readings of the sensor came in a second, over the last seconds; 0: not
// known yet.
func (s *State) Rate() float64 {
	const window = 5 * time.Second
	n, first := 0, s.Now
	for i := len(s.VTrace) - 1; i >= 0 && s.VTrace[i].At > s.Now-window; i-- {
		if !math.IsNaN(s.VTrace[i].Value) {
			n, first = n+1, s.VTrace[i].At
		}
	}
	if n <= 2 {
		return 0
	}
	return float64(n-1) / (s.Volts.At - first).Seconds()
}

// Silent is how long nothing has come from the sensor, 0 while its reading is
// fresh.
func (s *State) Silent() time.Duration {
	if !s.Volts.Known || s.Now-s.Volts.At <= Stale {
		return 0
	}
	return s.Now - s.Volts.At
}

// Reads names the side of the present reading, "" when there is none or it is between them.
func (s *State) Reads() analysis.Side {
	if !s.Volts.Known || s.Silent() > 0 {
		return ""
	}
	return s.SideOf(s.Volts.Value)
}

// SideOf names the side of a value of the watched sensor, "" between them.
func (s *State) SideOf(v float64) analysis.Side {
	switch {
	case !s.Wide:
		return Reads(v)
	case v > 1+ratioNear:
		return analysis.Lean
	case v < 1-ratioNear:
		return analysis.Rich
	}
	return ""
}

// ratioNear is how far from 1 a ratio must be to be shown as lean or rich.
const ratioNear = 0.02

// Reads names the side of a voltage, "" between the sides.
func Reads(v float64) analysis.Side {
	switch {
	case v < limits.NeutralLow:
		return analysis.Lean
	case v > limits.NeutralHigh:
		return analysis.Rich
	}
	return ""
}

// Motion is what a trim does now. Its sign is not told by it: a trim that falls cuts fuel, however
// high it stands.
type Motion uint8

const (
	Unmoved Motion = iota
	Rising
	Falling
	Pegged // at a limit of the computer's
)

// counted is the least motion that is shown, % in motionOver: two counts of the short-term trim.
const (
	counted    = 1.6
	motionOver = 2 * time.Second
)

// TrimMotion is what short-term trim does now.
func (s *State) TrimMotion() Motion {
	if s.limit != 0 && s.Trim.Value/s.limit > 0.97 {
		return Pegged
	}
	switch by := s.Trim.Value - s.trimAt(s.Now-motionOver); {
	case by >= counted:
		return Rising
	case by <= -counted:
		return Falling
	}
	return Unmoved
}

func seconds(t float64) time.Duration { return time.Duration(t * float64(time.Second)) }
