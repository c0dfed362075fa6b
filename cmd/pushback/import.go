package main

import (
	"cmp"
	"context"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/session"
	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/views"
	"pushback/store"
	"pushback/store/widecsv"
)

// importing is one run of import.
type importing struct {
	said    intake.Said
	columns []string
	mapping widecsv.Mapping
	dry     bool
}

func newImport(a *app) *cobra.Command {
	im := importing{said: intake.Said{Version: versionText()}}
	cmd := &cobra.Command{
		Use:   "import FILE…",
		Short: "Import recordings: tables, exports, captures, whole databases",
		Long: `Reads what 'export' writes (CSV wide and long, Parquet, SQLite), captures, and
tables made elsewhere; the content tells the form. Each session is judged and stored
like any other, once: what is stored already is named and left as it is, but put into the visit that it
comes with where it is in none, so the files of many laptops can be collected again and
again. Of a file in which anything is
wrong, nothing is stored.

A wide table has a t_s column, then one column per signal named by the standard's
short name (O2S11, O2S12, SHRTFT1, LONGFT1, RPM, ECT, LOAD_PCT, FUELSYS1 as the status
byte, …) in the standard's units. An empty cell means that the signal was not read at
that time; rows are in order of time. A column 'mark' may say lean, rich or release.

The columns of another program's table are mapped by name, with the unit that its
numbers are in (or that stands in brackets after the name); --dry-run shows what was
understood and stores nothing:

  pushback import log.csv --dry-run --map 'Time=t_s:ms' \
    --map 'O2 sensor=O2S11:mV' --map 'Coolant (°F)=ECT'

A time column with times of day, or dates and times, is mapped with t_s:clock.`,
		Args: args(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := im.check(cmd); err != nil {
				return err
			}
			return a.runImport(cmd.Context(), args, im)
		},
	}
	f := cmd.Flags()
	f.StringVar(&im.said.Sensor, "sensor", "", "`SENSOR` that was tested: bank and position (default: as the file says, or B1S1)")
	f.StringVar(&im.said.By, "by", "", "`WHAT` it was tested by: wire, mixture, fuelcut or nothing (default: as the file says, or wire; mixture of a wide-range sensor)")
	f.StringVar(&im.said.Label, "label", "", "session label: `TEXT`")
	f.StringVar(&im.said.Vehicle, "vehicle", "", "`NAME` of the vehicle")
	f.StringVar(&im.said.Visit, "visit", "", visitUsage)
	f.StringVar(&im.said.Note, "note", "", "session note: `TEXT`")
	f.StringArrayVar(&im.columns, "map", nil, "what a column of another program's table holds: `'NAME=SIGNAL:UNIT'`")
	f.IntVar(&im.mapping.Skip, "skip", 0, "with --map: `LINES` above the header")
	f.BoolVar(&im.dry, "dry-run", false, "show what would be imported, store nothing")
	return cmd
}

// check reads the flags.
func (im *importing) check(cmd *cobra.Command) error {
	if err := checkSaid(cmd, im.said); err != nil {
		return err
	}
	for _, s := range im.columns {
		c, err := widecsv.ParseColumn(s)
		if err != nil {
			return usagef(cmd, "--map: %w", err)
		}
		im.mapping.Columns = append(im.mapping.Columns, c)
	}
	if im.mapping.Skip < 0 {
		return usagef(cmd, "--skip %d is less than no line", im.mapping.Skip)
	}
	if im.mapping.Skip > 0 && len(im.columns) == 0 {
		return usagef(cmd, "--skip goes with --map")
	}
	return nil
}

func (a *app) runImport(ctx context.Context, paths []string, im importing) error {
	var db *store.Store
	if !im.dry { // said before long work
		var err error
		if db, err = a.openStore(ctx); err != nil {
			return err
		}
		defer db.Close()
	}
	if im.said.Visit != "" && db != nil {
		v, err := db.Visit(ctx, im.said.Visit)
		if err != nil {
			return err
		}
		im.said.Visit, im.said.Vehicle = v.Name, cmp.Or(im.said.Vehicle, v.Vehicle)
	}
	take := intake.Taking{Said: im.said, Mapping: im.mapping, Bar: a.progress}
	for _, path := range paths {
		all, understood, err := take.File(ctx, db, path)
		switch {
		case err != nil:
		case im.dry:
			err = a.print(understood, func() error { return understood.Write(a.out) })
		default:
			err = intake.WriteTaken(a.out, a.errOut, a.json, path, all)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// progress shows on standard error how far long work is.
func (a *app) progress(doing string, length time.Duration) session.Sink {
	return views.NewProgress(a.errOut, doing, length)
}
