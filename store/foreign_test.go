package store

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"
)

// Files that SQLite opens and in which something would run, or that hold what no
// session of ours does, are refused, by Open before anything is written and by
// OpenForeign; and they stay as they are.
func TestHostileSchema(t *testing.T) {
	if testing.Short() {
		t.Skip("tries hundreds of files")
	}
	for name, c := range map[string]struct {
		script string
		open   bool // what a person may have added to a database of his own
	}{
		"a trigger":            {"create trigger x after insert on session begin delete from record; end", false},
		"a trigger on a table": {"create trigger x after update on session begin select randomblob(1e9); end", false},
		"a view for a table":   {"drop table judgement; create view judgement as select 1 as session, 1 as line, 'event' as kind, '{}' as json", false},
		"a costly view":        {"create view x as with recursive c(n) as (select 1 union all select n + 1 from c) select max(n) from c", true},
		"our view, replaced":   {"drop view session_summary; create view session_summary as select load_extension('x')", false},
		"a generated column":   {"alter table session add column x text as (hex(zeroblob(1e8)))", false},
		"a table":              {"create table mine (x)", true},
		"a virtual table":      {"create virtual table x using rtree(id, a, b)", true},
		"our trigger is gone":  {"drop trigger session_removed", false},
		"a table is gone":      {"drop table pair", false},
		"schema 0":             {"pragma user_version = 0", false},
		"schema -1":            {"pragma user_version = -1", false},
	} {
		path := copyKept(t, len(migrations))
		sqlOn(t, path, c.script)
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if s, err := OpenForeign(context.Background(), path); !errors.Is(err, ErrNotOurs) {
			t.Errorf("%s: OpenForeign: %v", name, err)
			if err == nil {
				s.Close()
			}
		}
		if left, _ := filepath.Glob(path + "-*"); len(left) > 0 {
			t.Errorf("%s: left behind: %v", name, left)
		}
		s, err := Open(context.Background(), path)
		if c.open != (err == nil) || err != nil && !errors.Is(err, ErrNotOurs) {
			t.Errorf("%s: Open: %v", name, err)
		}
		if err == nil {
			s.Close()
			continue
		}
		if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
			t.Errorf("%s: the file was changed, %v", name, err)
		}
	}
}

