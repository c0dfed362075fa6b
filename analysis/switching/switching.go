// Package switching says how an oxygen sensor switches at idle and at 2000 to 2500 rpm, as
// far as the readings can show it: a sensor of a healthy loop crosses 0.45 V about once a
// second and in under a tenth of one, and most buses are too slow to see that. What they
// cannot show is not claimed. It is pure.
package switching

import (
	"math"
	"slices"
	"sync"

	"pushback/analysis/limits"
	"pushback/analysis/series"
	"pushback/analysis/stats"
	"pushback/decode"
)

// Collector takes the samples of one session in order of time.
type Collector struct {
	roles    decode.Roles[role]
	rpm      float64
	rpmAt    float64
	hasRPM   bool
	readings series.Series // V, at twice the middle of the exchange
	speeds   []speed       // of the readings, in their order
	pauses   []int         // the readings that came after one
	last     float64       // s, of the last reading
}

// speed is an engine speed, of the readings from one on.
type speed struct {
	from int     // the reading's index
	at   float64 // s, of that reading
	rpm  float32 // NaN unknown
}

type reading struct {
	at    float64 // s, the middle of its exchange
	volts float64
}

// NewCollector collects the readings of a narrow sensor such as B1S1.
func NewCollector(sensor string) *Collector {
	id, err := decode.ParseSensorID(sensor)
	if err != nil {
		id = decode.SensorID{Bank: -1} // there is none
	}
	return &Collector{roles: decode.NewRoles(func(name string) role {
		switch name {
		case "RPM":
			return isSpeed
		case id.Voltage():
			return isVolts
		}
		return isNothing
	})}
}

// role is what a signal is here.
type role uint8

const (
	isNothing role = iota
	isSpeed
	isVolts
)

// How long an engine speed holds by itself, s, and how far apart two that agree to a share
// may be to hold for what lies between them.
const (
	freshSpeed   = 4.0
	betweenSpeed = 10.0
	sameSpeed    = 0.15
)

// Add takes one sample.
func (c *Collector) Add(s decode.Sample) {
	is := c.roles.Of(s.Signal)
	if is == isNothing || s.Missing {
		return
	}
	at := (s.Sent + s.Received).Seconds() / 2
	switch is {
	case isSpeed:
		if c.hasRPM && at-c.rpmAt <= betweenSpeed && math.Abs(s.Value-c.rpm) <= sameSpeed*max(s.Value, c.rpm) {
			for i := len(c.speeds) - 1; i >= 0 && math.IsNaN(float64(c.speeds[i].rpm)) && c.speeds[i].at >= c.rpmAt; i-- {
				c.speeds[i].rpm = float32(c.rpm)
			}
		}
		c.rpm, c.rpmAt, c.hasRPM = s.Value, at, true
	case isVolts:
		rpm := float32(math.NaN())
		if c.hasRPM && at-c.rpmAt <= freshSpeed {
			rpm = float32(c.rpm)
		}
		// What was read before the last speed is not known by it.
		if n := len(c.speeds); n == 0 || math.Float32bits(c.speeds[n-1].rpm) != math.Float32bits(rpm) || c.speeds[n-1].at < c.rpmAt {
			c.speeds = append(c.speeds, speed{c.readings.Len(), at, rpm})
		}
		if at-c.last > pause {
			c.pauses = append(c.pauses, c.readings.Len())
		}
		c.last = at
		c.readings.Add(s.Sent+s.Received, float64(float32(s.Value)))
	}
}

// Edge is how long the voltage takes from 0.30 to 0.60 V or back: a bracket that holds
// the median transition.
type Edge struct {
	Count           int
	AtLeast, AtMost float64 // s; AtMost NaN where none was seen
}

// Shown reports whether the readings are close enough for the edge to mean something: a
// bracket wider than the transition of a healthy sensor shows nothing of it.
//
// Special cases are: none seen shows nothing.
func (e Edge) Shown() bool { return e.Count > 0 && e.AtMost-e.AtLeast <= widest }

// SpeedBand is the sensor at one kind of engine speed. NaN: not measured.
type SpeedBand struct {
	Name       string // "idle", "2000 to 2500 rpm"
	Readings   int
	Seconds    float64
	PerSecond  float64
	Low, High  float64 // V, 1 % and 99 % quantiles
	Mean       float64 // V
	ShareRich  float64 // above 0.45 V
	Per10s     float64 // changes of side in 10 s
	Period     float64 // s, from rich to rich, the median
	Rich, Lean float64 // s on each side, the median
	Rise, Fall Edge
	Limits     []Limit

	parts []part
}

// Limit is one figure beside what is usual.
type Limit struct {
	What   string  `json:"what"`
	Value  float64 `json:"value"`
	Usual  string  `json:"usual"`
	Source string  `json:"source"`
	State  string  `json:"state"` // usual, unusual, between
}

