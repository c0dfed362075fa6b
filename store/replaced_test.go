package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"pushback/analysis"
)

// Whatever the moment of an Append, its record is committed at most 250 ms later.
// The clock is the test's, so the time that the disk takes is not in it: that is what
// lies between commitEvery and the promise.
func TestCommittedInTime(t *testing.T) {
	path := newPath(t)
	synctest.Test(t, func(t *testing.T) {
		s, err := Open(context.Background(), path)
		if err != nil {
			t.Fatal(err)
		}
		w := create(t, s, meta)
		appended := make(map[int64]time.Time)
		committed := int64(-1)
		worst := time.Duration(0)
		w.mu.Lock()
		w.onCommit = func(seq int64) {
			w.mu.Lock()
			defer w.mu.Unlock()
			for ; committed < seq; committed++ {
				worst = max(worst, time.Since(appended[committed+1]))
			}
		}
		w.mu.Unlock()
		for i := range int64(500) {
			time.Sleep(time.Duration(i%37) * time.Millisecond)
			w.mu.Lock()
			appended[i] = time.Now()
			w.mu.Unlock()
			if err := w.Append(exchange(i, time.Duration(i+21)*time.Millisecond, ""), nil); err != nil {
				t.Fatal(err)
			}
		}
		time.Sleep(250 * time.Millisecond)
		synctest.Wait()
		w.mu.Lock()
		if committed != 499 || worst > 250*time.Millisecond || worst < 100*time.Millisecond {
			t.Errorf("record %d of 499 is committed, the latest after %v", committed, worst)
		}
		w.mu.Unlock()
		if err := errors.Join(w.Close(), s.Close()); err != nil {
			t.Error(err)
		}
	})
	checkIntegrity(t, path)
}

// lock holds the write lock of a database, as another program may, until it is let go.
func lock(t *testing.T, path string) (letGo func()) {
	t.Helper()
	other := connect(path, "mode=rw")
	conn, err := other.Conn(context.Background())
	if err == nil {
		_, err = conn.ExecContext(context.Background(), "pragma busy_timeout = 5000; begin immediate")
	}
	if err != nil {
		t.Fatal(err)
	}
	return sync.OnceFunc(func() {
		if _, err := conn.ExecContext(context.Background(), "rollback"); err != nil {
			t.Error(err)
		}
		conn.Close()
		other.Close()
	})
}

// A lock that another program holds in the middle of an import is an error of Append; what
// Append took is written when the lock is gone.
func TestLockedWhileImporting(t *testing.T) {
	impatient(t)
	path := newPath(t)
	s := openTest(t, path)
	imported := meta
	imported.Origin = "import"
	w := create(t, s, imported)
	letGo := lock(t, path)
	taken := int64(0)
	var err error
	for err == nil {
		rec := exchange(taken, time.Duration(taken+21)*time.Millisecond, "")
		if err = w.Append(rec, nil); err == nil {
			taken++
		}
	}
	if !errors.Is(err, ErrLocked) {
		t.Error(err)
	}
	letGo()
	if err := w.Close(); err != nil {
		t.Error(err)
	}
	if n := int64(len(readAll(t, s, w.ID()))); n != taken {
		t.Errorf("%d of %d records", n, taken)
	}
}

