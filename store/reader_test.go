package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"testing"
	"time"

	"pushback/obd"
)

// appendMany appends the first n exchanges of a session, ten a second.
func appendMany(t *testing.T, w *Writer, n int64) {
	t.Helper()
	for i := range n {
		if err := w.Append(exchange(i, time.Duration(i+1)*100*time.Millisecond, "7E8 04 41 14 5A 80 00 00 00 \r\r"), nil); err != nil {
			t.Fatal(err)
		}
	}
}

// A reader can be closed in the middle, and twice; who gives up waiting loses nothing; and what is written meanwhile is not read.
func TestReading(t *testing.T) {
	const n = 5*packed + 7
	path := newPath(t)
	s := openTest(t, path)
	w := create(t, s, meta)
	appendMany(t, w, n)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}

	closed, err := s.Records(t.Context(), w.ID())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := closed.Next(t.Context()); err != nil {
		t.Error(err)
	}
	if err := errors.Join(closed.Close(), closed.Close()); err != nil {
		t.Error(err)
	}
	if _, err := closed.Next(t.Context()); !errors.Is(err, ErrClosed) {
		t.Errorf("after Close: %v", err)
	}

	r, err := s.Records(t.Context(), w.ID())
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	sqlOn(t, path, fmt.Sprintf("insert into record select session, seq + %d, at_us, kind, request, expect, sent_us, received_us, outcome, raw, mark, text, names, vals from record", n))
	for want := range int64(n) {
		rec, err := r.Next(&late{Context: t.Context()})
		if errors.Is(err, context.Canceled) {
			rec, err = r.Next(t.Context())
		}
		if err != nil || rec.Seq != want {
			t.Fatalf("record %d: %d, %v", want, rec.Seq, err)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	for _, c := range []struct {
		ctx  context.Context
		want error
	}{{t.Context(), io.EOF}, {gone, context.Canceled}, {&late{Context: t.Context()}, io.EOF}, {t.Context(), io.EOF}} {
		if _, err := r.Next(c.ctx); !errors.Is(err, c.want) {
			t.Errorf("at the end: %v, want %v", err, c.want)
		}
	}
}

// late is a context that ends after the first look at it.
type late struct {
	context.Context
	looked bool
}

func (c *late) Err() error {
	if c.looked {
		return context.Canceled
	}
	c.looked = true
	return nil
}

func (c *late) Done() <-chan struct{} {
	done := make(chan struct{})
	close(done)
	return done
}

// Damage ends a reading for good, wherever it lies.
func TestDamageStays(t *testing.T) {
	for _, at := range []int64{1, packed - 1, packed, 3*packed + 5} {
		path := newPath(t)
		s := openTest(t, path)
		w := create(t, s, meta)
		appendMany(t, w, 5*packed)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		sqlOn(t, path, fmt.Sprintf("update record set request = '01 14' where seq = %d", at))
		r, err := s.Records(t.Context(), w.ID())
		if err != nil {
			t.Fatal(err)
		}
		for want := range at {
			if rec, err := r.Next(t.Context()); err != nil || rec.Seq != want {
				t.Fatalf("damage at %d: record %d: %d, %v", at, want, rec.Seq, err)
			}
		}
		for range 3 {
			if rec, err := r.Next(t.Context()); !errors.Is(err, ErrDamaged) {
				t.Errorf("damage at %d: %d, %v", at, rec.Seq, err)
			}
		}
		r.Close()
	}
}

// The longest answers that are recorded are read, also where all of a pack are, and doubtful.
func TestLongestAnswers(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	const n = packed + 10
	raw := string(bytes.Repeat([]byte("7E8 0A"), 64<<10/6))
	for i := range int64(n) {
		rec := exchange(i, time.Duration(i+1)*time.Second, raw)
		rec.Exchange.Outcome = obd.Garbled
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if all := readAll(t, s, w.ID()); len(all) != n || string(all[n-1].Exchange.Raw) != raw {
		t.Errorf("%d records of %d", len(all), n)
	}
}

// What is left out before a pack, and at its end, moves no record to another place.
func TestHolesBetweenPacks(t *testing.T) {
	for _, hole := range []int64{1, alike - 1, alike, alike + 3, 3 * alike} {
		s := openTest(t, newPath(t))
		w := create(t, s, meta)
		var want []int64
		for i := range int64(2 * alike) {
			seq := i
			if i >= 4 {
				seq += hole
			}
			want = append(want, seq)
			if err := w.Append(exchange(seq, time.Duration(seq+1)*time.Millisecond, "7E8 04 41 14 5A 80 \r\r"), nil); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		var got []int64
		for _, rec := range readAll(t, s, "last") {
			got = append(got, rec.Seq)
		}
		if !slices.Equal(got, want) {
			t.Errorf("a hole of %d: %d records, want %d, or others", hole, len(got), len(want))
		}
	}
}
