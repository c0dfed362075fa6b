// Package poll decides what to ask a car next and when, and recovers from a lost
// line: it is the live source of a session's records.
package poll

import (
	"context"
	"errors"
	"io"
	"slices"
	"sync"
	"time"

	"pushback/decode"
	"pushback/obd"
)

// Config says what to read.
type Config struct {
	Sensor string  // the sensor to read as often as the bus allows, "B1S1", or two, "B1S1,B2S1"; "" means all upstream ones
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
	begun   bool     // there was a reading
	memo    *meeting // with a car taken for known, until all is compared
	seq     int64
	at      time.Duration // of the last record
	samples []decode.Sample
	codes   map[string]float64 // MIL and DTC_CNT as last read
	fatal   error              // what Next returns from now on
	queue
	health
	technician
}

// queue is what goes before the plan.
type queue struct {
	found   []obd.Record  // discovery, not yet yielded
	urgent  []obd.Request // before all else: codes after PID 01 changed
	later   []obd.Request // discovery on a known car, after the first reading
	asked   []obd.Request // by Ask
	askTurn bool          // the exchange now may be one of them
	frozen  [][]byte      // requests for the freeze frames of the stored codes, in J1979-2
	closing []obd.Request // what Stop still reads; nil before
}

// health is how the dialogue goes, and what was tried to bring it back.
type health struct {
	lastGood time.Duration // last exchange that a computer answered
	wasGood  bool          // the last exchange was such
	unpacked int           // requests for several PIDs in a row that failed
	known    obd.Known     // what start-up found out, for another try
	lost     bool          // the line must be opened again
	broken   error         // why the dialogue must be set up again; nil: it runs
	attempts int           // to do that
	reached  int           // of them, those that had an adapter, since the last reset
	reset    time.Duration // when an attempt last began with one

	deferred obd.Deferred
}

// technician is what comes from another goroutine.
type technician struct {
	mu      sync.Mutex
	marks   []mark
	stopped bool
	hurry   context.CancelFunc // ends an attempt to mend, for a mark or Stop
}

// Patience with a car or an adapter that does not answer.
const (
	budget      = 20 * time.Second        // since the last answer, then the session ends
	reinitAfter = 1500 * time.Millisecond // since the last answer, then adapter and bus are set up again
	resetAfter  = 6 * time.Second         // since the last answer or reset, then an attempt at that begins with a reset
	maxMisses   = 3                       // of an item or of packed requests, then they are left out
	retryPause  = 200 * time.Millisecond
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
	p.plan = plan{can: p.vehicle.Format.Bus.CAN(), dialect: p.vehicle.Format.Dialect, car: p.vehicle.Decoder, noCount: map[string]int{}, codes: map[string]int{}}
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
				with: s.ID().TrimBeside(), alone: s.ID().Trim(), item: it,
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

// ask exchanges one request and lets the decoder learn from it. Who judges the records decodes
// each reply again: they must know no more than the records tell, or a replay would differ,
// while this decoder also knows what is remembered of the car and what was asked before time 0.
func (p *Poller) ask(ctx context.Context, req obd.Request) (obd.Record, error) {
	x, err := p.adapter.Exchange(ctx, req)
	p.samples = p.samples[:0]
	if err != nil || x.Outcome != obd.OK {
		return x, err
	}
	request := req.Bytes()
	for _, r := range x.Replies {
		// What cannot be decoded gives no samples; the session tells of it.
		if ask := decode.SnapshotRequests(req.Service, r.Data); ask != nil {
			p.frozen = ask
		}
		p.samples, _ = p.vehicle.Decoder.Reply(r.From, request, r.Data, x.Sent, x.At, p.samples)
	}
	return x, nil
}

// number makes r the next record.
func (p *Poller) number(r obd.Record) obd.Record {
	r.At = max(r.At, p.at)
	r.Seq, p.at = p.seq, r.At
	p.seq++
	return r
}

func (p *Poller) now() time.Duration { return p.clock.Now().Sub(p.origin).Truncate(time.Microsecond) }

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
	return p.number(x), nil
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
	p.verify(x.Exchange)
	return p.number(x), nil
}
