package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/term"
	"pushback/decode"
	"pushback/obd"
)

func newVehicle(a *app) *cobra.Command {
	var f carFlags
	cmd := &cobra.Command{
		Use:   "vehicle --port PORT",
		Short: "What this car offers, and whether it is ready for a test",
		Long: `Shows bus, computers, oxygen sensors and their kind, the reply rate that was
measured, trouble codes, and whether the car is ready for a bias test. No session is
stored and nothing in the car is changed; its bus and what it offers are remembered (cars.json
beside the database), so that it is met quickly another time.`,
		Args: args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			bus, err := f.check(cmd)
			if err != nil {
				return err
			}
			return a.vehicle(cmd.Context(), visit{car: f, bus: bus, clock: obd.SystemClock{}, open: f.open,
				memory: rig.MemoryBeside(a.db), maxBaud: f.maxBaud()})
		},
	}
	f.add(cmd)
	return cmd
}

func (a *app) vehicle(ctx context.Context, v visit) error {
	f := v.car
	p, err := rig.Open(ctx, v.config(a))
	if err != nil {
		return err
	}
	defer p.Close()
	car := p.Vehicle()
	setup, err := session.NewSetup(f.sensor, "", car.Format)
	if err != nil {
		return err
	}
	judge := session.NewJudge(setup)
	if err := readable(p.Adapter, car.Decoder, f.sensor); err != nil {
		return err
	}
	fmt.Fprintln(a.errOut, "measuring for some seconds …")
	found, inquiry := session.NewFindings(judge), session.NewOneTimeQueries(p, judge)
	for _, pid := range []byte{0x05, 0x1F} { // coolant, time since start: on a slow bus their turn would come late
		if car.Decoder.Supports(pid) {
			p.Ask(obd.Request{Service: 0x01, Data: []byte{pid}})
		}
	}
	s := newSurvey(f.sensor, inquiry.Done, p.Stop)
	run, end := p.Orderly(ctx)
	defer end()
	if _, err := session.Run(run, p, judge, found, inquiry, s); err != nil && !errors.Is(err, context.Canceled) {
		return err
	}

	r := vehicleReport{
		Bus: car.Format.Bus.String(), Adapter: car.Identity.Text, VoltageV: car.Identity.Voltage,
		Quirks: some(p.Quirks()), Computers: []string{}, Sensors: []sensorReport{}, Watching: f.sensor,
		RateHz: math.Round(s.rate()*10) / 10, Share: math.Round(s.share()*100) / 100, Signals: signalNames(judge.Decoder()), Codes: codesOf(found), Ready: s.ready, Reasons: some(s.reasons),
	}
	for _, c := range judge.Decoder().Computers() {
		name := fmt.Sprintf("%X", c)
		if c == judge.Decoder().Engine() {
			r.Engine = name
		}
		r.Computers = append(r.Computers, name)
	}
	for _, s := range judge.Decoder().Sensors() {
		r.Sensors = append(r.Sensors, sensorReport{s.Name, s.Kind.String(), fmt.Sprintf("%02X", s.PID)})
	}
	r.Checks = readyChecks(s, judge.Decoder(), found, f.sensor, analysis.ByWire)
	r.Ask = questions
	r.Monitors = monitorsOf(found)
	r.Tests = testsOf(found.Tests, s.switches.Bands(nil), f.sensor)
	r.Freeze = freezeOf(found.Freeze)
	refused := suit(judge.Decoder(), f.sensor, analysis.ByWire)
	if refused != nil {
		r.Ready = false
		r.Reasons = append(r.Reasons, refused.Error())
	}
	if a.json {
		if err := json.NewEncoder(a.out).Encode(r); err != nil {
			return err
		}
	} else {
		r.print(a.out)
	}
	if refused != nil {
		return refused
	}
	if !r.Ready {
		return concluded(statusNotReady)
	}
	return nil
}

// trying tells on a terminal's standard error which bus is being tried.
func (a *app) trying() func(obd.Bus) {
	return func(b obd.Bus) {
		if b == obd.BusUnknown {
			fmt.Fprintln(a.errOut, "looking for the car's bus …")
			return
		}
		fmt.Fprintf(a.errOut, "trying %s …\n", b)
	}
}

