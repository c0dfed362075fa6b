package parquet

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/parquet-go/parquet-go"

	"pushback/decode"
	"pushback/obd"
	"pushback/store"
	"pushback/store/transfer"
)

func testSession(id string) transfer.Session {
	const us = time.Microsecond
	x := &obd.Exchange{Request: obd.Request{Service: 1, Data: []byte{0x14}, Expect: 1}, Raw: []byte("7E8 04 41 14 5A 80\r\r")}
	lost := &obd.Exchange{Request: obd.Request{Service: 3}, Outcome: obd.TimedOut, Raw: []byte{0, 0xFF, 0x80}}
	lines := []transfer.Line{
		{Record: obd.Record{Sent: 1000 * us, At: 20000 * us, Exchange: x}, Samples: []decode.Sample{
			{Signal: decode.ByName("O2S11"), Sent: 1000 * us, Received: 20000 * us, Value: 0.45},
			{Signal: decode.ByName("SHRTFT1"), Sent: 1000 * us, Received: 20000 * us, Value: -1.5625},
			{Signal: decode.ByName("RPM"), Sent: 1000 * us, Received: 20000 * us, Missing: true}}},
		{Record: obd.Record{Seq: 1, At: 1e6 * us, Mark: &obd.Mark{Kind: obd.MarkNote, Text: "\"a\"\n, b"}}},
		{Record: obd.Record{Seq: 2, Sent: 1e6 * us, At: 2e6 * us, Exchange: lost}},
		{Record: obd.Record{Seq: 3, At: 3e6 * us, Row: &obd.Row{Names: []string{"RPM"}, Values: []float64{812.25}}}},
		{Record: obd.Record{Seq: 4, At: 3e6 * us, Row: &obd.Row{}}},
	}
	return transfer.Session{
		Meta: store.Meta{ID: id, Started: time.Date(2026, 3, 1, 8, 30, 0, 123456000, time.UTC), Duration: 4 * time.Second, Finished: true,
			Format: obd.Format{Bus: obd.CAN11at500, Headers: true}, Adapter: "a", Sensors: []string{"B1S1"}, Watching: "B1S1", By: "wire",
			Origin: "live", Label: "before", Vehicle: "grey van", Note: "n", Conclusion: "unclear", Version: "1"},
		Lines: func(yield func(transfer.Line, error) bool) {
			for _, l := range lines {
				if !yield(l, nil) {
					return
				}
			}
		},
		Judgement: store.Judgement{Conclusion: "unclear", Verdict: json.RawMessage(`{"kind":"verdict"}`),
			Events: []json.RawMessage{json.RawMessage(`{"kind":"event","t":1.5,"event":"loop_answers","side":"lean","after_s":0.9}`)}},
	}
}

func sessions(list ...transfer.Session) iter.Seq2[transfer.Session, error] {
	return func(yield func(transfer.Session, error) bool) {
		for _, s := range list {
			if !yield(s, nil) {
				return
			}
		}
	}
}

