package session

import (
	"context"
	"errors"
	"io"
	"time"

	"pushback/analysis"
)

// Result is what a session came to.
type Result struct {
	Events  []analysis.Event
	Verdict analysis.Verdict
	End     time.Duration // of the last record
	Records int
	Samples int // values that came, not the missing ones
}

// Run judges the records of src to its end and hands each to every sink, in order.
// However it ends, the Result holds the verdict on all that came; the error says
// why it ended when that was not the end of the source.
//
// Special cases are: a source without a record gives the verdict on nothing; a sink that fails ends the session, but each of
// them gets the record, and it is judged.
func Run(ctx context.Context, src Source, j *Judge, sinks ...Sink) (Result, error) {
	var res Result
	write := func(f *Frame) error {
		if len(f.Events)+len(f.Beside) > 0 {
			res.Events = append(append(res.Events, f.Events...), f.Beside...)
		}
		// A full disk must not silence the screen: every sink gets the frame.
		var first error
		for _, s := range sinks {
			if err := s.Write(*f); err != nil && first == nil {
				first = err
			}
		}
		return first
	}
	decoded, ahead := src.(Decoded)
	err := func() error {
		var f Frame
		for {
			rec, err := src.Next(ctx)
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil {
				return err
			}
			if f.Record = rec; ahead {
				f.Samples = decoded.Samples()
			} else {
				j.samples = j.Decode(rec, j.samples[:0])
				f.Samples = j.samples
			}
			j.watchIn(&f)
			res.Records++
			for i := range f.Samples {
				if !f.Samples[i].Missing {
					res.Samples++
				}
			}
			if err := write(&f); err != nil {
				return err
			}
		}
	}()
	last := j.Finish()
	if werr := write(&last); err == nil {
		err = werr
	}
	res.End, res.Verdict = last.Record.At, j.Verdict()
	return res, err
}
