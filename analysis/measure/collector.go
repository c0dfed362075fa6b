package measure

import (
	"cmp"
	"math"
	"slices"

	"pushback/analysis/stats"
	"pushback/decode"
)

// Hold is a stretch in which somebody forced one side, s.
type Hold struct {
	Rich     bool
	From, To float64
}

// Propane is what one hold of added fuel has shown. NaN: not known.
type Propane struct {
	At       float64 // s
	Litres   float64 // L/min, as it was said; 0: not said
	Flow     float64 // g/s of air; NaN: not read
	Moved    float64 // %, by which total trim moved, of what it was
	Share    float64 // %, of the fuel, that trim took out for it
	Expected float64 // %, by which trim should have moved
	Purged   bool    // the purge valve opened or shut meanwhile, which moves trim too
}

// Line is trim's answer to several flows, through zero. That a slope of 0.75 to 1.25 is called agreement is common
// practice, no source: a flow meter for gas and an air meter are good for a tenth each.
type Line struct {
	Flows int     // different ones
	Slope float64 // what trim moved of what it should have: 1 is all
	Off   float64 // %, farthest point from the line
}

// Rest is the lean error at idle that trim makes up for, in flows.
type Rest struct {
	Trim   float64 // %, total
	Flow   float64 // g/s
	Litres float64 // L/min of propane that would bring as much fuel
}

// Unmetered is the air, g/s, that comes in behind the meter if all of the error is a leak: trim T feeds what the metered air A and the
// leak U burn together, A·(1+T) = A + U (mass balance, derived here).
func (r Rest) Unmetered() float64 { return r.Trim / 100 * r.Flow }

// Filling says what low or high filling means.
type Filling string

const (
	Fills     Filling = "fills"       // as engines do
	MeterLow  Filling = "meter_low"   // little air is metered, and trim adds fuel: more came in
	ChokedAir Filling = "breathes"    // little air is metered, and trim agrees: no more came in
	Overfull  Filling = "more_than"   // more than a full cylinder: boost, or another displacement
	Uncertain Filling = "trim_unsure" // little air is metered, and trim takes fuel out
)

// Breathing is how an engine filled in a pull.
type Breathing struct {
	RPM, Metered, Full float64 // g/s; Full: at 100 % filling
	Share              float64 // Metered of Full: volumetric efficiency
	Trim               float64 // %, total, median outside the pull
	Litres             float64
	Says               Filling
}

// Findings is all that was measured.
type Findings struct {
	Propane []Propane
	Line    *Line // nil: fewer than two flows
	Rest    *Rest // nil: no lean error to speak of, or no air flow
	Both    []Both
	Snaps   []Snap
}

// row is what was read at one time; NaN: not yet.
type row struct{ at, trim, flow, rpm, load, pressure, intake float32 }

// note is what was said from a time on.
type note struct{ at, propane float64 }

// Collector takes the samples and notes of one session in order of time.
type Collector struct {
	number [2]int // of the watched bank and of the other
	parts  decode.Roles[part]
	banks  [2]gauge
	snaps  snapper
	rows   []row
	now    row
	short  float32
	long   float32
	baro   float64   // kPa; 0: not read
	purge  []reading // %, commanded
	litres float64   // 0: not said
	notes  []note
}

// NewCollector returns one for a bank's trims.
func NewCollector(bank int) *Collector {
	nan := float32(math.NaN())
	own := decode.SensorID{Bank: bank, Position: 1}
	banks := [2]decode.SensorID{own, own.Beside()}
	return &Collector{number: [2]int{bank, own.Beside().Bank}, parts: decode.NewRoles(func(name string) part { return partOf(name, banks) }), now: row{0, nan, nan, nan, nan, nan, nan}, short: nan}
}

// often is how far apart rows are at least, s: hours of them are not to take room.
const often = 0.25