// vehicleReport is what `vehicle` found.
type vehicleReport struct {
	Bus       string         `json:"bus"`
	Adapter   string         `json:"adapter"`
	VoltageV  float64        `json:"voltage_v"` // at the connector; 0 unknown
	Quirks    []string       `json:"quirks"`
	Computers []string       `json:"computers"`
	Engine    string         `json:"engine"` // the computer that is watched
	Sensors   []sensorReport `json:"sensors"`
	Watching  string         `json:"watching"`
	Signals   []string       `json:"signals"`        // supported, by the standard's short names
	RateHz    float64        `json:"readings_per_s"` // of the watched sensor
	Share     float64        `json:"share_of_ideal"` // of the rate at which nothing else is read; 0 unknown
	Codes     []codeReport   `json:"codes"`
	Ready     bool           `json:"ready"`
	Reasons   []string       `json:"reasons"`
	Checks    []check        `json:"checks"`
	Monitors  *monitorsJSON  `json:"monitors"`     // null: not read
	Tests     []ownTest      `json:"own_tests"`    // services 05 and 06
	Freeze    *freezeJSON    `json:"freeze_frame"` // null: none
	Ask       []string       `json:"ask"`          // what no data tells
}

type sensorReport struct {
	Name string `json:"name"`
	Kind string `json:"kind"`
	PID  string `json:"pid"`
}

type codeReport struct {
	Code    string `json:"code"`
	State   string `json:"state"`   // stored, pending, permanent
	Meaning string `json:"meaning"` // "" unknown
	ByTest  bool   `json:"by_test"` // it was set while the test ran, so by the test
}

func (r vehicleReport) print(w io.Writer) {
	line := func(what, format string, args ...any) {
		fmt.Fprintf(w, "%-12s "+format+"\n", append([]any{what}, args...)...)
	}
	line("bus", "%s", r.Bus)
	adapter := r.Adapter
	if r.VoltageV > 0 {
		adapter += fmt.Sprintf(", %.1f V at the connector", r.VoltageV)
	}
	line("adapter", "%s", adapter)
	for _, q := range r.Quirks {
		line("", "%s", q)
	}
	line("computers", "%s (engine: %s)", strings.Join(r.Computers, ", "), r.Engine)
	for i, s := range r.Sensors {
		what := ""
		if i == 0 {
			what = "sensors"
		}
		line(what, "%s %s (PID %s)", s.Name, s.Kind, s.PID)
	}
	if len(r.Signals) > 0 {
		term.Indent(w, fmt.Sprintf("%-12s ", "signals"), strings.Join(r.Signals, " "))
	}
	rate := fmt.Sprintf("%.1f readings/s of %s", r.RateHz, r.Watching)
	if r.Share > 0 {
		rate += fmt.Sprintf(", %.0f %% of what there would be if nothing else were read", 100*r.Share)
	}
	line("rate", "%s", rate)
	if len(r.Codes) == 0 {
		line("codes", "none")
	}
	for _, c := range r.Codes {
		line("code", "%s", codeText(c))
	}
	writeFreeze(w, r.Freeze)
	if m := r.Monitors; m != nil {
		line("monitors", "%s", m.text())
	}
	writeOwnTests(w, r.Tests)
	fmt.Fprintln(w)
	for _, c := range r.Checks {
		sign := map[string]string{checkOK: "✓", checkUnmet: "✗", checkUnknown: "?"}[c.State]
		text := sign + " " + c.What
		if c.Found != "" {
			text += ": " + c.Found
		}
		fmt.Fprintln(w, text)
		if c.Do != "" {
			fmt.Fprintln(w, "    what to do:", c.Do)
		}
	}
	fmt.Fprintln(w, "\nno data tells, so find out:")
	for _, q := range r.Ask {
		term.Indent(w, "  - ", q)
	}
	fmt.Fprintln(w)
	if r.Ready {
		line("ready", "yes, for a test of %s", r.Watching)
	} else {
		line("ready", "NO: %s", strings.Join(r.Reasons, "; "))
	}
}

