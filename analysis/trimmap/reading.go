package trimmap

import (
	"cmp"
	"math"
	"slices"

	"pushback/analysis/stats"
	"pushback/decode"
)

// Reading is one short-term trim with the conditions it was read under. What was not
// known is NaN.
type Reading struct {
	At      float64 // s since the session began
	Bank    int
	Short   float64 // %
	Long    float64 // %, 0 where the car has none
	RPM     float64
	Load    float64 // %
	Flow    float64 // by the session's Flow
	Coolant float64 // °C
}

// Total is what the computer adds altogether, %.
func (r Reading) Total() float64 { return r.Short + r.Long }

// Flow says where a session's air flow is from.
type Flow string

const (
	NoFlow       Flow = "none"
	Metered      Flow = "metered"       // the air meter, g/s
	SpeedDensity Flow = "speed_density" // pressure, speed and intake temperature: g/s, or g/s per litre
	ByLoad       Flow = "load"          // speed × calculated load: proportional to air flow
)

// Left says how many readings were left out, and why.
type Left struct {
	OpenLoop int `json:"open_loop"`
	Cold     int `json:"cold"`
	Forced   int `json:"forced"` // a force was on, or the loop had not yet recovered
	Stopped  int `json:"engine_stopped"`
	Unsteady int `json:"unsteady"`
	Unknown  int `json:"speed_unknown"`
}

// Data is what a session gives to a map.
type Data struct {
	Readings []Reading // in order of time, all banks
	Left     Left
	Flow     Flow
	FlowUnit string
	Status   bool // fuel status was read
	Seconds  float64
}

// Span is a stretch of time, s.
type Span struct{ From, To float64 }

