package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"go.uber.org/goleak"

	"pushback/analysis"
	"pushback/decode"
	"pushback/obd"
)

func TestMain(m *testing.M) {
	if path := os.Getenv("PUSHBACK_STORE_CHILD"); path != "" {
		if err := child(path); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if path := os.Getenv("PUSHBACK_STORE_OPEN"); path != "" {
		_, err := Open(context.Background(), path)
		if errors.Is(err, ErrReadOnly) {
			fmt.Println(true)
		} else {
			fmt.Println(err)
		}
		os.Exit(0)
	}
	flag.Set("rapid.checks", "40") // each check waits for the disk; more with the flag
	goleak.VerifyTestMain(m)
}

// openTest opens the database at path, and when the test ends closes it and has
// SQLite look for damage.
func openTest(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		s.Close()
		checkIntegrity(t, path)
	})
	return s
}

// failer is what testing.TB and rapid.T have in common.
type failer interface {
	Helper()
	Errorf(format string, args ...any)
}

func checkIntegrity(t failer, path string) {
	t.Helper()
	db := connect(path)
	defer db.Close()
	var verdict string
	if err := db.QueryRow("pragma integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
		t.Errorf("integrity_check: %q, %v", verdict, err)
	}
	rows, err := db.Query("pragma foreign_key_check")
	if err != nil {
		t.Errorf("foreign_key_check: %v", err)
		return
	}
	defer rows.Close()
	if rows.Next() {
		t.Errorf("foreign_key_check: a row points nowhere")
	}
}

func newPath(t testing.TB) string { return filepath.Join(t.TempDir(), "p.db") }

var (
	o2   = &decode.Signal{Name: "O2S11", Unit: "V", What: "oxygen sensor"}
	trim = &decode.Signal{Name: "SHRTFT1", Unit: "%"}
)

func exchange(seq int64, at time.Duration, raw string) obd.Record {
	return obd.Record{Seq: seq, Sent: at - 20*time.Millisecond, At: at, Exchange: &obd.Exchange{
		Request: obd.Request{Service: 1, Data: []byte{0x14}, Expect: 1}, Raw: []byte(raw),
	}}
}

func samplesOf(rec obd.Record, v float64) []decode.Sample {
	return []decode.Sample{
		{Signal: o2, Sent: rec.Sent, Received: rec.At, Value: v},
		{Signal: trim, Sent: rec.Sent, Received: rec.At, Missing: true},
	}
}

// readAll reads a session; the replies are left out, they are tested by themselves.
func readAll(t testing.TB, s *Store, ref string) []obd.Record {
	t.Helper()
	r, err := s.Records(context.Background(), ref)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var all []obd.Record
	for {
		rec, err := r.Next(context.Background())
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		if rec.Exchange != nil {
			rec.Exchange.Replies = nil
		}
		all = append(all, rec)
	}
}

var meta = Meta{
	Started: time.Date(2026, 3, 1, 9, 30, 0, 123456789, time.FixedZone("", 3600)),
	Format:  obd.Format{Bus: obd.CAN11at500, Headers: true, Padded: true},
	Adapter: "adapter 1.5", Sensors: []string{"B1S1", "B1S2"}, Watching: "B1S1", By: "wire",
	Origin: "live", Label: "before", Vehicle: "grey van", Note: "idles rough", VIN: "", Version: "0.1",
}