const (
	switchPoint = limits.SwitchPoint
	band        = 0.05 // V of hysteresis on each side
	low, high   = 0.30, 0.60
	pause       = 10.0 // s without a reading end a stretch
	widest      = 0.12 // s, of a bracket
	fewest      = 20
)

var bands = []struct {
	name     string
	from, to float32
}{{"idle", limits.TurningSpeed, 1100}, {"2000 to 2500 rpm", 1900, 2600}}

// Span is a stretch of time, s.
type Span struct{ From, To float64 }

// Bands returns the sensor's figures at idle and at 2000 to 2500 rpm, those that have
// readings. forced are left out with the 20 s after them.
//
// Special cases are: readings whose engine speed is not known belong to no band; fewer than 20, or
// less than 5 s, have no changes of side; fewer than 6 changes have no period; where what was
// seen may be a fold of what happened ([stats.Crossings]), Per10s is NaN.
func (c *Collector) Bands(forced []Span) []SpeedBand {
	found := c.find(forced)
	measured := make([]SpeedBand, len(bands))
	var work sync.WaitGroup // hours of readings take a while
	for k, b := range bands {
		work.Go(func() { measured[k] = c.measure(b.name, found[k].all) })
	}
	work.Wait()
	var out []SpeedBand
	for _, b := range measured {
		if b.Readings > 0 {
			out = append(out, b)
		}
	}
	return out
}

// find finds the stretches of each band. Between two of the ends all readings share an engine speed, and all or none are forced.
func (c *Collector) find(forced []Span) []stretches {
	ends, held := append([]int{c.readings.Len()}, c.pauses...), make([]stretch, len(forced))
	for i, f := range forced { // the readings are at twice their times
		held[i] = stretch{c.readings.Index(2 * (f.From - 1)), c.readings.Index(math.Nextafter(2*(f.To+20), math.Inf(1)))}
		ends = append(ends, held[i].from, held[i].to)
	}
	for _, s := range c.speeds {
		ends = append(ends, s.from)
	}
	slices.Sort(ends)
	ends = slices.Compact(ends)
	found, at := make([]stretches, len(bands)), 0
	for i, to := range ends[1:] {
		from := ends[i]
		for at+1 < len(c.speeds) && c.speeds[at+1].from <= from {
			at++
		}
		free := !slices.ContainsFunc(held, func(s stretch) bool { return s.from <= from && from < s.to })
		_, paused := slices.BinarySearch(c.pauses, from)
		for k, b := range bands {
			s := &found[k]
			switch rpm := c.speeds[at].rpm; {
			case !(free && b.from <= rpm && rpm < b.to):
				s.end(from)
				s.from = to
			case paused:
				s.end(from)
			}
		}
	}
	for k := range found {
		found[k].end(c.readings.Len())
	}
	return found
}

// stretch is readings that follow each other, from one index to below another.
type stretch struct{ from, to int }

// stretches are those of one band.
type stretches struct {
	all  []stretch
	from int // where the one that goes on began
}

func (s *stretches) end(to int) {
	if to-s.from > 1 {
		s.all = append(s.all, stretch{s.from, to})
	}
	s.from = to
}

// measure works out the figures of the stretches of one band.
func (c *Collector) measure(name string, stretches []stretch) SpeedBand {
	nan := math.NaN()
	b := SpeedBand{Name: name, Low: nan, High: nan, Mean: nan, ShareRich: nan, Per10s: nan, Period: nan, Rich: nan, Lean: nan, PerSecond: nan}
	var volts stats.Tally
	var sides sides
	var rise, fall edges
	above := 0
	for _, s := range stretches {
		first, last := c.readings.At(s.from).T/2, c.readings.At(s.to-1).T/2
		b.Seconds += last - first
		cut := newCutter(&b.parts, first, last)
		sides.begin()
		rises := edge{e: &rise, found: func(at, seconds float64) { p := cut.at(at); p.rises = append(p.rises, seconds) }}
		falls := edge{e: &fall, found: func(at, seconds float64) { p := cut.at(at); p.falls = append(p.falls, seconds) }}
		for p := range c.readings.Range(s.from, s.to) {
			r := reading{p.T / 2, p.V}
			volts.Add(r.volts)
			part := cut.at(r.at)
			part.reading(r.volts)
			if r.volts > switchPoint {
				above++
			}
			sides.add(r, part)
			rises.add(r.at, r.volts)
			falls.add(r.at, low+high-r.volts)
		}
	}
	if b.Readings = volts.Len(); b.Readings == 0 {
		return b
	}
	n := float64(b.Readings)
	b.ShareRich, b.Mean = float64(above)/n, volts.Mean()
	b.Low, b.High = volts.Quantile(0.01), volts.Quantile(0.99)
	if b.Seconds > 0 {
		b.PerSecond = float64(b.Readings-len(stretches)) / b.Seconds
	}
	if b.Readings >= fewest {
		b.Per10s = sides.seen.Per10s(b.Seconds)
		if sides.seen.Changes >= 6 && !math.IsNaN(b.Per10s) {
			b.Period, b.Rich, b.Lean = stats.Median(sides.periods), stats.Median(sides.rich), stats.Median(sides.lean)
		}
	}
	b.Rise, b.Fall = rise.edge(), fall.edge()
	b.Limits = margins(b)
	return b
}

