package store

import (
	"context"
	"errors"
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

// A lock that another program holds in the middle of a session is an error of
// Append; what Append took is written when the lock is gone.
func TestLockedWhileWriting(t *testing.T) {
	impatient(t)
	path := newPath(t)
	s := openTest(t, path)
	w := create(t, s, meta)
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
	taken := int64(0)
	for err == nil {
		rec := exchange(taken, time.Duration(taken+21)*time.Millisecond, "")
		if err = w.Append(rec, nil); err == nil {
			taken++
		}
	}
	if !errors.Is(err, ErrLocked) {
		t.Error(err)
	}
	if _, err := conn.ExecContext(context.Background(), "rollback"); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Error(err)
	}
	if n := int64(len(readAll(t, s, w.ID()))); n != taken {
		t.Errorf("%d of %d records", n, taken)
	}
}

// Two programs record into one file at once: each session is whole.
func TestTwoRecorders(t *testing.T) {
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
	for _, c := range []analysis.Conclusion{analysis.UnclearResult, analysis.LoopProven} {
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
