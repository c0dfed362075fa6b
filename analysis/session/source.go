// Package session runs one session: records from a Source are decoded, given to
// the watcher, and handed to the sinks. Live, replay, import and simulation
// differ only in the Source.
package session

import (
	"context"

	"pushback/analysis"
	"pushback/decode"
	"pushback/obd"
)

// Source yields the records of a session in order of time. io.EOF ends it.
type Source interface {
	Next(ctx context.Context) (obd.Record, error)
}

// Decoded is a Source of a stored session whose records went through [Judge.Decode] ahead of their judging.
type Decoded interface {
	Source
	// Samples are those of the record that Next returned last, valid until it is called again.
	Samples() []decode.Sample
}

// Frame is one record and all that follows from it. The slices are valid until
// the next record is judged.
type Frame struct {
	Record  obd.Record
	Samples []decode.Sample
	Events  []analysis.Event
	Beside  []analysis.Event // of the other bank's sensor, where both wires are held
	// Last marks the frame after the last record: it has no record of its own
	// (only At) and carries what was decided because the session ended.
	Last bool
}

// Sink takes frames: the store, the screen, the JSON lines. It is called from the
// goroutine that runs the session.
type Sink interface {
	Write(f Frame) error
}
