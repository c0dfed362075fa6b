// Package poll decides what to ask a car next and when, and recovers from a lost
// line: it is the live source of a session's records.
package poll

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"pushback/decode"
	"pushback/obd"
)

// Config says what to read.
type Config struct {
	Sensor string  // the sensor to read as often as the bus allows, "B1S1"; "" means all upstream ones
	Bus    obd.Bus // BusUnknown: search
	VIN    bool    // read the vehicle's number too: personal data, so only when wanted
	// Reopen opens the line again after it was lost, under another name if need be;
	// nil: the session ends then.
	Reopen func(ctx context.Context) (obd.Link, error)
	// Memory of cars met before, and the port by which they are told apart together
	// with the adapter's name; nil: every start is the first.
	Memory Memory
	Port   string
}

// Vehicle is what start-up and discovery learned. The Decoder belongs to the
// poller; read it before the first Next only.
type Vehicle struct {
	Identity obd.Identity
	Format   obd.Format
	Decoder  *decode.Decoder
}

// Poller asks a car and yields the records. Next is for one goroutine, Mark and
// Stop for any.
type Poller struct {
	adapter *obd.Adapter
	clock   obd.Clock
	config  Config
	origin  time.Time
	vehicle Vehicle
	plan    plan
	trims   []*trimByte
	urgent  []obd.Request // before all else: codes after PID 01 changed
	later   []obd.Request // discovery on a known car, after the first reading
	begun   bool          // there was a reading
	memo    *meeting      // with a car taken for known, until all is compared
	asked   []obd.Request // by Ask
	askTurn bool          // the exchange now may be one of them
	closing []obd.Request // what Stop still reads; nil before
	found   []obd.Record  // discovery, not yet yielded
	seq     int64
	at      time.Duration // of the last record
	samples []decode.Sample
	codes   map[string]float64 // MIL and DTC_CNT as last read

	lastGood time.Duration // last exchange that a computer answered
	wasGood  bool          // the last exchange was such
	unpacked int           // requests for several PIDs in a row that failed
	known    obd.Known     // what start-up found out, for another try
	lost     bool          // the line must be opened again
	broken   error         // why the dialogue must be set up again; nil: it runs
	attempts int           // to do that
	reached  int           // of them, those that had an adapter, since the last reset
	reset    time.Duration // when an attempt last began with one
	fatal    error         // what Next returns from now on

	mu      sync.Mutex
	marks   []mark
	stopped bool
	hurry   context.CancelFunc // ends an attempt to mend, for a mark or Stop
}

type mark struct {
	obd.Mark
	at time.Duration
}

// Patience with a car or an adapter that does not answer.
const (
	budget    = 20 * time.Second        // since the last answer, then the session ends
	uneasy    = 1500 * time.Millisecond // since the last answer, then adapter and bus are set up again
	thorough  = 6 * time.Second         // since the last answer or reset, then an attempt at that begins with a reset
	maxMisses = 3                       // of an item or of packed requests, then they are left out
	glance    = 200 * time.Millisecond
)

// Open starts the adapter, finds the bus and learns what the car offers. Time 0 is
// when that last step, discovery, begins; Next yields its records first. The error
// is one of obd's sentinels or the context's.
func Open(ctx context.Context, a *obd.Adapter, c obd.Clock, cfg Config) (*Poller, error) {
	p := &Poller{adapter: a, clock: c, config: cfg}
	if _, err := a.Start(ctx); err != nil {
		return nil, err
	}
	known, first, err := p.find(ctx)
	if err != nil {
		return nil, err
	}
	if !known {
		if err := p.discover(ctx, first); err != nil {
			return nil, err
		}
		p.remember()
	}
	p.vehicle.Identity = a.Identity()
	p.lastGood, p.wasGood = p.now(), true
	p.choose()
	return p, nil
}

