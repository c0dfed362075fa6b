package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/analysis/dossier"
	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/sheet"
	"pushback/store"
)

func newTrims(a *app) *cobra.Command {
	var litres float64
	cmd := &cobra.Command{
		Use:   "trims SESSION",
		Short: "Fuel trim by rpm and load, and its pattern",
		Long: `Shows total trim (short-term plus long-term; plus adds fuel) by engine speed and load,
and how it changes with air flow: a/airflow + b + c·airflow, where a is air or fuel that
comes in constant amount, b an error of scale, c a supply that runs out. Then the pattern in
words, what it points to, and which condition to drive next.

Readings count in closed loop, warm, steady, and while nobody forces. Air flow is from
the air meter, or computed from manifold pressure, speed and intake temperature.

With the displacement, and a pull from 2000 rpm up at 80 % load or more with an air meter,
it says the volumetric efficiency: low with trim adding fuel the meter reads low, low
with trim near zero the engine breathes badly.`,
		Args: named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !(litres >= 0 && litres <= 20) {
				return usagef(cmd, "a displacement of %v litres is not possible", litres)
			}
			return a.withStore(cmd, func(db *store.Store) error { return a.runTrims(cmd.Context(), db, litres, args[0]) })
		},
	}
	cmd.Flags().Float64Var(&litres, "displacement", 0, "the engine's displacement in `LITRES`, for air flow from pressure and the filling in a pull")
	return cmd
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
