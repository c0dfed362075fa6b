package main

import (
	"cmp"
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/store"
)

// replayFlags are those of a replay beside the session.
type replayFlags struct {
	sensor, by string // as if these had been tested; "" as stored
	samples    bool
	found      bool
	keep       bool    // the judgment with the session
	speed      float64 // 0: as fast as possible
	views      viewFlags
}

func newReplay(a *app) *cobra.Command {
	var f replayFlags
	cmd := &cobra.Command{
		Use:   "replay SESSION",
		Short: "Judge a stored session again",
		Long: `Judges the stored records again, as fast as it can; the events and the verdict are
those of the live session, byte for byte, unless the program has learned since.
With --speed it is shown as it was when it was live: at 1, faster, step by step, back
and forth (the keys are on the screen), with --page on a phone too.
Nothing stored is changed, unless --store is given: then this judgment becomes the
session's, which ends a session whose program died. The exit status is the verdict's.`,
		Args: named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.speed < 0 {
				return usagef(cmd, "--speed %v is negative", f.speed)
			}
			if f.views.page != "" && f.speed == 0 {
				f.speed = 1 // a page is to be watched
			}
			if f.sensor != "" {
				if _, err := decode.ParseSensorID(f.sensor); err != nil {
					return usage(cmd, err)
				}
			}
			if f.by != "" {
				if _, err := parseBy(cmd, f.by); err != nil {
					return err
				}
			}
			return a.withStore(cmd, func(db *store.Store) error { return a.runReplay(cmd.Context(), db, args[0], f) })
		},
	}
	cmd.Flags().StringVar(&f.sensor, "sensor", "", "judge as if this `SENSOR` had been tested")
	cmd.Flags().StringVar(&f.by, "by", "", "treat as a `WHAT` test: wire, mixture or fuelcut")
	cmd.Flags().BoolVar(&f.samples, "samples", false, "with --json: print every sample too")
	cmd.Flags().BoolVar(&f.found, "found", false, foundUsage)
	cmd.Flags().BoolVar(&f.keep, "store", false, "save this judgment instead of the stored one")
	cmd.Flags().Float64Var(&f.speed, "speed", 0, "`TIMES` real time; 0 is as fast as possible")
	f.views.add(cmd)
	return cmd
}

func (a *app) runReplay(ctx context.Context, db *store.Store, ref string, f replayFlags) error {
	m, err := db.Find(ctx, ref)
	if err != nil {
		return err
	}
	m.Watching, m.By = cmp.Or(f.sensor, m.Watching), cmp.Or(f.by, m.By)
	people := a.people()
	fmt.Fprintf(people, "session %s, %s, watching %s\n", m.ID, sheet.Day(m.Started), m.Watching)
	c := replay.Config{Speed: f.speed, Views: a.viewConfig(f.views), Progress: a.errOut, Samples: f.samples, Found: f.found}
	if a.json {
		c.JSON = a.out
	}
	res, d, err := replay.Show(ctx, db, m, c)
	if err != nil {
		return err
	}
	if d != nil {
		if f.keep {
			if err := db.Judge(ctx, m.ID, res.End, why.Verdict(res.Verdict), why.Events(res.Events)); err != nil {
				return err
			}
			if err := db.Edit(ctx, m.ID, func(to *store.Meta) { to.Watching, to.By = m.Watching, m.By }); err != nil {
				return err
			}
		}
		fmt.Fprintln(people)
		sheet.WriteVehicleData(people, d)
	}
	term.StyleOf(people).WriteVerdict(people, res.Verdict, false)
	return conclude(res.Verdict.Conclusion)
}