// begin lets time begin, with nothing known of the car.
func (p *Poller) begin() {
	p.origin = p.clock.Now()
	p.adapter.SetOrigin(p.origin)
	p.at, p.seq, p.found, p.urgent, p.later = 0, 0, nil, nil, nil
	p.vehicle.Decoder = new(decode.Decoder)
	p.plan = plan{can: p.vehicle.Format.Bus.CAN(), pids: map[uint32]*[256]bool{}, noCount: map[string]int{}, codes: map[string]int{}}
}

// choose decides what is read by what is known of the car.
func (p *Poller) choose() {
	p.plan.items, p.trims = nil, nil
	p.plan.fill(p.vehicle.Decoder, p.config.Sensor)
	for _, it := range slices.Clone(p.plan.items) {
		if !p.adapter.Sends(it.request()) {
			p.plan.drop(it)
		}
	}
	for _, s := range watched(p.vehicle.Decoder.Sensors(), p.config.Sensor) {
		if it := p.plan.item(0x01, trimPID(s.Bank)); it != nil && 0x14 <= s.PID && s.PID <= 0x1B {
			p.trims = append(p.trims, &trimByte{
				with: fmt.Sprintf("SHRTFT%d%d", s.Bank, s.Position), alone: fmt.Sprintf("SHRTFT%d", s.Bank), item: it,
			})
		}
	}
}

// Vehicle returns what start-up and discovery learned.
func (p *Poller) Vehicle() Vehicle { return p.vehicle }

// Origin returns the moment from which the times of the records count.
func (p *Poller) Origin() time.Time { return p.origin }

// Quirks returns what the adapter was seen to refuse or do differently so far. It is for the
// goroutine of Next.
func (p *Poller) Quirks() []string { return p.adapter.Identity().Quirks }

// discover asks what the car offers. A request that is not answered is left at that,
// but for the first, which may have been asked already.
func (p *Poller) discover(ctx context.Context, first *obd.Exchange) error {
	d := p.vehicle.Decoder
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
		if base > 0 && !p.anySupports(byte(base)) {
			break
		}
		for range 3 {
			x, err := ask(0x01, byte(base))
			if err != nil {
				return err
			}
			if x.Outcome == obd.OK {
				for _, r := range x.Replies {
					p.plan.learn(x.Request, r)
				}
				// Without headers several computers look like one.
				p.plan.unsure = p.plan.unsure || !p.vehicle.Format.Headers && len(x.Replies) > 1
				break
			}
		}
		if base == 0 && len(p.plan.pids) == 0 {
			return fmt.Errorf("ask for supported PIDs: %w", obd.ErrNoVehicle)
		}
	}
	// Banks 3 and 4 lengthen the trims by a byte.
	p.plan.fourBanks = d.Supports(0x1D)
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

func (p *Poller) anySupports(pid byte) bool {
	for _, has := range p.plan.pids {
		if has[pid] {
			return true
		}
	}
	return false
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

// ask exchanges one request and lets the decoder learn from it.
func (p *Poller) ask(ctx context.Context, req obd.Request) (obd.Exchange, error) {
	x, err := p.adapter.Exchange(ctx, req)
	p.samples = p.samples[:0]
	if err != nil || x.Outcome != obd.OK {
		return x, err
	}
	request := append([]byte{req.Service}, req.Data...)
	for _, r := range x.Replies {
		// What cannot be decoded gives no samples; the session tells of it.
		p.samples, _ = p.vehicle.Decoder.Reply(r.From, request, r.Data, x.Sent, x.Received, p.samples)
	}
	return x, nil
}

// record makes the next record out of an exchange.
func (p *Poller) record(x *obd.Exchange) obd.Record {
	return p.number(obd.Record{At: x.Received, Exchange: x})
}

func (p *Poller) number(r obd.Record) obd.Record {
	r.At = max(r.At, p.at)
	r.Seq, p.at = p.seq, r.At
	p.seq++
	return r
}

func (p *Poller) now() time.Duration { return p.clock.Now().Sub(p.origin).Truncate(time.Microsecond) }

// Mark enters what the technician says, with the present moment, between two
// exchanges. MarkStop also stops.
func (p *Poller) Mark(m obd.Mark) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.marks = append(p.marks, mark{m, p.now()})
	p.stopped = p.stopped || m.Kind == obd.MarkStop
	p.hurryUp()
}

