package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis"
)

// sqlOn makes or changes a database without this package's care.
func sqlOn(t testing.TB, path, script string) {
	t.Helper()
	db, err := sql.Open("sqlite3", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(script); err != nil {
		t.Fatal(err)
	}
}

func impatient(t *testing.T) {
	old := busyTimeout
	busyTimeout = 20 * time.Millisecond
	t.Cleanup(func() { busyTimeout = old })
}

// A file of somebody else is refused and stays as it is, byte by byte.
func TestNotOurs(t *testing.T) {
	for name, prepare := range map[string]func(path string){
		"text":              func(p string) { os.WriteFile(p, []byte("t_s,RPM\n0,800\n"), 0o644) },
		"long text":         func(p string) { os.WriteFile(p, bytes.Repeat([]byte("t_s,RPM\n"), 1000), 0o644) },
		"cut header":        func(p string) { os.WriteFile(p, []byte("SQLite format 3\x00"), 0o644) },
		"only a magic":      func(p string) { os.WriteFile(p, append([]byte("SQLite format 3\x00"), make([]byte, 4080)...), 0o644) },
		"another program's": func(p string) { sqlOn(t, p, "create table session (id text); insert into session values ('x')") },
		"with an application id": func(p string) {
			sqlOn(t, p, "pragma application_id = 7; create table a (b)")
		},
		"another's in WAL mode": func(p string) {
			sqlOn(t, p, "pragma journal_mode = wal; create table a (b); pragma user_version = 1")
		},
		"a view that calls": func(p string) { sqlOn(t, p, "create view session as select load_extension('x')") },
		"a session table under our version": func(p string) {
			sqlOn(t, p, "create table session (id text); pragma user_version = 1")
		},
	} {
		path := newPath(t)
		prepare(path)
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if s, err := Open(context.Background(), path); !errors.Is(err, ErrNotOurs) {
			t.Errorf("%s: %v", name, err)
			if err == nil {
				s.Close()
			}
		}
		if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
			t.Errorf("%s: the file was changed, %v", name, err)
		}
	}
	for _, path := range []string{t.TempDir(), os.DevNull} {
		if _, err := Open(context.Background(), path); !errors.Is(err, ErrNotOurs) {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestOpenMakesAPrivateFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a b", "ü?&%41#", "p.db")
	s := openTest(t, path)
	create(t, s, meta).Close()
	if runtime.GOOS == "windows" {
		return
	}
	for _, p := range []string{path, path + "-wal", path + "-shm"} {
		if fi, err := os.Stat(p); err != nil || fi.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", p, fi, err)
		}
	}
	if fi, err := os.Stat(filepath.Dir(path)); err != nil || fi.Mode().Perm() != 0o700 {
		t.Errorf("folder: %v, %v", fi, err)
	}
}

// An empty file, as mktemp leaves it, is taken.
func TestOpenEmptyFile(t *testing.T) {
	path := newPath(t)
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	create(t, openTest(t, path), meta).Close()
}

func TestLocked(t *testing.T) {
	impatient(t)
	path := newPath(t)
	s := openTest(t, path)
	other := connect(path, "mode=rw")
	defer other.Close()
	conn, err := other.Conn(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.ExecContext(context.Background(), "begin immediate"); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(context.Background(), path); !errors.Is(err, ErrLocked) {
		t.Errorf("Open: %v", err)
	}
	if _, err := s.Create(context.Background(), meta); !errors.Is(err, ErrLocked) {
		t.Errorf("Create: %v", err)
	}
	if _, err := s.List(context.Background(), Filter{}); err != nil {
		t.Errorf("reading must go on: %v", err)
	}
	if _, err := conn.ExecContext(context.Background(), "rollback"); err != nil {
		t.Fatal(err)
	}
	create(t, s, meta).Close()
}

// Several processes may make the same file at once.
func TestOpenAtOnce(t *testing.T) {
	path := newPath(t)
	errs := make(chan error)
	for range 8 {
		go func() {
			s, err := Open(context.Background(), path)
			if err == nil {
				var w *Writer
				if w, err = s.Create(context.Background(), meta); err == nil {
					err = w.Close()
				}
				err = errors.Join(err, s.Close())
			}
			errs <- err
		}()
	}
	for range 8 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	s := openTest(t, path)
	if list, err := s.List(context.Background(), Filter{}); err != nil || len(list) != 8 {
		t.Errorf("%d sessions, %v", len(list), err)
	}
}

// A full disk is an error of Append; what was committed stays, and what Append took
// is written when there is room again.
func TestDiskFull(t *testing.T) {
	path := newPath(t)
	s := openTest(t, path)
	w := create(t, s, meta)
	if _, err := s.w.Exec("pragma max_page_count = 2000"); err != nil {
		t.Fatal(err)
	}
	var err error
	taken := int64(0)
	for ; err == nil; taken++ {
		rec := exchange(taken, time.Duration(taken+1)*time.Second, strings.Repeat("41 ", 100))
		err = w.Append(rec, samplesOf(rec, 0.4))
	}
	taken--
	if !errors.Is(err, ErrDiskFull) {
		t.Fatal(err)
	}
	if again := w.Append(exchange(1e6, time.Hour, ""), nil); !errors.Is(again, ErrDiskFull) {
		t.Errorf("then: %v", again)
	}
	committed := readAll(t, s, w.ID())
	if len(committed) == 0 || int64(len(committed)) >= taken {
		t.Errorf("%d of %d records committed", len(committed), taken)
	}
	if _, err := s.w.Exec("pragma max_page_count = 1000000"); err != nil {
		t.Fatal(err)
	}
	if err := w.Finish(context.Background(), time.Hour, analysis.Verdict{}, nil); err != nil {
		t.Errorf("with room again: %v", err)
	}
	if n := int64(len(readAll(t, s, w.ID()))); n != taken {
		t.Errorf("%d of %d records in the end", n, taken)
	}
}

// Permissions bind everybody but root, so the test runs as somebody else.
func TestReadOnly(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("permissions of folders work differently")
	}
	dir, err := os.MkdirTemp("", "store")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	made := filepath.Join(dir, "made", "p.db")
	s, err := Open(context.Background(), made)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	for _, c := range []struct {
		name         string
		folder, file os.FileMode
		path         string
	}{
		{"no file in a read-only folder", 0o555, 0o666, filepath.Join(dir, "made", "new.db")},
		{"no folder in a read-only folder", 0o555, 0o666, filepath.Join(dir, "made", "sub", "new.db")},
		{"file in a read-only folder", 0o555, 0o666, made},
		{"read-only file", 0o777, 0o444, made},
		{"secret file", 0o777, 0o000, made},
	} {
		for p, m := range map[string]os.FileMode{made: c.file, filepath.Dir(made): c.folder, dir: 0o755} {
			if err := os.Chmod(p, m); err != nil {
				t.Fatal(err)
			}
		}
		out, err := openAsNobody(t, dir, c.path)
		if err != nil || strings.TrimSpace(out) != "true" {
			t.Errorf("%s: %s, %v", c.name, out, err)
		}
	}
	os.Chmod(filepath.Dir(made), 0o700)
}

// openAsNobody says what a process without root's rights gets from Open.
func openAsNobody(t *testing.T, dir, path string) (string, error) {
	if os.Getuid() != 0 {
		_, err := Open(context.Background(), path)
		if errors.Is(err, ErrReadOnly) {
			return "true", nil
		}
		return err.Error(), nil
	}
	program := filepath.Join(dir, "store.test") // where others may read it
	if _, err := os.Stat(program); err != nil {
		src, err := os.Open(os.Args[0])
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		dst, err := os.OpenFile(program, os.O_CREATE|os.O_WRONLY, 0o755)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(dst, src); err != nil {
			t.Fatal(err)
		}
		if err := dst.Close(); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(program)
	cmd.Dir = "/"
	cmd.Env = []string{"PUSHBACK_STORE_OPEN=" + path}
	asNobody(cmd)
	out, err := cmd.CombinedOutput()
	return string(out), err
}

func TestNewerSchema(t *testing.T) {
	path := newPath(t)
	s := openTest(t, path)
	create(t, s, meta).Close()
	s.Close()
	sqlOn(t, path, "pragma user_version = 99")
	if _, err := Open(context.Background(), path); !errors.Is(err, ErrNewerSchema) || !strings.Contains(err.Error(), "99") {
		t.Error(err)
	}
}

func TestDamaged(t *testing.T) {
	path := newPath(t)
	s, err := Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	w := create(t, s, meta)
	for i := range int64(2000) {
		if err := w.Append(exchange(i, time.Second, "41 14 5A 80"), nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 4096; i < len(b); i++ { // all but the first page
		b[i] = 0xA5
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err = Open(context.Background(), path)
	if err == nil {
		defer s.Close()
		_, err = s.List(context.Background(), Filter{})
	}
	if !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
}

func TestDefaultPath(t *testing.T) {
	home := func() (string, error) { return "/home/x", nil }
	for _, c := range []struct {
		goos string
		env  map[string]string
		want string
	}{
		{"linux", nil, "/home/x/.local/share"},
		{"linux", map[string]string{"XDG_DATA_HOME": "/data"}, "/data"},
		{"linux", map[string]string{"XDG_DATA_HOME": "data"}, "/home/x/.local/share"},
		{"darwin", map[string]string{"XDG_DATA_HOME": "/data"}, "/home/x/Library/Application Support"},
		{"windows", map[string]string{"LocalAppData": "/l"}, "/l"},
		{"windows", nil, "/home/x/AppData/Local"},
	} {
		got, err := dataFolder(c.goos, func(k string) string { return c.env[k] }, home)
		if err != nil || filepath.ToSlash(got) != c.want {
			t.Errorf("%s %v: %s, %v; want %s", c.goos, c.env, got, err, c.want)
		}
	}
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	if p, err := DefaultPath(); err != nil || !strings.HasSuffix(filepath.ToSlash(p), "/pushback/pushback.db") {
		t.Error(p, err)
	}
	broken := errors.New("no home")
	if _, err := dataFolder("linux", func(string) string { return "" }, func() (string, error) { return "", broken }); err != broken {
		t.Error(err)
	}
}

// Whatever bytes of a file are changed, reading ends, with an error or without.
func TestHostileFile(t *testing.T) {
	original, err := os.ReadFile(keptFile(len(migrations)))
	if err != nil {
		t.Fatal(err)
	}
	path := newPath(t)
	ctx := context.Background()
	read := func() error {
		s, err := Open(ctx, path)
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
		}
		return nil
	}
	failed := 0
	rapid.Check(t, func(t *rapid.T) {
		b := bytes.Clone(original)
		for range rapid.IntRange(1, 50).Draw(t, "changes") {
			// Pages are mostly empty at their middle: aim at their ends.
			page := rapid.IntRange(0, len(b)/4096-1).Draw(t, "page") * 4096
			at := rapid.OneOf(rapid.IntRange(0, 120), rapid.IntRange(3500, 4095)).Draw(t, "at")
			b[page+at] = rapid.Byte().Draw(t, "byte")
		}
		for _, suffix := range []string{"", "-wal", "-shm", "-journal"} {
			os.Remove(path + suffix)
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if read() != nil {
			failed++
		}
	})
	if failed == 0 {
		t.Error("no change was noticed: the test does not test")
	}
}
