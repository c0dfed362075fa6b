package store

import (
	"context"
	"database/sql"
	"fmt"
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
)

const benchBatch = commitAt // records in one transaction, on both sides

func benchRecord(i int64) (obd.Record, []decode.Sample) {
	rec := exchange(i, time.Duration(i)*20*time.Millisecond, "7E8 04 41 14 5A 80 00 00 00 \r\r")
	return rec, []decode.Sample{
		{Signal: o2, Sent: rec.Sent, Received: rec.At, Value: 0.45},
		{Signal: trim, Sent: rec.Sent, Received: rec.At, Value: -1.5625},
	}
}

// BenchmarkAppend is one record with two samples, committed; compare it with
// BenchmarkBareInserts, which puts the same rows in with the same statements and
// nothing else.
func BenchmarkAppend(b *testing.B) {
	s := openTest(b, newPath(b))
	w := create(b, s, meta)
	b.ReportAllocs()
	b.ResetTimer()
	for i := range int64(b.N) { // not b.Loop: Close, which commits the rest, is to be measured too
		rec, samples := benchRecord(i)
		if err := w.Append(rec, samples); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
}

func BenchmarkBareInserts(b *testing.B) {
	ctx := context.Background()
	s := openTest(b, newPath(b))
	w := create(b, s, meta)
	defer w.Close()
	for name, id := range map[string]int{"O2S11": 1, "SHRTFT1": 2} {
		if _, err := s.w.Exec("insert into signal values (?, ?, '', '')", id, name); err != nil {
			b.Fatal(err)
		}
	}
	var tx *sql.Tx
	var record, value *sql.Stmt
	i := int64(0)
	b.ReportAllocs()
	for b.Loop() {
		if tx == nil {
			var err error
			if tx, err = s.w.BeginTx(ctx, nil); err != nil {
				b.Fatal(err)
			}
			record, value = tx.Stmt(w.insertRecord), tx.Stmt(w.insertValue)
		}
		at := i * 20000
		if _, err := record.Exec(w.n, i, at, "exchange", "0114", 1, at-20000, at, "ok", []byte("7E8 04 41 14 5A 80 00 00 00 \r\r"), nil, nil, nil, nil); err != nil {
			b.Fatal(err)
		}
		for id := range 2 {
			if _, err := value.Exec(w.n, id+1, at, i, at-20000, 0.45); err != nil {
				b.Fatal(err)
			}
		}
		if i++; i%benchBatch == 0 {
			if err := tx.Commit(); err != nil {
				b.Fatal(err)
			}
			tx = nil
		}
	}
	if tx != nil {
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkRecords is one record read, its replies found again.
func BenchmarkRecords(b *testing.B) {
	ctx := context.Background()
	const n = 100_000
	s := openTest(b, newPath(b))
	w := create(b, s, meta)
	for i := range int64(n) {
		rec, _ := benchRecord(i)
		if err := w.Append(rec, nil); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	var r *Reader
	read := n
	b.ReportAllocs()
	for b.Loop() {
		if read == n {
			if r != nil {
				r.Close()
			}
			var err error
			if r, err = s.Records(ctx, w.ID()); err != nil {
				b.Fatal(err)
			}
			read = 0
		}
		if rec, err := r.Next(ctx); err != nil || len(rec.Exchange.Replies) != 1 {
			b.Fatal(fmt.Sprint(rec, err))
		}
		read++
	}
	r.Close()
}
