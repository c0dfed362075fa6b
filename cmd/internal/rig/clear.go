package rig

import (
	"context"
	"errors"
	"io"
	"time"

	"pushback/obd"
)

// Clear reads what the car has stored until the session is stopped, then asks decide; with
// no error from it the trouble codes are cleared (service 04) and read again. All of it is
// a session like any other. The exchange that cleared is nil where none was made: then the
// error says why.
func (s *Session) Clear(ctx context.Context, decide func() error) (*obd.Exchange, error) {
	src := &clearing{rig: s.rig, decide: decide}
	_, err := s.run(ctx, src, s.Views...)
	if err == nil && src.cleared == nil {
		err = src.refused
	}
	return src.cleared, err
}

// clearing is a source: what the poller reads until it was stopped, then, with the
// technician's yes, the clearing and what is there after it.
type clearing struct {
	rig    *Rig
	decide func() error

	seq     int64
	at      time.Duration
	refused error
	cleared *obd.Exchange
	rest    []obd.Request
	done    bool // the poller is
}

// settleAfter is how long a computer may need to come back after it has cleared
// (common practice, no source).
const settleAfter = 2 * time.Second

func (c *clearing) Next(ctx context.Context) (obd.Record, error) {
	if !c.done {
		rec, err := c.rig.Next(ctx)
		if !errors.Is(err, io.EOF) {
			if err == nil {
				c.seq, c.at = rec.Seq, rec.At
			}
			return rec, err
		}
		c.done = true
		if c.refused = c.decide(); c.refused != nil {
			return obd.Record{}, io.EOF
		}
		x, err := c.rig.Adapter.ClearCodes(ctx)
		if errors.Is(err, obd.ErrEngineRuns) {
			c.refused = err
			return obd.Record{}, io.EOF
		} else if err != nil {
			return obd.Record{}, err
		}
		c.cleared = x.Exchange
		c.rest = []obd.Request{{Service: 0x03}, {Service: 0x07}, {Service: 0x01, Data: []byte{0x01}}}
		return c.record(x), nil
	}
	if len(c.rest) == 0 || c.cleared == nil {
		return obd.Record{}, io.EOF
	}
	if len(c.rest) == 3 {
		if err := c.rig.clock.Sleep(ctx, settleAfter); err != nil {
			return obd.Record{}, err
		}
	}
	x, err := c.rig.Adapter.Exchange(ctx, c.rest[0])
	c.rest = c.rest[1:]
	if err != nil {
		return obd.Record{}, err
	}
	return c.record(x), nil
}

func (c *clearing) record(x obd.Record) obd.Record {
	c.seq++
	c.at = max(c.at, x.At)
	x.Seq, x.At = c.seq, c.at
	return x
}