func writeFile(t testing.TB, path string, list ...transfer.Session) {
	t.Helper()
	var b bytes.Buffer
	if err := Write(context.Background(), &b, sessions(list...)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

func readFile(path string) (metas []store.Meta, records [][]obd.Record, err error) {
	ctx := context.Background()
	r, err := Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	for {
		m, err := r.Session(ctx)
		if err == io.EOF {
			return metas, records, nil
		}
		if err != nil {
			return metas, records, err
		}
		var all []obd.Record
		for {
			rec, err := r.Next(ctx)
			if err == io.EOF {
				break
			}
			if err != nil {
				return metas, records, err
			}
			all = append(all, rec)
		}
		metas, records = append(metas, m), append(records, all)
	}
}

func TestRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.parquet")
	one, two := testSession("b7kqrt"), testSession("c8mnpq")
	writeFile(t, path, one, two)
	metas, records, err := readFile(path)
	if err != nil || len(metas) != 2 {
		t.Fatal(len(metas), err)
	}
	for i, s := range []transfer.Session{one, two} {
		want := s.Meta
		if diff := cmp.Diff(want, metas[i]); diff != "" {
			t.Error(diff)
		}
		var all []obd.Record
		for l := range s.Lines {
			all = append(all, l.Record)
		}
		for _, rec := range records[i] {
			if rec.Exchange != nil {
				rec.Exchange.Replies = nil
			}
		}
		if diff := cmp.Diff(all, records[i], cmpopts.EquateEmpty()); diff != "" {
			t.Error(diff)
		}
	}
}

// Files that are Parquet but not ours, and rows that no session has.
func TestRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.parquet")
	type other struct {
		A int64 `parquet:"a"`
	}
	var b bytes.Buffer
	if err := parquet.Write(&b, []other{{1}}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := readFile(path); !errors.Is(err, ErrNotOurs) {
		t.Error(err)
	}
	start := row{Kind: "session", Text: new(string)}
	*start.Text = `{"bus":"can11-500","started":"2026-03-01T08:30:00Z"}`
	word := func(s string) *string { return &s }
	ok := word("ok")
	for want, rows := range map[string][]row{
		"row 1: the table does not begin":           {{Kind: "mark", Name: word("lean")}},
		"row 1: session \"\": read the description": {{Kind: "session", Text: word("{")}},
		"bus \"frob\" is not one of":                {{Kind: "session", Text: word(`{"bus":"frob"}`)}},
		"row 2: mark \"frob\"":                      {start, {Kind: "mark", Name: word("frob")}},
		"row 2: kind \"frob\"":                      {start, {Kind: "frob"}},
		"row 2: sent at":                            {start, {Kind: "exchange", TUS: 1, SentUS: 2, Request: word("0114"), Outcome: ok}},
		"row 2: request \"XX\"":                     {start, {Kind: "exchange", TUS: 1, Request: word("XX"), Outcome: ok}},
		"row 2: outcome \"frob\"":                   {start, {Kind: "exchange", TUS: 1, Request: word("0114"), Outcome: word("frob")}},
		"row 3: record 1 at 0s does not follow":     {start, {Kind: "mark", Seq: 1, Name: word("lean")}, {Kind: "mark", Seq: 1, Name: word("rich")}},
		"a year of the beginning":                   {start, {Kind: "row", TUS: 1 << 60}},
		"a text is too long":                        {start, {Kind: "mark", Name: word("note"), Text: word(strings.Repeat("x", 1<<17))}},
	} {
		b.Reset()
		if err := parquet.Write(&b, rows); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := readFile(path); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}

func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	if err := Write(context.Background(), &b, sessions(testSession("b7kqrt"))); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(b.Bytes()[:b.Len()/2])
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
		readFile(g.Name())
	})
}

// Whatever bytes of a file are changed, reading ends, and takes no more memory than a
// few pages do.
func TestHostileFile(t *testing.T) {
	if testing.Short() { // the race detector's checks of pointers end the program where the library's own panic is caught
		t.Skip("hundreds of files")
	}
	var b bytes.Buffer
	if err := Write(context.Background(), &b, sessions(testSession("b7kqrt"))); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "x.parquet")
	refused := 0
	for i := range 400 {
		rng := rand.New(rand.NewPCG(uint64(i), 1))
		file := bytes.Clone(b.Bytes())
		for range 1 + rng.IntN(3) {
			file[rng.IntN(len(file))] = byte(rng.Uint32())
		}
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		if _, _, err := readFile(path); err != nil {
			refused++
		}
		runtime.ReadMemStats(&after)
		if n := after.TotalAlloc - before.TotalAlloc; n > 150<<20 {
			t.Errorf("file %d takes %d MB", i, n>>20)
		}
	}
	if refused == 0 {
		t.Error("no change was noticed: the test does not test")
	}
}