// A recording goes on whatever another program holds, and is whole: in the database as soon
// as the lock is gone, or when that is next opened.
func TestLockedWhileRecording(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for a lock")
	}
	for name, c := range map[string]struct{ before, during, after int }{
		"let go in time":   {3000, 20_000, 3000},
		"from the first":   {0, 3000, 100},
		"until the end":    {3000, 3000, 0},
		"until after that": {0, 3000, 0},
	} {
		t.Run(name, func(t *testing.T) {
			impatient(t)
			path := newPath(t)
			s, err := Open(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			w := create(t, s, meta)
			n := int64(0)
			add := func(more int) {
				for range more {
					rec := crashRecord(n)
					if err := w.Append(rec, samplesOf(rec, float64(n))); err != nil {
						t.Fatal(err)
					}
					n++
				}
			}
			add(c.before)
			letGo := lock(t, path)
			add(c.during)
			if c.after > 0 {
				letGo()
			}
			add(c.after)
			err = w.Finish(context.Background(), time.Hour, analysis.Verdict{Conclusion: analysis.LoopProven}, []analysis.Event{{T: 1, Name: analysis.ForceBegins}})
			if c.after > 0 && err != nil || c.after == 0 && !errors.Is(err, ErrLocked) {
				t.Error(err)
			}
			letGo()
			if err := s.Close(); err != nil {
				t.Error(err)
			}
			again := openTest(t, path)
			checkCommitted(t, again, name, n-1)
			m, err := again.Find(context.Background(), "last")
			if err != nil || !m.Finished || m.Conclusion != string(analysis.LoopProven) || m.Duration != time.Hour {
				t.Errorf("%+v, %v", m, err)
			}
			if j, err := again.Judgement(context.Background(), "last"); err != nil || len(j.Events) != 1 || j.Verdict == nil {
				t.Errorf("%+v, %v", j, err)
			}
			var samples, tallied, noted int64
			if err := again.r.QueryRow(`select (select count(*) from sample), (select sum(readings + missing) from tally), (select records from session)`).
				Scan(&samples, &tallied, &noted); err != nil || samples != 2*n || tallied != 2*n || noted != n {
				t.Errorf("%d samples, %d in the tally, %d records noted, of %d: %v", samples, tallied, noted, n, err)
			}
			c := NewContent()
			for i := range n {
				if err := c.Add(crashRecord(i)); err != nil {
					t.Fatal(err)
				}
			}
			if id, err := again.Same(context.Background(), c.Sum(), meta.Watching, meta.By); id != m.ID {
				t.Errorf("the content is another: %v", err)
			}
			if left, _ := filepath.Glob(path + recording + "*"); len(left) > 0 {
				t.Error(left)
			}
		})
	}
}

// Two programs record into one file at once: each session is whole.
func TestTwoRecorders(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for a lock")
	}
	path := newPath(t)
	const n = 20_000
	done := make(chan error)
	for range 2 {
		go func() {
			s, err := Open(context.Background(), path) // connections of its own, as another process has
			if err != nil {
				done <- err
				return
			}
			w, err := s.Create(context.Background(), meta)
			for i := int64(0); i < n && err == nil; i++ {
				rec := crashRecord(i)
				err = w.Append(rec, samplesOf(rec, float64(i)))
			}
			if w != nil {
				err = errors.Join(err, w.Close())
			}
			done <- errors.Join(err, s.Close())
		}()
	}
	for range 2 {
		if err := <-done; err != nil {
			t.Fatal(err)
		}
	}
	s := openTest(t, path)
	list, err := s.List(context.Background(), Filter{})
	if err != nil || len(list) != 2 {
		t.Fatalf("%d sessions, %v", len(list), err)
	}
	for _, m := range list {
		for i, rec := range readAll(t, s, m.ID) {
			if rec.Seq != int64(i) || i >= n || string(rec.Exchange.Raw) != string(crashRecord(int64(i)).Exchange.Raw) {
				t.Fatalf("%s: record %d is %+v", m.ID, i, rec)
			}
		}
	}
}

// A session whose program died is judged later, and a session that was judged is
// judged again; the newest judgement counts.
func TestJudgeLater(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	if err := w.Append(crashRecord(0), nil); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []analysis.Conclusion{analysis.ConclusionUnclear, analysis.LoopProven} {
		events := []analysis.Event{{T: 1, Name: analysis.ForceBegins, Side: analysis.Lean}}
		if err := s.Judge(ctx, w.ID(), 3*time.Second, analysis.Verdict{Conclusion: c}, events); err != nil {
			t.Fatal(err)
		}
		m, err := s.Find(ctx, w.ID())
		if err != nil || !m.Finished || m.Conclusion != string(c) || m.Duration != 3*time.Second {
			t.Errorf("%+v, %v", m, err)
		}
		if j, err := s.Judgement(ctx, w.ID()); err != nil || len(j.Events) != 1 || j.Verdict == nil || j.Conclusion != string(c) {
			t.Errorf("%+v, %v", j, err)
		}
	}
}

// What nobody could tell of a database as it was opened, since another program was bringing its -wal into it, it need not have later on.
func TestOpenedWhileAnotherWrites(t *testing.T) {
	path := newPath(t)
	s := openTest(t, path)
	w := create(t, s, meta)
	for i := range int64(10) { // they stand in the -wal
		if err := w.Append(exchange(i, time.Duration(i+1)*time.Second, "41 14 5A 80 \r\r"), nil); err != nil {
			t.Fatal(err)
		}
	}
	other, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	other.known = landmark{}
	later := time.Now().Add(time.Minute)
	if err := os.Chtimes(path, later, later); err != nil {
		t.Fatal(err)
	}
	if got := other.check(); got != stays {
		t.Errorf("taken for another's: %v", got)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if got := len(readAll(t, s, w.ID())); got != 10 {
		t.Errorf("%d of 10 records are left", got)
	}
}
