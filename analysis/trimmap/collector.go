package trimmap

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"pushback/analysis/limits"
	"pushback/analysis/measure"
	"pushback/analysis/series"
	"pushback/analysis/stats"
	"pushback/decode"
)

// How long a value holds by itself, s, and how far apart two that agree may be to hold for
// what lies between them: polled in turn on a slow bus a round takes seconds.
const (
	freshSpeed   = 4.0
	freshAir     = 9.0
	freshSlow    = 90.0
	betweenSpeed = 10.0
	betweenAir   = 30.0
)

// latest is the last two values of a signal.
type latest struct {
	at, v, before float64
	n             int
	waiting       []int // raws for which it was too old
}

func (l *latest) set(at, v float64) { l.before, l.v, l.at, l.n = l.v, v, at, l.n+1 }

// reach sets the value and gives those that waited for it the one before, where the two
// agree and are not too far apart.
func (l *latest) reach(at, v, share, between float64, give func(raw int, v float64)) {
	was := *l
	l.set(at, v)
	if was.n > 0 && at-was.at <= between && l.steady(share) {
		for _, i := range l.waiting {
			give(i, was.v)
		}
	}
	l.waiting = l.waiting[:0]
}

// or is the value if it is not older than fresh; else raw i waits for the next, unless that
// must come too late.
func (l *latest) or(at, fresh, between float64, i int) float64 {
	v := l.get(at, fresh)
	if math.IsNaN(v) && l.n > 0 && at-l.at <= between {
		l.waiting = append(l.waiting, i)
	}
	return v
}

// get is the value if it is not older than fresh.
func (l *latest) get(at, fresh float64) float64 {
	if l.n == 0 || at-l.at > fresh {
		return math.NaN()
	}
	return l.v
}

// holds is until when or, or get, says the same while no other value comes, s; 0 where a raw waits.
func (l *latest) holds(at, fresh, between float64) float64 {
	switch age := at - l.at; {
	case l.n == 0 || age > max(fresh, between):
		return math.Inf(1)
	case age > fresh:
		return 0
	}
	return l.at + fresh - 1e-6 // less than any clock tells, more than what is rounded
}

// steady reports whether the last step was within a share of the value.
func (l *latest) steady(share float64) bool {
	return l.n < 2 || math.Abs(l.v-l.before) <= share*max(math.Abs(l.v), math.Abs(l.before))
}

// raw is a reading before it is known which of its parts count. What it was read under stands once
// for all that share it: a session has millions, for trim is read many times as often as anything
// else.
type raw struct {
	at    float64 // s
	short float32 // %
	*under
}

// under is what readings were read under; NaN: not known. A value of service 01 has 16 bits at
// most.
type under struct {
	long, rpm, load, coolant, maf, pressure, intake, purge, status float32 // status NaN: never read
	bank                                                           uint8
	steady                                                         bool
	beside                                                         bool // the trim came with the sensor's voltage
}

// same reports whether two are the same, where NaN is as NaN.
func (u *under) same(o *under) bool {
	like := func(a, b float32) bool { return math.Float32bits(a) == math.Float32bits(b) }
	return like(u.long, o.long) && like(u.rpm, o.rpm) && like(u.load, o.load) && like(u.coolant, o.coolant) && like(u.maf, o.maf) &&
		like(u.pressure, o.pressure) && like(u.intake, o.intake) && like(u.purge, o.purge) && like(u.status, o.status) && u.bank == o.bank && u.steady == o.steady && u.beside == o.beside
}

func (r raw) reading(by Flow, litres float64) Reading {
	return Reading{At: r.at, Bank: int(r.bank), Short: float64(r.short), Long: float64(r.long), RPM: float64(r.rpm), Load: float64(r.load),
		Flow: r.flow(by, litres), Coolant: float64(r.coolant), Purge: float64(r.purge)}
}

// Collector takes the samples of one session in order of time.
type Collector struct {
	parts                                              *decode.Roles[meaning]
	speed, load, maf, pressure, intake, coolant, purge latest
	status, long                                       [5]latest            // by fuel system, and by bank
	shorts                                             series.Series        // short-term trims, %, at twice the middle of the exchange
	blocks                                             []*[blockSize]uint32 // places in unders, one a trim
	unders                                             []under
	many                                               []int32 // trims that were read under each
	now                                                now
	come                                               come
	end                                                float64
}

