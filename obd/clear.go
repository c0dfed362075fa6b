package obd

import (
	"context"
	"errors"
	"fmt"
)

// ErrEngineRuns refuses to clear codes: an engine runs, or none says that it stands.
var ErrEngineRuns = errors.New("engine is not known to stand")

// ClearCodes sends service 04: trouble codes, freeze frames, monitor results and what the
// computers have learned are lost. It is the only way to send it, and for nothing but a
// person's command. It first reads engine speed (PID 0C) and returns [ErrEngineRuns]
// unless a computer answers and all that answer say zero. The error is else as that of
// [Adapter.Exchange], the outcome in the exchange.
func (a *Adapter) ClearCodes(ctx context.Context) (Exchange, error) {
	x := Exchange{Request: Request{Service: 0x04}}
	speed, err := a.Exchange(ctx, Request{Service: 0x01, Data: []byte{0x0C}})
	if err != nil {
		return x, err
	}
	stands := speed.Outcome == OK
	for _, r := range speed.Replies {
		stands = stands && len(r.Data) == 4 && r.Data[2] == 0 && r.Data[3] == 0
	}
	if !stands {
		return x, fmt.Errorf("clear codes: %w", ErrEngineRuns)
	}
	x.Sent = a.now()
	err = a.exchange(ctx, &x, "04")
	x.Received = max(x.Received, x.Sent)
	// A return on its own must never repeat it.
	a.last = ""
	switch {
	case errors.Is(err, errSilent):
		x.Outcome, x.Received, err = TimedOut, a.now(), nil
	case errors.Is(err, ErrLinkLost):
		x.Outcome, x.Received = LinkLost, a.now()
	}
	if err != nil {
		return x, fmt.Errorf("clear codes: %w", err)
	}
	if _, err := a.Exchange(ctx, Request{Service: 0x01, Data: []byte{0x00}}); err != nil {
		return x, fmt.Errorf("clear codes: %w", err)
	}
	return x, nil
}