func create(t testing.TB, s *Store, m Meta) *Writer {
	t.Helper()
	w, err := s.Create(context.Background(), m)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

var everyRecord = []obd.Record{
	exchange(0, 1*time.Second, "41 14 5A 80 \r\r"),
	{Seq: 1, At: 1100001 * time.Microsecond, Mark: &obd.Mark{Kind: obd.MarkLean}},
	{Seq: 2, At: 1200 * time.Millisecond, Mark: &obd.Mark{Kind: obd.MarkNote, Text: "ölig\x00 'quoted'"}},
	{Seq: 3, At: 1300 * time.Millisecond, Row: &obd.Row{
		Names: []string{"O2S11", "RPM", "ECT"}, Values: []float64{0.1 + 0.2, 812.25, math.Copysign(5e-324, -1)}}},
	{Seq: 4, At: 1300 * time.Millisecond, Row: &obd.Row{}},
	{Seq: 7, Sent: 1900 * time.Millisecond, At: 2 * time.Second, Exchange: &obd.Exchange{
		Request: obd.Request{Service: 3}, Outcome: obd.LinkLost, Raw: []byte("\x00\xff> half")}},
}

func TestRoundTrip(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	s := openTest(t, path)
	w := create(t, s, meta)
	for _, rec := range everyRecord {
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Update(func(m *Meta) { m.VIN = "X"; m.ID = "no"; m.Finished = true }); err != nil {
		t.Fatal(err)
	}
	verdict := analysis.Verdict{Conclusion: analysis.LoopProven}
	events := []analysis.Event{{T: 1.5, Name: analysis.ForceBegins, Side: analysis.Lean}, {T: 2, Name: analysis.Ready}}
	if err := w.Finish(ctx, 2500*time.Millisecond, verdict, events); err != nil {
		t.Fatal(err)
	}
	if err := w.Append(everyRecord[5], nil); !errors.Is(err, ErrClosed) {
		t.Errorf("Append after Finish: %v", err)
	}

	for _, reopened := range []bool{false, true} {
		if reopened {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			s = openTest(t, path)
		}
		if diff := cmp.Diff(everyRecord, readAll(t, s, w.ID()), cmpopts.EquateEmpty()); diff != "" {
			t.Error(diff)
		}
		got, err := s.Find(ctx, w.ID())
		if err != nil {
			t.Fatal(err)
		}
		want := meta
		want.ID, want.Finished, want.Duration, want.Conclusion, want.VIN = w.ID(), true, 2500*time.Millisecond, "loop_proven", "X"
		if diff := cmp.Diff(want, got); diff != "" {
			t.Error(diff)
		}
		lines, err := s.Events(ctx, "last")
		if err != nil || len(lines) != 2 {
			t.Fatalf("%d events, %v", len(lines), err)
		}
		for i := range lines {
			if want, _ := json.Marshal(events[i]); string(lines[i]) != string(want) {
				t.Errorf("event %d is %s, want %s", i, lines[i], want)
			}
		}
		if got, err := s.Verdict(ctx, "last"); err != nil || string(got) != `{"kind":"verdict","conclusion":"loop_proven","proofs":[],"next":[]}` {
			t.Errorf("verdict %s, %v", got, err)
		}
	}
}

func TestAppendCopies(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	rec := exchange(0, time.Second, "41 14 5A 80")
	if err := w.Append(rec, nil); err != nil {
		t.Fatal(err)
	}
	copy(rec.Exchange.Raw, "xxxx")
	rec.Exchange.Request.Data[0] = 0x99
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]obd.Record{exchange(0, time.Second, "41 14 5A 80")}, readAll(t, s, w.ID())); diff != "" {
		t.Error(diff)
	}
}

