package store

import (
	"bufio"
	"context"
	"errors"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"testing"
	"time"
)

// replacements are what may happen to a database while a program has it open. The other
// file is an older copy of it.
var replacements = map[string]func(path, other string) error{
	"renamed over": func(path, other string) error { return os.Rename(other, path) },
	"copied over":  copyOver,
	"deleted":      func(path, _ string) error { return os.Remove(path) },
	"deleted, then restored": func(path, other string) error {
		return errors.Join(os.Remove(path), os.Rename(other, path))
	},
	"deleted with what stands beside it": func(path, _ string) error {
		return errors.Join(os.Remove(path), os.Remove(path+"-wal"), os.Remove(path+"-shm"), os.Remove(path+held), os.Remove(path+held+"-wal"))
	},
}

// copyOver does as cp does: the same file, emptied and written again.
func copyOver(path, other string) error {
	b, err := os.ReadFile(other)
	if err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o600)
}

// recorder is a process that records into a database; see child.
type recorder struct {
	cmd  *exec.Cmd
	stop string
	said *bufio.Scanner
}

// record starts one, and waits until it has committed some.
func record(t *testing.T, path string) *recorder {
	r := &recorder{cmd: exec.Command(os.Args[0]), stop: filepath.Join(t.TempDir(), "stop")}
	r.cmd.Env = append(os.Environ(), "PUSHBACK_STORE_CHILD="+path, "PUSHBACK_STORE_PACE=1ms", "PUSHBACK_STORE_STOP="+r.stop)
	r.cmd.Stderr = os.Stderr
	out, err := r.cmd.StdoutPipe()
	if err == nil {
		err = r.cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.cmd.Process.Kill(); r.cmd.Wait() })
	r.said = bufio.NewScanner(out)
	r.committed(t, 3)
	return r
}

// committed reads on what it says of so many commits.
func (r *recorder) committed(t *testing.T, commits int) (last int64) {
	t.Helper()
	for range commits {
		var err error
		if !r.said.Scan() {
			t.Fatal("the recorder has ended")
		} else if last, err = strconv.ParseInt(r.said.Text(), 10, 64); err != nil {
			t.Fatal(r.said.Text())
		}
	}
	return last
}

// end tells it to end, and returns the last line that it says.
func (r *recorder) end(t *testing.T) (last string) {
	t.Helper()
	if err := os.WriteFile(r.stop, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for r.said.Scan() {
		last = r.said.Text()
	}
	if err := r.cmd.Wait(); err != nil {
		t.Fatalf("%v: %s", err, last)
	}
	return last
}

// older makes a database with a session, and a copy of it.
func older(t *testing.T) (path, other string) {
	path = newPath(t)
	other = path + ".copy"
	s, err := Open(context.Background(), path)
	if err == nil {
		err = errors.Join(create(t, s, meta).Close(), s.Close())
	}
	if err == nil {
		err = copyOver(other, path)
	}
	if err != nil {
		t.Fatal(err)
	}
	return path, other
}

// A database is replaced or deleted while a process records into it, and a second process
// writes into what stands there then. Each file keeps its own: the second finds what the new
// one holds and no more, the recording is whole in the rescued one.
func TestReplaced(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("an open file cannot be removed")
	}
	ctx := context.Background()
	for name, replace := range replacements {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path, other := older(t)
			rec := record(t, path)
			if err := replace(path, other); err != nil {
				t.Fatal(err)
			}
			_, err := os.Stat(path)
			there := err == nil
			s := openTest(t, path)
			list, err := s.List(ctx, Filter{})
			if err != nil || there != (len(list) == 1) || !there != (len(list) == 0) {
				t.Errorf("%d sessions in the new file, %v", len(list), err)
			}
			second := create(t, s, meta)
			if err := second.Append(crashRecord(0), nil); err != nil {
				t.Error(err)
			}
			rescued := rec.end(t)
			if err := second.Close(); err != nil {
				t.Error(err)
			}
			if after, err := s.List(ctx, Filter{}); err != nil || len(after) != len(list)+1 {
				t.Errorf("%d sessions in the new file at last, %v", len(after), err)
			}
			if n := len(readAll(t, s, second.ID())); n != 1 {
				t.Errorf("%d records of the second process", n)
			}

			again := openTest(t, rescued)
			m, err := again.Find(ctx, "last")
			if err != nil || !m.Finished || m.ID == second.ID() {
				t.Fatalf("%+v, %v", m, err)
			}
			all := readAll(t, again, m.ID)
			for i, r := range all {
				if r.Seq != int64(i) {
					t.Fatalf("record %d follows %d", r.Seq, i-1)
				}
			}
			if len(all) < 300 {
				t.Errorf("%d records", len(all))
			}
			if fi, err := os.Stat(rescued); err != nil || fi.Mode().Perm() != 0o600 {
				t.Errorf("%v, %v", fi, err)
			}
		})
	}
}

