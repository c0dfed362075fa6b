package poll

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"pushback/decode"
	"pushback/obd"
)

// item is one thing to read again and again: a PID of service 01, or another
// service without data.
type item struct {
	service byte
	pid     byte          // of service 01
	fast    bool          // as often as the bus allows
	every   time.Duration // at rest, where the bus can carry it
	within  time.Duration // its deadline at rest, on every bus
	await   time.Duration // its period while an answer is awaited; 0: it waits too, but for room in a request
	read    time.Duration // when it was asked for last; never: not yet
	misses  int
}

const never = -time.Hour

func (it *item) request() obd.Request {
	if it.service == 0x01 {
		return obd.Request{Service: 0x01, Data: []byte{it.pid}}
	}
	return obd.Request{Service: it.service}
}

// Shares of the exchanges that slow signals may take where each needs one of its own.
// While an answer is awaited it is the pair that counts. Where that is too little for
// the periods, what is nearest to its deadline goes first.
const (
	restShare  = 0.3
	awaitShare = 0.022
	maxCredit  = 2
)

// awaitMost bounds how long an answer is awaited: no force should last longer.
const awaitMost = 30 * time.Second

// early is the share of its period by which an item may be read before it is due, if
// a request that is sent anyway has room for it.
const early = 0.4

// plan decides what to ask next.
type plan struct {
	items   []*item
	beside  []*item       // the sensors of other banks in the watched one's place
	latest  time.Duration // deadline of the other sensors and trims
	multi   bool          // the car answers several PIDs in one request
	short   int           // replies in a row that lacked some of what was packed
	most    int           // how many at the most, as it has shown; 0: as many as the standard allows
	double  bool          // the car answers one PID twice, if asked for it twice, and that costs nothing
	can     bool
	dialect obd.Dialect
	credit  float64 // a fast exchange earns some, any other spends 1
	turn    int
	// until when the answer to a force or to its release is awaited
	awaits  time.Duration
	car     *decode.Decoder // what each computer supports
	unsure  bool            // replies cannot be counted beforehand
	noCount map[string]int  // failures in a row of requests with a count: it may be wrong
	codes   map[string]int  // lines that answer requests for trouble codes
	safe    map[string]bool // by PIDs in order
}

// slow lists what else is read, how often, and within what time at the latest. The maps of trim
// count the engine's speed for 4 s, its load and air for 9 s and temperatures for 90 s; the watcher
// wants to know of an open loop before it believes in a hold. The rest is for people to read.
var slow = []item{
	{pid: 0x03, every: 1500 * time.Millisecond, within: 3 * time.Second, await: awaited},
	{pid: 0x0C, every: 1200 * time.Millisecond, within: 3 * time.Second, await: 2 * awaited}, // an engine that stops in a hold
	// What keeps a car from being tested comes early: a guide waits for it.
	{pid: 0x12, every: 5 * time.Second, within: 20 * time.Second}, // secondary air: the exhaust is not the mixture
	{pid: 0x51, every: 30 * time.Second, within: 2 * time.Minute}, // fuel in use: a car of two may change it
	{pid: 0x52, every: 4 * time.Second, within: 8 * time.Second},  // its alcohol, which moves while it is learned
	{pid: 0x5B, every: time.Minute, within: 3 * time.Minute},      // a hybrid has it: its engine may stop
	{pid: 0x04, every: 3 * time.Second, within: 9 * time.Second},
	{pid: 0x05, every: 5 * time.Second, within: 30 * time.Second},
	{pid: 0x07, every: 2500 * time.Millisecond, within: 12 * time.Second},
	{pid: 0x09, every: 2500 * time.Millisecond, within: 12 * time.Second},
	{pid: 0x01, every: 8 * time.Second, within: 60 * time.Second},
	{pid: 0x0B, every: 3 * time.Second, within: 9 * time.Second},
	{pid: 0x10, every: 3 * time.Second, within: 9 * time.Second},
	{pid: 0x0D, every: 3 * time.Second, within: 15 * time.Second},
	{pid: 0x11, every: 3 * time.Second, within: 20 * time.Second},
	{pid: 0x0F, every: 20 * time.Second, within: 60 * time.Second},
	{pid: 0x1F, every: 20 * time.Second, within: 60 * time.Second},
	{pid: 0x55, every: 2500 * time.Millisecond, within: 12 * time.Second},
	{pid: 0x56, every: 5 * time.Second, within: 20 * time.Second},
	{pid: 0x57, every: 2500 * time.Millisecond, within: 12 * time.Second},
	{pid: 0x58, every: 5 * time.Second, within: 20 * time.Second},
	{pid: 0x2E, every: 3 * time.Second, within: 9 * time.Second},   // purge moves the mixture too
	{pid: 0x23, every: 10 * time.Second, within: 60 * time.Second}, // rail pressure: what the pump delivers
	{pid: 0x59, every: 10 * time.Second, within: 60 * time.Second},
	{pid: 0x6D, every: 10 * time.Second, within: 60 * time.Second},
	{pid: 0x33, every: time.Hour, within: 2 * time.Hour},
	{service: 0x07, every: 30 * time.Second, within: 90 * time.Second},
}

