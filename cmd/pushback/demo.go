package main

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/report"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/simrun"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
	"pushback/store"
)

// demoFlags are those of a demonstration.
type demoFlags struct {
	live              liveFlags
	car, report, hand string
	tcp, hide         bool
	seed              uint64
}

func newDemo(a *app) *cobra.Command {
	var f demoFlags
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Run the whole test on a simulated car, through a real serial line",
		Long: `Serves a simulated adapter and car on a pseudo-terminal, opens it like any serial
port, and runs the guided test on it in real time; a scripted technician holds and
releases the wire. It takes a minute and a half, as it would on a car. At the end it
writes the report, as 'report' does.

--hide is for training: one of twelve cars, chosen by --seed, is tested in simulated time
and shown without its name, reading by reading. It asks for the verdict and the next step
on standard input, then shows the truth and what told it. The same seed shows the same.

--car list names the cars, --hands list the ways in which a technician works.`,
		Args: named(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.car == "list" {
				return a.listCars()
			}
			f.hide = f.hide || f.car == "hidden"
			if f.hand == "list" {
				for _, s := range hands.Styles {
					fmt.Fprintln(a.out, s.Name)
				}
				return nil
			}
			if err := f.live.car.pair(cmd, f.live.by); err != nil {
				return err
			}
			bus, err := f.live.car.checkCar(cmd)
			if err != nil {
				return err
			}
			by, err := parseBy(cmd, f.live.by)
			if err != nil {
				return err
			}
			style, known := hands.Named(f.hand)
			if !known {
				return usagef(cmd, "--hands %q is none of those that 'demo --hands list' names", f.hand)
			}
			if f.hide {
				if cmd.Flags().Changed("car") && f.car != "hidden" {
					return usagef(cmd, "--hide shows a car without its name; --seed chooses it, not --car")
				}
				return a.runHidden(cmd.Context(), f.seed)
			}
			sim, err := newSim(cmd, f.car, simcar.Config{Bus: bus, Seed: f.seed, BranchByHand: true})
			if err != nil {
				return err
			}
			f.live.vehicle = cmp.Or(f.live.vehicle, "simulated "+f.car)
			return a.runDemo(cmd.Context(), f, liveRun{look: look{bus: bus}, by: by, ask: !cmd.Flags().Changed("by") && f.live.car.beside == ""}, sim, style)
		},
	}
	f.live.addCommon(cmd)
	cmd.Flags().StringVar(&f.car, "car", "healthy", "which `CAR`; list names them, hidden is as --hide")
	cmd.Flags().BoolVar(&f.hide, "hide", false, "a lesson: the car's name and verdict are shown after your answer")
	cmd.Flags().StringVar(&f.live.car.bus, "bus", "", "the car's bus `NAME`; without it the car's own")
	cmd.Flags().StringVar(&f.live.car.sensor, "sensor", "B1S1", "`SENSOR` to test, or two: B1S1,B2S1")
	cmd.Flags().Uint64Var(&f.seed, "seed", 1, "`SEED` of the car's randomness; with --hide it chooses the car")
	cmd.Flags().StringVar(&f.hand, "hands", hands.Styles[0].Name, "whose `HANDS` work on it; list names them")
	cmd.Flags().StringVar(&f.report, "report", "", "`FILE` for the report (default: pushback-ID.html)")
	cmd.Flags().BoolVar(&f.tcp, "tcp", false, "over TCP instead of a pseudo-terminal (Windows)")
	return cmd
}

// runDemo serves the car, has its style of technician work on it in a guided test, and reports.
func (a *app) runDemo(ctx context.Context, f demoFlags, r liveRun, sim *simcar.Sim, style hands.Style) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	tcp := ""
	if f.tcp {
		tcp = "127.0.0.1:0"
	}
	// The car stays alive while a stopped session reads its last codes.
	port, stop, err := simrun.Serve(context.WithoutCancel(ctx), sim, tcp)
	if err != nil {
		return err
	}
	defer stop()
	f.live.car.port = port
	fmt.Fprintf(a.people(), "simulated car %q on %s\n", f.car, port)
	r.name, r.flags, r.origin, r.clock, r.open = "demo", f.live, "simulated", obd.SystemClock{}, f.live.car.line().Open
	r.guide = &session.GuideConfig{Ready: 12 * time.Second}
	r.technician = func(c live.Controls) rig.Technician {
		t := &simrun.Technician{Hands: hands.New(style, sim, f.live.car.sensor), By: r.by, Controls: c}
		if f.live.car.beside != "" {
			t.Beside = hands.New(style, simcar.OtherWire{Sim: sim}, "")
		}
		return t
	}
	r.done = func(ctx context.Context, db *store.Store, id string) error {
		w, err := report.Make(ctx, db, (&reportFlags{out: f.report}).wanted([]string{id}))
		if err == nil {
			fmt.Fprintf(a.people(), "report %s\n", w.File)
		}
		return err
	}
	return a.runLive(ctx, r)
}