// sides follows the side that the voltage is on, with hysteresis.
type sides struct {
	side            int // -1 lean, +1 rich, 0 not yet known
	before          float64
	since, lastRich float64 // NaN: not known
	seen            stats.Crossings
	rich, lean      []float64 // s on each side
	periods         []float64 // s, from rich to rich
}

// begin begins a stretch.
func (s *sides) begin() { s.side, s.since, s.lastRich = 0, math.NaN(), math.NaN() }

func (s *sides) add(r reading, p *part) {
	is := s.side
	if r.volts > switchPoint+band {
		is = 1
	} else if r.volts < switchPoint-band {
		is = -1
	}
	s.seen.Read(r.volts, is != s.side, s.side != 0)
	if s.side != 0 && is != s.side {
		s.change(is, (r.at+s.before)/2, p)
	}
	s.side, s.before = is, r.at
}

// change takes a change to another side, between two readings.
func (s *sides) change(to int, at float64, p *part) {
	p.changes++
	if !math.IsNaN(s.since) {
		if s.side > 0 {
			s.rich = append(s.rich, at-s.since)
		} else {
			s.lean = append(s.lean, at-s.since)
		}
	}
	s.since = at
	if to > 0 {
		if !math.IsNaN(s.lastRich) {
			s.periods = append(s.periods, at-s.lastRich)
			p.periods = append(p.periods, at-s.lastRich)
		}
		s.lastRich = at
	}
}

// edges gathers brackets of transitions from low to high.
type edges struct{ least, most []float64 }

// edge follows the transitions of one stretch. A transition began after the last reading
// at or below 0.30 V and ended before the first at or above 0.60 V; it lasted at least
// from the first to the last reading between.
type edge struct {
	e     *edges
	found func(at, seconds float64) // told when one ended and the middle of its bracket

	under         bool    // it may have begun
	began         float64 // s, the last reading at or below 0.30 V
	between       int     // readings since
	first, latest float64 // s, of those
}

func (x *edge) add(at, v float64) {
	switch {
	case v <= low:
		x.under, x.began, x.between = true, at, 0
	case v >= high:
		if x.under {
			most, least := at-x.began, 0.0
			if x.between > 1 {
				least = x.latest - x.first
			}
			x.e.most, x.e.least = append(x.e.most, most), append(x.e.least, least)
			x.found(at, (least+at-x.began)/2)
		}
		x.under = false
	default:
		if x.between++; x.between == 1 {
			x.first = at
		}
		x.latest = at
	}
}

func (e *edges) edge() Edge {
	out := Edge{Count: len(e.most), AtMost: stats.Median(e.most)}
	if out.Count > 0 {
		out.AtLeast = stats.Median(e.least)
	}
	return out
}

// margins puts the figures beside what is usual. None of them alone makes a sensor bad.
func margins(b SpeedBand) []Limit {
	var out []Limit
	add := func(what string, v float64, usual, source string, good, bad bool) {
		if math.IsNaN(v) {
			return
		}
		state := "between"
		if good {
			state = "usual"
		} else if bad {
			state = "unusual"
		}
		out = append(out, Limit{what, v, usual, source, state})
	}
	if b.Readings < fewest {
		return nil
	}
	add("highest voltage, V", b.High, "0.80 to 1.0", "common practice, no source", b.High >= 0.80 && b.High <= 1.05, b.High < 0.70 || b.High > 1.1)
	add("lowest voltage, V", b.Low, "0 to 0.20", "common practice, no source", b.Low <= 0.20, b.Low > 0.30)
	add("swing, V", b.High-b.Low, "0.6 or more", "common practice, no source", b.High-b.Low >= 0.6, b.High-b.Low < 0.4)
	if b.Name != "idle" {
		add("changes of side in 10 s", b.Per10s, "8 or more", "makers' workshop texts of 1993 and 1994", b.Per10s >= 8, b.Per10s < 3)
	}
	for _, e := range []struct {
		what string
		Edge
	}{{"rise from 0.30 to 0.60 V, s", b.Rise}, {"fall from 0.60 to 0.30 V, s", b.Fall}} {
		if e.Shown() {
			add(e.what, e.AtMost, "under 0.1", "common practice, no source", e.AtMost < 0.1, e.AtLeast > 0.15)
		}
	}
	return out
}
