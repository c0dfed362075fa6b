package poll

import (
	"context"
	"errors"
	"fmt"

	"pushback/obd"
)

// mend makes one attempt to bring the dialogue back and returns its record. When the budget is
// used up it sets fatal; when it was interrupted there is no record. Its error is the
// context's.
func (p *Poller) mend(ctx context.Context) (obd.Record, bool, error) {
	if p.now()-p.lastGood > budget || p.lost && p.config.Reopen == nil {
		p.fatal = fmt.Errorf("go on after a loss: %w", p.broken)
		return obd.Record{}, false, nil
	}
	if p.attempts > 0 {
		if err := p.clock.Sleep(ctx, retryPause); err != nil {
			return obd.Record{}, false, err
		}
	}
	try, cancel := context.WithCancel(ctx)
	defer cancel()
	if !p.setHurry(cancel) { // marks and Stop are not kept waiting
		return obd.Record{}, false, nil
	}
	defer p.setHurry(nil)

	p.attempts++
	x := obd.Record{Exchange: &obd.Exchange{Request: obd.Request{Service: 0x01, Data: []byte{0x00}}}, Sent: p.now()}
	err := p.restart(try, &x)
	if ctx.Err() != nil {
		return obd.Record{}, false, ctx.Err()
	}
	if try.Err() != nil && err != nil {
		return obd.Record{}, false, nil
	}
	switch {
	case err == nil:
		p.broken, p.attempts, p.reached, p.lastGood, p.wasGood = nil, 0, 0, p.now(), true
	case x.Outcome != obd.OK:
		p.broken = err
	default: // it failed before anything was asked
		p.broken, x.At = err, p.now()
		switch {
		case errors.Is(err, obd.ErrLinkLost):
			x.Outcome = obd.LinkLost
		case errors.Is(err, obd.ErrNoVehicle):
			x.Outcome = obd.NoData
		default:
			x.Outcome = obd.TimedOut
		}
	}
	p.lost = p.lost || errors.Is(err, obd.ErrLinkLost)
	return p.number(x), true, nil
}

// setHurry says how an attempt is interrupted; false when there is reason to at once.
func (p *Poller) setHurry(f context.CancelFunc) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if f != nil && (p.stopped || len(p.marks) > 0) {
		return false
	}
	p.hurry = f
	return true
}

// restart opens the line if it was lost, sets up adapter and bus again, and asks the
// car, which is x.
func (p *Poller) restart(ctx context.Context, x *obd.Record) error {
	reopened := p.lost
	if p.lost {
		l, err := p.config.Reopen(ctx)
		if err != nil {
			return fmt.Errorf("%w: %w", obd.ErrLinkLost, err)
		}
		p.adapter.SetLink(l)
		p.lost = false
	}
	before := p.adapter.Known()
	if before.Format == (obd.Format{}) { // an attempt that failed forgot it
		before = p.known
	}
	p.known = before
	if p.reached > 0 && p.now()-max(p.lastGood, p.reset) >= resetAfter {
		p.reached, p.reset = 0, p.now()
		if _, err := p.adapter.Start(ctx); err != nil {
			return err
		}
		f, err := p.adapter.FindBus(ctx, before.Format.Bus)
		if err != nil {
			return err
		}
		if f.Headers != before.Format.Headers { // a session has one format
			return fmt.Errorf("adapter prints in another way than before: %w", obd.ErrNoAdapter)
		}
	} else {
		if err := p.adapter.Again(ctx); err != nil {
			return err
		}
		p.reached++
		kept := false
		if reopened || p.reached == 1 { // perhaps only the line was away
			var err error
			if kept, err = p.adapter.Keep(ctx, before); err != nil {
				return err
			}
		}
		if !kept {
			if err := p.adapter.Use(ctx, before); err != nil {
				return err
			}
		}
	}
	req := obd.Request{Service: 0x01, Data: []byte{0x00}}
	for _, addr := range p.vehicle.Decoder.Computers() {
		if p.vehicle.Decoder.SupportedBy(addr, 0x00) {
			req.Expect++
		}
	}
	var err error
	if *x, err = p.ask(ctx, req); err != nil {
		return err
	}
	if x.Outcome != obd.OK && x.Outcome != obd.Refused {
		return cause(x.Outcome)
	}
	return nil
}
