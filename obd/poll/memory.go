package poll

import (
	"bytes"
	"context"
	"errors"
	"slices"

	"pushback/decode"
	"pushback/obd"
)

// Memory keeps what was learned of cars, so that the next start need not find it out
// again. The key stands for a port and an adapter. What is remembered is verified before
// it is used, so a Memory may be wrong or forget.
type Memory interface {
	// Recall returns the cars met through this adapter, the latest first.
	Recall(key string) []Car
	// Remember keeps [Met] of them and this one.
	Remember(key string, c Car)
}

// Car is what was learned of a car, fit to be kept as JSON.
type Car struct {
	Known   obd.Known // of adapter and bus
	Packed  bool      // it answers several PIDs in one request
	Doubles bool      // it answers one PID twice, if asked for it twice
	Replies []Reply   // of discovery that do not change: bitmaps and sensors
}

// MaxCars is how many cars are remembered of one adapter.
const MaxCars = 16

// Met puts a car before those that were met earlier, and forgets what is beyond [MaxCars].
func Met(cars []Car, c Car) []Car {
	others := append([]Car{c}, slices.DeleteFunc(slices.Clone(cars), c.same)...)
	return others[:min(len(others), MaxCars)]
}

// same tells whether two cars answer discovery alike: then they are one, or as good as one.
func (c Car) same(o Car) bool {
	return c.Known.Format == o.Known.Format && len(c.Replies) == len(o.Replies) &&
		!slices.ContainsFunc(c.Replies, func(r Reply) bool { return !o.has(r) })
}

func (c *Car) has(r Reply) bool {
	return slices.ContainsFunc(c.Replies, func(o Reply) bool {
		return o.Request == r.Request && o.From == r.From && bytes.Equal(o.Data, r.Data)
	})
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
	return pid%0x20 == 0 || layoutOrScale(req)
}

// layoutOrScale tells the requests that say which sensor a PID means, and by what scale.
func layoutOrScale(req obd.Request) bool {
	return req.Service == 0x01 && len(req.Data) == 1 && bytes.IndexByte([]byte{0x13, 0x1D, 0x4F, 0x50}, req.Data[0]) >= 0
}

func (p *Poller) key() string { return p.config.Port + "|" + p.adapter.Identity().Text }

// remember keeps what discovery learned.
func (p *Poller) remember() {
	if p.config.Memory == nil {
		return
	}
	c := Car{Known: p.adapter.Known(), Packed: p.plan.multi, Doubles: p.plan.double}
	for _, r := range p.found {
		c.Replies = append(c.Replies, repliesOf(r.Exchange)...)
	}
	p.config.Memory.Remember(p.key(), c)
}

// repliesOf are the replies of an exchange that are worth being remembered.
func repliesOf(x *obd.Exchange) []Reply {
	if !lasting(x.Request) || x.Outcome != obd.OK {
		return nil
	}
	var all []Reply
	for _, r := range x.Replies {
		all = append(all, Reply{x.Request.Hex(), r.From, slices.Clone(r.Data)})
	}
	return all
}

// tries are the buses to ask on before a search, of the cars that are remembered: two quick
// ones, then slow ones, the slowest last. A start with 5 baud takes 2.5 s in vain, so before
// it come those that tell of CAN, which most cars have. A known car is met within a tenth of the shortest time
// that way; one that is not known waits for what was asked in vain, 3 s at the most.
func tries(cars []Car) []obd.Bus {
	if len(cars) == 0 {
		return nil
	}
	var quick, fast, slow []obd.Bus
	for _, c := range cars {
		b := c.Known.Format.Bus
		kind := &slow
		switch {
		case b.CAN(), b == obd.VPW, b == obd.PWM:
			kind = &quick
		case b == obd.ISO14230Fast:
			kind = &fast
		}
		*kind = add(*kind, b)
	}
	all := append(quick[:min(len(quick), 2)], fast...) // there is one fast K-line
	if len(slow) > 0 {
		all = append(add(add(all, obd.CAN11at500), obd.CAN11at250), slow[0])
	}
	return all
}

func add(buses []obd.Bus, b obd.Bus) []obd.Bus {
	if slices.Contains(buses, b) {
		return buses
	}
	return append(buses, b)
}

// recall returns the cars that may be met: remembered, and on a bus that may be asked on.
func (p *Poller) recall() []Car {
	if p.config.Memory == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(p.config.Memory.Recall(p.key())), func(c Car) bool {
		b := c.Known.Format.Bus
		return b == obd.BusUnknown || b > obd.CAN29at250 || p.config.Bus != obd.BusUnknown && p.config.Bus != b
	})
}

