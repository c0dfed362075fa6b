package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
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

	r := vehicleOf(car, p.Quirks(), judge, found, s)
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
		r.Write(a.out)
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

// vehicleOf is what a look at a car found.
func vehicleOf(car poll.Vehicle, quirks []string, judge *session.Judge, found *session.Findings, s *survey) sheet.Vehicle {
	d, sensor := judge.Decoder(), judge.Setup().Sensor
	r := sheet.Vehicle{
		Bus: car.Format.Bus.String(), Adapter: car.Identity.Text, VoltageV: car.Identity.Voltage, Quirks: some(quirks),
		Watching: sensor.String(), RateHz: math.Round(s.rate()*10) / 10, Share: math.Round(s.share()*100) / 100,
		Signals: signalNames(d), Ready: s.ready, Reasons: some(s.reasons), Computers: []string{}, Sensors: []sheet.Sensor{},
	}
	for _, c := range d.Computers() {
		name := fmt.Sprintf("%X", c)
		if c == d.Engine() {
			r.Engine = name
		}
		r.Computers = append(r.Computers, name)
	}
	for _, x := range d.Sensors() {
		r.Sensors = append(r.Sensors, sheet.Sensor{Name: x.Name, Kind: x.Kind.String(), PID: fmt.Sprintf("%02X", x.PID)})
	}
	r.Tell(dossier.VehicleDataOf(found, nil, s.switches.Bands(nil), sensor.String()), dossier.Checks(s.look, d.Sensors(), found, sensor))
	return r
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

	look     dossier.Look
	switches *switching.Collector
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
		reasons: []string{"the watcher has not seen enough to tell"}, look: dossier.Look{Last: map[string]float64{}}}
}

func (s *survey) Write(f session.Frame) error {
	for _, x := range f.Samples {
		s.switches.Add(x)
		if x.Signal.Name == s.trim {
			s.look.UnusedTrim = x.Missing && f.Record.Exchange != nil && f.Record.Exchange.Outcome == obd.OK
		}
		if x.Missing || s.stopped {
			continue
		}
		if x.Signal.Name == "RPM" {
			if _, had := s.look.Last["RPM"]; !had {
				s.look.RPM = [2]float64{x.Value, x.Value}
			}
			s.look.RPM = [2]float64{min(s.look.RPM[0], x.Value), max(s.look.RPM[1], x.Value)}
		}
		s.look.Last[x.Signal.Name] = x.Value
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
	_, coolant := s.look.Last["ECT"]
	_, speed := s.look.Last["RPM"]
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
