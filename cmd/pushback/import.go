package main

import (
	"cmp"
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
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/store"
	"pushback/store/transfer"
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
			if im.mapping.Skip > 0 && len(im.columns) == 0 {
				return usagef(cmd, "--skip goes with --map")
			}
			var db *store.Store
			if !im.dry { // said before long work
				var err error
				if db, err = store.Open(cmd.Context(), a.db); err != nil {
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

// found is a session of a file that was read and judged.
type found struct {
	meta    store.Meta
	what    content
	result  session.Result
	judge   *session.Judge
	records int
	hash    []byte
	stored  string // the id here: that of the same session, or the new one
	same    bool   // it was here before
}

// importFile judges the whole file before it stores any of it.
func (a *app) importFile(ctx context.Context, db *store.Store, path string, im importing) error {
	if fi, err := os.Stat(path); err != nil {
		return err
	} else if !fi.Mode().IsRegular() { // it is read more than once
		return hinted{fmt.Errorf("importing %s: it is no regular file", path), "save it as a file first", statusFailed}
	}
	open, err := opener(path, im.mapping)
	if err != nil {
		return inFile(path, err)
	}
	all, err := a.readFile(ctx, open, im)
	if err != nil {
		return inFile(path, err)
	}
	if len(all) == 0 {
		return hinted{fmt.Errorf("importing %s: there are no sessions", path), "record one first: `pushback record`", statusFailed}
	}
	if all[0].records == 0 && len(all) == 1 {
		return hinted{fmt.Errorf("importing %s: there are no rows", path), "see `pushback import --help` for what the table looks like", statusFailed}
	}
	for i := range all {
		f := &all[i]
		if db == nil {
			continue
		}
		id, err := db.Same(ctx, f.hash, f.meta.Watching, f.meta.By)
		if err == nil {
			f.stored, f.same = id, true
		} else if !errors.Is(err, store.ErrNoSession) {
			return err
		}
		for _, g := range all[:i] { // twice in one file
			if slices.Equal(g.hash, f.hash) && g.meta.Watching == f.meta.Watching && g.meta.By == f.meta.By {
				f.same = true
			}
		}
	}
	if im.dry {
		return a.showDry(path, open, all)
	}
	if err := a.storeFile(ctx, db, open, path, all); err != nil {
		return inFile(path, err)
	}
	return a.told(path, all)
}

// opener returns what opens the file, by its content or by the mapping.
func opener(path string, m widecsv.Mapping) (func(context.Context) (transfer.Reader, error), error) {
	if len(m.Columns) > 0 {
		return func(context.Context) (transfer.Reader, error) { return widecsv.Open(path, m) }, nil
	}
	format, err := formatOf(path)
	return func(ctx context.Context) (transfer.Reader, error) { return format.Open(ctx, path) }, err
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

func (a *app) readFile(ctx context.Context, open func(context.Context) (transfer.Reader, error), im importing) (all []found, err error) {
	r, err := open(ctx)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	bar := newProgress(a.errOut, 0)
	for {
		m, err := r.Session(ctx)
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, err
		}
		if n := len(m.Label) + len(m.Vehicle) + len(m.Note) + len(m.Adapter); n > 64<<10 {
			return nil, fmt.Errorf("session %.20q: its description has %d letters", m.ID, n)
		}
		f := found{meta: im.describe(m)}
		setup, err := setupOf(f.meta)
		if err != nil {
			return nil, err
		}
		f.judge = session.NewJudge(setup)
		hash := &hasher{store.NewContent()}
		if f.result, err = session.Run(ctx, cleaned{r}, f.judge, bar, &f.what, hash); err != nil {
			return nil, err
		}
		f.records, f.hash = f.result.Records, hash.Sum()
		if len(f.meta.Sensors) == 0 {
			f.meta.Sensors = f.what.sensors()
		}
		all = append(all, f)
	}
}

// storeFile reads the file again and stores what is new. On an error nothing is left.
func (a *app) storeFile(ctx context.Context, db *store.Store, open func(context.Context) (transfer.Reader, error), path string, all []found) (err error) {
	r, err := open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	var made []string
	defer func() {
		if err != nil {
			for _, id := range made {
				err = errors.Join(err, db.Remove(context.WithoutCancel(ctx), id))
			}
		}
	}()
	for i := range all {
		f := &all[i]
		if _, err := r.Session(ctx); err != nil {
			return fmt.Errorf("it changed while it was read: %w", err)
		}
		if f.same {
			continue
		}
		w, err := db.Create(ctx, f.meta)
		if err != nil {
			return err
		}
		f.stored = w.ID()
		made = append(made, f.stored)
		setup, err := setupOf(f.meta)
		if err != nil {
			return errors.Join(err, w.Close())
		}
		judge := session.NewJudge(setup)
		bar := newProgress(a.errOut, f.result.End)
		bar.doing = "storing: "
		if _, err := session.Run(ctx, cleaned{r}, judge, rig.Stored{Writer: w}, bar); err != nil {
			return errors.Join(err, w.Close())
		}
		if err := w.Finish(ctx, f.result.End, f.result.Verdict, f.result.Events); err != nil {
			return err
		}
	}
	return pairUp(ctx, db, all)
}

// pairUp keeps the pairs of sessions that are both here now, but for an after that is in
// one already.
func pairUp(ctx context.Context, db *store.Store, all []found) error {
	came := make(map[string]string)
	for _, f := range all {
		came[f.meta.ID] = f.stored
	}
	pair := func(before, after string) error {
		for _, id := range []*string{&before, &after} {
			*id = cmp.Or(came[*id], *id) // or one that came earlier, under the id that it had there
			if len(*id) != 6 {           // the shortened id of another
				return nil
			}
		}
		m, err := db.Find(ctx, after)
		if err == nil && m.Before == "" && before != after {
			err = db.Pair(ctx, before, after)
		}
		if errors.Is(err, store.ErrNoSession) {
			return nil
		}
		return err
	}
	for _, f := range all {
		if f.same {
			continue // what was done here with a session that was here already stays
		}
		if f.meta.Before != "" {
			if err := pair(f.meta.Before, f.meta.ID); err != nil {
				return err
			}
		}
		if f.meta.After != "" {
			if err := pair(f.meta.ID, f.meta.After); err != nil {
				return err
			}
		}
	}
	return nil
}

// told says what was stored. Standard output is for the ids alone: id=$(pushback import FILE).
func (a *app) told(path string, all []found) error {
	for i := range all {
		f := &all[i]
		if f.stored == "" { // twice in one file
			continue
		}
		if f.same {
			fmt.Fprintf(a.errOut, "%s: session %s is stored already\n", path, f.stored)
		} else {
			f.write(a.errOut, path)
		}
		if a.json {
			line := struct {
				ID        string `json:"id"`
				Duplicate bool   `json:"duplicate,omitempty"`
			}{f.stored, f.same}
			if err := json.NewEncoder(a.out).Encode(line); err != nil {
				return err
			}
			continue
		}
		if !f.same && len(all) == 1 {
			fmt.Fprintf(a.errOut, "  pushback show %s      events, proofs and verdict\n", f.stored)
		}
		if _, err := fmt.Fprintln(a.out, f.stored); err != nil {
			return err
		}
	}
	return nil
}

// write says what a session holds.
func (f *found) write(w io.Writer, path string) {
	n, what := f.records, "records"
	if f.what.rows > 0 {
		n, what = f.what.rows, "rows"
	}
	fmt.Fprintf(w, "%s: %d %s over %.1f s, %d readings (%.1f a second)\n",
		path, n, what, f.result.End.Seconds(), f.result.Samples, rate(f.result.Samples, f.result.End))
	if len(f.what.names) > 0 {
		fmt.Fprintf(w, "  signals: %s\n", strings.Join(f.what.names, ", "))
	}
	if !slices.Contains(f.meta.Sensors, f.meta.Watching) {
		has := "it has none for any oxygen sensor"
		if len(f.meta.Sensors) > 0 {
			has = "it has " + strings.Join(f.meta.Sensors, ", ")
		}
		fmt.Fprintf(w, "warning: the table has no column for %s, so no force on it can be seen (%s)\n", f.meta.Watching, has)
	}
	for _, line := range words.FigureLines(f.meta.Watching, f.judge.Figures()) {
		fmt.Fprintln(w, "  "+line)
	}
	fmt.Fprintf(w, "  events: %d; conclusion: %s\n", len(f.result.Events), words.ConclusionShort(string(f.result.Verdict.Conclusion)))
}

func rate(n int, over time.Duration) float64 {
	if over <= 0 {
		return 0
	}
	return float64(n) / over.Seconds()
}

// content is a sink that notes what a table holds.
type content struct {
	rows  int
	names []string // signals, in the order of their coming
	seen  map[string]bool
}

func (c *content) Write(f session.Frame) error {
	if f.Record.Row == nil {
		return nil
	}
	c.rows++
	for _, n := range f.Record.Row.Names {
		if !c.seen[n] && decode.ByName(n) != nil {
			if c.seen == nil {
				c.seen = make(map[string]bool)
			}
			c.seen[n] = true
			c.names = append(c.names, n)
		}
	}
	return nil
}

// sensors are the oxygen sensors whose voltage the table holds.
func (c *content) sensors() []string {
	var out []string
	for _, n := range c.names {
		if bs, ok := strings.CutPrefix(n, "O2S"); ok && len(bs) == 2 {
			out = append(out, "B"+bs[:1]+"S"+bs[1:])
		}
	}
	slices.Sort(out)
	return out
}
