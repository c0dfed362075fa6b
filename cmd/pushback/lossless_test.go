package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/views"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
	"pushback/store/transfer"
	"pushback/store/widecsv"
)

// exchangesWhole sees to it that the newest session of a database loses nothing on its way
// through any format that says so, and nothing of what the wide table holds through that.
func exchangesWhole(t *testing.T, path string) {
	t.Helper()
	ctx := context.Background()
	db, err := store.Open(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	m, err := db.Find(ctx, "last")
	if err != nil {
		t.Fatal(err)
	}
	s, err := intake.Outgoing(ctx, db, m, views.NewProgress(io.Discard, "", m.Duration))
	if err != nil {
		t.Fatal(err)
	}
	var lines []transfer.Line // once decoded, the same for every format
	putOff := false
	for l, err := range s.Lines {
		if err != nil {
			t.Fatal(err)
		}
		putOff = putOff || l.Record.Exchange != nil && l.Record.Exchange.Pending()
		l.Samples = slices.Clone(l.Samples)
		lines = append(lines, l)
	}
	s.Lines = linesOf(lines)
	losesNothing(t, s)
	events, verdict := tableKeeps(t, s)
	if got := string(verdict.Conclusion); got != m.Conclusion {
		t.Errorf("csv: concludes %s, was %s", got, m.Conclusion)
	}
	if putOff { // by seconds: the table has no place for when a value was asked for
		return
	}
	var was, is strings.Builder
	for _, line := range s.Judgement.Events {
		if e := eventOf(t, line); e.Event != string(analysis.CodeSet) { // codes are not in the table
			fmt.Fprintln(&was, e.Event, e.Side, e.Toward)
		}
	}
	for _, e := range events {
		fmt.Fprintln(&is, e.Name, e.Side, e.Toward)
	}
	if was.String() != is.String() {
		t.Errorf("csv: other events%s", firstDifference(was.String(), is.String()))
	}
}

func eventOf(t *testing.T, line []byte) (e struct{ Event, Side, Toward string }) {
	t.Helper()
	if err := json.Unmarshal(line, &e); err != nil {
		t.Fatal(err)
	}
	return e
}

func linesOf(lines []transfer.Line) func(func(transfer.Line, error) bool) {
	return func(yield func(transfer.Line, error) bool) {
		for _, l := range lines {
			if !yield(l, nil) {
				return
			}
		}
	}
}

func oneSession(s transfer.Session) func(func(transfer.Session, error) bool) {
	return func(yield func(transfer.Session, error) bool) { yield(s, nil) }
}

// losesNothing writes and reads a session in each format but the wide table, and compares
// what comes back field by field: the description, times, brackets, replies, raw text,
// marks, notes.
func losesNothing(t *testing.T, s transfer.Session) {
	t.Helper()
	want := s.Meta
	want.Started = want.Started.Round(0).UTC()
	var records []obd.Record
	for l := range s.Lines {
		records = append(records, l.Record)
	}
	for _, f := range intake.Formats {
		if f.Name == "csv" || f.Name == "capture" && slices.ContainsFunc(records, func(r obd.Record) bool { return r.Row != nil }) {
			continue // a table had no dialogue
		}
		var text bytes.Buffer
		if err := f.Write(t.Context(), &text, oneSession(s)); err != nil {
			t.Errorf("%s: %v", f.Name, err)
			continue
		}
		file := filepath.Join(t.TempDir(), "x")
		if err := os.WriteFile(file, text.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		if !f.Is(text.Bytes()[:min(4096, text.Len())]) {
			t.Errorf("%s: not recognised", f.Name)
		}
		r, err := f.Open(t.Context(), file)
		if err != nil {
			t.Errorf("%s: %v", f.Name, err)
			continue
		}
		got, again, err := readSession(t, r)
		if err := errors.Join(err, r.Close()); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
		got.Started = got.Started.UTC()
		want := want
		if f.Name == "sqlite" { // the pair is kept where both sessions are in the file
			want.Before, want.After = "", ""
		}
		if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s: the description: %s", f.Name, diff)
		}
		if len(again) != len(records) {
			t.Errorf("%s: %d records, were %d", f.Name, len(again), len(records))
		}
		for i := range min(len(again), len(records)) {
			if reflect.DeepEqual(records[i], again[i]) { // fast; a nil slice is as good as an empty one
				continue
			}
			if diff := cmp.Diff(records[i], again[i], cmpopts.EquateEmpty()); diff != "" {
				t.Errorf("%s: record %d: %s", f.Name, i, diff)
				break
			}
		}
	}
}

func readSession(t *testing.T, r transfer.Reader) (m store.Meta, records []obd.Record, err error) {
	if m, err = r.Session(t.Context()); err != nil {
		return m, nil, err
	}
	for {
		rec, err := r.Next(t.Context())
		if err == io.EOF {
			return m, records, nil
		}
		if err != nil {
			return m, records, err
		}
		records = append(records, rec)
	}
}

// tableKeeps writes a session as a wide table, reads and judges that, and writes it again:
// the two tables are equal byte for byte. It returns the judgement.
func tableKeeps(t *testing.T, s transfer.Session) ([]analysis.Event, analysis.Verdict) {
	t.Helper()
	var first, second bytes.Buffer
	if err := widecsv.Write(&first, s.Lines); err != nil {
		t.Fatal(err)
	}
	r, err := widecsv.NewReader(bytes.NewReader(first.Bytes()))
	if err != nil {
		t.Fatalf("%v\n%.300s", err, first.String())
	}
	setup, err := session.NewSetup(s.Meta.Watching, s.Meta.By, obd.Format{})
	if err != nil {
		t.Fatal(err)
	}
	judge := session.NewJudge(setup)
	var lines lineSink
	res, err := session.Run(t.Context(), r, judge, &lines)
	if err != nil {
		t.Fatal(err)
	}
	if err := widecsv.Write(&second, linesOf(lines)); err != nil {
		t.Fatal(err)
	}
	if first.String() != second.String() {
		t.Errorf("csv: the table changes on its way%s", firstDifference(first.String(), second.String()))
	}
	return res.Events, res.Verdict
}

type lineSink []transfer.Line

func (l *lineSink) Write(f session.Frame) error {
	if !f.Last {
		*l = append(*l, transfer.Line{Record: f.Record, Samples: slices.Clone(f.Samples)})
	}
	return nil
}

// Whatever a session may hold goes through each format and back: random ones.
func TestRandomSessionsLoseNothing(t *testing.T) {
	seeds := uint64(25)
	if testing.Short() {
		seeds = 5
	}
	for seed := range seeds {
		s := randomSession(rand.New(rand.NewPCG(seed, 7)))
		losesNothing(t, s)
		tableKeeps(t, s)
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
}

func randomSession(r *rand.Rand) transfer.Session {
	m := store.Meta{
		ID: "b7kqrt", Started: time.Unix(1772353800, r.Int64N(1e9)/1000*1000), Finished: true, Origin: pick(r, "live", "simulated", "import"),
		Format:  obd.Format{Bus: pick(r, obd.CAN11at500, obd.CAN29at250, obd.ISO9141, obd.VPW), Headers: r.IntN(2) == 0, Padded: r.IntN(2) == 0},
		Adapter: phrase(r), Sensors: []string{"B1S1", "B1S2"}, Watching: "B1S1", By: pick(r, "wire", "mixture"), Label: phrase(r), Vehicle: phrase(r),
		Note: phrase(r), VIN: pick(r, "", "1ZZZZ99ZZZZ999999"), Version: "1", Conclusion: pick(r, "", "unclear"), Before: pick(r, "", "c8mnpq"), After: pick(r, "", "d9pqrt"),
	}
	if m.Format.Bus.CAN() {
		m.Format.Dialect = pick(r, obd.J1979, obd.J1979v2)
	}
	table := r.IntN(4) == 0
	var lines []transfer.Line
	at := time.Duration(0)
	for seq := range int64(1 + r.IntN(200)) {
		at += time.Duration(r.IntN(3)*r.IntN(1e6)) * time.Microsecond
		l := transfer.Line{Record: obd.Record{Seq: seq, At: at}}
		switch {
		case r.IntN(10) == 0:
			mark := &obd.Mark{Kind: pick(r, obd.MarkLean, obd.MarkRich, obd.MarkRelease, obd.MarkNote)}
			if mark.Kind == obd.MarkNote {
				mark.Text = phrase(r)
			}
			l.Record.Mark = mark
		case table:
			l.Record.Row = &obd.Row{}
			for _, s := range randomSamples(r, at, at) {
				l.Record.Row.Names, l.Record.Row.Values = append(l.Record.Row.Names, s.Signal.Name), append(l.Record.Row.Values, s.Value)
			}
		default:
			l.Record.Exchange, l.Record.Sent = randomExchange(r, m.Format), at
			at += time.Duration(r.IntN(1e5)) * time.Microsecond
			l.Record.At, l.Samples = at, randomSamples(r, l.Record.Sent, at)
		}
		lines = append(lines, l)
	}
	for _, g := range decode.Signals()[:1] { // a table has a column at least
		l := transfer.Line{Record: obd.Record{Seq: int64(len(lines)), At: at}}
		if table {
			l.Record.Row = &obd.Row{Names: []string{g.Name}, Values: []float64{g.Min}}
		} else {
			l.Record.Exchange, l.Record.Sent = randomExchange(r, m.Format), at
			l.Samples = []decode.Sample{{Signal: g, Sent: at, Received: at, Value: g.Min}}
		}
		lines = append(lines, l)
	}
	m.Duration = at
	return transfer.Session{Meta: m, Lines: linesOf(lines), Judgement: store.Judgement{Verdict: []byte("{}"), Conclusion: m.Conclusion}}
}

// randomExchange has an outcome that its raw text leads to, as live.
func randomExchange(r *rand.Rand, f obd.Format) *obd.Exchange {
	x := &obd.Exchange{Request: obd.Request{Service: 1, Data: []byte{byte(r.IntN(256))}, Expect: r.IntN(16)}, Raw: []byte{}}
	switch r.IntN(4) {
	case 0:
		for range r.IntN(30) {
			if b := byte(r.IntN(256)); b != '>' { // which ends a reply
				x.Raw = append(x.Raw, b)
			}
		}
	case 1:
		x.Raw = []byte(pick(r, "NO DATA\r\r", "STOPPED\r\r", "BUS ERROR\r", "?\r", ""))
	default:
		x.Raw = fmt.Appendf(nil, "7E8 04 41 %02X %02X 80 00 00 00\r\r", x.Request.Data[0], r.IntN(256))
		if f.Dialect == obd.J1979v2 {
			x.Raw = fmt.Appendf(nil, "7E8 05 62 F4 %02X %02X 80 00 00\r\r", x.Request.Data[0], r.IntN(256))
		}
	}
	if x.Outcome = pick(r, obd.OK, obd.OK, obd.OK, obd.TimedOut, obd.LinkLost); x.Outcome == obd.OK {
		_, x.Outcome = obd.Parse(x.Raw, f, x.Request)
	}
	x.Replies = store.Replies(x, f)
	return x
}

func randomSamples(r *rand.Rand, sent, received time.Duration) []decode.Sample {
	var all []decode.Sample
	signals := decode.Signals()
	for _, i := range r.Perm(len(signals))[:r.IntN(4)] {
		g := signals[i]
		v := g.Min + r.Float64()*(g.Max-g.Min)
		if r.IntN(2) == 0 && g.Resolution > 0 {
			v = g.Min + g.Resolution*float64(r.IntN(int(min((g.Max-g.Min)/g.Resolution, 65535))+1))
		}
		all = append(all, decode.Sample{Signal: g, Sent: sent, Received: received, Value: v})
	}
	return all
}

func pick[T any](r *rand.Rand, from ...T) T { return from[r.IntN(len(from))] }

func phrase(r *rand.Rand) string {
	var b strings.Builder
	for range r.IntN(6) {
		b.WriteString(pick(r, "grey van", "\"the old one\"", ", ", "\n", "\t", "größer", "日本", "👩‍🔧", "=1+1", "#", "'", "\\", "{}", "%d", ";"))
	}
	return b.String()
}
