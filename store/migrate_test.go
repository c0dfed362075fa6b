package store

import (
	"context"
	"errors"
	"flag"
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

// Every released schema has a file that a program of that time wrote.
const kept = "testdata/v1.db"

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
	if err := w.Finish(context.Background(), 3*time.Second, analysis.Verdict{Conclusion: analysis.UnclearResult}, keptEvents); err != nil {
		t.Fatal(err)
	}
}

// copyKept puts the kept file where the test may write.
func copyKept(t *testing.T) string {
	b, err := os.ReadFile(kept)
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

func TestKeptFile(t *testing.T) {
	s := openTest(t, copyKept(t))
	checkKept(t, s)
	create(t, s, meta).Close()
}

// The way from one schema to the next, with a made-up next: what was there stays; if
// a step fails the file is as before; the older program refuses the newer file.
func TestMigrate(t *testing.T) {
	old := migrations
	t.Cleanup(func() { migrations = old })
	path := copyKept(t)

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