const (
	medium  = time.Second             // other sensors, the other bank's trim
	latest  = 3500 * time.Millisecond // of these, where they are few
	apart   = 1200 * time.Millisecond // of so many each, where they are more
	alert   = medium / 3              // the other bank's sensor while a force is announced
	awaited = 2 * time.Second         // what else tells of an answer, while one is awaited
	recheck = 5 * time.Second         // a trim that also comes with the voltage
)

// watched returns the sensors to read as fast as possible: the named one, or two with a comma between, or all upstream
// ones when none or an unknown one is named.
func watched(sensors []decode.Sensor, name string) []decode.Sensor {
	var named, upstream []decode.Sensor
	for _, s := range sensors {
		if s.PID == 0 {
			continue
		}
		if slices.Contains(strings.Split(name, ","), s.Name) {
			named = append(named, s)
		}
		if s.Position == 1 {
			upstream = append(upstream, s)
		}
	}
	if named != nil {
		return named
	}
	return upstream
}

// companions returns what belongs to the watched sensors where mixture is controlled by a wide-range
// one. With that itself goes the ratio that the computer commands. The narrow one behind the
// catalyst, whose wire is held, moves the mixture through its own trim, and the sensor
// upstream shows by how much. One whose trim nobody makes is judged in a drive, by fuel cuts and full load: status, speed,
// load, and the sensor upstream as their witness.
func companions(d *decode.Decoder, watched []decode.Sensor) (pids []byte) {
	const commanded, rearTrim1, rearTrim2 = 0x44, 0x55, 0x57
	const status, load, speed = 0x03, 0x04, 0x0C
	for _, s := range watched {
		if s.Kind == decode.WideRange && s.Position == 1 {
			pids = append(pids, commanded)
			continue
		}
		for _, up := range d.Sensors() {
			if up.Bank != s.Bank || up.Position != 1 || s.Position == 1 || up.PID == 0 {
				continue
			}
			switch {
			case up.Kind == decode.WideRange && s.Bank%2 == 0:
				pids = append(pids, up.PID, commanded, rearTrim2)
			case up.Kind == decode.WideRange:
				pids = append(pids, up.PID, commanded, rearTrim1)
			case s.Kind == decode.Narrow:
				pids = append(pids, load, speed, status, up.PID)
			}
		}
	}
	return pids
}

// trimPID is where the short-term trim of a bank is read: banks 3 and 4 come as
// second bytes of those of 1 and 2.
func trimPID(bank int) byte {
	if bank%2 == 1 {
		return 0x06
	}
	return 0x08
}

