package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/simrun"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
	"pushback/store"
)

func newDemo(a *app) *cobra.Command {
	var f liveFlags
	var car, report, hand string
	var overTCP bool
	var seed uint64
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Run the whole test on a simulated car, through a real serial line",
		Long: `Serves a simulated adapter and car on a pseudo-terminal, opens it like any serial
port, and runs the guided test on it in real time; a scripted technician holds and
releases the wire. It takes a minute and a half, as it would on a car. At the end it
writes the report, as 'report' does.
--car list names the cars, --hands list the ways in which a technician works.`,
		Args: args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if car == "list" {
				return a.listCars()
			}
			if hand == "list" {
				for _, s := range hands.Styles {
					fmt.Fprintln(a.out, s.Name)
				}
				return nil
			}
			bus, err := f.car.checkCar(cmd)
			if err != nil {
				return err
			}
			by, err := parseBy(cmd, f.by)
			if err != nil {
				return err
			}
			style, err := handsNamed(cmd, hand)
			if err != nil {
				return err
			}
			sim, err := newSim(cmd, car, simcar.Config{Bus: bus, Seed: seed, BranchByHand: true})
			if err != nil {
				return err
			}
			if f.vehicle == "" {
				f.vehicle = "simulated " + car
			}
			ctx, cancel := context.WithCancel(cmd.Context())
			defer cancel()
			tcp := ""
			if overTCP {
				tcp = "127.0.0.1:0"
			}
			// The car stays alive while a stopped session reads its last codes.
			port, stop, err := simrun.Serve(context.WithoutCancel(ctx), sim, tcp)
			if err != nil {
				return err
			}
			defer stop()
			f.car.port = port
			fmt.Fprintf(a.people(), "simulated car %q on %s\n", car, port)
			return a.live(ctx, liveRun{
				name: "demo", flags: f, bus: bus, by: by, origin: "simulated", clock: obd.SystemClock{}, open: f.car.line().Open,
				guide: &session.GuideConfig{Ready: 12 * time.Second},
				technician: func(c live.Controls) rig.Technician {
					return &simrun.Technician{Hands: hands.New(style, sim, f.car.sensor), By: by, Controls: c}
				},
				done: func(ctx context.Context, db *store.Store, id string) error {
					w, err := writeReport(ctx, db, []string{id}, reportFlags{out: report})
					if err == nil {
						fmt.Fprintf(a.people(), "report %s\n", w.File)
					}
					return err
				},
			})
		},
	}
	f.addCommon(cmd)
	cmd.Flags().StringVar(&car, "car", "healthy", "which `CAR`; list names them")
	cmd.Flags().StringVar(&f.car.bus, "bus", "", "the car's bus `NAME`; without it the car's own")
	cmd.Flags().StringVar(&f.car.sensor, "sensor", "B1S1", "`SENSOR` to test")
	cmd.Flags().Uint64Var(&seed, "seed", 1, "`SEED` of the car's randomness")
	cmd.Flags().StringVar(&hand, "hands", hands.Styles[0].Name, "whose `HANDS` work on it; list names them")
	cmd.Flags().StringVar(&report, "report", "", "`FILE` for the report (default: pushback-ID.html)")
	cmd.Flags().BoolVar(&overTCP, "tcp", false, "over TCP instead of a pseudo-terminal (Windows)")
	return cmd
}

// handsNamed finds a way of working.
func handsNamed(cmd *cobra.Command, name string) (hands.Style, error) {
	for _, s := range hands.Styles {
		if s.Name == name {
			return s, nil
		}
	}
	return hands.Style{}, usagef(cmd, "--hands %q is none of those that 'demo --hands list' names", name)
}