func codeText(c codeReport) string {
	text := fmt.Sprintf("%s (%s)", c.Code, c.State)
	if c.Meaning != "" {
		text += ": " + c.Meaning
	}
	if c.ByTest {
		text += " - set during the test, so caused by it"
	}
	return text
}

// some makes an empty list of nil, for JSON.
func some[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// survey is a sink that sums up what a short look at the car shows, and ends it.
type survey struct {
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
	ready         bool
	reasons       []string
	stopped       bool

	last       map[string]float64 // by signal
	rpm        [2]float64         // lowest and highest
	unusedTrim bool               // the computer says so of this sensor
	switches   *switching.Collector
}

// A look lasts until readiness is told, but not shorter than the rate needs and
// not longer than anybody waits.
const (
	lookLeast = 3 * time.Second
	lookMost  = 16 * time.Second
)

func newSurvey(sensor string, asked func() bool, stop func()) *survey {
	id, _ := decode.ParseSensorID(sensor) // the flag was checked
	return &survey{switches: switching.NewCollector(sensor), voltage: id.Voltage(), lambda: id.Ratio(),
		trim: id.TrimBeside(), bankTrim: bankTrims(id.Bank), asked: asked, stop: stop,
		reasons: []string{"the watcher has not seen enough to tell"}, last: map[string]float64{}}
}

func (s *survey) Write(f session.Frame) error {
	for _, x := range f.Samples {
		s.switches.Add(x)
		if x.Signal.Name == s.trim {
			s.unusedTrim = x.Missing && f.Record.Exchange != nil && f.Record.Exchange.Outcome == obd.OK
		}
		if x.Missing || s.stopped {
			continue
		}
		if x.Signal.Name == "RPM" {
			if _, had := s.last["RPM"]; !had {
				s.rpm = [2]float64{x.Value, x.Value}
			}
			s.rpm = [2]float64{min(s.rpm[0], x.Value), max(s.rpm[1], x.Value)}
		}
		s.last[x.Signal.Name] = x.Value
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
		s.paired += f.Record.Exchange.Received - f.Record.Exchange.Sent
	}
	for _, e := range f.Events {
		switch e.Name {
		case analysis.Ready, analysis.NotReady:
			s.told, s.ready, s.reasons = true, e.Name == analysis.Ready, e.Reasons
		}
	}
	look := f.Record.At - s.first
	if s.n > 0 && !s.stopped && (look >= lookMost || look >= lookLeast && s.told && s.asked() && s.known()) || s.n == 0 && f.Record.At >= 2*lookMost && !s.stopped {
		s.stopped = true
		s.stop()
	}
	return nil
}

// known reports whether what the checks need was read, after a moment for the rate.
func (s *survey) known() bool {
	_, coolant := s.last["ECT"]
	_, speed := s.last["RPM"]
	return coolant && speed && s.latest-s.from >= 2*time.Second
}

func (s *survey) rate() float64 {
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
func (s *survey) ofPair(f session.Frame) bool {
	for _, x := range f.Samples {
		switch x.Signal.Name {
		case s.voltage, s.lambda, s.trim, s.bankTrim[0], s.bankTrim[1]:
		default:
			return false
		}
	}
	return len(f.Samples) > 0 && f.Record.Exchange != nil && !s.stopped
}

// share returns how much of the time the watched pair had: its rate as a share of what bus,
// computer, adapter and serial line would allow if nothing else were read.
func (s *survey) share() float64 {
	if s.read < 2 {
		return 0
	}
	return min(1, s.paired.Seconds()/(s.latest-s.from).Seconds())
}

// fourBanks are signals that share a PID with those of two banks, and come where there are four.
var fourBanks = map[string]bool{"SHRTFT3": true, "LONGFT3": true, "SHRTFT4": true, "LONGFT4": true}

// signalNames returns what the car offers of service 01, by the standard's short names.
func signalNames(d *decode.Decoder) []string {
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

func sensorText(d *decode.Decoder) string {
	var names []string
	for _, s := range d.Sensors() {
		text := s.Name
		if s.Kind == decode.WideRange {
			text += " (wide-range)"
		}
		names = append(names, text)
	}
	if names == nil {
		return "none named"
	}
	return strings.Join(names, ", ")
}
