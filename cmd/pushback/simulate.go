package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/simrun"
	"pushback/obd"
	"pushback/obd/simcar"
)

func newSimulate(a *app) *cobra.Command {
	var f simulateFlags
	var list bool
	cmd := &cobra.Command{
		Use:   "simulate",
		Short: "A simulated adapter and car on a pseudo-terminal or a TCP port",
		Long: `Serves a simulated adapter and car in real time until it is stopped. The first line
on standard output is the port to give to the other commands.

Forces are scripted with --force (lean@20s+12s, rich@45s+12s:0.9V,600ohm,
propane@20s+15s, open@20s+3s, lean@25s+12s:other for the other bank's wire) or typed: lean [12s], rich [12s], propane [12s],
vacuum [12s], open [3s] (the sensor's branch, nothing touched), rev [8s] (2700 rpm,
then the throttle let go), snap (the throttle, to 4000 rpm), coast (on the road: a fuel cut in gear),
pull (full load), release, quit.`,
		Args: named(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if list {
				return a.listCars()
			}
			sim, err := f.sim(cmd)
			if err != nil {
				return err
			}
			return a.runSimulate(cmd.Context(), sim, f)
		},
	}
	cmd.Flags().StringVar(&f.car, "car", "healthy", "which `CAR`")
	cmd.Flags().BoolVar(&list, "list", false, "list the cars")
	cmd.Flags().StringVar(&f.bus, "bus", "", "vehicle bus `NAME`; without it the car's own")
	cmd.Flags().Uint64Var(&f.seed, "seed", 1, "`SEED` of the car's randomness")
	cmd.Flags().StringArrayVar(&f.forces, "force", nil, "scripted `FORCE`, may be repeated: lean@20s+12s")
	cmd.Flags().BoolVar(&f.keyOff, "key-off", false, "ignition off: the adapter answers, the car does not")
	cmd.Flags().StringVar(&f.drive, "drive", "idle", "`HOW` it is driven: idle, fast (2500 rpm, no load), town or pulls (full load and long fuel cuts in turn)")
	cmd.Flags().BoolVar(&f.stopped, "engine-off", false, "ignition on, engine not running")
	cmd.Flags().StringVar(&f.tcp, "tcp", "", "serve on TCP `HOST:PORT` instead of a pseudo-terminal")
	return cmd
}

// simulateFlags say what car is simulated, and where it is served.
type simulateFlags struct {
	car, bus, tcp, drive string
	seed                 uint64
	keyOff, stopped      bool
	forces               []string
}

// sim makes the car of the flags.
func (f simulateFlags) sim(cmd *cobra.Command) (*simcar.Sim, error) {
	cfg := simcar.Config{Seed: f.seed, KeyOff: f.keyOff, Stopped: f.stopped}
	var ok bool
	if cfg.Drive, ok = drives[f.drive]; !ok {
		return nil, usagef(cmd, "--drive %q is not idle, fast, town or pulls", f.drive)
	}
	if f.bus != "" {
		var err error
		if cfg.Bus, err = obd.ParseBus(f.bus); err != nil {
			return nil, usage(cmd, err)
		}
	}
	for _, text := range f.forces {
		force, err := simcar.ParseForce(text)
		if err != nil {
			return nil, usage(cmd, err)
		}
		cfg.Forces = append(cfg.Forces, force)
	}
	return newSim(cmd, f.car, cfg)
}

func (a *app) runSimulate(ctx context.Context, sim *simcar.Sim, f simulateFlags) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	port, stop, err := simrun.Serve(ctx, sim, f.tcp)
	if err != nil {
		return err
	}
	defer stop()
	err = a.print(map[string]string{"port": port, "car": f.car}, func() error {
		_, err := fmt.Fprintln(a.out, port)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(a.errOut, "car %q; type lean, rich, propane, vacuum, open, rev, snap, coast, pull, release or quit\n", f.car)
	go simrun.Obey(a.in, a.errOut, sim, cancel)
	<-ctx.Done()
	return nil
}

// drives are the ways to drive a simulated car.
var drives = map[string]simcar.Drive{"idle": simcar.Idle, "fast": simcar.Fast, "town": simcar.Town, "pulls": simcar.Pulls}

// newSim makes the simulated car; an unknown name is wrong usage.
func newSim(cmd *cobra.Command, car string, cfg simcar.Config) (*simcar.Sim, error) {
	c, err := simcar.Find(car)
	if err != nil {
		return nil, usageError{fmt.Errorf("there is no car %q", car), "pushback demo --car list"}
	}
	cfg.Car = c
	return simcar.New(cfg)
}

func (a *app) listCars() error {
	return a.print(sheet.Cars(), func() error { return sheet.WriteCars(a.out) })
}
