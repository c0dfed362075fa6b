package store

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"time"

	"pushback/obd"
)

func TestPair(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, newPath(t))
	var ids [3]string
	for i := range ids {
		w := create(t, s, meta)
		ids[i] = w.ID()
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	check := func(id, before, after string) {
		t.Helper()
		if m, err := s.Find(ctx, id); err != nil || m.Before != before || m.After != after {
			t.Errorf("%s: before %q, after %q, %v; want %q, %q", id, m.Before, m.After, err, before, after)
		}
	}
	if err := s.Pair(ctx, ids[0], ids[1]); err != nil {
		t.Fatal(err)
	}
	check(ids[0], "", ids[1])
	check(ids[1], ids[0], "")
	if err := s.Pair(ctx, ids[2], ids[1]); err != nil { // another one before it
		t.Fatal(err)
	}
	check(ids[0], "", "")
	check(ids[1], ids[2], "")
	if err := s.Remove(ctx, ids[2]); err != nil {
		t.Fatal(err)
	}
	check(ids[1], "", "")
	if err := s.Pair(ctx, ids[0], ids[1]); err != nil {
		t.Fatal(err)
	}
	if err := s.Unpair(ctx, ids[0]); err != nil {
		t.Fatal(err)
	}
	check(ids[1], "", "")
	if err := s.Pair(ctx, ids[0], ids[0]); err == nil {
		t.Error("a session is paired with itself")
	}
	if err := s.Pair(ctx, ids[0], ids[2]); !errors.Is(err, ErrNoSession) {
		t.Error(err)
	}
}

// Two copies of a recording have the same content, also when one is redacted, left by
// a program that died, or written in other batches; any other difference shows.
func TestSame(t *testing.T) {
	ctx := context.Background()
	vin := exchange(0, time.Second, "49 02 01")
	vin.Exchange.Request = obd.Request{Service: 9, Data: []byte{2}}
	records := []obd.Record{
		vin,
		crashRecord(2000),
		{Seq: 2001, At: 3 * time.Second, Mark: &obd.Mark{Kind: obd.MarkNote, Text: "name and number"}},
		{Seq: 2002, At: 4 * time.Second, Row: &obd.Row{Names: []string{"RPM"}, Values: []float64{800}}},
	}
	sum := func(change func(i int, rec obd.Record) obd.Record) []byte {
		c := NewContent()
		for i, rec := range records {
			if err := c.Add(change(i, rec)); err != nil {
				t.Fatal(err)
			}
		}
		return c.Sum()
	}
	plain := sum(func(_ int, r obd.Record) obd.Record { return r })
	redacted := sum(func(i int, r obd.Record) obd.Record { return Redact(r) })
	if !bytes.Equal(plain, redacted) {
		t.Error("the redacted copy is another one")
	}
	for i := range records {
		if bytes.Equal(plain, sum(func(j int, r obd.Record) obd.Record {
			if i == j {
				r.At += time.Microsecond
			}
			return r
		})) {
			t.Errorf("a change of record %d does not show", i)
		}
	}

	s := openTest(t, newPath(t))
	if _, err := s.Same(ctx, plain, "B1S1", "wire"); !errors.Is(err, ErrNoSession) {
		t.Error(err)
	}
	w := create(t, s, meta)
	for _, rec := range records {
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	for _, script := range []string{"select 1", "update session set content = null"} {
		if _, err := s.w.Exec(script); err != nil {
			t.Fatal(err)
		}
		if id, err := s.Same(ctx, plain, "B1S1", "wire"); err != nil || id != w.ID() {
			t.Errorf("%s: %q, %v", script, id, err)
		}
	}
	if _, err := s.Same(ctx, plain, "B2S1", "wire"); !errors.Is(err, ErrNoSession) {
		t.Error("judged for another sensor it is another session")
	}
}