// find finds the bus, by what is remembered if that helps, and the car if it is a remembered
// one. Of another car that has answered it returns the answer, with which discovery begins.
func (p *Poller) find(ctx context.Context) (known bool, first *obd.Record, err error) {
	cars := p.recall()
	buses := tries(cars)
	if p.config.Bus != obd.BusUnknown && len(cars) > 0 { // there is no other
		buses = []obd.Bus{p.config.Bus}
	}
	var vain []obd.Vain
	for _, b := range buses {
		if !b.CAN() && slices.ContainsFunc(vain, func(v obd.Vain) bool { return v.Bus.CAN() && v.Said == obd.NoData }) {
			break // there is a CAN bus: it may be any car of those
		}
		for _, there := range speaking(cars, b) {
			if err := p.adapter.Use(ctx, there[0].Known); errors.Is(err, obd.ErrNoVehicle) {
				break
			} else if err != nil {
				return false, nil, err
			}
			p.vehicle.Format = there[0].Known.Format
			known, first, err := p.meet(ctx, there)
			if known || answered(first) != nil || err != nil {
				return known, answered(first), err
			}
			if first != nil && p.vehicle.Format.Dialect == obd.J1979 {
				vain = append(vain, obd.Vain{Bus: b, Said: first.Outcome})
			}
		}
	}
	p.begin()
	if p.vehicle.Format, err = p.adapter.FindBus(ctx, p.config.Bus, vain...); err != nil {
		return false, nil, err
	}
	if there := onBus(cars, p.vehicle.Format.Bus, p.vehicle.Format.Dialect); len(there) > 0 {
		known, first, err = p.meet(ctx, there)
		return known, answered(first), err
	}
	p.begin()
	return false, nil, nil
}

// answered returns the exchange if a car has answered it.
func answered(x *obd.Record) *obd.Record {
	if x == nil || x.Outcome != obd.OK {
		return nil
	}
	return x
}

func onBus(cars []Car, b obd.Bus, d obd.Dialect) []Car {
	return slices.DeleteFunc(slices.Clone(cars), func(c Car) bool { return c.Known.Format.Bus != b || c.Known.Format.Dialect != d })
}

// speaking are the cars that may be met on a bus, by dialect: that of the one met last comes first.
// Where none was met there it may be any car.
func speaking(cars []Car, b obd.Bus) [][]Car {
	var all [][]Car
	for _, d := range []obd.Dialect{obd.J1979, obd.J1979v2} {
		if there := onBus(cars, b, d); len(there) > 0 {
			all = append(all, there)
		}
	}
	if len(all) == 2 {
		last := slices.IndexFunc(cars, func(c Car) bool { return c.Known.Format.Bus == b })
		if cars[last].Known.Format.Dialect == obd.J1979v2 {
			slices.Reverse(all)
		}
	}
	if len(all) == 0 {
		k := cars[0].Known
		k.Framed = false
		k.Format = obd.Format{Bus: b, Headers: k.Format.Headers, Padded: k.Format.Headers && b.CAN()}
		all = [][]Car{{{Known: k}}}
	}
	return all
}

// meet asks the first request, and takes a car for known if it answers that as it did then. What
// else discovery asks comes after the first reading, and is compared too. Of another car it
// returns the answer, of none what came instead.
func (p *Poller) meet(ctx context.Context, cars []Car) (known bool, x *obd.Record, err error) {
	req := obd.Request{Service: 0x01, Data: []byte{0x00}}
	req.Expect = cars[0].count(req)
	for _, o := range cars[1:] { // one that answers alike, and then with one computer more
		if o.count(req) != req.Expect && slices.ContainsFunc(o.Replies, func(r Reply) bool { return r.Request == req.Hex() && cars[0].has(r) }) {
			req.Expect = 0
		}
	}
	ask := func() error {
		p.begin()
		got, err := p.ask(ctx, req)
		x = &got
		return err
	}
	agrees := func(c Car) bool { return c.Known.Format == p.vehicle.Format && c.agrees(x.Exchange) }
	if err := ask(); err != nil {
		return false, nil, err
	}
	f := printed(x.Exchange, p.vehicle.Format)
	if f.Bus == obd.BusUnknown {
		return false, x, nil
	}
	if f != p.vehicle.Format || !agrees(cars[0]) && req.Expect > 0 {
		if f != p.vehicle.Format {
			k := p.adapter.Known()
			k.Format = f
			if kept, err := p.adapter.Keep(ctx, k); err != nil || !kept {
				return false, nil, err
			}
			p.vehicle.Format = f
		}
		req.Expect = 0 // others may have more computers
		if err := ask(); err != nil || x.Outcome != obd.OK {
			return false, nil, err
		}
	}
	if i := slices.IndexFunc(cars, agrees); i >= 0 && p.take(cars[i], x) {
		return true, x, nil
	}
	return false, x, nil
}

