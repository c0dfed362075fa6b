package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/intake"
	"pushback/decode"
	"pushback/store/longcsv"
	"pushback/store/transfer"
	"pushback/store/widecsv"
)

func newJudge(a *app) *cobra.Command {
	said := intake.Said{Version: versionText()}
	cmd := &cobra.Command{
		Use:   "judge FILE…",
		Short: "Judge sessions straight from files, and keep nothing",
		Long: `Reads what 'export' writes (Parquet, CSV long and wide, SQLite, captures) and prints one
JSON line a session: what was forced, the conclusion, the step that would decide, the state
of each proof, the conclusion that was stored (stored) and whether today's is another
(differs). '-' is a long CSV on standard input. No database is opened and nothing is
kept, so an engine can run it on every worker; the verdicts are those of 'import' and
'replay'. records_sha256 tells sessions apart that were exported twice.

A file that cannot be read is named on standard error, the others are judged all the same,
and the exit status is 1; else it is 0, whatever the verdicts are.`,
		Args: args(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("sensor") {
				if _, err := decode.ParseSensorID(said.Sensor); err != nil {
					return usage(cmd, err)
				}
			}
			if said.By != "" {
				if _, err := parseBy(cmd, said.By); err != nil {
					return err
				}
			}
			return a.judge(cmd.Context(), args, said)
		},
	}
	cmd.Flags().StringVar(&said.Sensor, "sensor", "", "judge as if this `SENSOR` had been forced (default: as the file says, or B1S1)")
	cmd.Flags().StringVar(&said.By, "by", "", "judge as if `WHAT` was forced: wire or mixture (default: as the file says, or wire)")
	return cmd
}

// judge goes on to the next file after one that cannot be read.
func (a *app) judge(ctx context.Context, paths []string, said intake.Said) error {
	bad := 0
	for _, path := range paths {
		err := a.judgeFile(ctx, path, said)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		var out *outputError
		if errors.As(err, &out) {
			return err
		}
		if err != nil {
			bad++
			var file *fs.PathError
			if !errors.As(err, &file) {
				err = fmt.Errorf("judging %s: %w", path, err)
			}
			fmt.Fprintln(a.errOut, "pushback:", err)
		}
	}
	if bad > 0 {
		return advice.On(fmt.Errorf("judging: %d of %d files could not be read to the end", bad, len(paths)),
			"each is named above; what was printed of them stands")
	}
	return nil
}

// judgedLine is what is printed of a session.
type judgedLine struct {
	File       string                              `json:"file"`
	ID         string                              `json:"id,omitempty"`
	Vehicle    string                              `json:"vehicle,omitempty"`
	Label      string                              `json:"label,omitempty"`
	Watching   string                              `json:"watching"`
	By         string                              `json:"by"`
	Conclusion analysis.Conclusion                 `json:"conclusion"`
	Stored     string                              `json:"stored,omitempty"`  // what the file says was concluded
	Differs    *bool                               `json:"differs,omitempty"` // nil where it says nothing
	Decide     string                              `json:"decide,omitempty"`
	Proofs     map[analysis.ProofID]analysis.State `json:"proofs"`
	Events     int                                 `json:"events"`
	Records    int                                 `json:"records"`
	Seconds    float64                             `json:"seconds"`
	SHA256     string                              `json:"records_sha256"`
}

// outputError says that nothing more can be printed.
type outputError struct{ error }

func (e *outputError) Unwrap() error { return e.error }

func (a *app) judgeFile(ctx context.Context, path string, said intake.Said) (err error) {
	r, err := a.sessionsIn(ctx, path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	return intake.Each(ctx, r, said, nil, func(f intake.Session) error {
		v := f.Result.Verdict
		line := judgedLine{File: path, ID: f.Meta.ID, Vehicle: f.Meta.Vehicle, Label: f.Meta.Label,
			Watching: f.Meta.Watching, By: f.Meta.By,
			Conclusion: v.Conclusion, Decide: string(v.Decide), Proofs: make(map[analysis.ProofID]analysis.State, len(v.Proofs)),
			Events: len(f.Result.Events), Records: f.Records, Seconds: f.Result.End.Seconds(), SHA256: fmt.Sprintf("%x", f.Hash)}
		if stored := f.Meta.Conclusion; stored != "" {
			differs := stored != string(v.Conclusion)
			line.Stored, line.Differs = stored, &differs
		}
		for _, p := range v.Proofs {
			line.Proofs[p.ID] = p.State
		}
		if err := json.NewEncoder(a.out).Encode(line); err != nil {
			return &outputError{err}
		}
		return nil
	})
}

// sessionsIn opens a file, or standard input, which is read once and so cannot be asked for its form.
func (a *app) sessionsIn(ctx context.Context, path string) (transfer.Reader, error) {
	if path == "-" {
		r, err := longcsv.NewReader(a.in)
		if err != nil {
			return nil, err
		}
		return unclosed{r}, nil
	}
	if fi, err := os.Stat(path); err != nil {
		return nil, err
	} else if !fi.Mode().IsRegular() {
		return nil, errors.New("it is no regular file (- reads a long CSV on standard input)")
	}
	open, err := intake.Opener(path, widecsv.Mapping{})
	if err != nil {
		return nil, err
	}
	return open(ctx)
}

// unclosed is a reader of an input that is not ours to close.
type unclosed struct{ transfer.Reader }

func (unclosed) Close() error { return nil }