// Add takes one sample.
func (c *Collector) Add(s decode.Sample) {
	is := c.parts.Of(s.Signal)
	if is.role == isNothing || s.Missing {
		return
	}
	v, at := float32(s.Value), float32((s.Sent+s.Received).Seconds()/2)
	c.banks[is.bank].add(is.role, at, v)
	if is.bank == 1 {
		return
	}
	c.snaps.add(is.role, at, v)
	switch is.role {
	case isLong:
		c.long = v
	case isShort:
		c.now.at, c.short = at, v
		if n := len(c.rows); n == 0 || at >= c.rows[n-1].at+often {
			c.now.trim = float32(decode.TotalTrim(float64(c.short), float64(c.long)))
			c.rows = append(c.rows, c.now)
		}
	case isFlow:
		c.now.flow = v
	case isSpeed:
		c.now.rpm = v
	case isLoad:
		c.now.load = v
	case isPressure:
		c.now.pressure = v
	case isIntake:
		c.now.intake = v
	case isPurge:
		c.purge = append(c.purge, reading{at, v})
	case isOutside:
		c.baro = s.Value
	}
}

// Note takes what the technician wrote at a time, s.
func (c *Collector) Note(at float64, text string) {
	if v, ok := PropaneNote(text); ok {
		c.notes = append(c.notes, note{at, v})
	}
	if v, ok := DisplacementNote(text); ok {
		c.litres = v
	}
}

// How long before a hold counts as rest, and how much of its end as settled, s; a hold must last longer. Common practice,
// no source.
const (
	restFor    = 10.0
	settledFor = 3.0
	shortest   = 6.0
	fewRows    = 4
	leanError  = 8.0    // %, beyond which trim at rest is worth a word (see trimmap)
	idleBelow  = 1200.0 // rpm
)

// Findings returns what the holds have measured; mixture says that they forced the mixture.
func (c *Collector) Findings(holds []Hold, mixture bool) (f Findings) {
	for _, h := range holds {
		before, after := c.between(h.From-restFor, h.From-0.5), c.between(h.To-settledFor, h.To)
		if !mixture || !h.Rich || h.To-h.From < shortest || len(before) < fewRows || len(after) < fewRows {
			continue
		}
		p := Propane{At: h.From, Flow: median(after, flow), Moved: 100 * Moved(median(before, trim), median(after, trim)), Expected: math.NaN()}
		p.Share = -p.Moved // Settles the other way round
		for _, n := range c.notes {
			if n.at <= h.To {
				p.Litres = n.propane
			}
		}
		if p.Litres > 0 && p.Flow > 0 {
			p.Expected = 100 * Settles(PropaneShare(p.Litres, p.Flow))
		}
		p.Purged = moves(within(c.purge, h.From-restFor, h.To))
		f.Propane = append(f.Propane, p)
	}
	f.Both = c.both(holds, mixture, func(h Hold) float64 {
		for _, p := range f.Propane {
			if p.At == h.From {
				return p.Expected
			}
		}
		return math.NaN()
	})
	f.Snaps = c.snaps.all
	f.Line = line(f.Propane)
	f.Rest = c.rest(holds)
	return f
}

// purgeMoves is less than any purge valve opens by, %: common practice, no source.
const purgeMoves = 8

func moves(purge []reading) bool {
	for _, r := range purge {
		if d := r.v - purge[0].v; d >= purgeMoves || d <= -purgeMoves {
			return true
		}
	}
	return false
}

// line fits moved = slope · expected, by least squares.
func line(all []Propane) *Line {
	var flows []float64
	xx, xy := 0.0, 0.0
	for _, p := range all {
		if !math.IsNaN(p.Expected) {
			xx, xy = xx+p.Expected*p.Expected, xy+p.Expected*p.Moved
			if !slices.ContainsFunc(flows, func(l float64) bool { return math.Abs(l-p.Litres) < 0.1*l }) {
				flows = append(flows, p.Litres)
			}
		}
	}
	if len(flows) < 2 {
		return nil
	}
	l := &Line{Flows: len(flows), Slope: xy / xx}
	for _, p := range all {
		if !math.IsNaN(p.Expected) {
			l.Off = max(l.Off, math.Abs(p.Moved-l.Slope*p.Expected))
		}
	}
	return l
}

