package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"pushback/analysis"
	"pushback/obd"
)

// modelSession is what the store must remember of a session.
type modelSession struct {
	meta    Meta
	records []obd.Record
}

func drawRecord(t *rapid.T, seq int64, at time.Duration) obd.Record {
	rec := obd.Record{Seq: seq, At: at}
	switch rapid.IntRange(0, 3).Draw(t, "kind") {
	case 0:
		rec.Mark = &obd.Mark{
			Kind: rapid.SampledFrom([]obd.MarkKind{obd.MarkLean, obd.MarkNote, obd.MarkStop}).Draw(t, "mark"),
			Text: rapid.String().Draw(t, "text"),
		}
	case 1:
		rec.Row = &obd.Row{
			Names:  rapid.SliceOfN(rapid.SampledFrom([]string{"O2S11", "RPM", "ECT"}), 0, 3).Draw(t, "names"),
			Values: nil,
		}
		for range rec.Row.Names {
			rec.Row.Values = append(rec.Row.Values, rapid.Float64().Draw(t, "value"))
		}
	default:
		rec.Sent = at - time.Duration(rapid.IntRange(0, 1000).Draw(t, "took"))*time.Microsecond
		rec.Exchange = &obd.Exchange{
			Request: obd.Request{Service: rapid.Byte().Draw(t, "service"), Data: rapid.SliceOfN(rapid.Byte(), 0, 6).Draw(t, "data"), Expect: rapid.IntRange(0, 9).Draw(t, "expect")},
			Outcome: rapid.SampledFrom([]obd.Outcome{obd.OK, obd.NoData, obd.Refused, obd.TimedOut, obd.Garbled, obd.BusError, obd.AdapterReset, obd.LinkLost}).Draw(t, "outcome"),
			Raw:     rapid.SliceOf(rapid.Byte()).Draw(t, "raw"),
		}
	}
	return rec
}

// The store against lists in memory: sessions are made, written, left or ended,
// described, removed, and the file is closed and opened again, in any order.
func TestModel(t *testing.T) {
	ctx := context.Background()
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "model")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		path := filepath.Join(dir, "p.db")
		s, err := Open(ctx, path)
		if err != nil {
			t.Fatal(err)
		}
		var (
			w       *Writer
			model   []*modelSession // the last is written while w is not nil
			current *modelSession
		)
		must := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		leave := func() {
			if w != nil {
				must(w.Close())
				w, current = nil, nil
			}
		}
		defer func() { // also when the check fails
			if w != nil {
				w.Close()
			}
			s.Close()
		}()
		pick := func(t *rapid.T) *modelSession {
			if len(model) == 0 {
				t.Skip("no session")
			}
			return rapid.SampledFrom(model).Draw(t, "session")
		}
		t.Repeat(map[string]func(*rapid.T){
			"create": func(t *rapid.T) {
				leave()
				m := Meta{
					Started: time.UnixMilli(rapid.Int64Range(0, 4e12).Draw(t, "started")).UTC(),
					Format:  obd.Format{Bus: obd.Bus(rapid.IntRange(0, 9).Draw(t, "bus")), Headers: rapid.Bool().Draw(t, "headers"), Padded: rapid.Bool().Draw(t, "padded")},
					Label:   rapid.String().Draw(t, "label"),
					Origin:  "import",
				}
				var err error
				w, err = s.Create(ctx, m)
				must(err)
				m.ID = w.ID()
				current = &modelSession{meta: m}
				model = append(model, current)
			},
			"append": func(t *rapid.T) {
				if w == nil {
					t.Skip("no writer")
				}
				for range rapid.IntRange(1, 20).Draw(t, "n") {
					seq, at := int64(0), time.Duration(0)
					if n := len(current.records); n > 0 {
						hole := rapid.SampledFrom([]int64{0, 0, 0, 1, packed, 3 * packed}).Draw(t, "hole")
						seq, at = current.records[n-1].Seq+1+hole, current.records[n-1].At
					}
					at += time.Duration(rapid.IntRange(0, 1e6).Draw(t, "step")) * time.Microsecond
					rec := drawRecord(t, seq, at)
					must(w.Append(rec, nil))
					current.records = append(current.records, rec)
					current.meta.Duration = at
				}
			},
			"leave": func(*rapid.T) { leave() },
			"finish": func(t *rapid.T) {
				if w == nil {
					t.Skip("no writer")
				}
				at := current.meta.Duration + time.Duration(rapid.IntRange(-1e6, 1e6).Draw(t, "after"))*time.Microsecond
				must(w.Finish(ctx, at, analysis.Verdict{Conclusion: analysis.NothingForced}, nil))
				current.meta.Duration = max(at, current.meta.Duration)
				current.meta.Finished, current.meta.Conclusion = true, "nothing_forced"
				w, current = nil, nil
			},
			"edit": func(t *rapid.T) {
				x := pick(t)
				note := rapid.String().Draw(t, "note")
				must(s.Edit(ctx, x.meta.ID, func(m *Meta) { m.Note = note }))
				x.meta.Note = note
			},
			"remove": func(t *rapid.T) {
				x := pick(t)
				if x == current {
					leave()
				}
				must(s.Remove(ctx, x.meta.ID))
				model = slices.DeleteFunc(model, func(y *modelSession) bool { return y == x })
			},
			"reopen": func(*rapid.T) {
				leave()
				must(s.Close())
				var err error
				s, err = Open(ctx, path)
				must(err)
			},
			"read": func(t *rapid.T) {
				x := pick(t)
				if x == current {
					leave()
				}
				r, err := s.Records(ctx, x.meta.ID)
				must(err)
				defer r.Close()
				if diff := cmp.Diff(x.meta, r.Meta(), cmpopts.EquateEmpty()); diff != "" {
					t.Fatal(diff)
				}
				for i, want := range x.records {
					got, err := r.Next(ctx)
					must(err)
					if got.Exchange != nil {
						got.Exchange.Replies = nil
					}
					if diff := cmp.Diff(want, got, cmpopts.EquateEmpty(), cmpopts.EquateNaNs()); diff != "" {
						t.Fatalf("record %d: %s", i, diff)
					}
				}
				if _, err := r.Next(ctx); err == nil {
					t.Fatal("a record too many")
				}
			},
			"": func(t *rapid.T) {
				list, err := s.List(ctx, Filter{})
				must(err)
				if len(list) != len(model) {
					t.Fatalf("%d sessions, want %d", len(list), len(model))
				}
				for i, m := range list {
					if want := model[len(model)-1-i]; m.ID != want.meta.ID {
						t.Fatalf("session %d is %s, want %s", i, m.ID, want.meta.ID)
					}
				}
				if _, err := s.Find(ctx, "last"); len(model) == 0 && !errors.Is(err, ErrNoSession) {
					t.Fatal(err)
				}
			},
		})
		leave()
		must(s.Close())
		checkIntegrity(t, path)
	})
}
