package portable

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/store"
	"pushback/store/transfer"
)

func session(id string) transfer.Session {
	rec := obd.Record{At: time.Second, Exchange: &obd.Exchange{Request: obd.Request{Service: 1, Data: []byte{0x14}}, Raw: []byte("7E8 04 41 14 5A 80\r\r")}}
	return transfer.Session{
		Meta: store.Meta{ID: id, Started: time.Date(2026, 3, 1, 8, 30, 0, 0, time.UTC), Duration: time.Second, Finished: true,
			Watching: "B1S1", By: "wire", Origin: "live", Format: obd.Format{Bus: obd.CAN11at500, Headers: true}},
		Lines: func(yield func(transfer.Line, error) bool) {
			yield(transfer.Line{Record: rec, Samples: []decode.Sample{{Signal: decode.ByName("O2S11"), Received: time.Second, Value: 0.45}}}, nil)
		},
		Judgement: store.Judgement{Events: []json.RawMessage{json.RawMessage(`{"event":"ready"}`)}, Verdict: json.RawMessage(`{"conclusion":"unclear"}`), Conclusion: "unclear"},
	}
}

func write(t *testing.T, list ...transfer.Session) string {
	t.Helper()
	var seq iter.Seq2[transfer.Session, error] = func(yield func(transfer.Session, error) bool) {
		for _, s := range list {
			if !yield(s, nil) {
				return
			}
		}
	}
	var b bytes.Buffer
	if err := Write(context.Background(), &b, seq); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "x.db")
	if err := os.WriteFile(path, b.Bytes(), 0o400); err != nil {
		t.Fatal(err)
	}
	return path
}

// The file holds all of a session, also how it was judged where that was, and is one
// plain file that a reader leaves alone.
func TestWhatIsWrittenIsThere(t *testing.T) {
	ctx := context.Background()
	one, two := session("b7kqrt"), session("c8mnpq")
	two.Meta.Before, two.Meta.Finished = "b7kqrt", false
	path := write(t, one, two)
	db, err := store.OpenForeign(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	m, err := db.Find(ctx, "c8mnpq")
	if err != nil || m.Before != "b7kqrt" || m.Finished {
		t.Errorf("%+v, %v", m, err)
	}
	j, err := db.Judgement(ctx, "b7kqrt")
	if err != nil || string(j.Verdict) != string(one.Judgement.Verdict) || len(j.Events) != 1 || j.Conclusion != "unclear" {
		t.Errorf("%+v, %v", j, err)
	}
	if left, _ := filepath.Glob(path + "-*"); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// The sqlite3 shell, which knows nothing of this program, reads it by the views.
func TestShell(t *testing.T) {
	if _, err := exec.LookPath("sqlite3"); err != nil {
		t.Skip("the sqlite3 shell is not installed")
	}
	path := write(t, session("b7kqrt"))
	for query, want := range map[string]string{
		"select id, state, conclusion, records from session_summary": "b7kqrt|finished|unclear|1",
		"select session, t_s, O2S11 from sample_wide":                "b7kqrt|1.0|0.45",
		"select session, t_s, name, value, unit from sample_long":    "b7kqrt|1.0|O2S11|0.45|V",
		"select session, event from event":                           "b7kqrt|ready",
		"pragma journal_mode":                                        "delete",
		"pragma integrity_check":                                     "ok",
	} {
		out, err := exec.Command("sqlite3", "-readonly", path, query).CombinedOutput()
		if err != nil || strings.TrimSpace(string(out)) != want {
			t.Errorf("%s: %s, %v; want %s", query, out, err, want)
		}
	}
}

func TestReadEnds(t *testing.T) {
	ctx := context.Background()
	r, err := Format.Open(ctx, write(t, session("b7kqrt")))
	if err != nil {
		t.Fatal(err)
	}
	if m, err := r.Session(ctx); err != nil || m.ID != "b7kqrt" {
		t.Error(m, err)
	}
	if rec, err := r.Next(ctx); err != nil || len(rec.Exchange.Replies) != 1 {
		t.Error(rec, err)
	}
	if _, err := r.Next(ctx); err != io.EOF {
		t.Error(err)
	}
	if _, err := r.Session(ctx); err != io.EOF {
		t.Error(err)
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
	if _, err := Format.Open(ctx, os.DevNull); !errors.Is(err, store.ErrNotOurs) {
		t.Error(err)
	}
}
