package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/session"
	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/store"
	"pushback/store/widecsv"
)

// importing is one run of import.
type importing struct {
	sensor, by           string
	label, vehicle, note string
	columns              []string
	mapping              widecsv.Mapping
	dry                  bool
}

func newImport(a *app) *cobra.Command {
	var im importing
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
				if _, err := decode.ParseSensorID(im.sensor); err != nil {
					return usage(cmd, err)
				}
			}
			if im.by != "" {
				if _, err := parseBy(cmd, im.by); err != nil {
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
			for _, path := range args {
				if err := a.importFile(cmd.Context(), db, path, im); err != nil {
					return err
				}
			}
			return nil
		},
	}
	f := cmd.Flags()
	f.StringVar(&im.sensor, "sensor", "", "the `SENSOR` that was forced: bank and position (default: as the file says, or B1S1)")
	f.StringVar(&im.by, "by", "", "`WHAT` was forced: wire or mixture (default: as the file says, or wire)")
	f.StringVar(&im.label, "label", "", "label of the session: `TEXT`")
	f.StringVar(&im.vehicle, "vehicle", "", "`NAME` of the vehicle")
	f.StringVar(&im.note, "note", "", "note on the session: `TEXT`")
	f.StringArrayVar(&im.columns, "map", nil, "what a column of another program's table holds: `'NAME=SIGNAL:UNIT'`")
	f.IntVar(&im.mapping.Skip, "skip", 0, "with --map: `LINES` above the header")
	f.BoolVar(&im.dry, "dry-run", false, "show what was understood, and store nothing")
	return cmd
}

// importFile judges the whole file before it stores any of it.
func (a *app) importFile(ctx context.Context, db *store.Store, path string, im importing) error {
	if fi, err := os.Stat(path); err != nil {
		return err
	} else if !fi.Mode().IsRegular() { // it is read more than once
		return hinted{fmt.Errorf("importing %s: it is no regular file", path), "save it as a file first", statusFailed}
	}
	open, err := intake.Opener(path, im.mapping)
	if err != nil {
		return inFile(path, err)
	}
	all, err := intake.Read(ctx, open, im.describe, newProgress(a.errOut, 0))
	if err != nil {
		return inFile(path, err)
	}
	if len(all) == 0 {
		return hinted{fmt.Errorf("importing %s: there are no sessions", path), "record one first: `pushback record`", statusFailed}
	}
	if all[0].Records == 0 && len(all) == 1 {
		return hinted{fmt.Errorf("importing %s: there are no rows", path), "see `pushback import --help` for what the table looks like", statusFailed}
	}
	if db != nil {
		if err := intake.Known(ctx, db, all); err != nil {
			return err
		}
	}
	if im.dry {
		return a.showDry(path, open, all)
	}
	if err := intake.Store(ctx, db, open, all, a.storing); err != nil {
		return inFile(path, err)
	}
	return a.tellTaken(path, all)
}

// storing shows how far a session is stored.
func (a *app) storing(length time.Duration) session.Sink {
	bar := newProgress(a.errOut, length)
	bar.doing = "storing: "
	return bar
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
	return hinted{fmt.Errorf("importing %s: %w", path, err),
		"correct the file (`pushback import --help` says what it looks like); of this file nothing was stored", statusFailed}
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
			writeTaken(a.errOut, path, f)
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

// writeTaken says what a session holds.
func writeTaken(w io.Writer, path string, f *intake.Session) {
	n, what := f.Records, "records"
	if f.Table.Rows > 0 {
		n, what = f.Table.Rows, "rows"
	}
	fmt.Fprintf(w, "%s: %d %s over %.1f s, %d readings (%.1f a second)\n",
		path, n, what, f.Result.End.Seconds(), f.Result.Samples, rate(f.Result.Samples, f.Result.End))
	if len(f.Table.Names) > 0 {
		fmt.Fprintf(w, "  signals: %s\n", strings.Join(f.Table.Names, ", "))
	}
	if !slices.Contains(f.Meta.Sensors, f.Meta.Watching) {
		has := "it has none for any oxygen sensor"
		if len(f.Meta.Sensors) > 0 {
			has = "it has " + strings.Join(f.Meta.Sensors, ", ")
		}
		fmt.Fprintf(w, "warning: the table has no column for %s, so no force on it can be seen (%s)\n", f.Meta.Watching, has)
	}
	for _, line := range words.FigureLines(f.Meta.Watching, f.Judge.Figures()) {
		fmt.Fprintln(w, "  "+line)
	}
	fmt.Fprintf(w, "  events: %d; conclusion: %s\n", len(f.Result.Events), words.ConclusionShort(string(f.Result.Verdict.Conclusion)))
}

func rate(n int, over time.Duration) float64 {
	if over <= 0 {
		return 0
	}
	return float64(n) / over.Seconds()
}
