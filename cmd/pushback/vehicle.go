package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/analysis/agenda"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/words"
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
			l, err := f.look(cmd, a.db)
			if err != nil {
				return err
			}
			return a.runVehicle(cmd.Context(), l, into)
		},
	}
	f.add(cmd)
	cmd.Flags().StringVar(&into, "visit", "", "write it down in the visit of this `NAME`, or 'last'")
	return cmd
}

// runVehicle looks at a car, and writes into the visit of a name that it did; "" is none.
func (a *app) runVehicle(ctx context.Context, l look, into string) error {
	var db *store.Store
	if into != "" { // said before the car is asked
		var err error
		if db, err = a.openStore(ctx); err != nil {
			return err
		}
		defer db.Close()
		if _, err = db.Visit(ctx, into); err != nil {
			return err
		}
	}
	car, err := rig.Open(ctx, a.reach(l))
	if err != nil {
		return err
	}
	defer car.Close()
	seen, err := car.Inspect(ctx, l.car.sensor, func() { fmt.Fprintln(a.errOut, "measuring for some seconds …") })
	if err != nil {
		return err
	}
	v := sheet.VehicleOf(seen)
	if db != nil {
		// Also where the look was ended by hand: it has been.
		texts := []string{words.LookedAt(v.Watching, v.Ready, v.Reasons)}
		var has []string
		for _, s := range v.Sensors {
			has = append(has, s.Name)
		}
		if told := agenda.Told(has); told != "" {
			texts = append(texts, told)
		}
		if _, err := noteVisit(context.WithoutCancel(ctx), db, into, texts...); err != nil {
			return err
		}
	}
	if err := a.print(v, func() error { v.Write(a.out); return nil }); err != nil {
		return err
	}
	if seen.Refused != nil {
		return seen.Refused
	}
	if !v.Ready {
		return concluded(statusNotReady)
	}
	return nil
}