// now is what the latest trim was read under, and the next ones of its signal from a time to below another, s, unless something else comes.
type now struct {
	at          uint32 // in unders
	from, until float64
}

// come is how the trims came.
type come struct {
	last   float64 // s
	astray bool    // not all in order of time
	banks  [5]struct {
		at          float64 // s, of the last of its own
		own         float32 // %
		any, beside bool
		diffs       stats.Tally // of one beside the voltage from the bank's own
	}
}

func (c *come) add(at float64, short float32, bank int, beside bool) {
	c.astray = c.astray || at < c.last
	c.last = at
	b := &c.banks[bank]
	if !beside {
		b.at, b.own, b.any = at, short, true
		return
	}
	b.beside = true
	if b.any && at-b.at < 1 {
		b.diffs.Add(math.Abs(float64(short - b.own)))
	}
}

// Add takes one sample.
func (c *Collector) Add(s decode.Sample) {
	if s.Missing {
		return
	}
	at := (s.Sent + s.Received).Seconds() / 2
	c.end = max(c.end, at)
	if c.parts == nil {
		parts := decode.NewRoles(meaningOf)
		c.parts = &parts
	}
	is := c.parts.Of(s.Signal)
	if is.role != isNothing && is.role != isShort && is.role != isBeside {
		c.now.until = 0
	}
	switch is.role {
	case isSpeed:
		c.speed.reach(at, s.Value, steadySpeed, betweenSpeed, c.give(func(u *under, v float32) { u.rpm = v }))
	case isLoad:
		c.load.reach(at, s.Value, steadyFlow, betweenAir, c.give(func(u *under, v float32) { u.load = v }))
	case isFlow:
		c.maf.reach(at, s.Value, steadyFlow, betweenAir, c.give(func(u *under, v float32) { u.maf = v }))
	case isPressure:
		c.pressure.reach(at, s.Value, steadyFlow, betweenAir, c.give(func(u *under, v float32) { u.pressure = v }))
	case isIntake:
		c.intake.set(at, s.Value)
	case isPurge:
		c.purge.set(at, s.Value)
	case isCoolant:
		c.coolant.set(at, s.Value)
	case isStatus:
		c.status[is.of].set(at, s.Value)
	case isLong:
		c.long[is.of].set(at, s.Value)
	case isShort:
		c.addTrim(s, at, is.of, false)
	case isBeside:
		c.addTrim(s, at, is.of, true)
	}
}

// role is what a signal is to a map.
type role uint8

const (
	isNothing role = iota
	isSpeed
	isLoad
	isFlow
	isPressure
	isIntake
	isPurge
	isCoolant
	isStatus
	isLong
	isShort
	isBeside // the same with the sensor's voltage
)

// meaning is a role and of which fuel system or bank.
type meaning struct {
	role
	of int
}

// meaningOf is that of the signal of a name.
func meaningOf(name string) meaning {
	switch name {
	case "RPM":
		return meaning{role: isSpeed}
	case "LOAD_PCT":
		return meaning{role: isLoad}
	case "MAF":
		return meaning{role: isFlow}
	case "MAP":
		return meaning{role: isPressure}
	case "IAT":
		return meaning{role: isIntake}
	case "EVAP_PCT":
		return meaning{role: isPurge}
	case "ECT":
		return meaning{role: isCoolant}
	case "FUELSYS1", "FUELSYS2":
		return meaning{isStatus, int(name[7] - '0')}
	case "LONGFT1", "LONGFT2", "LONGFT3", "LONGFT4":
		return meaning{isLong, int(name[6] - '0')}
	case "SHRTFT1", "SHRTFT2", "SHRTFT3", "SHRTFT4":
		return meaning{isShort, int(name[6] - '0')}
	case "SHRTFT11", "SHRTFT21", "SHRTFT31", "SHRTFT41":
		return meaning{isBeside, int(name[6] - '0')}
	}
	return meaning{}
}

