package replay

import (
	"context"

	"pushback/analysis/session"
	"pushback/obd"
)

// Ahead reads a source in a goroutine of its own, so that reading and judging a long
// session go on side by side; what only needs the records is done there too.
type Ahead struct {
	batches chan batch
	used    chan []obd.Record // to be filled again
	now     batch
	given   int
}

type batch struct {
	records []obd.Record
	err     error // after them
}

// NewAhead begins to read, and gives each record to also, if that is not nil, whose error ends the reading. stop ends it, after
// which src and also are free again.
func NewAhead(ctx context.Context, src session.Source, also func(obd.Record) error) (r *Ahead, stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	r = &Ahead{batches: make(chan batch, 4), used: make(chan []obd.Record, 6)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			var b batch
			select {
			case b.records = <-r.used:
			default:
				b.records = make([]obd.Record, 0, 512)
			}
			for b.err == nil && len(b.records) < cap(b.records) {
				var rec obd.Record
				if rec, b.err = src.Next(ctx); b.err == nil && also != nil {
					b.err = also(rec)
				}
				if b.err == nil {
					b.records = append(b.records, rec)
				}
			}
			select {
			case r.batches <- b:
			case <-ctx.Done():
				return
			}
			if b.err != nil {
				return
			}
		}
	}()
	return r, func() { cancel(); <-done }
}

// Next returns the source's next record.
func (r *Ahead) Next(ctx context.Context) (obd.Record, error) {
	for r.given == len(r.now.records) {
		if r.now.err != nil {
			return obd.Record{}, r.now.err
		}
		if r.now.records != nil {
			clear(r.now.records) // lets go of them
			r.used <- r.now.records[:0]
			r.now.records, r.given = nil, 0
		}
		select {
		case r.now = <-r.batches:
		case <-ctx.Done():
			return obd.Record{}, ctx.Err()
		}
	}
	rec := r.now.records[r.given]
	r.given++
	return rec, nil
}
