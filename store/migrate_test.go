package store

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"pushback/analysis"
	"pushback/obd"
)

var keep = flag.Bool("keep", false, "write testdata/vN.db for the newest schema; never over one that is there")

// keptFile is the file that a program of schema v's time wrote: every released one has one.
func keptFile(v int) string { return fmt.Sprintf("testdata/v%d.db", v) }

var (
	keptRecords = []obd.Record{
		exchange(0, 1*time.Second, "7E8 04 41 14 5A 80 \r\r"),
		{Seq: 1, At: 1500 * time.Millisecond, Mark: &obd.Mark{Kind: obd.MarkLean}},
		{Seq: 2, At: 2 * time.Second, Row: &obd.Row{Names: []string{"O2S11", "RPM"}, Values: []float64{0.02, 812.25}}},
	}
	keptEvents = []analysis.Event{{T: 1.5, Name: analysis.ForceBegins, Side: analysis.Lean}}
)

func TestKeepSchema(t *testing.T) {
	if !*keep {
		t.Skip("only with -keep")
	}
	kept := keptFile(len(migrations))
	if _, err := os.Stat(kept); err == nil {
		t.Fatal(kept + " is there")
	}
	path, err := filepath.Abs(kept)
	if err != nil {
		t.Fatal(err)
	}
	s := openTest(t, path)
	w := create(t, s, meta)
	for _, rec := range keptRecords {
		if rec.Exchange != nil {
			if err := w.Append(rec, samplesOf(rec, 0.45)); err != nil {
				t.Fatal(err)
			}
		} else if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Finish(context.Background(), 3*time.Second, analysis.Verdict{Conclusion: analysis.ConclusionUnclear}, keptEvents); err != nil {
		t.Fatal(err)
	}
}

// copyKept puts the kept file where the test may write.
func copyKept(t *testing.T, v int) string {
	b, err := os.ReadFile(keptFile(v))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "old.db")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func checkKept(t *testing.T, s *Store) {
	t.Helper()
	ctx := context.Background()
	if diff := cmp.Diff(keptRecords, readAll(t, s, "last"), cmpopts.EquateEmpty()); diff != "" {
		t.Error(diff)
	}
	m, err := s.Find(ctx, "last")
	want := meta
	want.ID, want.Finished, want.Duration, want.Conclusion = m.ID, true, 3*time.Second, "unclear"
	if diff := cmp.Diff(want, m); err != nil || diff != "" {
		t.Error(err, diff)
	}
	if e, err := s.Events(ctx, "last"); err != nil || len(e) != 1 || string(e[0]) != `{"kind":"event","t":1.5,"event":"force_begins","side":"lean"}` {
		t.Errorf("%s, %v", e, err)
	}
	var n int
	if err := s.r.QueryRow("select count(*) from sample_wide where O2S11 = 0.45").Scan(&n); err != nil || n != 1 {
		t.Errorf("sample_wide: %d rows, %v", n, err)
	}
}

// The file of each schema ever released opens, holds what it held, and goes on; and it is
// read as a stranger's, which changes nothing in it.
func TestKeptFile(t *testing.T) {
	for v := 1; v <= len(migrations); v++ {
		path := copyKept(t, v)
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		foreign, err := OpenForeign(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		checkKept(t, foreign)
		if err := foreign.Close(); err != nil {
			t.Error(err)
		}
		if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
			t.Errorf("schema %d: it was changed by reading: %v", v, err)
		}
		s := openTest(t, path)
		checkKept(t, s)
		checkTally(t, s, "last", "O2S11|1|0|0.45|0.45|0.45|V SHRTFT1|0|1||||%")
		var records, marks, failed int
		if err := s.r.QueryRow("select records, marks, failed from session").Scan(&records, &marks, &failed); err != nil || records != 3 || marks != 1 || failed != 0 {
			t.Errorf("schema %d: %d records, %d marks, %d failed, %v", v, records, marks, failed, err)
		}
		create(t, s, meta).Close()
	}
}

// checkTally compares what the signals of a session came to.
func checkTally(t *testing.T, s *Store, ref, want string) {
	t.Helper()
	m, err := s.Find(t.Context(), ref)
	if err != nil {
		t.Fatal(err)
	}
	var got string
	if err := s.r.QueryRow(`select group_concat(concat(name, '|', readings, '|', missing, '|', low, '|', mean, '|', high, '|', unit), ' ' order by name)
		from signal_summary where session = ?`, m.ID).Scan(&got); err != nil || got != want {
		t.Errorf("signal_summary: %s, %v; want %s", got, err, want)
	}
}

// Of a session that is being written, or whose program died, the view finds the same as
// of one that was closed; a removed one leaves nothing.
func TestTally(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	for i, v := range []float64{0.25, 0.75, 0.5} {
		rec := exchange(int64(i), time.Duration(i+1)*time.Second, "7E8 04 41 14 5A 80 \r\r")
		if err := w.Append(rec, samplesOf(rec, v)); err != nil {
			t.Fatal(err)
		}
	}
	const want = "O2S11|3|0|0.25|0.5|0.75|V SHRTFT1|0|3||||%"
	if err := w.flush(); err != nil {
		t.Fatal(err)
	}
	checkTally(t, s, "last", want)
	var n int
	tally := func() int {
		if err := s.r.QueryRow("select count(*) from tally").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	if tally() != 0 {
		t.Error("counted before the end")
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	checkTally(t, s, "last", want)
	if tally() != 2 {
		t.Errorf("%d rows", n)
	}
	if err := s.Remove(t.Context(), "last"); err != nil || tally() != 0 {
		t.Errorf("%d rows left, %v", n, err)
	}
}

// The way from one schema to the next, with a made-up next: what was there stays; if
// a step fails the file is as before; the older program refuses the newer file.
func TestMigrate(t *testing.T) {
	old := migrations
	t.Cleanup(func() { migrations = old })
	path := copyKept(t, len(migrations))

	migrations = append(old[:len(old):len(old)], "alter table session add column mileage_km integer", "create table broken (")
	if _, err := Open(context.Background(), path); err == nil {
		t.Fatal("a broken step went through")
	}
	migrations = old
	s := openTest(t, path)
	checkKept(t, s)
	if _, err := s.r.Exec("select mileage_km from session"); err == nil {
		t.Error("the first step of a failed migration stayed")
	}
	s.Close()

	migrations = append(old[:len(old):len(old)], "alter table session add column mileage_km integer")
	s = openTest(t, path)
	checkKept(t, s)
	if _, err := s.r.Exec("select mileage_km from session"); err != nil {
		t.Error(err)
	}
	s.Close()

	migrations = old
	if _, err := Open(context.Background(), path); !errors.Is(err, ErrNewerSchema) {
		t.Error(err)
	}
}