// hurryUp ends an attempt to mend; p.mu is held.
func (p *Poller) hurryUp() {
	if p.hurry != nil {
		p.hurry()
	}
}

// Stop ends the session: the trouble codes are read once more, then Next returns
// io.EOF.
func (p *Poller) Stop() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stopped = true
	p.hurryUp()
}

func (p *Poller) takeMark() (obd.Record, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.marks) == 0 {
		return obd.Record{}, false
	}
	m := p.marks[0]
	p.marks = p.marks[1:]
	p.plan.announce(m.Kind, p.now())
	return p.number(obd.Record{At: m.at, Mark: &m.Mark}), true
}

func (p *Poller) stopping() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.stopped
}

// Next returns the next record: first those of discovery, then marks as they come
// and exchanges. While line, adapter or car are away, each attempt to go on is a
// record too, of the request for supported PIDs. Errors are io.EOF after Stop; the context's; and, when nothing
// has answered for 20 s in spite of all attempts, [obd.ErrLinkLost],
// [obd.ErrNoAdapter] or [obd.ErrNoVehicle], from then on.
func (p *Poller) Next(ctx context.Context) (obd.Record, error) {
	for {
		if err := ctx.Err(); err != nil {
			return obd.Record{}, err
		}
		if len(p.found) > 0 {
			r := p.found[0]
			p.found = p.found[1:]
			return r, nil
		}
		if r, ok := p.takeMark(); ok {
			return r, nil
		}
		if p.fatal != nil {
			return obd.Record{}, p.fatal
		}
		if p.stopping() {
			return p.close(ctx)
		}
		if p.broken == nil {
			return p.poll(ctx)
		}
		if r, ok, err := p.mend(ctx); ok || err != nil {
			return r, err
		}
	}
}

// close makes the closing reads.
func (p *Poller) close(ctx context.Context) (obd.Record, error) {
	if p.closing == nil {
		p.closing = []obd.Request{{Service: 0x07}, {Service: 0x03}}
	}
	if p.broken != nil || len(p.closing) == 0 {
		p.fatal = io.EOF
		return obd.Record{}, p.fatal
	}
	req := p.closing[0]
	p.closing = p.closing[1:]
	x, err := p.ask(ctx, req)
	if errors.Is(err, obd.ErrLinkLost) {
		p.broken = err
	} else if err != nil {
		return obd.Record{}, err
	}
	return p.record(&x), nil
}

// poll makes the exchange that is next.
func (p *Poller) poll(ctx context.Context) (obd.Record, error) {
	var req obd.Request
	var items []*item
	if len(p.urgent) > 0 {
		req, p.urgent = p.urgent[0], p.urgent[1:]
	} else if len(p.later) > 0 && p.begun {
		req, p.later = p.later[0], p.later[1:]
	} else if once, ok := p.takeAsked(); ok {
		req = once
	} else {
		p.begun = true
		req, items = p.plan.next(p.now())
	}
	x, err := p.ask(ctx, req)
	if err != nil && !errors.Is(err, obd.ErrLinkLost) {
		return obd.Record{}, err
	}
	p.judge(&x, items, err)
	p.verify(&x)
	return p.record(&x), nil
}

