package poll

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"pushback/decode"
	"pushback/obd"
)

// discover asks what the car offers. A request that is not answered is left at that,
// but for the first, which may have been asked already.
func (p *Poller) discover(ctx context.Context, first *obd.Record) error {
	ask := func(service byte, data ...byte) (obd.Record, error) {
		req := obd.Request{Service: service, Data: data}
		req.Expect = p.plan.expect(req)
		if first != nil {
			x := *first
			first = nil
			p.found = append(p.found, p.number(x))
			return x, nil
		}
		for {
			x, err := p.ask(ctx, req)
			if err != nil {
				return x, err
			}
			p.watchCodes()
			if service == 0x03 || service == 0x07 {
				p.plan.counted(x.Exchange)
			}
			again := p.deferred.Again(&x)
			p.found = append(p.found, p.number(x))
			if !again {
				return x, nil
			}
			req.Expect = 0
		}
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

// particulars are what discovery asks after the bitmaps: sensors and their place, the scales that
// the car declares, state of the computer, codes, and the vehicle's number where wanted.
func (p *Poller) particulars() []obd.Request {
	var all []obd.Request
	for _, pid := range []byte{0x13, 0x1D, 0x4F, 0x50, 0x01, 0x03, 0x1C, 0x51, 0x5B} {
		if p.vehicle.Decoder.Supports(pid) {
			all = append(all, obd.Request{Service: 0x01, Data: []byte{pid}})
		}
	}
	if p.plan.dialect == obd.J1979v2 && !p.vehicle.Decoder.Supports(0x01) {
		// Readiness by groups. That of the components is known by its number; of the others the
		// numbers are not, nor how F501 is laid out.
		all = append(all, obd.Request{Service: 0x19, Data: []byte{0x56, 0x33, 0x01}})
	}
	all = append(all, obd.Request{Service: 0x03}, obd.Request{Service: 0x07})
	if p.config.VIN {
		all = append(all, obd.Request{Service: 0x09, Data: []byte{0x02}})
	}
	return all
}

// tryPacked asks several PIDs at once, and one PID twice: not all computers answer that.
func (p *Poller) tryPacked(ask func(byte, ...byte) (obd.Record, error)) error {
	var some []byte
	for _, pid := range []byte{0x0C, 0x05, 0x0D, 0x03, 0x06, 0x0B} {
		if p.vehicle.Decoder.Supports(pid) {
			some = append(some, pid)
		}
	}
	if f := p.vehicle.Format; (f.Padded || !f.Headers) && p.vehicle.Decoder.Supports(0x0C) && p.plan.dialect == obd.J1979 {
		x, err := ask(0x01, 0x0C, 0x0C)
		if err != nil {
			return err
		}
		p.plan.double = x.Outcome == obd.OK
	}
	// J1979 has one limit for all cars. In J1979-2 each has its own, and says 7F 22 13 beyond.
	tries := []int{2}
	if p.plan.dialect == obd.J1979v2 {
		tries = []int{p.plan.dialect.MostPIDs(), 2}
	}
	for _, n := range tries {
		if len(some) < n {
			continue
		}
		x, err := ask(0x01, some[:n]...)
		if err != nil {
			return err
		}
		if p.brought(x.Exchange, some[:n]) {
			p.plan.multi = true
			if n < p.plan.dialect.MostPIDs() && p.plan.dialect == obd.J1979v2 {
				p.plan.most = n
			}
			return nil
		}
	}
	return nil
}

// brought tells whether one computer answered all of the PIDs in one reply.
func (p *Poller) brought(x *obd.Exchange, pids []byte) bool {
	want := 1
	for _, pid := range pids {
		want += p.plan.dialect.IDBytes() + decode.PIDLength(pid)
	}
	return x.Outcome == obd.OK && slices.ContainsFunc(x.Replies, func(r obd.Reply) bool {
		return len(r.Data) == want && !slices.ContainsFunc(pids, func(pid byte) bool { return bytes.IndexByte(r.Data, pid) < 0 })
	})
}
