package poll

import (
	"bytes"
	"context"
	"errors"
	"slices"

	"pushback/obd"
)

// Memory keeps what was learned of a car, so that the next start need not find it out
// again. The key stands for a port and an adapter. What is remembered is verified before
// it is used, so a Memory may be wrong or forget.
type Memory interface {
	Recall(key string) (Car, bool)
	Remember(key string, c Car)
}

// Car is what was learned of a car, fit to be kept as JSON.
type Car struct {
	Known   obd.Known // of adapter and bus
	Packed  bool      // it answers several PIDs in one request
	Doubles bool      // it answers one PID twice, if asked for it twice
	Replies []Reply   // of discovery that do not change: bitmaps and sensors
}

// Reply is one computer's answer to a request of discovery.
type Reply struct {
	Request string // hexadecimal, "0100"
	From    uint32
	Data    []byte
}

// lasting tells the requests of discovery whose answers do not change with time.
func lasting(req obd.Request) bool {
	if req.Service != 0x01 || len(req.Data) != 1 {
		return false
	}
	pid := req.Data[0]
	return pid%0x20 == 0 || pid == 0x13 || pid == 0x1D
}

func (p *Poller) key() string { return p.config.Port + "|" + p.adapter.Identity().Text }

// remember keeps what discovery learned.
func (p *Poller) remember() {
	if p.config.Memory == nil {
		return
	}
	c := Car{Known: p.adapter.Known(), Packed: p.plan.multi, Doubles: p.plan.double}
	for _, r := range p.found {
		if x := r.Exchange; lasting(x.Request) && x.Outcome == obd.OK {
			for _, reply := range x.Replies {
				c.Replies = append(c.Replies, Reply{x.Request.Hex(), reply.From, slices.Clone(reply.Data)})
			}
		}
	}
	p.config.Memory.Remember(p.key(), c)
}

// recall takes the car that was last met with this adapter for known, if it answers the first
// request as it did then. What else discovery asks comes after the first reading, and is
// compared too.
func (p *Poller) recall(ctx context.Context) (bool, error) {
	if p.config.Memory == nil {
		return false, nil
	}
	c, ok := p.config.Memory.Recall(p.key())
	bus := c.Known.Format.Bus
	if !ok || bus == obd.BusUnknown || bus > obd.CAN29at250 || p.config.Bus != obd.BusUnknown && p.config.Bus != bus {
		return false, nil
	}
	if err := p.adapter.Use(ctx, c.Known); errors.Is(err, obd.ErrNoVehicle) {
		return false, nil
	} else if err != nil {
		return false, err
	}
	p.vehicle.Format = c.Known.Format
	p.begin()
	first := obd.Request{Service: 0x01, Data: []byte{0x00}}
	first.Expect = c.count(first)
	x, err := p.ask(ctx, first)
	if err != nil {
		return false, err
	}
	if !c.agrees(&x) {
		return false, nil
	}
	p.found = append(p.found, p.record(&x))
	for _, r := range c.Replies {
		req, err := obd.ParseRequest(r.Request)
		if err != nil || !lasting(req) {
			return false, nil
		}
		p.plan.learn(req, obd.Reply{From: r.From, Data: r.Data})
		// What cannot be decoded teaches nothing.
		_, _ = p.vehicle.Decoder.Reply(r.From, append([]byte{req.Service}, req.Data...), r.Data, 0, 0, nil)
		if req.Data[0] != 0 && req.Data[0]%0x20 == 0 && !slices.ContainsFunc(p.later, func(o obd.Request) bool { return o.Hex() == req.Hex() }) {
			p.later = append(p.later, req)
		}
	}
	p.plan.multi, p.plan.double = c.Packed, c.Doubles
	p.plan.unsure = !c.Known.Format.Headers && c.count(first) > 1 || p.vehicle.Decoder.Supports(0x1D)
	p.later = append(p.particulars(), p.later...)
	for i := range p.later {
		p.later[i].Expect = p.plan.expect(p.later[i])
	}
	// Where the place of the sensor is not told by its PID alone, the layout goes first.
	for _, s := range watched(p.vehicle.Decoder.Sensors(), p.config.Sensor) {
		if s.PID > 0x15 {
			p.urgent, p.later = p.later[:1:1], p.later[1:]
			break
		}
	}
	p.memo = &c
	return true, nil
}

// verify compares what a car that was taken for known answers with what it did then.
// It is another car when that differs.
func (p *Poller) verify(x *obd.Exchange) {
	if p.memo == nil {
		return
	}
	if x.Outcome == obd.OK && lasting(x.Request) && !p.memo.agrees(x) {
		for _, r := range x.Replies {
			p.plan.learn(x.Request, r)
		}
		p.choose() // the decoder has learned already
	}
	if len(p.later) == 0 {
		p.memo = nil
	}
}

// count is how many replies a request had.
func (c *Car) count(req obd.Request) int {
	n := 0
	for _, r := range c.Replies {
		if r.Request == req.Hex() {
			n++
		}
	}
	return n
}

// agrees tells whether an exchange brought what is remembered of it.
func (c *Car) agrees(x *obd.Exchange) bool {
	if x.Outcome != obd.OK || len(x.Replies) != c.count(x.Request) {
		return false
	}
	for _, r := range x.Replies {
		if !slices.ContainsFunc(c.Replies, func(o Reply) bool {
			return o.Request == x.Request.Hex() && o.From == r.From && bytes.Equal(o.Data, r.Data)
		}) {
			return false
		}
	}
	return true
}
