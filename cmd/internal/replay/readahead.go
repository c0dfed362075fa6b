package replay

import (
	"context"

	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd"
)

// Ahead reads a source and decodes its records in a goroutine of its own, so that this and the judging of a long session go on
// side by side. It is a [session.Decoded].
type Ahead struct {
	batches chan batch
	used    chan batch // to be filled again
	now     batch
	given   int
}

type batch struct {
	records []obd.Record
	samples []decode.Sample
	ends    []int // of the samples of each record
	err     error // after them
}

// NewAhead begins to read, and has each record decoded, which appends its samples; an error ends the reading. stop ends it,
// after which src and decoded are free again.
func NewAhead(ctx context.Context, src session.Source, decoded func(obd.Record, []decode.Sample) ([]decode.Sample, error)) (r *Ahead, stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	r = &Ahead{batches: make(chan batch, 4), used: make(chan batch, 6)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			var b batch
			select {
			case b = <-r.used:
			default:
				b.records = make([]obd.Record, 0, 512)
			}
			for b.err == nil && len(b.records) < cap(b.records) {
				var rec obd.Record
				if rec, b.err = src.Next(ctx); b.err == nil {
					b.samples, b.err = decoded(rec, b.samples)
				}
				if b.err == nil {
					b.records, b.ends = append(b.records, rec), append(b.ends, len(b.samples))
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
			r.used <- batch{records: r.now.records[:0], samples: r.now.samples[:0], ends: r.now.ends[:0]}
			r.now, r.given = batch{}, 0
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

// Samples are those of the record that Next returned last.
func (r *Ahead) Samples() []decode.Sample {
	from := 0
	if r.given > 1 {
		from = r.now.ends[r.given-2]
	}
	return r.now.samples[from:r.now.ends[r.given-1]]
}