// A plain file is read in place, nothing is made beside it; writing is refused.
func TestOpenForeign(t *testing.T) {
	ctx := context.Background()
	path := copyKept(t, len(migrations))
	s, err := OpenForeign(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	checkKept(t, s)
	if _, err := s.Create(ctx, meta); !errors.Is(err, ErrReadOnly) {
		t.Errorf("Create: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if left, _ := filepath.Glob(path + "-*"); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}

	// A database in which a session is being recorded.
	live := openTest(t, newPath(t))
	w := create(t, live, meta)
	committed := make(chan int64, 100)
	w.mu.Lock()
	w.onCommit = func(seq int64) { committed <- seq }
	w.mu.Unlock()
	if err := w.Append(crashRecord(0), nil); err != nil {
		t.Fatal(err)
	}
	<-committed
	s, err = OpenForeign(ctx, live.Path())
	if err != nil {
		t.Fatal(err)
	}
	if all := readAll(t, s, "last"); len(all) != 1 {
		t.Errorf("%d records", len(all))
	}
	if err := errors.Join(s.Close(), w.Close()); err != nil {
		t.Error(err)
	}
}

// A cell that is larger than anything of ours is not read.
func TestEnormousCell(t *testing.T) {
	if testing.Short() {
		t.Skip("writes a huge file")
	}
	path := copyKept(t, len(migrations))
	sqlOn(t, path, "update record set raw = zeroblob(100000000) where kind = 'exchange'")
	s, err := OpenForeign(context.Background(), path)
	if err == nil {
		defer s.Close()
		var r *Reader
		if r, err = s.Records(context.Background(), "last"); err == nil {
			defer r.Close()
			_, err = r.Next(context.Background())
		}
	}
	if !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
}

// What no session of ours holds is refused, never read as something else; what is only odd is read.
func TestOddRecords(t *testing.T) {
	for name, c := range map[string]struct {
		change string
		want   error
	}{
		"a blank in a request":    {"update record set request = '01 14' where kind = 'exchange'", ErrDamaged},
		"no request":              {"update record set request = null where kind = 'exchange'", ErrDamaged},
		"a newline in a request":  {"update record set request = '0114' || char(10) where kind = 'exchange'", ErrDamaged},
		"a NUL in a request":      {"update record set request = '0114' || char(0) || 'zz' where kind = 'exchange'", ErrDamaged},
		"a blank before the raw":  {"update record set request = '0114 ', raw = cast('ABC' || char(10) as blob) where kind = 'exchange'", ErrDamaged},
		"another kind of outcome": {"update record set outcome = 'fine' where kind = 'exchange'", ErrDamaged},
		"numbers below zero":      {"update record set seq = seq - 1000", ErrDamaged},
		"one number below zero":   {"update record set seq = -1 where seq = 0", ErrDamaged},
		"more names than values":  {"update record set names = 'RPM ECT', vals = '1', kind = 'row'", ErrDamaged},
		"a value that is a word":  {"update record set names = 'RPM', vals = 'many', kind = 'row'", ErrDamaged},
		"the last number":         {"update record set seq = 9223372036854775807 where seq = (select max(seq) from record where session = 1) and session = 1", nil},
		"a hole":                  {"update record set seq = seq + 100000", nil},
		"no time of sending":      {"update record set sent_us = null", nil},
		"no count of replies":     {"update record set expect = null", nil},
		"nothing that came":       {"update record set raw = null", nil},
		"another time of end":     {"update record set received_us = at_us - 1 where kind = 'exchange'", nil},
	} {
		path := copyKept(t, len(migrations))
		sqlOn(t, path, c.change)
		if err := readForeign(path); !errors.Is(err, c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// readForeign reads all of a foreign file.
func readForeign(path string) error {
	ctx := context.Background()
	s, err := OpenForeign(ctx, path)
	if err != nil {
		return err
	}
	defer s.Close()
	list, err := s.List(ctx, Filter{})
	if err != nil {
		return err
	}
	for _, m := range list {
		r, err := s.Records(ctx, m.ID)
		if err != nil {
			return err
		}
		for err == nil {
			_, err = r.Next(ctx)
		}
		r.Close()
		if err != io.EOF {
			return err
		}
		if _, err := s.Judgement(ctx, m.ID); err != nil {
			return err
		}
	}
	return nil
}

// Whatever bytes are changed below the schema, reading a foreign file ends.
func TestHostilePages(t *testing.T) {
	original, err := os.ReadFile(keptFile(len(migrations)))
	if err != nil {
		t.Fatal(err)
	}
	path := newPath(t)
	failed := 0
	rapid.Check(t, func(t *rapid.T) {
		b := bytes.Clone(original)
		for range rapid.IntRange(1, 20).Draw(t, "changes") {
			page := rapid.IntRange(1, len(b)/4096-1).Draw(t, "page") * 4096
			at := rapid.OneOf(rapid.IntRange(0, 120), rapid.IntRange(3500, 4095)).Draw(t, "at")
			b[page+at] = rapid.Byte().Draw(t, "byte")
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if readForeign(path) != nil {
			failed++
		}
	})
	if failed == 0 {
		t.Error("no change was noticed: the test does not test")
	}
}

func FuzzForeign(f *testing.F) {
	original, err := os.ReadFile(keptFile(len(migrations)))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(original)
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, file []byte) {
		g, err := os.CreateTemp(dir, "")
		if err != nil {
			t.Fatal(err)
		}
		defer os.Remove(g.Name())
		if _, err := g.Write(file); err != nil {
			t.Fatal(err)
		}
		if err := g.Close(); err != nil {
			t.Fatal(err)
		}
		_ = readForeign(g.Name()) // it ends, and does no harm
	})
}

// Names that begin as SQLite's own do let nothing in.
func TestNamesLikeSQLites(t *testing.T) {
	ctx := context.Background()
	for name, script := range map[string]string{
		"a trigger": `insert into sqlite_schema values ('trigger', 'sqlite_autoindex_x_1', 'session', 0,
			'CREATE TRIGGER sqlite_autoindex_x_1 after update on session begin delete from record; end')`,
		"a view":          `insert into sqlite_schema values ('view', 'sqlite_stat9', 'sqlite_stat9', 0, 'CREATE VIEW sqlite_stat9 as select 1')`,
		"a virtual table": `insert into sqlite_schema values ('table', 'sqlite_stat8', 'sqlite_stat8', 0, 'CREATE VIRTUAL TABLE sqlite_stat8 using rtree(a, b, c)')`,
	} {
		path, _ := older(t)
		sqlOn(t, path, "pragma writable_schema = on; "+script)
		for what, open := range map[string]func(context.Context, string) (*Store, error){"Open": Open, "OpenForeign": OpenForeign} {
			s, err := open(ctx, path)
			if err == nil {
				s.Close()
			}
			if what == "Open" && name == "a trigger" || what == "OpenForeign" {
				if !errors.Is(err, ErrNotOurs) && !errors.Is(err, ErrDamaged) {
					t.Errorf("%s, %s: %v", name, what, err)
				}
			}
		}
	}
	path, _ := older(t)
	sqlOn(t, path, "analyze")
	if s, err := OpenForeign(ctx, path); err != nil {
		t.Error(err)
	} else {
		s.Close()
	}
}
