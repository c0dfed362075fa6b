package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/session"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/store"
	"pushback/store/widecsv"
)

func newImport(a *app) *cobra.Command {
	var sensor, by, label, vehicle, note string
	cmd := &cobra.Command{
		Use:   "import FILE.csv",
		Short: "Import a recording made elsewhere",
		Long: `Reads a wide table: a t_s column, then one column per signal named by the
standard's short name (O2S11, O2S12, SHRTFT1, LONGFT1, RPM, ECT, LOAD_PCT,
FUELSYS1 as the status byte, …) in the standard's units. An empty cell means that
the signal was not read at that time; rows are in order of time. A column 'mark'
may say lean, rich or release. It becomes a session like any other, judged and
stored; nothing is stored when anything in the file is wrong.`,
		Args: named("FILE.csv"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkSensor(sensor); err != nil {
				return usage(cmd, err)
			}
			mixture, err := byMixture(cmd, by)
			if err != nil {
				return err
			}
			m := store.Meta{Watching: sensor, By: byName(mixture), Origin: "import",
				Label: label, Vehicle: vehicle, Note: note, Version: versionText()}
			return a.importCSV(cmd.Context(), args[0], m)
		},
	}
	cmd.Flags().StringVar(&sensor, "sensor", "B1S1", "the `SENSOR` that was forced: bank and position")
	cmd.Flags().StringVar(&by, "by", "wire", "`WHAT` was forced: wire or mixture")
	cmd.Flags().StringVar(&label, "label", "", "label of the session: `TEXT`")
	cmd.Flags().StringVar(&vehicle, "vehicle", "", "`NAME` of the vehicle")
	cmd.Flags().StringVar(&note, "note", "", "note on the session: `TEXT`")
	return cmd
}

// importCSV judges the whole file before it stores any of it.
func (a *app) importCSV(ctx context.Context, path string, m store.Meta) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	m.Started = info.ModTime()

	judge, err := session.NewJudge(watchConfig(m.Watching, m.By == "mixture"), obd.Format{})
	if err != nil {
		return err
	}
	what := &content{}
	src, err := openCSV(file, path)
	if err != nil {
		return err
	}
	bar := newProgress(a.errOut, 0)
	res, err := session.Run(ctx, src, judge, bar, what)
	if err != nil {
		return inCSV(path, err)
	}
	if what.rows == 0 {
		return hinted{fmt.Errorf("importing %s: there are no rows", path), "see `pushback import --help` for what the table looks like", statusFailed}
	}
	m.Sensors = what.sensors()

	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	db, err := store.Open(ctx, a.db)
	if err != nil {
		return err
	}
	defer db.Close()
	bar.whole, bar.doing = res.End, "storing: "
	id, err := storeCSV(ctx, db, file, path, m, res, bar)
	if err != nil {
		return err
	}

	// Standard output is for the id alone: id=$(pushback import FILE).
	people := a.errOut
	fmt.Fprintf(people, "%s: %d rows over %.1f s, %d readings (%.1f a second)\n",
		path, what.rows, res.End.Seconds(), res.Samples, rate(res.Samples, res.End))
	fmt.Fprintf(people, "  signals: %s\n", strings.Join(what.names, ", "))
	if !slices.Contains(m.Sensors, m.Watching) {
		has := "it has none for any oxygen sensor"
		if len(m.Sensors) > 0 {
			has = "it has " + strings.Join(m.Sensors, ", ")
		}
		fmt.Fprintf(people, "warning: the table has no column for %s, so no force on it can be seen (%s)\n", m.Watching, has)
	}
	for _, line := range words.FigureLines(m.Watching, judge.Figures()) {
		fmt.Fprintln(people, "  "+line)
	}
	fmt.Fprintf(people, "  events: %d; conclusion: %s\n", len(res.Events), words.ConclusionShort(string(res.Verdict.Conclusion)))
	if a.json {
		return json.NewEncoder(a.out).Encode(map[string]string{"id": id})
	}
	fmt.Fprintf(people, "  pushback show %s      events, proofs and verdict\n", id)
	_, err = fmt.Fprintln(a.out, id)
	return err
}

func openCSV(r io.Reader, path string) (session.Source, error) {
	src, err := widecsv.NewReader(bufio.NewReaderSize(r, 1<<16))
	return src, inCSV(path, err)
}

func inCSV(path string, err error) error {
	if err == nil || errors.Is(err, context.Canceled) {
		return err
	}
	return hinted{fmt.Errorf("importing %s: %w", path, err),
		"correct the file (`pushback import --help` says what the table looks like); nothing was stored", statusFailed}
}

// storeCSV stores a file that was found good. On an error nothing is left.
func storeCSV(ctx context.Context, db *store.Store, r io.Reader, path string, m store.Meta, res session.Result, bar *progress) (id string, err error) {
	src, err := openCSV(r, path)
	if err != nil {
		return "", err
	}
	w, err := db.Create(ctx, m)
	if err != nil {
		return "", err
	}
	defer func() {
		if err != nil {
			w.Close()
			err = errors.Join(err, db.Remove(context.WithoutCancel(ctx), w.ID()))
		}
	}()
	judge, err := session.NewJudge(watchConfig(m.Watching, m.By == "mixture"), obd.Format{})
	if err != nil {
		return "", err
	}
	if _, err := session.Run(ctx, src, judge, stored{w}, bar); err != nil {
		return "", inCSV(path, err)
	}
	return w.ID(), w.Finish(ctx, res.End, res.Verdict, res.Events)
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
		if !c.seen[n] {
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
