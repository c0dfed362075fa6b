package rig

import (
	"bytes"
	"time"

	"github.com/rs/zerolog"

	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// Stored is the store as a sink.
type Stored struct{ Writer *store.Writer }

// Write stores a frame.
func (s Stored) Write(f session.Frame) error {
	if f.Last {
		return nil
	}
	return s.Writer.Append(f.Record, f.Samples)
}

// StopAfter is a sink that ends a session at a session time.
type StopAfter struct {
	At   time.Duration
	Stop func() // called once
}

// Write looks at the time.
func (s *StopAfter) Write(f session.Frame) error {
	if f.Record.At >= s.At && s.Stop != nil {
		s.Stop()
		s.Stop = nil
	}
	return nil
}

// vinKeeper is a sink that keeps the vehicle's identification number with the session,
// for who asked to have it read.
type vinKeeper struct{ keep func(func(*store.Meta)) error }

func (k *vinKeeper) Write(f session.Frame) error {
	x := f.Record.Exchange
	if k.keep == nil || x == nil || len(x.Replies) == 0 || !store.TellsVIN(x.Request.Hex()) {
		return nil
	}
	var one [][]byte // of the computer that answered first
	for _, r := range x.Replies {
		if r.From == x.Replies[0].From {
			one = append(one, r.Data)
		}
	}
	vin, err := decode.VIN(one...)
	if err != nil { // the reply is in the record
		return nil
	}
	keep := k.keep
	k.keep = nil
	return keep(func(m *store.Meta) { m.VIN = vin })
}

// troubles logs the exchanges that brought nothing, for who wants to see them.
type troubles struct{ log zerolog.Logger }

func (t troubles) Write(f session.Frame) error {
	if x := f.Record; x.Exchange != nil && x.Outcome != obd.OK {
		t.log.Debug().Stringer("outcome", x.Outcome).Str("request", x.Request.Hex()).
			Dur("took", x.At-x.Sent).Bytes("raw", x.Raw).Msg("exchange")
	}
	return nil
}

// logLines logs each whole line that is written to it.
type logLines struct {
	log  zerolog.Logger
	rest []byte
}

func (l *logLines) Write(p []byte) (int, error) {
	l.rest = append(l.rest, p...)
	for {
		line, rest, whole := bytes.Cut(l.rest, []byte("\n"))
		if !whole {
			return len(p), nil
		}
		l.log.Debug().Msg(string(line))
		l.rest = rest
	}
}