func (c *Collector) addTrim(s decode.Sample, at float64, bank int, beside bool) {
	i := c.shorts.Len()
	if i%blockSize == 0 {
		c.blocks = append(c.blocks, new([blockSize]uint32))
	}
	if k := c.now.at; !(c.now.from <= at && at < c.now.until && int(c.unders[k].bank) == bank && c.unders[k].beside == beside) {
		c.now = now{c.place(c.read(at, bank, beside, i)), at, c.holds(at)}
	}
	k := c.now.at
	*c.under(i) = k
	c.many[k]++
	c.shorts.Add(s.Sent+s.Received, s.Value)
	c.come.add(at, float32(s.Value), bank, beside)
}

// read is what trim i is read under at a time.
func (c *Collector) read(at float64, bank int, beside bool, i int) under {
	u := under{bank: uint8(bank), rpm: float32(c.speed.or(at, freshSpeed, betweenSpeed, i)),
		load: float32(c.load.or(at, freshAir, betweenAir, i)), coolant: float32(c.coolant.get(at, freshSlow)),
		maf: float32(c.maf.or(at, freshAir, betweenAir, i)), pressure: float32(c.pressure.or(at, freshAir, betweenAir, i)),
		intake: float32(c.intake.get(at, freshSlow)), purge: float32(c.purge.get(at, freshAir)), beside: beside, status: float32(math.NaN())}
	if l := c.long[bank]; l.n > 0 {
		u.long = float32(l.v)
	}
	// Fuel system 2 is the second bank's where there are two; a car may use one for both.
	system := 1
	if bank%2 == 0 && c.status[2].n > 0 && c.status[2].v != 0 {
		system = 2
	}
	if l := c.status[system]; l.n > 0 {
		u.status = float32(l.v)
	}
	u.steady = c.speed.steady(steadySpeed) && c.load.steady(steadyFlow) && c.maf.steady(steadyFlow) && c.pressure.steady(steadyFlow)
	return u
}

// holds is until when what trims are read under stays the same while nothing else comes, s.
func (c *Collector) holds(at float64) float64 {
	until := math.Inf(1)
	for _, x := range [...]struct {
		*latest
		fresh, between float64
	}{{&c.speed, freshSpeed, betweenSpeed}, {&c.load, freshAir, betweenAir}, {&c.maf, freshAir, betweenAir}, {&c.pressure, freshAir, betweenAir},
		{&c.coolant, freshSlow, 0}, {&c.intake, freshSlow, 0}, {&c.purge, freshAir, 0}} {
		until = min(until, x.holds(at, x.fresh, x.between))
	}
	return until
}

// place is where u stands in unders: with several trims in turn it is one of the last few.
func (c *Collector) place(u under) uint32 {
	for k := len(c.unders) - 1; k >= max(0, len(c.unders)-4); k-- {
		if c.unders[k].same(&u) {
			return uint32(k)
		}
	}
	c.unders, c.many = append(c.unders, u), append(c.many, 0)
	return uint32(len(c.unders) - 1)
}

// give gives a value to raws that waited for it.
func (c *Collector) give(set func(*under, float32)) func(raw int, v float64) {
	return func(i int, v float64) {
		at := c.under(i)
		u := c.unders[*at]
		set(&u, float32(v))
		c.many[*at]--
		*at = c.place(u)
		c.many[*at]++
	}
}

// under is where the i-th trim was read under.
func (c *Collector) under(i int) *uint32 { return &c.blocks[i/blockSize][i%blockSize] }

// blockSize is how many places lie in one piece of memory: those of a long session are
// not copied as they become more.
const blockSize = 1024

// Data returns the readings that count. forced are the stretches in which somebody
// held the signal or the mixture; litres is the engine's displacement, 0 unknown. Nothing may be
// added while its readings are gone through.
func (c *Collector) Data(forced []Span, litres float64) Data {
	d := Data{Seconds: c.end}
	ch := c.choose()
	d.Status = ch.status > 0
	switch most := ch.total * 8 / 10; {
	case ch.total == 0:
		d.Flow = NoFlow
	case ch.metered >= most:
		d.Flow, d.FlowUnit = Metered, "g/s"
	case ch.dense >= most && litres > 0:
		d.Flow, d.FlowUnit = SpeedDensity, "g/s"
	case ch.dense >= most:
		d.Flow, d.FlowUnit = SpeedDensity, "g/s per litre"
	case ch.loaded >= most:
		d.Flow, d.FlowUnit = ByLoad, "1000 rpm at full load"
	default:
		d.Flow = NoFlow
	}
	if litres == 0 {
		litres = 1
	}
	flow, status := d.Flow, d.Status
	d.Readings = func(yield func(Reading) bool) {
		s := sieve{status: status, forced: forced}
		for r := range c.each(ch) {
			if s.counts(r) && !yield(r.reading(flow, litres)) {
				return
			}
		}
	}
	s := sieve{status: status, forced: forced}
	d.banks = new(gathered)
	for r := range c.each(ch) {
		if s.counts(r) {
			d.Count++
			d.banks.add(r.reading(flow, litres))
		}
	}
	d.Left = s.left
	return d
}

