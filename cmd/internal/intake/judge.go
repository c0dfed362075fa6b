package intake

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"pushback/analysis"
	"pushback/cmd/internal/advice"
	"pushback/store/longcsv"
	"pushback/store/transfer"
	"pushback/store/widecsv"
)

// Judging judges the sessions of files and keeps nothing.
type Judging struct {
	Said  Said
	In    io.Reader // read in place of a file that is called "-"
	Lines io.Writer // of JSON, one a session
	Bad   io.Writer // which files cannot be read
}

// Files judges them one after the other, and goes on after one that cannot be read.
func (j Judging) Files(ctx context.Context, paths []string) error {
	bad := 0
	for _, path := range paths {
		err := j.file(ctx, path)
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
			fmt.Fprintln(j.Bad, "pushback:", err)
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

func (j Judging) file(ctx context.Context, path string) (err error) {
	r, err := j.open(ctx, path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	return Each(ctx, r, j.Said, nil, func(f Session) error {
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
		if err := json.NewEncoder(j.Lines).Encode(line); err != nil {
			return &outputError{err}
		}
		return nil
	})
}

// open opens a file, or standard input, which is read once and so cannot be asked for its form.
func (j Judging) open(ctx context.Context, path string) (transfer.Reader, error) {
	if path == "-" {
		r, err := longcsv.NewReader(j.In)
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
	open, err := Opener(path, widecsv.Mapping{})
	if err != nil {
		return nil, err
	}
	return open(ctx)
}

// unclosed is a reader of an input that is not ours to close.
type unclosed struct{ transfer.Reader }

func (unclosed) Close() error { return nil }
