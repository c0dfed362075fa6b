package obd

import (
	"context"
	"errors"
	"fmt"
)

// ErrEngineRuns refuses to clear codes: an engine runs, or none says that it stands.
var ErrEngineRuns = errors.New("engine is not known to stand")

// ClearCodes sends service 04, or what stands for it in the car's dialect: trouble codes, freeze
// frames, monitor results and what the computers have learned are lost. It is the only way to
// send it, and for nothing but a person's command. It first reads engine speed (PID 0C) and returns
// [ErrEngineRuns] unless a computer answers and all that answer say zero. The error is else as
// that of [Adapter.Exchange], the outcome in the exchange: [Exchange.Pending] where a computer
// was still busy with it. It is never sent twice.
func (a *Adapter) ClearCodes(ctx context.Context) (Record, error) {
	x := Record{Exchange: &Exchange{Request: Request{Service: 0x04}}}
	var speed Record
	for d := (Deferred{}); ; {
		var err error
		if speed, err = a.Exchange(ctx, Request{Service: 0x01, Data: []byte{0x0C}}); err != nil {
			return x, err
		}
		if !d.Again(&speed) {
			break
		}
	}
	stands := speed.Outcome == OK
	for _, r := range speed.Replies {
		n := 1 + a.format.Dialect.IDBytes()
		stands = stands && len(r.Data) == n+2 && r.Data[n] == 0 && r.Data[n+1] == 0
	}
	if !stands {
		return x, fmt.Errorf("clear codes: %w", ErrEngineRuns)
	}
	text, _ := a.format.Dialect.Words(x.Request)
	text = a.line(text)
	x.Sent = a.now()
	err := a.exchange(ctx, &x, text)
	x.At = max(x.At, x.Sent)
	// A return on its own must never repeat it.
	a.last = ""
	for end := a.clock.Now().Add(deferredMost); err == nil && x.Pending() && a.clock.Now().Before(end); {
		// What it comes to shows under another request.
		var y Record
		if y, err = a.Exchange(ctx, supported); err == nil {
			x.Raw = append(append(x.Raw, '\r'), y.Raw...)
			x.Replies, x.Outcome = Parse(x.Raw, a.format, x.Request)
			x.At = max(x.At, y.At)
		}
	}
	switch {
	case errors.Is(err, errSilent):
		x.Outcome, x.At, err = TimedOut, a.now(), nil
	case errors.Is(err, ErrLinkLost):
		x.Outcome, x.At = LinkLost, a.now()
	}
	if err != nil {
		return x, fmt.Errorf("clear codes: %w", err)
	}
	if _, err := a.Exchange(ctx, Request{Service: 0x01, Data: []byte{0x00}}); err != nil {
		return x, fmt.Errorf("clear codes: %w", err)
	}
	return x, nil
}
