package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/cmd/internal/rig"
	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/seriallink"
)

// carFlags say where the car is and what is asked of it.
type carFlags struct {
	port   string
	baud   int
	bus    string
	sensor string
	beside string // the other bank's, whose wire is held too; "" none
}

func (f *carFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&f.port, "port", "p", "", "adapter's `PORT`: /dev/ttyUSB0, COM4, tcp://host:port")
	cmd.Flags().IntVar(&f.baud, "baud", 0, "serial speed in baud, `N` (default: found automatically)")
	cmd.Flags().StringVar(&f.bus, "bus", "", "vehicle bus `NAME`, such as can11-500; default: searched automatically")
	cmd.Flags().StringVar(&f.sensor, "sensor", "B1S1", "`SENSOR` to test: bank and position; test also takes two, B1S1,B2S1")
}

// pair takes two sensors of --sensor apart, both of whose wires are to be held.
func (f *carFlags) pair(cmd *cobra.Command, by string) error {
	first, second, two := strings.Cut(f.sensor, ",")
	if !two {
		return nil
	}
	a, err := decode.ParseSensorID(first)
	if err != nil {
		return usage(cmd, err)
	}
	b, err := decode.ParseSensorID(second)
	switch {
	case err != nil:
		return usage(cmd, err)
	case b != a.Beside() || a.Position != 1:
		return usagef(cmd, "--sensor %s: two wires are held at the first sensors of two banks, as B1S1,B2S1", f.sensor)
	case by != string(analysis.ByWire):
		return usagef(cmd, "--sensor %s is for --by wire: propane reaches both banks in any test; name one sensor", f.sensor)
	}
	f.sensor, f.beside = a.String(), b.String()
	return nil
}

// sensors are those that are tested, the first to be held first.
func (f *carFlags) sensors() []string {
	if f.beside == "" {
		return []string{f.sensor}
	}
	return []string{f.sensor, f.beside}
}

// check looks at what can be wrong before anything is opened.
func (f *carFlags) check(cmd *cobra.Command) (obd.Bus, error) {
	if f.port == "" {
		return 0, usagef(cmd, "--port is missing; `pushback ports` lists the ports")
	}
	f.port = seriallink.Canonical(f.port)
	return f.checkCar(cmd)
}

func (f *carFlags) checkCar(cmd *cobra.Command) (obd.Bus, error) {
	if f.baud < 0 {
		return 0, usagef(cmd, "a speed of %d is not possible", f.baud)
	}
	if _, err := decode.ParseSensorID(f.sensor); err != nil {
		return 0, usage(cmd, err)
	}
	if f.bus == "" {
		return obd.BusUnknown, nil
	}
	bus, err := obd.ParseBus(f.bus)
	if err != nil {
		return 0, usage(cmd, err)
	}
	return bus, nil
}

// parseBy reads the --by flag.
func parseBy(cmd *cobra.Command, name string) (analysis.By, error) {
	by, err := analysis.ParseBy(name)
	if err == nil && name == "" {
		err = fmt.Errorf("%q is none of wire, mixture, fuelcut and nothing", name)
	}
	if err != nil {
		return "", usagef(cmd, "--by %w", err)
	}
	return by, nil
}

// look is the way to a car, real or simulated, and which sensor of it is watched.
type look struct {
	car     carFlags
	bus     obd.Bus
	clock   obd.Clock
	open    func(context.Context) (obd.Link, error)
	memory  poll.Memory // of cars met before; nil: none
	maxBaud int         // serial speed up to which the line's is raised; 0: it stays
}

// look checks the flags; what is remembered of cars stands beside the database.
func (f *carFlags) look(cmd *cobra.Command, db string) (look, error) {
	bus, err := f.check(cmd)
	line := f.line()
	return look{car: *f, bus: bus, clock: obd.SystemClock{}, open: line.Open, memory: rig.MemoryBeside(db), maxBaud: line.MaxBaud()}, err
}

// line is the way to the adapter.
func (f *carFlags) line() *rig.Port { return &rig.Port{Name: f.port, Baud: f.baud} }

// reach is how its car is reached; on standard error it tells which bus is being tried.
func (a *app) reach(l look) rig.Config {
	trying := func(b obd.Bus) {
		if b == obd.BusUnknown {
			fmt.Fprintln(a.errOut, "looking for the car's bus …")
			return
		}
		fmt.Fprintf(a.errOut, "trying %s …\n", b)
	}
	return rig.Config{Open: l.open, Clock: l.clock, MaxBaud: l.maxBaud, Trying: trying, Log: a.log,
		Poll: poll.Config{Sensor: strings.Join(l.car.sensors(), ","), Bus: l.bus, Memory: l.memory, Port: l.car.port}}
}