// What is copied over may have a session under the number of the one that is being recorded.
func TestCopiedOverByOneWithAsMany(t *testing.T) {
	if testing.Short() {
		t.Skip("waits in real time")
	}
	path, other := older(t)
	s := openTest(t, other)
	second := create(t, s, meta)
	if err := errors.Join(second.Append(crashRecord(0), nil), second.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
	rec := record(t, path)
	if err := copyOver(path, other); err != nil {
		t.Fatal(err)
	}
	rescued := rec.end(t)
	s = openTest(t, path)
	if list, err := s.List(t.Context(), Filter{}); err != nil || len(list) != 2 || len(readAll(t, s, second.ID())) != 1 {
		t.Errorf("%d sessions, %v", len(list), err)
	}
	again := openTest(t, rescued)
	m, err := again.Find(t.Context(), "last")
	if err != nil || !m.Finished || m.ID == second.ID() || len(readAll(t, again, m.ID)) < 3 {
		t.Errorf("%+v, %v", m, err)
	}
}

// As TestReplaced, but the process that records is killed too, before or after it noticed:
// the next that opens the file finds the recording beside it.
func TestReplacedAndKilled(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("an open file cannot be removed")
	}
	if testing.Short() {
		t.Skip("waits in real time")
	}
	ctx := context.Background()
	for name, replace := range replacements {
		if name == "deleted with what stands beside it" {
			continue // nobody can find what nobody holds
		}
		for _, notice := range []bool{false, true} {
			t.Run(name+map[bool]string{true: ", noticed"}[notice], func(t *testing.T) {
				t.Parallel()
				path, other := older(t)
				rec := record(t, path)
				committed := rec.committed(t, 1)
				if err := replace(path, other); err != nil {
					t.Fatal(err)
				}
				if notice {
					time.Sleep(2 * settle) // nothing is judged by whether it has
				}
				rec.cmd.Process.Kill()
				rec.cmd.Wait()
				_, err := os.Stat(path)
				want := 0
				if err == nil {
					want = 1
				}
				s := openTest(t, path)
				if list, err := s.List(ctx, Filter{}); err != nil || len(list) != want {
					t.Errorf("%d sessions in the new file, %v", len(list), err)
				}
				rescued := s.Rescued()
				if notice {
					names, _ := filepath.Glob(path + ".rescued-*")
					rescued = slices.DeleteFunc(names, func(n string) bool { return filepath.Ext(n) == "" })
				}
				if len(rescued) == 0 {
					t.Fatal("nothing is rescued")
				}
				again := openTest(t, rescued[0])
				m, err := again.Find(ctx, "last")
				if err != nil {
					t.Fatal(err)
				}
				// A record a millisecond; a kill may cost a quarter of a second.
				if n := int64(len(readAll(t, again, m.ID))); n <= committed-250 {
					t.Errorf("%d records, committed were %d", n, committed+1)
				}
			})
		}
	}
}

// A symbolic link that is turned to another database does no harm to either.
func TestLinkTurned(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("links need a privilege")
	}
	ctx := context.Background()
	real, other := newPath(t), newPath(t)
	link := filepath.Join(t.TempDir(), "link.db")
	for _, path := range []string{real, other} {
		openTest(t, path)
	}
	if err := os.Symlink(real, link); err != nil {
		t.Fatal(err)
	}
	rec := record(t, link)
	if err := errors.Join(os.Remove(link), os.Symlink(other, link)); err != nil {
		t.Fatal(err)
	}
	if rescued := rec.end(t); rescued != real {
		t.Errorf("rescued in %s", rescued)
	}
	for path, want := range map[string]int{real: 1, link: 0} {
		if list, err := openTest(t, path).List(ctx, Filter{}); err != nil || len(list) != want {
			t.Errorf("%s: %d sessions, %v", path, len(list), err)
		}
	}
}

// Nothing is left beside a database that nobody has open.
func TestNothingLeft(t *testing.T) {
	path, other := older(t)
	rec := record(t, path)
	if left, _ := filepath.Glob(path + recording + "*"); len(left) == 0 {
		t.Error("no side file while a session is recorded")
	}
	if said := rec.end(t); said == "" {
		t.Error("the recorder has said nothing")
	}
	os.Remove(other)
	if left, _ := filepath.Glob(path + "?*"); len(left) > 0 {
		t.Error(left)
	}
}

// What a program had in its side file when it was killed, since another held the database, goes
// into the database when that is next opened.
func TestSideTakenIn(t *testing.T) {
	if testing.Short() {
		t.Skip("waits in real time")
	}
	t.Setenv("PUSHBACK_STORE_BUSY", "20ms")
	path, _ := older(t)
	rec := record(t, path)
	letGo := lock(t, path)
	side := slices.Collect(maps.Values(sides(path)))
	if len(side) != 1 {
		t.Fatal(side)
	}
	var n int64
	for deadline := time.Now().Add(time.Minute); n < 1500 && time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		db := connect(side[0], "mode=rw", "_query_only=on")
		if err := db.QueryRow("select count(*) from record").Scan(&n); err != nil {
			t.Error(err)
		}
		db.Close()
	}
	rec.cmd.Process.Kill()
	rec.cmd.Wait()
	letGo()
	s := openTest(t, path)
	m, err := s.Find(context.Background(), "last")
	if err != nil {
		t.Fatal(err)
	}
	all := readAll(t, s, m.ID)
	if int64(len(all)) < n || n < 1500 {
		t.Errorf("%d records, the side file had %d", len(all), n)
	}
	for i, r := range all {
		if r.Seq != int64(i) {
			t.Fatalf("record %d follows %d", r.Seq, i-1)
		}
	}
	if left, _ := filepath.Glob(path + recording + "*"); len(left) > 0 {
		t.Error(left)
	}
}
