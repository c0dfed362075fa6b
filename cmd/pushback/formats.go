package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"slices"

	"pushback/analysis/session"
	"pushback/decode"
	"pushback/store"
	"pushback/store/longcsv"
	"pushback/store/parquet"
	"pushback/store/portable"
	"pushback/store/rawcapture"
	"pushback/store/transfer"
	"pushback/store/widecsv"
)

// formats are the kinds of file that sessions are written to and read from. Any text
// may be a wide table, so that comes last.
var formats = []transfer.Format{portable.Format, parquet.Format, rawcapture.Format, longcsv.Format, widecsv.Format}

// formatOf finds a file's format by its content.
func formatOf(path string) (transfer.Format, error) {
	f, err := os.Open(path)
	if err != nil {
		return transfer.Format{}, err
	}
	defer f.Close()
	head := make([]byte, 4096)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return transfer.Format{}, err
	}
	for _, format := range formats {
		if format.Is(head[:n]) {
			return format, nil
		}
	}
	return transfer.Format{}, fmt.Errorf("reading %s: it is none of the formats that import reads", path)
}

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

// hasher is a session's sink that makes the hash of its records.
type hasher struct{ store.Content }

func (h *hasher) Write(f session.Frame) error {
	if f.Last {
		return nil
	}
	return h.Add(f.Record)
}