// fill makes the items for a car.
func (p *plan) fill(d *decode.Decoder, sensor string) {
	add := func(it item) {
		if it.service == 0 {
			it.service = 0x01
		}
		if it.service == 0x01 && !d.Supports(it.pid) || slices.ContainsFunc(p.items, func(o *item) bool { return o.service == it.service && o.pid == it.pid }) {
			return
		}
		it.read = never
		p.items = append(p.items, &it)
	}
	fast := watched(d.Sensors(), sensor)
	for _, s := range fast {
		add(item{pid: s.PID, fast: true, every: medium, within: latest})
	}
	for _, s := range fast {
		add(item{pid: trimPID(s.Bank), fast: true, every: recheck, within: 3 * recheck})
	}
	for _, pid := range companions(d, fast) {
		add(item{pid: pid, fast: true, every: medium, within: latest})
	}
	for _, s := range d.Sensors() {
		if s.PID != 0 {
			add(item{pid: s.PID, every: medium, within: latest, await: awaited})
		}
		if it := p.item(0x01, s.PID); it != nil && !it.fast && len(fast) > 0 && s.Position == fast[0].Position {
			p.beside = append(p.beside, it)
		}
	}
	add(item{pid: 0x06, every: medium, within: latest, await: awaited})
	add(item{pid: 0x08, every: medium, within: latest, await: awaited})
	for _, it := range slow {
		if it.pid == 0x0B && d.Supports(0x10) { // air is metered
			it.within = 20 * time.Second
		}
		add(it)
	}
	var others []*item
	for _, it := range p.items {
		if it.every == medium && !it.fast {
			others = append(others, it)
		}
	}
	p.latest = max(latest, time.Duration(len(others))*apart)
	for _, it := range others {
		it.within = p.latest
	}
}

func (p *plan) item(service, pid byte) *item {
	for _, it := range p.items {
		if it.service == service && it.pid == pid {
			return it
		}
	}
	return nil
}

// awaiting tells whether an answer is awaited.
func (p *plan) awaiting(now time.Duration) bool { return now < p.awaits }

// late returns by how many of its periods an item is overdue; below 0 it is not.
func (p *plan) late(it *item, now time.Duration) float64 {
	if it.read == never {
		return math.Inf(1)
	}
	every := it.every
	if p.awaiting(now) {
		every = it.await
	}
	if every == 0 {
		return -1
	}
	return float64(now-it.read)/float64(every) - 1
}

// urgency orders what is due: what was never read, then at rest what is nearest to its deadline.
func (p *plan) urgency(it *item, now time.Duration) float64 {
	if p.awaiting(now) || it.read == never {
		return p.late(it, now)
	}
	return float64(now-it.read) / float64(it.within)
}

// sorted returns the items that are to be read as fast as possible, those that are due,
// and those that may as well be read if a request has room for them; the most urgent first.
func (p *plan) sorted(now time.Duration) (fast, due, soon []*item) {
	for _, it := range p.items {
		switch l := p.late(it, now); {
		case it.fast:
			fast = append(fast, it)
		case l >= 0:
			due = append(due, it)
		case l >= -early || now-it.read >= it.every:
			soon = append(soon, it)
		}
	}
	slices.SortStableFunc(due, func(a, b *item) int { return cmp.Compare(p.urgency(b, now), p.urgency(a, now)) })
	slices.SortStableFunc(soon, func(a, b *item) int { return cmp.Compare(a.read+a.every, b.read+b.every) })
	return fast, due, soon
}

// next chooses a request for the moment now, and the items that it reads.
func (p *plan) next(now time.Duration) (obd.Request, []*item) {
	fast, due, soon := p.sorted(now)
	share := restShare
	if p.awaiting(now) {
		share = awaitShare
	}
	joins := func(it *item) bool { _, ok := p.place(it, fast); return ok }
	var chosen []*item
	switch {
	case len(due) > 0 && (p.credit >= 1 || len(fast) == 0) && !joins(due[0]):
		p.credit = max(0, p.credit-1)
		chosen = p.pack(due[:1], due[1:])
	case len(fast) > 0:
		p.credit = min(maxCredit, p.credit+share/(1-share))
		at := p.turn % len(fast)
		fast = append(slices.Clone(fast[at:]), fast[:at]...)
		if chosen = p.pack(fast[:1], fast); len(chosen) < len(fast) { // in turn
			p.turn++
		} else {
			p.turn = 0
		}
		if len(due) > 0 { // one long request now and then, not many that are a little longer
			chosen = p.pack(chosen, append(due, soon...))
		}
	case len(p.items) > 0: // nothing is due: what is due soonest
		chosen = []*item{slices.MinFunc(p.items, func(a, b *item) int { return cmp.Compare(a.read+a.every, b.read+b.every) })}
	default: // a car without anything to read still shows that it is there
		return obd.Request{Service: 0x01, Data: []byte{0x00}}, nil
	}
	for _, it := range chosen {
		it.read = now
	}
	req := chosen[0].request()
	for _, it := range chosen[1:] {
		req.Data = append(req.Data, it.pid)
	}
	if it := chosen[0]; p.double && len(chosen) == 1 && p.doubles(it.service, it.pid) && p.harmless([]byte{it.pid, it.pid}) {
		req.Data = append(req.Data, it.pid)
	}
	req.Expect = p.expect(req)
	return req, chosen
}

