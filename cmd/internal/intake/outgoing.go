package intake

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"slices"
	"time"

	"pushback/analysis/session"
	"pushback/decode"
	"pushback/store"
	"pushback/store/transfer"
)

// Outgoing is a stored session with all that a format may write of it. The samples are
// decoded again from the records; bar sees each, and that it was the last.
func Outgoing(ctx context.Context, db *store.Store, m store.Meta, bar session.Sink) (transfer.Session, error) {
	j, err := db.Judgement(ctx, m.ID)
	return transfer.Session{Meta: m, Lines: lines(ctx, db, m, bar), Judgement: j}, err
}

// lines ranges over a session's records with the samples that they decode to.
func lines(ctx context.Context, db *store.Store, m store.Meta, bar session.Sink) iter.Seq2[transfer.Line, error] {
	return func(yield func(transfer.Line, error) bool) {
		reader, err := db.Records(ctx, m.ID)
		if err != nil {
			yield(transfer.Line{}, err)
			return
		}
		defer reader.Close()
		setup, err := session.NewSetup(m.Watching, m.By, m.Format)
		if err != nil {
			yield(transfer.Line{}, err)
			return
		}
		judge := session.NewJudge(setup)
		defer func() { _ = bar.Write(session.Frame{Last: true}) }()
		for {
			rec, err := reader.Next(ctx)
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				yield(transfer.Line{}, err)
				return
			}
			f := judge.Step(rec)
			_ = bar.Write(session.Frame{Record: rec})
			// A signal that was asked for and never came is no column.
			came := slices.DeleteFunc(f.Samples, func(s decode.Sample) bool { return s.Missing })
			if !yield(transfer.Line{Record: rec, Samples: came}, nil) {
				return
			}
		}
	}
}

// Export writes stored sessions in a format.
type Export struct {
	Format     transfer.Format
	Sessions   []store.Meta  // the newest first
	Visits     []store.Visit // that have none of them, the newest first
	VIN, Notes bool          // what is personal is written too
	Bar        func(length time.Duration) session.Sink
}

// Write writes them, the oldest first, as they were made.
func (x Export) Write(ctx context.Context, db *store.Store, w io.Writer) error {
	var sessions iter.Seq2[transfer.Session, error] = func(yield func(transfer.Session, error) bool) {
		for _, m := range slices.Backward(x.Sessions) {
			s, err := Outgoing(ctx, db, m, x.Bar(m.Duration))
			if !yield(transfer.Redact(s, x.VIN, x.Notes), err) {
				return
			}
		}
		for _, v := range slices.Backward(x.Visits) {
			if !yield(transfer.Redact(transfer.VisitAlone(v), x.VIN, x.Notes), nil) {
				return
			}
		}
	}
	if err := x.Format.Write(ctx, w, sessions); err != nil {
		return fmt.Errorf("exporting %s: %w", x, err)
	}
	return nil
}

// File writes them to a file, whole or not at all; into a pipe as they come.
func (x Export) File(ctx context.Context, db *store.Store, path string) error {
	write := func(w io.Writer) error { return x.Write(ctx, db, w) }
	if fi, err := os.Stat(path); err == nil && !fi.Mode().IsRegular() { // a pipe, /dev/null
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		return errors.Join(write(f), f.Close())
	}
	return transfer.ToFile(path, write)
}

// String names what is written.
func (x Export) String() string {
	text := fmt.Sprintf("%d sessions", len(x.Sessions))
	if len(x.Sessions) == 1 {
		text = "session " + x.Sessions[0].ID
	}
	if n := len(x.Visits); n > 0 {
		text += fmt.Sprintf(", visits without sessions: %d", n)
	}
	return text
}
