package poll

import (
	"bytes"
	"context"
	"fmt"

	"pushback/decode"
	"pushback/obd"
)

// discover asks what the car offers. A request that is not answered is left at that,
// but for the first, which may have been asked already.
func (p *Poller) discover(ctx context.Context, first *obd.Exchange) error {
	ask := func(service byte, data ...byte) (obd.Exchange, error) {
		req := obd.Request{Service: service, Data: data}
		req.Expect = p.plan.expect(req)
		if first != nil {
			x := *first
			first = nil
			p.found = append(p.found, p.record(&x))
			return x, nil
		}
		x, err := p.ask(ctx, req)
		if err == nil {
			p.watchCodes()
			if service == 0x03 || service == 0x07 {
				p.plan.counted(&x)
			}
			p.found = append(p.found, p.record(&x))
		}
		return x, err
	}
	for base := 0; base <= 0xE0; base += 0x20 {
		if base > 0 && !p.vehicle.Decoder.AnySupports(byte(base)) {
			break
		}
		for range 3 {
			x, err := ask(0x01, byte(base))
			if err != nil {
				return err
			}
			if x.Outcome == obd.OK {
				// Without headers several computers look like one.
				p.plan.unsure = p.plan.unsure || !p.vehicle.Format.Headers && len(x.Replies) > 1
				break
			}
		}
		if base == 0 && !p.vehicle.Decoder.AnySupports(0x00) {
			return fmt.Errorf("ask for supported PIDs: %w", obd.ErrNoVehicle)
		}
	}
	for _, req := range p.particulars() {
		if _, err := ask(req.Service, req.Data...); err != nil {
			return err
		}
	}
	if p.plan.can {
		return p.tryPacked(ask)
	}
	return nil
}

// particulars are what discovery asks after the bitmaps: sensors and their place, state of the
// computer, codes, and the vehicle's number where wanted.
func (p *Poller) particulars() []obd.Request {
	var all []obd.Request
	for _, pid := range []byte{0x13, 0x1D, 0x01, 0x03, 0x1C, 0x51} {
		if p.vehicle.Decoder.Supports(pid) {
			all = append(all, obd.Request{Service: 0x01, Data: []byte{pid}})
		}
	}
	all = append(all, obd.Request{Service: 0x03}, obd.Request{Service: 0x07})
	if p.config.VIN {
		all = append(all, obd.Request{Service: 0x09, Data: []byte{0x02}})
	}
	return all
}

// tryPacked asks two PIDs at once, and one PID twice: not all computers answer that.
func (p *Poller) tryPacked(ask func(byte, ...byte) (obd.Exchange, error)) error {
	var two []byte
	for _, pid := range []byte{0x0C, 0x05, 0x0D, 0x03, 0x06, 0x11} {
		if p.vehicle.Decoder.Supports(pid) && len(two) < 2 {
			two = append(two, pid)
		}
	}
	if f := p.vehicle.Format; (f.Padded || !f.Headers) && p.vehicle.Decoder.Supports(0x0C) {
		x, err := ask(0x01, 0x0C, 0x0C)
		if err != nil {
			return err
		}
		p.plan.double = x.Outcome == obd.OK
	}
	if len(two) < 2 {
		return nil
	}
	x, err := ask(0x01, two...)
	for _, r := range x.Replies {
		if len(r.Data) == 1+2+decode.PIDLength(two[0])+decode.PIDLength(two[1]) && bytes.IndexByte(r.Data, two[1]) > 0 {
			p.plan.multi = true
		}
	}
	return err
}