// packs tells whether the item can go into a request with others.
func (p *plan) packs(it *item) bool {
	return it.service == 0x01 && decode.PIDLength(it.pid) > 0
}

func (p *plan) limit() int {
	if p.most > 0 {
		return p.most
	}
	return p.dialect.MostPIDs()
}

// fell learns from a reply that brought only some of the items that were packed: some
// computers answer the first PIDs of a request and forget the rest. The forgotten ones
// are due at once.
func (p *plan) fell(items []*item, came func(*item) bool, now time.Duration) {
	n := 0
	for _, it := range items {
		if came(it) {
			n++
		} else {
			it.read = never
		}
	}
	if n == len(items) {
		p.short = 0
		return
	}
	if p.short++; p.short < 2 {
		return
	}
	p.short = 0
	if p.most = max(1, n); p.most == 1 {
		p.multi = false
	}
}

// announce takes what the technician says is done. While a force is announced, the same
// sensor of the other bank is read more often: if the watched one does not follow, that one
// tells whether the connectors are crossed. Without such a sensor the answer is awaited at once.
func (p *plan) announce(k obd.MarkKind, now time.Duration) {
	every, within := medium, p.latest
	switch k {
	case obd.MarkLean, obd.MarkRich:
		every, within = alert, alert
		p.await(len(p.beside) == 0, now)
	case obd.MarkRelease:
		p.await(true, now)
	default:
		return
	}
	for _, it := range p.beside {
		it.every, it.within = every, within
	}
}

// await says whether an answer is awaited from now on.
func (p *plan) await(on bool, now time.Duration) {
	if !on {
		p.awaits = 0
		return
	}
	if !p.awaiting(now) {
		p.credit = min(p.credit, 0.5)
		if it := p.item(0x01, 0x03); it != nil { // silence proves nothing in open loop
			it.read = never
		}
	}
	p.awaits = now + awaitMost
}

// place puts an item into a request with those that are chosen, as near to its end as can be; false where
// it does not go into one with them. A line that puts the end of what it has carried before a request
// makes one of it that begins with any of its characters, so no stretch may be one that a unit takes.
func (p *plan) place(it *item, chosen []*item) ([]*item, bool) {
	if !p.multi || len(chosen) == 0 || len(chosen) >= p.limit() || !p.packs(it) {
		return nil, false
	}
	for at := len(chosen); at >= 0; at-- {
		if all := slices.Insert(slices.Clone(chosen), at, it); p.harmless(pids(all)) {
			return all, true
		}
	}
	return nil, false
}

func pids(items []*item) (all []byte) {
	for _, it := range items {
		all = append(all, it.pid)
	}
	return all
}

// harmless tells whether a request for these PIDs cannot become one that changes something. In J1979 what
// a maker may have defined beyond the standard is let pass: one sensor alone (0114, and one reply) has that.
func (p *plan) harmless(pids []byte) bool {
	safe, known := p.safe[string(pids)]
	if !known {
		words, _ := p.dialect.Words(obd.Request{Service: 0x01, Data: pids})
		safe = !obd.Strays(words, p.dialect == obd.J1979v2)
		for replies := '1'; replies <= '9'; replies++ {
			safe = safe && !obd.Strays(words+string(replies), p.dialect == obd.J1979v2)
		}
		if p.safe == nil {
			p.safe = map[string]bool{}
		}
		p.safe[string(pids)] = safe
	}
	return safe
}

// pack fills the request of first with more items where the car allows that.
func (p *plan) pack(first, more []*item) []*item {
	chosen := slices.Clone(first)
	if !p.multi || !p.packs(chosen[0]) {
		return chosen
	}
	for _, it := range more {
		if slices.Contains(chosen, it) {
			continue
		}
		if all, ok := p.place(it, chosen); ok {
			chosen = all
		}
	}
	return chosen
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
