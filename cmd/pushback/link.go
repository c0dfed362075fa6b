package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/session"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/rig"
	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/seriallink"
	"pushback/store"
)

// carFlags say where the car is and what is asked of it.
type carFlags struct {
	port   string
	baud   int
	bus    string
	sensor string
}

func (f *carFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&f.port, "port", "p", "", "adapter's `PORT`: /dev/ttyUSB0, COM4, tcp://host:port")
	cmd.Flags().IntVar(&f.baud, "baud", 0, "serial speed in baud, `N` (default: found automatically)")
	cmd.Flags().StringVar(&f.bus, "bus", "", "vehicle bus `NAME`, such as can11-500; default: searched automatically")
	cmd.Flags().StringVar(&f.sensor, "sensor", "B1S1", "`SENSOR` to test: bank and position")
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
		err = fmt.Errorf("%q is none of wire, mixture and fuelcut", name)
	}
	if err != nil {
		return "", usagef(cmd, "--by %w", err)
	}
	return by, nil
}

// setupOf is what a stored session tested.
func setupOf(m store.Meta) (session.Setup, error) {
	return session.NewSetup(m.Watching, m.By, m.Format)
}

// line is the way to the adapter.
func (f *carFlags) line() *rig.Port { return &rig.Port{Name: f.port, Baud: f.baud} }

// visit is a short look at a car, real or simulated.
type visit struct {
	car     carFlags
	bus     obd.Bus
	clock   obd.Clock
	open    func(context.Context) (obd.Link, error)
	memory  poll.Memory // of cars met before; nil: none
	maxBaud int         // serial speed up to which the line's is raised; 0: it stays
	into    string      // the visit to the shop in which it is written down; "" none
}

// config is how the car of a visit is reached.
func (v visit) config(a *app) rig.Config {
	return rig.Config{Open: v.open, Clock: v.clock, MaxBaud: v.maxBaud, Trying: a.trying(), Log: a.log,
		Poll: poll.Config{Sensor: v.car.sensor, Bus: v.bus, Memory: v.memory, Port: v.car.port}}
}

// suit says whether the watched sensor can be forced so.
func suit(d *decode.Decoder, sensor string, by analysis.By) error {
	sensors := d.Sensors()
	if len(sensors) == 0 {
		return notReady("this car names no oxygen sensors (PIDs 13 and 1D are not answered), so it cannot be tested this way",
			"is this the engine's computer, and the ignition on? `pushback vehicle` shows what the car offers")
	}
	var names []string
	for _, s := range sensors {
		names = append(names, s.Name)
		if s.Name != sensor {
			continue
		}
		wide := s.Kind == decode.WideRange
		switch {
		case by == analysis.ByFuelCut && s.Kind == decode.Narrow:
			return notReady(sensor+" switches between rich and lean: a fuel cut tells little of it",
				"force its wire (--by wire), or the mixture (--by mixture)")
		case wide && by == analysis.ByWire:
			return notReady(sensor+" is a wide-range (air-fuel ratio) sensor: its wire must never be held",
				hazard.Step("move the mixture instead, with propane or an induced lean (--by mixture), or let the computer cut the fuel (--by fuelcut)", hazard.Propane, hazard.Hose))
		}
		return nil
	}
	return advice.On(fmt.Errorf("this car has no sensor %s; it has %s", sensor, strings.Join(names, ", ")),
		"name one of them with --sensor")
}

// wideRange reports whether a car says of a sensor that it is a wide-range one.
func wideRange(d *decode.Decoder, sensor string) bool {
	return slices.ContainsFunc(d.Sensors(), func(s decode.Sensor) bool { return s.Name == sensor && s.Kind == decode.WideRange })
}

// readable says whether the sensor may be asked for through this adapter at all.
func readable(a *obd.Adapter, d *decode.Decoder, sensor string) error {
	for _, s := range d.Sensors() {
		if s.Name == sensor && s.PID != 0 && !a.Sends(obd.Request{Service: 0x01, Data: []byte{s.PID}}) {
			return advice.On(fmt.Errorf("this adapter does not echo what it is sent: a character lost on the way could turn the request for %s into 'clear codes'", sensor),
				"it is not sent; use another adapter")
		}
	}
	return nil
}
