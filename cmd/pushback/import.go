package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/session"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/views"
	"pushback/decode"
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
like any other, once: what is stored already is named and left as it is, so the files
of many laptops can be collected again and again. Of a file in which anything is
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
			if cmd.Flags().Changed("sensor") {
				if _, err := decode.ParseSensorID(im.said.Sensor); err != nil {
					return usage(cmd, err)
				}
			}
			if im.said.By != "" {
				if _, err := parseBy(cmd, im.said.By); err != nil {
					return err
				}
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
			var db *store.Store
			if !im.dry { // said before long work
				var err error
				if db, err = a.openStore(cmd.Context()); err != nil {
					return err
				}
				defer db.Close()
			}
			if im.said.Visit != "" && db != nil {
				v, err := db.Visit(cmd.Context(), im.said.Visit)
				if err != nil {
					return err
				}
				im.said.Visit, im.said.Vehicle = v.Name, cmp.Or(im.said.Vehicle, v.Vehicle)
			}
			for _, path := range args {
				if err := a.importFile(cmd.Context(), db, path, im); err != nil {
					return err
				}
			}
			return nil
		},
	}
	f := cmd.Flags()
	f.StringVar(&im.said.Sensor, "sensor", "", "`SENSOR` that was tested: bank and position (default: as the file says, or B1S1)")
	f.StringVar(&im.said.By, "by", "", "`WHAT` it was tested by: wire, mixture or fuelcut (default: as the file says, or wire; mixture of a wide-range sensor)")
	f.StringVar(&im.said.Label, "label", "", "session label: `TEXT`")
	f.StringVar(&im.said.Vehicle, "vehicle", "", "`NAME` of the vehicle")
	f.StringVar(&im.said.Visit, "visit", "", visitUsage)
	f.StringVar(&im.said.Note, "note", "", "session note: `TEXT`")
	f.StringArrayVar(&im.columns, "map", nil, "what a column of another program's table holds: `'NAME=SIGNAL:UNIT'`")
	f.IntVar(&im.mapping.Skip, "skip", 0, "with --map: `LINES` above the header")
	f.BoolVar(&im.dry, "dry-run", false, "show what would be imported, store nothing")
	return cmd
}

// importFile judges the whole file before it stores any of it.
func (a *app) importFile(ctx context.Context, db *store.Store, path string, im importing) error {
	if fi, err := os.Stat(path); err != nil {
		return err
	} else if !fi.Mode().IsRegular() { // it is read more than once
		return advice.On(fmt.Errorf("importing %s: it is no regular file", path), "save it as a file first")
	}
	open, err := intake.Opener(path, im.mapping)
	if err != nil {
		return inFile(path, err)
	}
	all, err := intake.Read(ctx, open, im.said, views.NewProgress(a.errOut, "", 0))
	if err != nil {
		return inFile(path, err)
	}
	if len(all) == 0 {
		return advice.On(fmt.Errorf("importing %s: there are no sessions", path), "record one first: `pushback record`")
	}
	if all[0].Records == 0 && len(all) == 1 {
		return advice.On(fmt.Errorf("importing %s: there are no rows", path), "see `pushback import --help` for what the table looks like")
	}
	if db != nil {
		if err := intake.Known(ctx, db, all); err != nil {
			return err
		}
	}
	if im.dry {
		return a.showDry(intake.Understand(ctx, path, open, all))
	}
	if err := intake.Store(ctx, db, open, all, a.storing); err != nil {
		return inFile(path, err)
	}
	return a.tellTaken(path, all)
}

// storing shows how far a session is stored.
func (a *app) storing(length time.Duration) session.Sink {
	return views.NewProgress(a.errOut, "storing: ", length)
}

// showDry shows what a file was understood to hold.
func (a *app) showDry(u intake.Understood) error {
	if a.json {
		return json.NewEncoder(a.out).Encode(u)
	}
	return u.Write(a.out)
}

func inFile(path string, err error) error {
	var file *fs.PathError
	if errors.Is(err, context.Canceled) || errors.As(err, &file) {
		return err
	}
	for _, kind := range []error{store.ErrNoSession, store.ErrLocked, store.ErrReadOnly, store.ErrDiskFull, store.ErrReplaced} {
		if errors.Is(err, kind) {
			return err
		}
	}
	return advice.On(fmt.Errorf("importing %s: %w", path, err),
		"correct the file (`pushback import --help` says what it looks like); of this file nothing was stored")
}

// tellTaken says what was stored. Standard output is for the ids alone: id=$(pushback import FILE).
func (a *app) tellTaken(path string, all []intake.Session) error {
	for i := range all {
		f := &all[i]
		if f.Stored == "" { // twice in one file
			continue
		}
		if f.Same {
			fmt.Fprintf(a.errOut, "%s: session %s is stored already\n", path, f.Stored)
		} else {
			f.Write(a.errOut, path)
		}
		if a.json {
			line := struct {
				ID        string `json:"id"`
				Duplicate bool   `json:"duplicate,omitempty"`
			}{f.Stored, f.Same}
			if err := json.NewEncoder(a.out).Encode(line); err != nil {
				return err
			}
			continue
		}
		if !f.Same && len(all) == 1 {
			fmt.Fprintf(a.errOut, "  pushback show %s      events, proofs and verdict\n", f.Stored)
		}
		if _, err := fmt.Fprintln(a.out, f.Stored); err != nil {
			return err
		}
	}
	return nil
}