// judge draws the consequences of one exchange.
func (p *Poller) judge(x *obd.Exchange, items []*item, err error) {
	now := p.now()
	good := x.Outcome == obd.OK || x.Outcome == obd.Refused
	if s := x.Request.Service; (s == 0x03 || s == 0x07) && p.plan.counted(x) {
		p.urgent = append(p.urgent, obd.Request{Service: s})
	}
	packed := x.Request.Service == 0x01 && len(x.Request.Data) > 1
	twice := packed && len(x.Request.Data) == 2 && x.Request.Data[0] == x.Request.Data[1]
	if good {
		p.lastGood = now
	}
	switch x.Outcome {
	case obd.OK:
		for _, it := range items {
			it.misses = 0
		}
		if packed {
			p.unpacked = 0
			if !twice {
				p.plan.fell(items, p.came, now)
			}
		}
		if x.Request.Expect > 0 {
			delete(p.plan.noCount, x.Request.Hex())
		}
		for _, t := range p.trims {
			t.observe(p.samples)
		}
		p.watchCodes()
	case obd.NoData, obd.Refused, obd.Garbled:
		if x.Request.Expect > 0 {
			p.plan.noCount[x.Request.Hex()]++
		}
		if !p.wasGood { // the car as a whole is silent, or the line is bad
			break
		}
		if packed {
			if p.unpacked++; p.unpacked < maxMisses {
				break
			}
			if p.unpacked = 0; twice {
				p.plan.double = false
			} else {
				p.plan.multi = false
			}
			break
		}
		for _, it := range items {
			if it.misses++; it.misses >= maxMisses && !it.fast && x.Outcome != obd.Garbled {
				p.plan.drop(it)
			}
		}
	}
	p.wasGood = good
	switch {
	case x.Outcome == obd.LinkLost:
		p.broken, p.lost = err, true
	case x.Outcome == obd.AdapterReset:
		p.broken = fmt.Errorf("adapter restarted: %w", obd.ErrNoAdapter)
	case !good && now-p.lastGood >= uneasy:
		p.broken = cause(x.Outcome)
	}
}

// came tells whether the last samples hold a value of the item, or whether it has none
// to give (a status, a bitmap).
func (p *Poller) came(it *item) bool {
	missing := false
	for _, s := range p.samples {
		if s.Signal.Service == it.service && s.Signal.PID == it.pid {
			if !s.Missing {
				return true
			}
			missing = true
		}
	}
	return !missing
}

// watchCodes reads the codes at once when PID 01 shows that they changed.
func (p *Poller) watchCodes() {
	for _, s := range p.samples {
		if s.Missing || s.Signal.Name != "MIL" && s.Signal.Name != "DTC_CNT" {
			continue
		}
		if p.codes == nil {
			p.codes = map[string]float64{}
		}
		if old, ok := p.codes[s.Signal.Name]; ok && old != s.Value && len(p.urgent) == 0 {
			p.urgent = []obd.Request{{Service: 0x07}, {Service: 0x03}}
		}
		p.codes[s.Signal.Name] = s.Value
	}
}

// cause is the error for an outcome that is not good.
func cause(o obd.Outcome) error {
	switch o {
	case obd.LinkLost:
		return obd.ErrLinkLost
	case obd.TimedOut, obd.AdapterReset:
		return obd.ErrNoAdapter
	}
	return obd.ErrNoVehicle
}

// mend makes one attempt to bring the dialogue back and returns its record. When the budget is
// used up it sets fatal; when it was interrupted there is no record. Its error is the
// context's.
func (p *Poller) mend(ctx context.Context) (obd.Record, bool, error) {
	if p.now()-p.lastGood > budget || p.lost && p.config.Reopen == nil {
		p.fatal = fmt.Errorf("go on after a loss: %w", p.broken)
		return obd.Record{}, false, nil
	}
	if p.attempts > 0 {
		if err := p.clock.Sleep(ctx, glance); err != nil {
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
	x := obd.Exchange{Request: obd.Request{Service: 0x01, Data: []byte{0x00}}, Sent: p.now()}
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
		p.broken, x.Received = err, p.now()
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
	return p.record(&x), true, nil
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
func (p *Poller) restart(ctx context.Context, x *obd.Exchange) error {
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
	if p.reached > 0 && p.now()-max(p.lastGood, p.reset) >= thorough {
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
	var err error
	if *x, err = p.ask(ctx, obd.Request{Service: 0x01, Data: []byte{0x00}, Expect: len(p.plan.pids)}); err != nil {
		return err
	}
	if x.Outcome != obd.OK && x.Outcome != obd.Refused {
		return cause(x.Outcome)
	}
	return nil
}

// drop leaves an item out from now on.
func (p *plan) drop(it *item) {
	for i, o := range p.items {
		if o == it {
			p.items = append(p.items[:i], p.items[i+1:]...)
			return
		}
	}
}
