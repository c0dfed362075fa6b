package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/session"
	"pushback/decode"
	"pushback/store"
	"pushback/store/widecsv"
)

func newExport(a *app) *cobra.Command {
	var csv bool
	cmd := &cobra.Command{
		Use:   "export SESSION --csv [FILE]",
		Short: "Write a session as a wide CSV table",
		Long: `Writes the table that 'import' reads: t_s, one column per signal by the standard's
short names, and the technician's marks. Without FILE, or with -, it goes to
standard output.`,
		Args: args(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !csv {
				return usagef(cmd, "say in what form: --csv")
			}
			path := "-"
			if len(args) == 2 {
				path = args[1]
			}
			if a.json && path == "-" {
				return usagef(cmd, "with --json the table needs a FILE to go to")
			}
			return a.withStore(cmd, func(db *store.Store) error { return a.exportCSV(cmd.Context(), db, args[0], path) })
		},
	}
	cmd.Flags().BoolVar(&csv, "csv", false, "as a wide CSV table")
	return cmd
}

func (a *app) exportCSV(ctx context.Context, db *store.Store, ref, path string) (err error) {
	m, err := db.Find(ctx, ref)
	if err != nil {
		return err
	}
	var out io.Writer = a.out
	if path != "-" {
		f, err := os.Create(path)
		if err != nil {
			return err
		}
		defer func() {
			if cerr := f.Close(); err == nil {
				err = cerr
			}
		}()
		out = f
	}
	buf := bufio.NewWriterSize(out, 1<<16)
	if err := widecsv.Write(buf, a.lines(ctx, db, m)); err != nil {
		return fmt.Errorf("exporting session %s: %w", m.ID, err)
	}
	if err := buf.Flush(); err != nil {
		return fmt.Errorf("exporting session %s: %w", m.ID, err)
	}
	if a.json {
		return json.NewEncoder(a.out).Encode(map[string]string{"id": m.ID, "file": path})
	}
	return nil
}

// lines ranges over a session's records with the samples that they decode to.
func (a *app) lines(ctx context.Context, db *store.Store, m store.Meta) iter.Seq2[widecsv.Line, error] {
	return func(yield func(widecsv.Line, error) bool) {
		reader, err := db.Records(ctx, m.ID)
		if err != nil {
			yield(widecsv.Line{}, err)
			return
		}
		defer reader.Close()
		judge, err := session.NewJudge(watchConfig(m.Watching, m.By == "mixture"), m.Format)
		if err != nil {
			yield(widecsv.Line{}, err)
			return
		}
		bar := newProgress(a.errOut, m.Duration)
		defer bar.clear()
		for {
			rec, err := reader.Next(ctx)
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				yield(widecsv.Line{}, err)
				return
			}
			f := judge.Step(rec)
			_ = bar.Write(session.Frame{Record: rec})
			// A signal that was asked for and never came is no column.
			came := slices.DeleteFunc(f.Samples, func(s decode.Sample) bool { return s.Missing })
			if !yield(widecsv.Line{Record: rec, Samples: came}, nil) {
				return
			}
		}
	}
}
