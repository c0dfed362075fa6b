package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/store"
)

func newVehicle(a *app) *cobra.Command {
	var f carFlags
	var into string
	cmd := &cobra.Command{
		Use:   "vehicle --port PORT",
		Short: "What this car reports, and whether it is ready for a test",
		Long: `Shows bus, computers, oxygen sensors and their kind, the reply rate that was
measured, trouble codes, and whether the car is ready for a bias test. No session is
stored and nothing in the car is changed; its bus and what it offers are remembered (cars.json
beside the database), so that it is met quickly another time.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usagef(cmd, "vehicle looks at a car through --port, not at a stored session; `pushback show %s` does that", args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error {
			bus, err := f.check(cmd)
			if err != nil {
				return err
			}
			line := f.line()
			return a.vehicle(cmd.Context(), visit{car: f, bus: bus, clock: obd.SystemClock{}, open: line.Open,
				memory: rig.MemoryBeside(a.db), maxBaud: line.MaxBaud(), into: into})
		},
	}
	f.add(cmd)
	cmd.Flags().StringVar(&into, "visit", "", "write it down in the visit of this `NAME`, or 'last'")
	return cmd
}

func (a *app) vehicle(ctx context.Context, v visit) error {
	f := v.car
	var db *store.Store
	if v.into != "" { // said before the car is asked
		var err error
		if db, err = a.openStore(ctx); err != nil {
			return err
		}
		defer db.Close()
		if _, err = db.Visit(ctx, v.into); err != nil {
			return err
		}
	}
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
	s := rig.NewSurvey(setup.Sensor, inquiry.Done, p.Stop)
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
	if db != nil {
		// Also where the look was ended by hand: it has been.
		if _, err := noteVisit(context.WithoutCancel(ctx), db, v.into, words.LookedAt(r.Watching, r.Ready, r.Reasons)); err != nil {
			return err
		}
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
func vehicleOf(car poll.Vehicle, quirks []string, judge *session.Judge, found *session.Findings, s *rig.Survey) sheet.Vehicle {
	d, sensor := judge.Decoder(), judge.Setup().Sensor
	r := sheet.Vehicle{
		Bus: car.Format.Bus.String(), Dialect: car.Format.Dialect.String(), Adapter: car.Identity.Text, VoltageV: car.Identity.Voltage, Quirks: some(quirks),
		Watching: sensor.String(), RateHz: math.Round(s.Rate()*10) / 10, Share: math.Round(s.Share()*100) / 100,
		Signals: rig.SignalNames(d), Ready: s.Ready, Reasons: some(s.Reasons), Computers: []string{}, Sensors: []sheet.Sensor{},
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
	r.Tell(dossier.VehicleDataOf(found, nil, s.Bands(), sensor.String()), dossier.Checks(s.Look, d.Sensors(), found, sensor))
	return r
}

// some makes an empty list of nil, for JSON.
func some[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}
