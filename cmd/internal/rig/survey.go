package rig

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/hazard"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/obd"
)

// Survey is a sink that sums up what a short look at the car shows, and ends it.
type Survey struct {
	voltage  string
	lambda   string      // in its place, of a wide-range sensor
	trim     string      // that comes with it
	bankTrim [2]string   // trim of its bank, and of the bank that may come in the same reply
	asked    func() bool // all that is asked once was
	stop     func()

	first, latest time.Duration // of the voltage
	n             int
	from          time.Duration // of the voltage, since all else was asked
	read          int
	paired        time.Duration // spent for the voltage and its bank's trim alone, since then
	told          bool
	Ready         bool            // as the watcher told
	Reasons       []hazard.Advice // why it is not
	stopped       bool

	Look     dossier.Look // so far
	switches *switching.Collector
}

// A look lasts until readiness is told, but not shorter than the rate needs and
// not longer than anybody waits.
const (
	lookLeast = 3 * time.Second
	lookMost  = 16 * time.Second
)

// NewSurvey looks at a car for a test of sensor; asked reports whether all that is asked once was, and
// stop ends the look.
func NewSurvey(sensor decode.SensorID, asked func() bool, stop func()) *Survey {
	return &Survey{switches: switching.NewCollector(sensor.String()), voltage: sensor.Voltage(), lambda: sensor.Ratio(),
		trim: sensor.TrimBeside(), bankTrim: bankTrims(sensor.Bank), asked: asked, stop: stop,
		Reasons: []hazard.Advice{{Do: "the watcher has not seen enough to tell"}}, Look: dossier.Look{Last: map[string]float64{}}}
}

// Write takes one frame.
func (s *Survey) Write(f session.Frame) error {
	for _, x := range f.Samples {
		s.switches.Add(x)
		if x.Signal.Name == s.trim {
			s.Look.UnusedTrim = x.Missing && f.Record.Exchange != nil && f.Record.Exchange.Outcome == obd.OK
		}
		if x.Missing || s.stopped {
			continue
		}
		if x.Signal.Name == "RPM" {
			if _, had := s.Look.Last["RPM"]; !had {
				s.Look.RPM = [2]float64{x.Value, x.Value}
			}
			s.Look.RPM = [2]float64{min(s.Look.RPM[0], x.Value), max(s.Look.RPM[1], x.Value)}
		}
		s.Look.Last[x.Signal.Name] = x.Value
		if x.Signal.Name != s.voltage && x.Signal.Name != s.lambda {
			continue
		}
		if s.n == 0 {
			s.first = x.Received
		}
		s.latest, s.n = x.Received, s.n+1
		if !s.asked() { // what is asked once takes turns from the readings: their rate is another
			s.from, s.read, s.paired = x.Received, 0, 0
			continue
		}
		s.read++
	}
	if s.ofPair(f) {
		s.paired += f.Record.At - f.Record.Sent
	}
	for _, e := range f.Events {
		switch e.Name {
		case analysis.Ready, analysis.NotReady:
			s.told, s.Ready, s.Reasons = true, e.Name == analysis.Ready, why.Advices(e.Reasons)
		}
	}
	look := f.Record.At - s.first
	if s.n > 0 && !s.stopped && (look >= lookMost || look >= lookLeast && s.told && s.asked() && s.known()) || s.n == 0 && f.Record.At >= 2*lookMost && !s.stopped {
		s.stopped = true
		s.stop()
	}
	return nil
}

// Bands is how the sensor switched.
func (s *Survey) Bands() []switching.SpeedBand { return s.switches.Bands(nil) }

// known reports whether what the checks need was read, after a moment for the rate.
func (s *Survey) known() bool {
	_, coolant := s.Look.Last["ECT"]
	_, speed := s.Look.Last["RPM"]
	return coolant && speed && s.latest-s.from >= 2*time.Second
}

// Rate is how many readings of the sensor came in a second; 0 unknown.
func (s *Survey) Rate() float64 {
	if s.n < 2 {
		return 0
	}
	if s.read > 1 {
		return float64(s.read) / (s.latest - s.from).Seconds()
	}
	return float64(s.n-1) / (s.latest - s.first).Seconds()
}

// bankTrims are the short-term trims that come with a bank's PID, 06 or 08.
func bankTrims(bank int) [2]string {
	if bank%2 == 1 {
		return [2]string{"SHRTFT1", "SHRTFT3"}
	}
	return [2]string{"SHRTFT2", "SHRTFT4"}
}

// ofPair tells whether a frame is an exchange for the voltage and its bank's trim alone.
func (s *Survey) ofPair(f session.Frame) bool {
	for _, x := range f.Samples {
		switch x.Signal.Name {
		case s.voltage, s.lambda, s.trim, s.bankTrim[0], s.bankTrim[1]:
		default:
			return false
		}
	}
	return len(f.Samples) > 0 && f.Record.Exchange != nil && !s.stopped
}

// Share is how much of the time the watched pair had: its rate as a share of what bus,
// computer, adapter and serial line would allow if nothing else were read.
func (s *Survey) Share() float64 {
	if s.read < 2 {
		return 0
	}
	return min(1, s.paired.Seconds()/(s.latest-s.from).Seconds())
}

// fourBanks are signals that share a PID with those of two banks, and come where there are four.
var fourBanks = map[string]bool{"SHRTFT3": true, "LONGFT3": true, "SHRTFT4": true, "LONGFT4": true}

// SignalNames are what the car offers of service 01, by the standard's short names.
func SignalNames(d *decode.Decoder) []string {
	names := []string{}
	for _, s := range decode.Signals() {
		if s.Service != 0x01 || !d.Supports(s.PID) || fourBanks[s.Name] && !d.Supports(0x1D) {
			continue
		}
		ofSensor := 0x14 <= s.PID && s.PID <= 0x1B || 0x24 <= s.PID && s.PID <= 0x2B || 0x34 <= s.PID && s.PID <= 0x3B
		if !ofSensor || slices.ContainsFunc(d.Sensors(), func(o decode.Sensor) bool {
			return o.PID == s.PID && strings.HasSuffix(s.Name, fmt.Sprintf("%d%d", o.Bank, o.Position))
		}) {
			names = append(names, s.Name)
		}
	}
	return names
}

// Checklist is a sink that looks at the car in a test's first seconds as `vehicle` does, and
// tells the conditions that are not met beyond those that the watcher itself waits for.
type Checklist struct {
	*Survey
	judge *session.Judge
	found *session.Findings
	tell  func(dossier.Check)
	done  bool
	Unmet []dossier.Check
}

// NewChecklist tells what is not met.
func NewChecklist(judge *session.Judge, found *session.Findings, asked func() bool, tell func(dossier.Check)) *Checklist {
	return &Checklist{Survey: NewSurvey(judge.Setup().Sensor, asked, func() {}), judge: judge, found: found, tell: tell}
}

// Write takes one frame.
func (l *Checklist) Write(f session.Frame) error {
	if l.done {
		return nil
	}
	if err := l.Survey.Write(f); err != nil || !l.stopped {
		return err
	}
	l.done = true
	for _, c := range dossier.Checks(l.Look, l.judge.Decoder().Sensors(), l.found, l.judge.Setup().Sensor) {
		if c.State == dossier.Unmet && !c.WaitedFor() {
			l.Unmet = append(l.Unmet, c)
			l.tell(c)
		}
	}
	return nil
}
