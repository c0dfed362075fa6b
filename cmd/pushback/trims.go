package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/sheet"
	"pushback/store"
)

func newTrims(a *app) *cobra.Command {
	var litres float64
	var f liveFlags
	cmd := &cobra.Command{
		Use:   "trims [SESSION]",
		Short: "Fuel trim by rpm and load, and its pattern",
		Long: `Shows total trim (short-term times long-term; plus adds fuel) by engine speed and load,
and how it changes with air flow: a/airflow + b + c·airflow, where a is air or fuel that
comes in constant amount, b an error of scale, c a supply that runs out. Then the pattern in
words, what it points to, and which condition to drive next.

With --port in place of SESSION it leads through the drive that fills the map, from the cheapest
condition to the dearest, says how much is still wanted, and stops when leak, supply and scale are
told apart or nothing is left to drive. Last it idles again, five minutes after the first idle at the
earliest: an idle term that the computer has learned hides a leak from the trims. A second person
drives or watches the screen; --page=lan speaks each step on a phone, the terminal rings.

Readings count in closed loop, warm, steady, and while nobody forces. Air flow is from
the air meter, or computed from manifold pressure, speed and intake temperature.

With the displacement, and a pull from 2000 rpm up at 80 % load or more with an air meter,
it says the volumetric efficiency: low with trim adding fuel the meter reads low, low
with trim near zero the engine breathes badly.`,
		Args: args(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !(litres >= 0 && litres <= 20) {
				return usagef(cmd, "a displacement of %v litres is not possible", litres)
			}
			if (f.car.port != "") == (len(args) == 1) {
				return usagef(cmd, "SESSION is missing, or --port to lead through the drive; not both")
			}
			if f.car.port != "" {
				f.by = string(analysis.ByNothing)
				r, err := f.run(cmd, a)
				if err != nil {
					return err
				}
				return a.runLead(cmd.Context(), r, litres)
			}
			return a.withStore(cmd, func(db *store.Store) error { return a.runTrims(cmd.Context(), db, litres, args[0]) })
		},
	}
	cmd.Flags().Float64Var(&litres, "displacement", 0, "the engine's displacement in `LITRES`, for air flow from pressure and the filling in a pull")
	f.car.add(cmd)
	f.views.add(cmd)
	cmd.Flags().StringVar(&f.visit, "visit", "", visitUsage)
	cmd.Flags().StringVar(&f.vehicle, "vehicle", "", "`NAME` of the vehicle")
	cmd.Flags().DurationVar(&f.dur, "for", 0, "with --port: stop after this `DURATION`, such as 15m")
	return cmd
}

// runLead records the drive that fills the map, and shows the map.
func (a *app) runLead(ctx context.Context, r liveRun, litres float64) error {
	r.name, r.by, r.leads = "trims", analysis.ByNothing, true
	r.done = func(ctx context.Context, db *store.Store, id string) error { return a.runTrims(ctx, db, litres, id) }
	return a.runLive(ctx, r)
}

func (a *app) runTrims(ctx context.Context, db *store.Store, litres float64, ref string) error {
	m, d, err := replay.Dossier(ctx, db, ref, dossier.Setup{Trims: true})
	if err != nil {
		return err
	}
	trims, air := d.Trims(litres), d.Measured.Breathing(litres)
	return a.print(sheet.TrimsOf(m.ID, trims, air), func() error {
		fmt.Fprintf(a.out, "session %s, %s\n", m.ID, sheet.Day(m.Started))
		sheet.WriteTrims(a.out, trims, air)
		return nil
	})
}