// sieve lets those readings through, one after the other, that count.
type sieve struct {
	status bool // fuel status was read
	forced []Span
	zeros  [5]int // in a row, by bank
	left   Left
}

func (s *sieve) counts(r raw) bool {
	if r.short == 0 {
		s.zeros[r.bank]++
	} else {
		s.zeros[r.bank] = 0
	}
	switch {
	case !known(r.rpm):
		s.left.Unknown++
	case r.rpm < limits.TurningSpeed:
		s.left.Stopped++
	case known(r.status) && !decode.LoopClosed(byte(r.status)), !s.status && s.zeros[r.bank] >= zeros:
		s.left.OpenLoop++
	case r.coolant < limits.WarmCoolant:
		s.left.Cold++
	case slices.ContainsFunc(s.forced, func(f Span) bool { return f.From-1 <= r.at && r.at <= f.To+recovery }):
		s.left.Forced++
	case !r.steady:
		s.left.Unsteady++
	default:
		return true
	}
	return false
}

func (u *under) flow(by Flow, litres float64) float64 {
	switch by {
	case Metered:
		return float64(u.maf)
	case SpeedDensity:
		// Real engines fill to some 70 to 95 %: good for where trim lies by flow, not as a flow meter.
		return measure.Filled(float64(u.pressure), float64(u.rpm), float64(u.intake), litres)
	case ByLoad:
		return float64(u.rpm) / 1000 * float64(u.load) / 100
	}
	return math.NaN()
}

func known(v float32) bool { return v == v } // not NaN

func count(v float32) int {
	if known(v) {
		return 1
	}
	return 0
}

// choice says which raws may be believed.
type choice struct {
	leave  [5]bool // of a bank: those that came beside the voltage
	sorted []raw   // all, in order of time; nil: they came so
	counts         // of those that are left
}

// counts is how many raws there are, and of how many what is known.
type counts struct{ total, status, metered, dense, loaded int }

func (c *counts) add(u *under, many int) {
	c.total += many
	c.status += many * count(u.status)
	c.metered += many * count(u.maf)
	c.dense += many * count(u.pressure+u.intake)
	c.loaded += many * count(u.load)
}

// each goes through the raws that were chosen.
func (c *Collector) each(ch choice) iter.Seq[raw] {
	return func(yield func(raw) bool) {
		for r := range c.all(ch.sorted) {
			if !(r.beside && ch.leave[r.bank]) && !yield(r) {
				return
			}
		}
	}
}

// all goes through all raws, as they came or as they were sorted.
func (c *Collector) all(sorted []raw) iter.Seq[raw] {
	if sorted != nil {
		return slices.Values(sorted)
	}
	return func(yield func(raw) bool) {
		i := 0
		for p := range c.shorts.All() {
			if !yield(raw{p.T / 2, float32(p.V), &c.unders[*c.under(i)]}) {
				return
			}
			i++
		}
	}
}

// choose takes each bank's trims from the signals that may be believed: the trim
// beside the voltage only where it agrees with the bank's own, or where there is no other.
func (c *Collector) choose() choice {
	var ch choice
	for i := range c.come.banks {
		b := &c.come.banks[i]
		ch.leave[i] = b.beside && b.any && !(b.diffs.Len() >= 3 && b.diffs.Quantile(0.5) <= 2*decode.TrimCount)
	}
	for i := range c.unders {
		if u := &c.unders[i]; !(u.beside && ch.leave[u.bank]) {
			ch.add(u, int(c.many[i]))
		}
	}
	if c.come.astray {
		ch.sorted = slices.Collect(c.all(nil))
		slices.SortStableFunc(ch.sorted, func(a, b raw) int { return cmp.Compare(a.at, b.at) })
	}
	return ch
}