// rest is what trim makes up for at idle, before anybody forced.
func (c *Collector) rest(holds []Hold) *Rest {
	end := math.Inf(1)
	if len(holds) > 0 {
		end = holds[0].From - 0.5
	}
	idle := slices.DeleteFunc(c.between(0, end), func(r row) bool { return !(r.rpm < idleBelow && r.rpm > 300) })
	if len(idle) < fewRows {
		return nil
	}
	r := &Rest{Trim: median(idle, trim), Flow: median(idle, flow)}
	if !(r.Trim > leanError && r.Flow > 0) {
		return nil
	}
	r.Litres = PropaneFlow(r.Trim/100, r.Flow)
	return r
}

// A pull, and how an engine fills in it: common practice, no source, but for the 80 % of the published example.
const (
	pullSpeed = 2000.0 // rpm
	pullLoad  = 80.0   // %
	pullPart  = 0.85   // of the highest speed of a pull, and of the outside pressure in the manifold
	wellFull  = 0.70
	overFull  = 1.10
	seaLevel  = 101.325 // kPa
	warmAir   = 25.0    // °C, where it is not read
)

// Breathing is how the engine filled in a pull; litres is its displacement, 0: as a note has said. nil
// where it is not known, no air meter was read, or nobody pulled.
func (c *Collector) Breathing(holds []Hold, litres float64) *Breathing {
	litres = cmp.Or(litres, c.litres)
	baro := cmp.Or(c.baro, seaLevel)
	var pull, calm []row
	top := float32(0)
	for _, r := range c.rows {
		switch {
		case r.rpm >= pullSpeed && r.flow > 0 && (r.load >= pullLoad || float64(r.pressure) >= pullPart*baro):
			pull, top = append(pull, r), max(top, r.rpm)
		case !slices.ContainsFunc(holds, func(h Hold) bool { return h.From <= float64(r.at) && float64(r.at) <= h.To+20 }):
			calm = append(calm, r)
		}
	}
	pull = slices.DeleteFunc(pull, func(r row) bool { return r.rpm < pullPart*top })
	if !(litres > 0) || len(pull) < fewRows || len(calm) < fewRows {
		return nil
	}
	b := &Breathing{RPM: median(pull, speed), Metered: median(pull, flow), Trim: median(calm, trim), Litres: litres}
	air := median(pull, intake)
	if math.IsNaN(air) {
		air = warmAir
	}
	b.Full = Filled(baro, b.RPM, air, litres)
	b.Share = b.Metered / b.Full
	b.Says = fills(b.Share, b.Trim)
	return b
}

func fills(share, trim float64) Filling {
	switch {
	case share > overFull:
		return Overfull
	case share >= wellFull:
		return Fills
	case trim > leanError:
		return MeterLow
	case trim >= -leanError:
		return ChokedAir
	}
	return Uncertain
}

func trim(r row) float32   { return r.trim }
func flow(r row) float32   { return r.flow }
func speed(r row) float32  { return r.rpm }
func intake(r row) float32 { return r.intake }

// between are the rows of a stretch of time.
func (c *Collector) between(from, to float64) []row {
	i, _ := slices.BinarySearchFunc(c.rows, from, func(r row, t float64) int { return cmp.Compare(float64(r.at), t) })
	var out []row
	for ; i < len(c.rows) && float64(c.rows[i].at) <= to; i++ {
		out = append(out, c.rows[i])
	}
	return out
}

// median of what is known of rows; NaN: nothing.
func median(rows []row, of func(row) float32) float64 {
	var v []float64
	for _, r := range rows {
		if x := float64(of(r)); !math.IsNaN(x) {
			v = append(v, x)
		}
	}
	if len(v) == 0 {
		return math.NaN()
	}
	return stats.Median(v)
}