// Conditions of a reading. A trim counts in closed loop, warm and steady; the numbers are
// common practice without a source.
const (
	warm        = 60   // °C
	turning     = 400  // rpm
	steadySpeed = 0.15 // of rpm, from reading to reading
	steadyFlow  = 0.35 // of load, pressure or flow
	recovery    = 20.0 // s after a force in which the trims still walk back
	zeros       = 3    // short-term trims of exactly zero in a row are an open loop whose status nobody read
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

// steady reports whether the last step was within a share of the value.
func (l *latest) steady(share float64) bool {
	return l.n < 2 || math.Abs(l.v-l.before) <= share*max(math.Abs(l.v), math.Abs(l.before))
}

// raw is a reading before it is known which of its parts count. A session has millions, so
// they are narrow: a value of service 01 has 16 bits at most.
type raw struct {
	at                                                             float64
	short, long, rpm, load, coolant, maf, pressure, intake, status float32 // status NaN: never read
	bank                                                           uint8
	steady                                                         bool
	beside                                                         bool // the trim came with the sensor's voltage
}

func (r *raw) reading(by Flow, litres float64) Reading {
	return Reading{At: r.at, Bank: int(r.bank), Short: float64(r.short), Long: float64(r.long), RPM: float64(r.rpm), Load: float64(r.load),
		Flow: r.flow(by, litres), Coolant: float64(r.coolant)}
}

// Collector takes the samples of one session in order of time.
type Collector struct {
	speed, load, maf, pressure, intake, coolant latest
	status, long                                [5]latest // by fuel system, and by bank
	blocks                                      []*[blockSize]raw
	n                                           int // readings in them
	end                                         float64
}

// Add takes one sample.
func (c *Collector) Add(s decode.Sample) {
	if s.Missing {
		return
	}
	at := (s.Sent + s.Received).Seconds() / 2
	c.end = max(c.end, at)
	switch name := s.Signal.Name; name {
	case "RPM":
		c.speed.reach(at, s.Value, steadySpeed, betweenSpeed, func(i int, v float64) { c.raw(i).rpm = float32(v) })
	case "LOAD_PCT":
		c.load.reach(at, s.Value, steadyFlow, betweenAir, func(i int, v float64) { c.raw(i).load = float32(v) })
	case "MAF":
		c.maf.reach(at, s.Value, steadyFlow, betweenAir, func(i int, v float64) { c.raw(i).maf = float32(v) })
	case "MAP":
		c.pressure.reach(at, s.Value, steadyFlow, betweenAir, func(i int, v float64) { c.raw(i).pressure = float32(v) })
	case "IAT":
		c.intake.set(at, s.Value)
	case "ECT":
		c.coolant.set(at, s.Value)
	case "FUELSYS1", "FUELSYS2":
		c.status[name[7]-'0'].set(at, s.Value)
	case "LONGFT1", "LONGFT2", "LONGFT3", "LONGFT4":
		c.long[name[6]-'0'].set(at, s.Value)
	case "SHRTFT1", "SHRTFT2", "SHRTFT3", "SHRTFT4":
		c.trim(at, int(name[6]-'0'), s.Value, false)
	case "SHRTFT11", "SHRTFT21", "SHRTFT31", "SHRTFT41":
		c.trim(at, int(name[6]-'0'), s.Value, true)
	}
}

func (c *Collector) trim(at float64, bank int, short float64, beside bool) {
	i := c.n
	r := raw{at: at, bank: uint8(bank), short: float32(short), rpm: float32(c.speed.or(at, freshSpeed, betweenSpeed, i)),
		load: float32(c.load.or(at, freshAir, betweenAir, i)), coolant: float32(c.coolant.get(at, freshSlow)),
		maf: float32(c.maf.or(at, freshAir, betweenAir, i)), pressure: float32(c.pressure.or(at, freshAir, betweenAir, i)),
		intake: float32(c.intake.get(at, freshSlow)), beside: beside, status: float32(math.NaN())}
	if l := c.long[bank]; l.n > 0 {
		r.long = float32(l.v)
	}
	// Fuel system 2 is the second bank's where there are two; a car may use one for both.
	system := 1
	if bank%2 == 0 && c.status[2].n > 0 && c.status[2].v != 0 {
		system = 2
	}
	if s := c.status[system]; s.n > 0 {
		r.status = float32(s.v)
	}
	r.steady = c.speed.steady(steadySpeed) && c.load.steady(steadyFlow) && c.maf.steady(steadyFlow) && c.pressure.steady(steadyFlow)
	if i%blockSize == 0 {
		c.blocks = append(c.blocks, new([blockSize]raw))
	}
	*c.raw(i) = r
	c.n++
}

func (c *Collector) raw(i int) *raw { return &c.blocks[i/blockSize][i%blockSize] }

// blockSize is how many readings lie in one piece of memory: those of a long session are
// not copied as they become more.
const blockSize = 1024

// Data returns the readings that count. forced are the stretches in which somebody
// held the signal or the mixture; litres is the engine's displacement, 0 unknown.
func (c *Collector) Data(forced []Span, litres float64) Data {
	d := Data{Seconds: c.end}
	raws := c.chosen()
	metered, dense, loaded := 0, 0, 0
	for _, r := range raws {
		d.Status = d.Status || known(r.status)
		metered += count(r.maf)
		dense += count(r.pressure + r.intake)
		loaded += count(r.load)
	}
	switch most := len(raws) * 8 / 10; {
	case len(raws) == 0:
		d.Flow = NoFlow
	case metered >= most:
		d.Flow, d.FlowUnit = Metered, "g/s"
	case dense >= most && litres > 0:
		d.Flow, d.FlowUnit = SpeedDensity, "g/s"
	case dense >= most:
		d.Flow, d.FlowUnit = SpeedDensity, "g/s per litre"
	case loaded >= most:
		d.Flow, d.FlowUnit = ByLoad, "1000 rpm at full load"
	default:
		d.Flow = NoFlow
	}
	if litres == 0 {
		litres = 1
	}
	run := [5]int{}
	d.Readings = make([]Reading, 0, len(raws))
	for _, r := range raws {
		if r.short == 0 {
			run[r.bank]++
		} else {
			run[r.bank] = 0
		}
		switch {
		case !known(r.rpm):
			d.Left.Unknown++
		case r.rpm < turning:
			d.Left.Stopped++
		case known(r.status) && int(r.status)&0x12 == 0, !d.Status && run[r.bank] >= zeros: // not closed, nor closed with a fault
			d.Left.OpenLoop++
		case r.coolant < warm:
			d.Left.Cold++
		case slices.ContainsFunc(forced, func(s Span) bool { return s.From-1 <= r.at && r.at <= s.To+recovery }):
			d.Left.Forced++
		case !r.steady:
			d.Left.Unsteady++
		default:
			d.Readings = append(d.Readings, r.reading(d.Flow, litres))
		}
	}
	return d
}

func (r *raw) flow(by Flow, litres float64) float64 {
	switch by {
	case Metered:
		return float64(r.maf)
	case SpeedDensity:
		return AirFlow(float64(r.pressure), float64(r.rpm), float64(r.intake), litres)
	case ByLoad:
		return float64(r.rpm) / 1000 * float64(r.load) / 100
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

// chosen returns each bank's trims from the signals that may be believed: the trim
// beside the voltage only where it agrees with the bank's own, or where there is no other.
func (c *Collector) chosen() []*raw {
	var banks [5]struct {
		own           *raw // the last one
		beside, leave bool
		diffs         []float64
	}
	out := make([]*raw, c.n)
	for i := range out {
		out[i] = c.raw(i)
	}
	for _, r := range out {
		b := &banks[r.bank]
		if !r.beside {
			b.own = r
			continue
		}
		b.beside = true
		if b.own != nil && r.at-b.own.at < 1 {
			b.diffs = append(b.diffs, math.Abs(float64(r.short-b.own.short)))
		}
	}
	for i := range banks {
		b := &banks[i]
		b.leave = b.beside && b.own != nil && !(len(b.diffs) >= 3 && stats.Median(b.diffs) <= 2*100.0/128)
	}
	out = slices.DeleteFunc(out, func(r *raw) bool { return r.beside && banks[r.bank].leave })
	byTime := func(a, b *raw) int { return cmp.Compare(a.at, b.at) }
	if !slices.IsSortedFunc(out, byTime) {
		slices.SortStableFunc(out, byTime)
	}
	return out
}

// AirFlow is the air that an engine of the given displacement (litres) draws, g/s, by
// speed and density: half its volume a turn, filled with air at intake pressure (kPa)
// and temperature (°C) as an ideal gas (R = 287.05 J/(kg K), ISO 2533). Real engines
// fill to some 70 to 95 % of that: the number is good for where trim lies by flow, not
// as a flow meter.
func AirFlow(kPa, rpm, celsius, litres float64) float64 {
	return 1e3 * (1e3 * kPa * litres / 1e3 * rpm / 120) / (287.05 * (celsius + 273.15))
}
