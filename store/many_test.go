package store

import (
	"context"
	"flag"
	"os"
	"testing"
	"time"

	"pushback/decode"
)

var many = flag.Int("many", 0, "for TestManySessions: how many sessions, of 10,000 samples each; 10000 make 100 million and 3.8 GB")

// What a person waits for in a database of many sessions. It is a measurement: it sets
// no limit, and runs only when asked for.
//
//	go test ./store -run TestManySessions -many 10000 -v -timeout 2h
func TestManySessions(t *testing.T) {
	if *many == 0 {
		t.Skip("only with -many")
	}
	const samples = 10_000
	ctx := context.Background()
	path := newPath(t)
	s := openTest(t, path)
	began := time.Now()
	for id, g := range decode.Signals()[20:30] {
		if _, err := s.w.Exec(`insert into signal values (?, ?, ?, ?)`, id+1, g.Name, g.Unit, g.What); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.w.Exec(`insert or ignore into signal values (11, 'O2S11', 'V', ''), (12, 'SHRTFT1', '%', '')`); err != nil {
		t.Fatal(err)
	}
	for n := range *many {
		w := create(t, s, meta)
		// Rows as the writer makes them: a pair of values each 20 to 60 ms, the others seldom.
		if _, err := s.w.Exec(`with recursive c(i) as (select 0 union all select i + 1 from c where i + 1 < ?)
			insert into sample select ?, iif(i % 10 < 4, 11, iif(i % 10 < 8, 12, 1 + i / 10 % 10)), 3600000000 + 40000 * (i / 2), i, 3600000000 + 40000 * (i / 2) - 18000, 0.005 * (i % 200) from c`,
			samples, w.n); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if n == *many/2 {
			meta.Label = "the one in the middle"
		}
	}
	meta.Label = "before"
	built := time.Since(began)
	if _, err := s.w.Exec("pragma wal_checkpoint(truncate)"); err != nil {
		t.Fatal(err)
	}
	fi, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	rows := *many * samples
	t.Logf("%d sessions, %d samples in %v: %d MB, %.1f bytes a sample", *many, rows, built.Round(time.Second), fi.Size()>>20, float64(fi.Size())/float64(rows))
	var id string
	if err := s.r.QueryRow(`select id from session where n = ?`, *many/2+1).Scan(&id); err != nil {
		t.Fatal(err)
	}
	query := func(what, q string, args ...any) {
		s.Close() // a new connection has no page cache of its own
		if s, err = Open(ctx, path); err != nil {
			t.Fatal(err)
		}
		var times [3]time.Duration
		n := 0
		for i := range times {
			began := time.Now()
			r, err := s.r.Query(q, args...)
			if err != nil {
				t.Fatal(err)
			}
			for n = 0; r.Next(); n++ {
			}
			if err := r.Err(); err != nil {
				t.Fatal(err)
			}
			r.Close()
			times[i] = time.Since(began)
		}
		t.Logf("%-48s %7d rows  %v, again %v", what, n, times[0].Round(10*time.Microsecond), min(times[1], times[2]).Round(10*time.Microsecond))
	}
	defer func() { s.Close() }()
	query("one signal of one session", `select t_s, value from sample_long where session = ? and name = 'O2S11'`, id)
	query("all signals of one session, wide", `select * from sample_wide where session = ?`, id)
	query("summary of one session", `select * from session_summary where id = ?`, id)
	query("the newest 50 sessions", `select `+metaColumns+` from session order by n desc limit 50`)
	query("all sessions", `select `+metaColumns+` from session order by n desc`)
	query("sessions by label", `select `+metaColumns+` from session where label like '%middle%' order by n desc`)
	query("summary of all sessions", `select * from session_summary`)
	query("what one signal came to, all sessions", `select session, mean from signal_summary where name = 'O2S11'`)
	query("all values of one signal, all sessions", `select session, avg(value) from sample_long where name = 'O2S11' group by session`)
	query("all values of a signal that is read seldom", `select session, avg(value) from sample_long where name = ? group by session`, decode.Signals()[22].Name)
}
