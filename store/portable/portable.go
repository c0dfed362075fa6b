// Package portable writes sessions into one plain SQLite file, a database like the
// program's own, and reads the sessions of such a file. All that the database keeps is
// in it, pairs and judgement included, and any SQLite tool reads it; store/schema
// describes the tables and views.
package portable

import (
	"bytes"
	"context"
	"errors"
	"io"
	"iter"
	"os"
	"path/filepath"

	"pushback/obd"
	"pushback/store"
	"pushback/store/transfer"
)

// Format is the SQLite file.
var Format = transfer.Format{
	Name: "sqlite", Extension: ".db", About: "a database of its own, with views; loses nothing",
	Write: Write,
	Is:    func(head []byte) bool { return bytes.HasPrefix(head, []byte("SQLite format 3")) },
	Open: func(ctx context.Context, path string) (transfer.Reader, error) {
		db, err := store.OpenForeign(ctx, path)
		if err != nil {
			return nil, err
		}
		list, err := db.List(ctx, store.Filter{})
		if err != nil {
			return nil, errors.Join(err, db.Close())
		}
		visits, err := db.VisitsBeside(ctx, list)
		if err != nil {
			return nil, errors.Join(err, db.Close())
		}
		return &reader{db: db, left: list, visits: visits}, nil
	},
}

// Write writes sessions as a database file.
func Write(ctx context.Context, w io.Writer, sessions iter.Seq2[transfer.Session, error]) error {
	dir, err := os.MkdirTemp("", "pushback")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "portable.db")
	db, err := store.Open(ctx, path)
	if err != nil {
		return err
	}
	err = fill(ctx, db, sessions)
	if err == nil {
		err = db.Pack(ctx)
	} else {
		err = errors.Join(err, db.Close())
	}
	if err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = io.Copy(w, f)
	return err
}

func fill(ctx context.Context, db *store.Store, sessions iter.Seq2[transfer.Session, error]) error {
	ids := make(map[string]string) // from the id there to the id here
	before := make(map[string]string)
	for s, err := range sessions {
		if err != nil {
			return err
		}
		if transfer.IsVisitAlone(s.Meta) {
			if _, err := db.TakeVisit(ctx, *s.Meta.Visit); err != nil {
				return err
			}
			continue
		}
		id, err := put(ctx, db, s)
		if err != nil {
			return err
		}
		ids[s.Meta.ID] = id
		if s.Meta.Before != "" {
			before[s.Meta.ID] = s.Meta.Before
		}
	}
	for after, b := range before {
		if ids[b] != "" {
			if err := db.Pair(ctx, ids[b], ids[after]); err != nil {
				return err
			}
		}
	}
	return nil
}

func put(ctx context.Context, db *store.Store, s transfer.Session) (id string, err error) {
	w, err := db.Create(ctx, s.Meta)
	if err != nil {
		return "", err
	}
	for l, err := range s.Lines {
		if err == nil {
			err = w.Append(l.Record, l.Samples)
		}
		if err != nil {
			return "", errors.Join(err, w.Close())
		}
	}
	if !s.Meta.Finished {
		return w.ID(), w.Close()
	}
	return w.ID(), w.FinishAs(ctx, s.Meta.Duration, s.Judgement)
}

type reader struct {
	db      *store.Store
	left    []store.Meta  // the last is next: the oldest first
	visits  []store.Visit // without sessions, after them
	current *store.Reader
}

func (r *reader) Session(ctx context.Context) (store.Meta, error) {
	if r.current != nil {
		if err := r.current.Close(); err != nil {
			return store.Meta{}, err
		}
		r.current = nil
	}
	if n := len(r.visits); len(r.left) == 0 && n > 0 {
		v := r.visits[n-1]
		r.visits = r.visits[:n-1]
		return transfer.VisitAlone(v).Meta, nil
	}
	if len(r.left) == 0 {
		return store.Meta{}, io.EOF
	}
	m := r.left[len(r.left)-1]
	r.left = r.left[:len(r.left)-1]
	var err error
	r.current, err = r.db.Records(ctx, m.ID)
	return m, err
}

func (r *reader) Next(ctx context.Context) (obd.Record, error) {
	if r.current == nil {
		return obd.Record{}, io.EOF
	}
	return r.current.Next(ctx)
}

func (r *reader) Close() error {
	var err error
	if r.current != nil {
		err = r.current.Close()
	}
	return errors.Join(err, r.db.Close())
}
