package main

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

// outgoing is a stored session with all that a format may write of it. The samples are
// decoded again from the records.
func (a *app) outgoing(ctx context.Context, db *store.Store, m store.Meta) (transfer.Session, error) {
	j, err := db.Judgement(ctx, m.ID)
	return transfer.Session{Meta: m, Lines: a.lines(ctx, db, m), Judgement: j}, err
}

// lines ranges over a session's records with the samples that they decode to.
func (a *app) lines(ctx context.Context, db *store.Store, m store.Meta) iter.Seq2[transfer.Line, error] {
	return func(yield func(transfer.Line, error) bool) {
		reader, err := db.Records(ctx, m.ID)
		if err != nil {
			yield(transfer.Line{}, err)
			return
		}
		defer reader.Close()
		setup, err := setupOf(m)
		if err != nil {
			yield(transfer.Line{}, err)
			return
		}
		judge := session.NewJudge(setup)
		bar := newProgress(a.errOut, m.Duration)
		defer bar.clear()
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