func TestAppendRefuses(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	defer w.Close()
	if err := w.Append(exchange(3, time.Second, ""), nil); err != nil {
		t.Fatal(err)
	}
	for name, rec := range map[string]obd.Record{
		"same seq":    exchange(3, time.Second, ""),
		"nanoseconds": exchange(4, time.Second+1, ""),
		"nothing":     {Seq: 4},
		"two things":  {Seq: 4, Mark: &obd.Mark{}, Row: &obd.Row{}},
		"spaced name": {Seq: 4, Row: &obd.Row{Names: []string{"A B"}, Values: []float64{1}}},
		"ragged row":  {Seq: 4, Row: &obd.Row{Names: []string{"A"}}},
	} {
		if err := w.Append(rec, nil); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if err := w.Append(exchange(4, time.Second, ""), nil); err != nil {
		t.Errorf("a refused record must not spoil the session: %v", err)
	}
}

// A session without an end is unfinished, and lasts until its last record.
func TestUnfinished(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	if m, err := s.Find(ctx, "last"); err != nil || m.Finished || m.Duration != 0 {
		t.Errorf("empty: %+v, %v", m, err)
	}
	for i := range int64(3) {
		if err := w.Append(exchange(i, time.Duration(i+1)*time.Second, "x"), nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	m, err := s.Find(ctx, w.ID())
	if err != nil || m.Finished || m.Duration != 3*time.Second || m.Conclusion != "" {
		t.Errorf("%+v, %v", m, err)
	}
	if v, err := s.Verdict(ctx, w.ID()); v != nil || err != nil {
		t.Errorf("verdict %s, %v", v, err)
	}
	if err := w.Close(); !errors.Is(err, ErrClosed) {
		t.Errorf("second Close: %v", err)
	}
}

// What was appended becomes visible to another process without Close.
func TestCommitsByItself(t *testing.T) {
	path := newPath(t)
	s, other := openTest(t, path), openTest(t, path)
	w := create(t, s, meta)
	defer w.Close()
	done := make(chan int64, 100)
	w.mu.Lock()
	w.onCommit = func(seq int64) { done <- seq }
	w.mu.Unlock()
	if err := w.Append(exchange(0, time.Second, "x"), nil); err != nil {
		t.Fatal(err)
	}
	<-done
	if got := readAll(t, other, w.ID()); len(got) != 1 {
		t.Errorf("the other sees %d records", len(got))
	}
}

func TestFind(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, newPath(t))
	if _, err := s.Find(ctx, "last"); !errors.Is(err, ErrNoSession) {
		t.Errorf("last of none: %v", err)
	}
	for _, id := range []string{"bcd346", "bcd347", "ddd444"} {
		m := meta
		if _, err := s.insertSession(ctx, &m, func() string { return id }); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		ref, id string
		err     error
	}{
		{"last", "ddd444", nil}, {"d", "ddd444", nil}, {" DDD4 ", "ddd444", nil}, {"bcd347", "bcd347", nil},
		{"bcd34", "", ErrAmbiguous}, {"bcd348", "", ErrNoSession}, {"", "", ErrNoSession},
		{"bcd3467", "", ErrNoSession}, {"%", "", ErrNoSession}, {"ddd444\x00", "", ErrNoSession}, {"LAST", "ddd444", nil},
	} {
		m, err := s.Find(ctx, c.ref)
		if m.ID != c.id || !errors.Is(err, c.err) {
			t.Errorf("Find(%q) = %q, %v; want %q, %v", c.ref, m.ID, err, c.id, c.err)
		}
	}
	var amb *AmbiguousError
	if _, err := s.Find(ctx, "b"); !errors.As(err, &amb) || !cmp.Equal(amb.IDs, []string{"bcd347", "bcd346"}) {
		t.Errorf("%v: %+v", err, amb)
	}
}

func TestNewID(t *testing.T) {
	seen := map[rune]bool{}
	for range 2000 {
		id := newID()
		if len(id) != 6 {
			t.Fatal(id)
		}
		for _, r := range id {
			seen[r] = true
		}
	}
	if len(seen) != len(idAlphabet) {
		t.Errorf("%d of %d letters are used", len(seen), len(idAlphabet))
	}
	for _, r := range "aeiouyl01l5s2z" {
		if seen[r] {
			t.Errorf("%c in an id", r)
		}
	}
	// A taken id is not used twice.
	s := openTest(t, newPath(t))
	ids := []string{"bbbbbb", "bbbbbb", "cccccc"}
	for range 2 {
		m := meta
		if _, err := s.insertSession(context.Background(), &m, func() string { id := ids[0]; ids = ids[1:]; return id }); err != nil {
			t.Fatal(err)
		}
	}
	if m, _ := s.Find(context.Background(), "last"); m.ID != "cccccc" {
		t.Errorf("last is %q", m.ID)
	}
}

func TestListEditRemove(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, newPath(t))
	var ids []string
	for i, label := range []string{"Before 100%", "after", "x_y"} {
		m := meta
		m.Label, m.Started = label, meta.Started.AddDate(0, 0, i)
		if i == 2 {
			m.Origin = "import"
		}
		w := create(t, s, m)
		rec := exchange(0, time.Second, "x")
		if err := w.Append(rec, samplesOf(rec, 0.4)); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		ids = append(ids, w.ID())
	}
	for _, c := range []struct {
		f    Filter
		want []int
	}{
		{Filter{}, []int{2, 1, 0}}, {Filter{Limit: 2}, []int{2, 1}},
		{Filter{Text: "before"}, []int{0}}, {Filter{Text: "0%"}, []int{0}}, {Filter{Text: "_"}, []int{2}}, {Filter{Text: "van"}, []int{2, 1, 0}},
		{Filter{Origin: "import"}, []int{2}}, {Filter{Origin: "live", Text: "AFTER"}, []int{1}},
		{Filter{Since: meta.Started.AddDate(0, 0, 1).UTC().Truncate(time.Millisecond)}, []int{2, 1}},
		{Filter{Before: meta.Started.AddDate(0, 0, 1).Truncate(time.Millisecond)}, []int{0}}, {Filter{Conclusion: "unclear"}, nil},
	} {
		list, err := s.List(ctx, c.f)
		if err != nil {
			t.Fatal(err)
		}
		var got, want []string
		for _, m := range list {
			got = append(got, m.ID)
		}
		for _, i := range c.want {
			want = append(want, ids[i])
		}
		if !cmp.Equal(got, want) {
			t.Errorf("%+v: %v, want %v", c.f, got, want)
		}
	}

	if err := s.Edit(ctx, ids[1], func(m *Meta) { m.Label = "mended"; m.Duration = 1; m.ID = "zzz" }); err != nil {
		t.Fatal(err)
	}
	if m, err := s.Find(ctx, ids[1]); err != nil || m.Label != "mended" || m.Duration != time.Second {
		t.Errorf("%+v, %v", m, err)
	}
	if err := s.Remove(ctx, ids[1]); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Find(ctx, ids[1]); !errors.Is(err, ErrNoSession) {
		t.Errorf("after Remove: %v", err)
	}
	if err := s.Remove(ctx, ids[1]); !errors.Is(err, ErrNoSession) {
		t.Errorf("Remove twice: %v", err)
	}
	for table, want := range map[string]int{"session": 2, "record": 2, "sample": 4, "signal": 2} {
		var n int
		if err := s.r.QueryRow("select count(*) from " + table).Scan(&n); err != nil || n != want {
			t.Errorf("%s has %d rows, want %d, %v", table, n, want, err)
		}
	}
}

// A session removed by another process while it is written is an error of Append,
// and its number never becomes another session's.
func TestRemovedWhileWritten(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	s, other := openTest(t, path), openTest(t, path)
	w := create(t, s, meta)
	if err := other.Remove(ctx, w.ID()); err != nil {
		t.Fatal(err)
	}
	w2 := create(t, other, meta)
	if err := w.Append(exchange(0, 1, ""), nil); err == nil {
		t.Error("1 ns was taken")
	}
	if err := w.Append(exchange(0, time.Second, ""), nil); err != nil {
		t.Fatal(err)
	}
	if err := w.Finish(ctx, time.Second, analysis.Verdict{}, nil); !errors.Is(err, ErrNoSession) {
		t.Errorf("Finish: %v", err)
	}
	if err := w2.Close(); err != nil {
		t.Fatal(err)
	}
	if n := len(readAll(t, other, w2.ID())); n != 0 {
		t.Errorf("%d records of a removed session in the next", n)
	}
}

func TestReaderEnds(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	for i := range int64(10) {
		if err := w.Append(exchange(i, time.Second, ""), nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r, err := s.Records(ctx, "last")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Next(ctx); err != nil {
		t.Fatal(err)
	}
	cancel()
	if _, err := r.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("after cancel: %v", err)
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
	if _, err := r.Next(context.Background()); err == nil {
		t.Error("Next after Close gives a record")
	}
}

// The outcome that was recorded is kept; the replies come from the raw text.
func TestReplies(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	good := exchange(0, time.Second, "7E8 04 41 14 5A 80 00 00 00 \r\r")
	lost := exchange(1, 2*time.Second, "7E8 04 41 14 5A 80 00 00 00 \r\r")
	lost.Exchange.Outcome = obd.LinkLost
	cut := exchange(2, 3*time.Second, "7E8 04 41 14 5A 80 \r\r") // meta says that frames are padded
	for _, rec := range []obd.Record{good, lost, cut} {
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := s.Records(context.Background(), "last")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for i, want := range []struct {
		outcome obd.Outcome
		replies []obd.Reply
	}{
		{obd.OK, []obd.Reply{{From: 0x7E8, Data: []byte{0x41, 0x14, 0x5A, 0x80}}}},
		{obd.LinkLost, nil},
		{obd.OK, nil},
	} {
		rec, err := r.Next(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want.replies, rec.Exchange.Replies); diff != "" || rec.Exchange.Outcome != want.outcome {
			t.Errorf("record %d: outcome %v, replies %s", i, rec.Exchange.Outcome, diff)
		}
	}
}

// The views that a person may rely on.
func TestViews(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	rec := exchange(0, 1500*time.Millisecond, "x")
	for _, err := range []error{
		w.Append(rec, samplesOf(rec, 0.435)),
		w.Append(obd.Record{Seq: 1, At: 2 * time.Second, Mark: &obd.Mark{Kind: obd.MarkStop}}, nil),
		w.Close(),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	var state string
	var duration float64
	var records, marks, failed int
	if err := s.r.QueryRow(`select state, duration_s, records, marks, failed from session_summary where id = ?`, w.ID()).
		Scan(&state, &duration, &records, &marks, &failed); err != nil {
		t.Fatal(err)
	}
	if state != "unfinished" || duration != 2 || records != 2 || marks != 1 || failed != 0 {
		t.Error(state, duration, records, marks, failed)
	}
	var at, volts float64
	var trim sql.NullFloat64
	if err := s.r.QueryRow(`select t_s, O2S11, SHRTFT1 from sample_wide where session = ?`, w.ID()).Scan(&at, &volts, &trim); err != nil {
		t.Fatal(err)
	}
	if at != 1.5 || volts != 0.435 || trim.Valid {
		t.Error(at, volts, trim)
	}
}

// The first answer of a signal within one record counts, and a reply that says it
// twice is no error.
func TestSignalTwice(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	rec := exchange(0, time.Second, "x")
	if err := w.Append(rec, append(samplesOf(rec, 0.1), samplesOf(rec, 0.2)...)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	var v float64
	if err := s.r.QueryRow(`select value from sample where value is not null`).Scan(&v); err != nil || v != 0.1 {
		t.Error(v, err)
	}
}

// Of several imports of one recording at the same time one is kept.
func TestImportedAtOnce(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	m := meta
	m.Origin = "import"
	const imports = 6
	type outcome struct {
		id  string
		err error
	}
	all := make(chan outcome)
	for range imports {
		go func() {
			s, err := Open(ctx, path) // connections of its own, as another process has
			if err != nil {
				all <- outcome{"", err}
				return
			}
			w, err := s.Create(ctx, m)
			if err == nil {
				w.Once()
			}
			for i := int64(0); i < 500 && err == nil; i++ {
				err = w.Append(crashRecord(i), nil)
			}
			if err == nil {
				err = w.Finish(ctx, time.Second, analysis.Verdict{}, nil)
			}
			all <- outcome{w.ID(), err}
			s.Close()
		}()
	}
	kept := 0
	var twins []string
	for range imports {
		o := <-all
		var twin *DuplicateError
		switch {
		case o.err == nil:
			kept++
		case errors.As(o.err, &twin):
			twins = append(twins, twin.ID)
		default:
			t.Error(o.err)
		}
	}
	if kept != 1 || len(twins) != imports-1 {
		t.Errorf("%d are kept, %d are said to be the same", kept, len(twins))
	}
	s := openTest(t, path)
	for _, id := range twins {
		if mm, err := s.Find(ctx, id); err != nil || !mm.Finished {
			t.Errorf("%s: %+v, %v", id, mm, err)
		}
	}
}
