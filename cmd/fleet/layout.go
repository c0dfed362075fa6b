package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"

	"pushback/analysis/session"
	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/store"
	"pushback/store/parquet"
	"pushback/store/transfer"
	"pushback/store/widecsv"
)

// layout writes sessions into partitions. What is not full yet is held in memory.
type layout struct {
	dir  string
	most int // sessions in a file
	open map[string][]transfer.Session
	made map[string]int // files of a partition
}

// shopName may stand in a folder's name on every system, and no engine reads another key out of it.
var shopName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_.-]{0,62}$`)

// add puts a session into the partition of its month, by UTC, and shop.
func (l *layout) add(ctx context.Context, shop string, s transfer.Session) error {
	if !shopName.MatchString(shop) {
		return fmt.Errorf("shop %q: letters, digits, '.', '_' and '-' only, 63 at the most", shop)
	}
	key := filepath.Join("month="+s.Meta.Started.UTC().Format("2006-01"), "shop="+shop)
	if l.open == nil {
		l.open, l.made = make(map[string][]transfer.Session), make(map[string]int)
	}
	l.open[key] = append(l.open[key], s)
	if len(l.open[key]) < l.most {
		return nil
	}
	return l.write(ctx, key)
}

func (l *layout) close(ctx context.Context) error {
	for key := range l.open {
		if err := l.write(ctx, key); err != nil {
			return err
		}
	}
	return nil
}

// write writes what is held of a partition as its next file, whole or not at all. Files that were
// there before stay.
func (l *layout) write(ctx context.Context, key string) (err error) {
	all := l.open[key]
	delete(l.open, key)
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b transfer.Session) int { return a.Meta.Started.Compare(b.Meta.Started) })
	dir := filepath.Join(l.dir, key)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, ".part-") // engines pass over names with a dot
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	err = parquet.Write(ctx, f, func(yield func(transfer.Session, error) bool) {
		for _, s := range all {
			if !yield(s, nil) {
				return
			}
		}
	})
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	for {
		l.made[key]++
		err := os.Link(f.Name(), filepath.Join(dir, fmt.Sprintf("part-%05d.parquet", l.made[key])))
		if !errors.Is(err, os.ErrExist) {
			return err
		}
	}
}

// files lays out the sessions of exported files.
func (l *layout) files(ctx context.Context, shop string, paths []string) error {
	if len(paths) == 0 {
		return errors.New("no FILE to lay out")
	}
	for _, path := range paths {
		if err := l.file(ctx, shop, path); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	return nil
}

func (l *layout) file(ctx context.Context, shop, path string) (err error) {
	open, err := intake.Opener(path, widecsv.Mapping{})
	if err != nil {
		return err
	}
	r, err := open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	return intake.Sessions(ctx, r, func(m store.Meta) error {
		s, err := record(ctx, m, r)
		if err != nil {
			return err
		}
		return l.add(ctx, shop, s)
	})
}

// record takes a session from its source, with today's events and verdict. Its description keeps the
// conclusion that was stored.
func record(ctx context.Context, m store.Meta, from session.Source, also ...session.Sink) (transfer.Session, error) {
	setup, err := session.NewSetup(m.Watching, m.By, m.Format)
	if err != nil {
		return transfer.Session{}, err
	}
	var kept lines
	res, err := session.Run(ctx, from, session.NewJudge(setup), append(also, &kept)...)
	if err != nil {
		return transfer.Session{}, err
	}
	j, err := store.JudgementOf(why.Verdict(res.Verdict), why.Events(res.Events))
	if err != nil {
		return transfer.Session{}, err
	}
	m.Conclusion, m.Duration, m.Finished = cmp.Or(m.Conclusion, j.Conclusion), res.End, true
	return transfer.Session{Meta: m, Judgement: j, Lines: kept.all}, nil
}

// lines is a sink that keeps a session's records with their samples.
type lines []transfer.Line

func (l *lines) Write(f session.Frame) error {
	if !f.Last { // a signal that was asked for and never came is no column
		came := slices.DeleteFunc(slices.Clone(f.Samples), func(s decode.Sample) bool { return s.Missing })
		*l = append(*l, transfer.Line{Record: f.Record, Samples: came})
	}
	return nil
}

func (l *lines) all(yield func(transfer.Line, error) bool) {
	for _, line := range *l {
		if !yield(line, nil) {
			return
		}
	}
}
