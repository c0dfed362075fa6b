// Package intake takes in sessions from files, where each is read, judged, and stored once, and
// hands stored ones out to files.
package intake

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"pushback/analysis/session"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
	"pushback/store/longcsv"
	"pushback/store/parquet"
	"pushback/store/portable"
	"pushback/store/rawcapture"
	"pushback/store/transfer"
	"pushback/store/widecsv"
)

// Session is a session of a file that was read and judged.
type Session struct {
	Meta    store.Meta
	Table   Table
	Result  session.Result
	Judge   *session.Judge
	Records int
	Hash    []byte
	Stored  string // the id here: that of the same session, or the new one
	Same    bool   // it was here before
	Into    string // the visit that it was put into although it was here before
	Stays   string // the visit that it is in, where it was to be put into another
}

// Content is what a file holds.
type Content struct {
	Sessions []Session
	Visits   []store.Visit // of which the file has no session
}

// Open opens a file that holds sessions.
type Open func(context.Context) (transfer.Reader, error)

// Known notes which of them are stored already, or come twice.
func Known(ctx context.Context, db *store.Store, all []Session) error {
	for i := range all {
		f := &all[i]
		id, err := db.Same(ctx, f.Hash, f.Meta.Watching, f.Meta.By)
		if err == nil {
			f.Stored, f.Same = id, true
		} else if !errors.Is(err, store.ErrNoSession) {
			return err
		}
		for _, g := range all[:i] { // twice in one file
			if slices.Equal(g.Hash, f.Hash) && g.Meta.Watching == f.Meta.Watching && g.Meta.By == f.Meta.By {
				f.Same = true
			}
		}
	}
	return nil
}

// Opener returns what opens the file, by its content or by the mapping.
func Opener(path string, m widecsv.Mapping) (Open, error) {
	if len(m.Columns) > 0 {
		return func(context.Context) (transfer.Reader, error) { return widecsv.Open(path, m) }, nil
	}
	format, err := formatOf(path)
	return func(ctx context.Context) (transfer.Reader, error) { return format.Open(ctx, path) }, err
}

// Read reads and judges all sessions of a file; bar sees how far it is.
func Read(ctx context.Context, open Open, said Said, bar session.Sink) (c Content, err error) {
	r, err := open(ctx)
	if err != nil {
		return c, err
	}
	alone := &withoutVisits{Reader: r}
	defer func() { err = errors.Join(err, r.Close()) }()
	err = Each(ctx, alone, said, bar, func(f Session) error {
		c.Sessions = append(c.Sessions, f)
		return nil
	})
	c.Visits = alone.visits
	for i := range c.Visits {
		c.Visits[i].Each(words.Clean)
	}
	return c, err
}

// withoutVisits is a reader that passes over visits without sessions, and keeps them.
type withoutVisits struct {
	transfer.Reader
	visits []store.Visit
}

// Session goes on to the next session.
func (r *withoutVisits) Session(ctx context.Context) (store.Meta, error) {
	for {
		m, err := r.Reader.Session(ctx)
		if err != nil || !transfer.IsVisitAlone(m) {
			return m, err
		}
		r.visits = append(r.visits, *m.Visit)
	}
}

// Each judges the sessions of r one after the other and hands each over as it ends, so that one is
// held at a time; it stops at the first error, its own or take's. A nil bar sees nothing.
func Each(ctx context.Context, r transfer.Reader, said Said, bar session.Sink, take func(Session) error) error {
	return Sessions(ctx, r, func(m store.Meta) error {
		if n := len(m.Label) + len(m.Vehicle) + len(m.Note) + len(m.Adapter); n > 64<<10 {
			return fmt.Errorf("session %.20q: its description has %d letters", m.ID, n)
		}
		f := Session{Meta: said.describe(m)}
		setup, err := session.NewSetup(f.Meta.Watching, f.Meta.By, f.Meta.Format)
		if err != nil {
			return err
		}
		f.Judge = session.NewJudge(setup)
		hash := &hasher{store.NewContent()}
		sinks := []session.Sink{&f.Table, hash}
		if bar != nil {
			sinks = append(sinks, bar)
		}
		if f.Result, err = session.Run(ctx, cleaned{r}, f.Judge, sinks...); err != nil {
			return err
		}
		f.Records, f.Hash = f.Result.Records, hash.Sum()
		if f.Meta.By == "" {
			f.Meta.By = string(f.Judge.By())
		}
		if len(f.Meta.Sensors) == 0 {
			f.Meta.Sensors = f.Table.sensors()
		}
		return take(f)
	})
}

// Sessions hands over the sessions of r one after the other, whose records take reads from it; it stops at the first error.
// Visits without sessions are passed over.
func Sessions(ctx context.Context, r transfer.Reader, take func(store.Meta) error) error {
	all := &withoutVisits{Reader: r}
	for {
		m, err := all.Session(ctx)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = take(m)
		}
		if err != nil {
			return err
		}
	}
}

// Store reads the file again and stores what is new. On an error nothing is left, but for a
// [*store.RescuedError]: the database was replaced, and what is new is in a rescued one.
func Store(ctx context.Context, db *store.Store, open Open, all []Session, bar func(length time.Duration) session.Sink) error {
	err := storeIn(ctx, db, open, all, bar)
	var rescued *store.RescuedError
	if !errors.Is(err, store.ErrReplaced) || errors.As(err, &rescued) {
		return err
	}
	other, err := db.Beside(ctx)
	if err != nil {
		return errors.Join(store.ErrReplaced, err)
	}
	if err := errors.Join(storeIn(ctx, other, open, all, bar), other.Close()); err != nil {
		return errors.Join(store.ErrReplaced, err)
	}
	return &store.RescuedError{Path: other.Path()}
}