// printed tells how the answer to the first request is printed, on the same bus and by the
// same adapter as before; no bus if it is none.
func printed(x *obd.Exchange, f obd.Format) obd.Format {
	for _, padded := range []bool{true, false} {
		if f.Padded = padded; padded && (!f.Headers || !f.Bus.CAN()) {
			continue
		}
		if f.Fits(x.Raw, x.Request) {
			return f
		}
	}
	return obd.Format{}
}

// take takes a car for known; false where what is remembered makes no sense.
func (p *Poller) take(c Car, x *obd.Record) bool {
	first := x.Request
	var later []obd.Request
	for _, r := range c.Replies {
		req, err := obd.ParseRequest(r.Request)
		if err != nil || !lasting(req) {
			return false
		}
		if req.Data[0] != 0 && req.Data[0]%0x20 == 0 && !slices.ContainsFunc(later, func(o obd.Request) bool { return o.Hex() == req.Hex() }) {
			later = append(later, req)
		}
	}
	for _, r := range c.Replies {
		req, _ := obd.ParseRequest(r.Request)
		// What cannot be decoded teaches nothing.
		_, _ = p.vehicle.Decoder.Reply(r.From, req.Bytes(), r.Data, 0, 0, nil)
	}
	p.found = append(p.found, p.number(*x))
	p.plan.multi, p.plan.double = c.Packed, c.Doubles
	p.plan.unsure = !c.Known.Format.Headers && c.count(first) > 1
	p.later = append(p.particulars(), later...)
	for i := range p.later {
		p.later[i].Expect = p.plan.expect(p.later[i])
	}
	// Where the place of the sensor is not told by its PID alone, the layout goes first, and so
	// do the scales of a wide-range one.
	for _, s := range watched(p.vehicle.Decoder.Sensors(), p.config.Sensor) {
		if s.PID <= 0x15 {
			continue
		}
		n := 0
		for n < len(p.later) && layoutOrScale(p.later[n]) && (n == 0 || s.Kind == decode.WideRange) {
			n++
		}
		p.urgent, p.later = p.later[:n:n], p.later[n:]
		break
	}
	p.memo = &meeting{car: c, heard: repliesOf(x.Exchange)}
	return true
}

// meeting is a car that was taken for known until all that discovery asks is compared.
type meeting struct {
	car   Car
	heard []Reply
	other bool // it is another
}

// verify compares what a car that was taken for known answers with what it did then.
// It is another car when that differs.
func (p *Poller) verify(x *obd.Exchange) {
	m := p.memo
	if m == nil {
		return
	}
	if x.Outcome == obd.OK && lasting(x.Request) {
		m.heard = append(m.heard, repliesOf(x)...)
		if !m.car.agrees(x) {
			m.other = true
			p.choose() // the decoder has learned already
		}
		if m.other {
			p.askRest()
		}
	}
	if len(p.later) > 0 || len(p.urgent) > 0 {
		return
	}
	p.memo = nil
	switch c := (Car{Known: p.adapter.Known(), Packed: p.plan.multi, Doubles: p.plan.double, Replies: m.heard}); {
	case !m.other:
		p.config.Memory.Remember(p.key(), m.car)
	case c.Packed || !p.plan.can: // else nobody has tried it
		p.config.Memory.Remember(p.key(), c)
	}
}

// askRest adds what another car than was thought offers beyond that one.
func (p *Poller) askRest() {
	rest := p.particulars()
	for base := 0x20; base <= 0xE0; base += 0x20 {
		if p.vehicle.Decoder.AnySupports(byte(base)) {
			rest = append(rest, obd.Request{Service: 0x01, Data: []byte{byte(base)}})
		}
	}
	for _, req := range rest {
		known := func(o obd.Request) bool { return o.Hex() == req.Hex() }
		if lasting(req) && !slices.ContainsFunc(p.later, known) && !slices.ContainsFunc(p.urgent, known) &&
			!slices.ContainsFunc(p.memo.heard, func(r Reply) bool { return r.Request == req.Hex() }) {
			p.later = append(p.later, req)
		}
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
	return x.Outcome == obd.OK && len(x.Replies) == c.count(x.Request) &&
		!slices.ContainsFunc(repliesOf(x), func(r Reply) bool { return !c.has(r) })
}
