package intake

import (
	"context"
	"errors"
	"io"
	"iter"
	"slices"

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