func storeIn(ctx context.Context, db *store.Store, open Open, all []Session, bar func(length time.Duration) session.Sink) (err error) {
	r, err := open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	var made []string
	defer func() {
		if err != nil && !errors.Is(err, store.ErrReplaced) { // what is elsewhere now is kept there
			for _, id := range made {
				err = errors.Join(err, db.Remove(context.WithoutCancel(ctx), id))
			}
		}
	}()
	in := &withoutVisits{Reader: r}
	for i := range all {
		f := &all[i]
		if _, err := in.Session(ctx); err != nil {
			return fmt.Errorf("it changed while it was read: %w", err)
		}
		if f.Same {
			if err := f.join(ctx, db); err != nil {
				return err
			}
			continue
		}
		m := f.Meta
		m.Conclusion = "" // until it is judged here
		w, err := db.Create(ctx, m)
		if err != nil {
			return err
		}
		w.Once()
		f.Stored = w.ID()
		made = append(made, f.Stored)
		setup, err := session.NewSetup(f.Meta.Watching, f.Meta.By, f.Meta.Format)
		if err != nil {
			return errors.Join(err, w.Close())
		}
		judge := session.NewJudge(setup)
		if _, err := session.Run(ctx, cleaned{r}, judge, rig.Stored{Writer: w}, bar(f.Result.End)); err != nil {
			return errors.Join(err, w.Close())
		}
		err = w.Finish(ctx, f.Result.End, why.Verdict(f.Result.Verdict), why.Events(f.Result.Events))
		var twin *store.DuplicateError
		if errors.As(err, &twin) { // another import was faster
			if err = db.Remove(ctx, f.Stored); err == nil {
				f.Stored, f.Same = twin.ID, true
			}
		}
		if err != nil {
			return err
		}
	}
	return pairUp(ctx, db, all)
}

// join puts a session that was here before into the visit that it came with, unless it is in another.
func (f *Session) join(ctx context.Context, db *store.Store) error {
	if f.Meta.Visit == nil || f.Stored == "" {
		return nil
	}
	m, err := db.Find(ctx, f.Stored)
	if err != nil {
		return err
	}
	if there := m.Visit; there != nil && there.Name != f.Meta.Visit.Name && !there.Opened.Equal(f.Meta.Visit.Opened) {
		f.Stays = there.Name
		return nil
	}
	v, err := db.TakeVisit(ctx, *f.Meta.Visit) // what was done in it elsewhere since comes too
	if err != nil || m.Visit != nil {
		return err
	}
	f.Into = v.Name
	return db.Edit(ctx, f.Stored, func(m *store.Meta) { m.Visit = &v })
}

// pairUp keeps the pairs of sessions that are both here now, but for an after that is in
// one already.
func pairUp(ctx context.Context, db *store.Store, all []Session) error {
	came := make(map[string]string)
	for _, f := range all {
		came[f.Meta.ID] = f.Stored
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
		if f.Same {
			continue // what was done here with a session that was here already stays
		}
		if f.Meta.Before != "" {
			if err := pair(f.Meta.Before, f.Meta.ID); err != nil {
				return err
			}
		}
		if f.Meta.After != "" {
			if err := pair(f.Meta.ID, f.Meta.After); err != nil {
				return err
			}
		}
	}
	return nil
}

// Table is a sink that notes what a table holds.
type Table struct {
	Rows  int
	Names []string // signals, in the order of their coming
	seen  map[string]bool
}

// Write takes one frame.
func (c *Table) Write(f session.Frame) error {
	if f.Record.Row == nil {
		return nil
	}
	c.Rows++
	for _, n := range f.Record.Row.Names {
		if !c.seen[n] && decode.ByName(n) != nil {
			if c.seen == nil {
				c.seen = make(map[string]bool)
			}
			c.seen[n] = true
			c.Names = append(c.Names, n)
		}
	}
	return nil
}

// sensors are the oxygen sensors whose voltage or ratio the table holds.
func (c *Table) sensors() []string {
	var out []string
	for _, n := range c.Names {
		bs, volts := strings.CutPrefix(n, "O2S")
		bs, ratio := strings.CutPrefix(bs, "EQ_RAT")
		if (volts || ratio) && len(bs) == 2 {
			out = append(out, "B"+bs[:1]+"S"+bs[1:])
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// cleaned is a source whose notes are clean.
type cleaned struct{ session.Source }

func (c cleaned) Next(ctx context.Context) (obd.Record, error) {
	rec, err := c.Source.Next(ctx)
	if rec.Mark != nil && rec.Mark.Text != "" {
		rec.Mark.Text = words.Clean(rec.Mark.Text)
	}
	return rec, err
}

// Formats are the kinds of file that sessions are written to and read from. Any text
// may be a wide table, so that comes last.
var Formats = []transfer.Format{portable.Format, parquet.Format, rawcapture.Format, longcsv.Format, widecsv.Format}

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
	for _, format := range Formats {
		if format.Is(head[:n]) {
			return format, nil
		}
	}
	return transfer.Format{}, fmt.Errorf("reading %s: it is none of the formats that import reads", path)
}

// hasher is a session's sink that makes the hash of its records.
type hasher struct{ store.Content }

func (h *hasher) Write(f session.Frame) error {
	if f.Last {
		return nil
	}
	return h.Add(f.Record)
}
