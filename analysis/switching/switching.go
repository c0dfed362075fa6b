// Package switching says how an oxygen sensor switches at idle and at 2000 to 2500 rpm, as
// far as the readings can show it: a sensor of a healthy loop crosses 0.45 V about once a
// second and in under a tenth of one, and most buses are too slow to see that. What they
// cannot show is not claimed. It is pure.
package switching

import (
	"fmt"
	"math"
	"slices"

	"pushback/analysis/stats"
	"pushback/decode"
)

// Collector takes the samples of one session in order of time.
type Collector struct {
	name     string
	rpm      float64
	rpmAt    float64
	hasRPM   bool
	readings []reading
}

type reading struct {
	at    float64 // s, the middle of its exchange
	volts float32
	rpm   float32 // NaN unknown
}

// NewCollector collects the readings of a narrow sensor such as B1S1.
func NewCollector(sensor string) *Collector {
	id, err := decode.ParseSensorID(sensor)
	if err != nil {
		return &Collector{}
	}
	return &Collector{name: id.Voltage()}
}

// How long an engine speed holds by itself, s, and how far apart two that agree to a share
// may be to hold for what lies between them.
const (
	freshSpeed   = 4.0
	betweenSpeed = 10.0
	sameSpeed    = 0.15
)

// Add takes one sample.
func (c *Collector) Add(s decode.Sample) {
	if s.Missing {
		return
	}
	at := (s.Sent + s.Received).Seconds() / 2
	switch s.Signal.Name {
	case "RPM":
		if c.hasRPM && at-c.rpmAt <= betweenSpeed && math.Abs(s.Value-c.rpm) <= sameSpeed*max(s.Value, c.rpm) {
			for i := len(c.readings) - 1; i >= 0 && math.IsNaN(float64(c.readings[i].rpm)) && c.readings[i].at >= c.rpmAt; i-- {
				c.readings[i].rpm = float32(c.rpm)
			}
		}
		c.rpm, c.rpmAt, c.hasRPM = s.Value, at, true
	case c.name:
		rpm := math.NaN()
		if c.hasRPM && at-c.rpmAt <= freshSpeed {
			rpm = c.rpm
		}
		if len(c.readings) == cap(c.readings) {
			c.readings = slices.Grow(c.readings, max(1024, len(c.readings))) // a long session is copied less often than by append
		}
		c.readings = append(c.readings, reading{at, float32(s.Value), float32(rpm)})
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
func (e Edge) Shown() bool { return e.Count > 0 && e.AtMost-e.AtLeast <= widest }

// Band is the sensor at one kind of engine speed. NaN: not measured.
type Band struct {
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
	switchPoint = 0.45 // V
	band        = 0.05 // V of hysteresis on each side
	low, high   = 0.30, 0.60
	pause       = 10.0 // s without a reading end a stretch
	widest      = 0.12 // s, of a bracket
	fewest      = 20
	// aliased is the share of readings that change side beyond which what was seen is a
	// fold of what happened (our own, from simulation).
	aliased = 0.35
)

var bands = []struct {
	name     string
	from, to float32
}{{"idle", 400, 1100}, {"2000 to 2500 rpm", 1900, 2600}}

// Span is a stretch of time, s.
type Span struct{ From, To float64 }

// Bands returns the sensor's figures at idle and at 2000 to 2500 rpm, those that have
// readings. forced are left out with the 20 s after them.
func (c *Collector) Bands(forced []Span) []Band {
	var out []Band
	for _, b := range bands {
		var stretches [][]reading
		from := 0 // of the stretch that goes on
		end := func(to int) {
			if to-from > 1 {
				stretches = append(stretches, c.readings[from:to])
			}
			from = to
		}
		for i, r := range c.readings {
			in := b.from <= r.rpm && r.rpm < b.to && !slices.ContainsFunc(forced, func(s Span) bool { return s.From-1 <= r.at && r.at <= s.To+20 })
			if !in {
				end(i)
				from = i + 1
			} else if i > from && r.at-c.readings[i-1].at > pause {
				end(i)
			}
		}
		end(len(c.readings))
		if m := measure(b.name, stretches); m.Readings > 0 {
			out = append(out, m)
		}
	}
	return out
}

func measure(name string, stretches [][]reading) Band {
	nan := math.NaN()
	b := Band{Name: name, Low: nan, High: nan, Mean: nan, ShareRich: nan, Per10s: nan, Period: nan, Rich: nan, Lean: nan, PerSecond: nan}
	var volts, rich, lean, periods []float64
	var rise, fall edges
	changes, stays, above, n := 0, 0, 0, 0
	for _, s := range stretches {
		n += len(s)
	}
	volts = make([]float64, 0, n)
	for _, s := range stretches {
		b.Seconds += s[len(s)-1].at - s[0].at
		cut := newCutter(&b.parts, s)
		var side float64 // -1 lean, +1 rich, 0 not yet known
		since, lastRich := nan, nan
		for i, r := range s {
			v := float64(r.volts)
			volts = append(volts, v)
			b.Readings++
			p := cut.at(r.at)
			p.reading(v)
			if v > switchPoint {
				above++
			}
			is := side
			if v > switchPoint+band {
				is = 1
			} else if v < switchPoint-band {
				is = -1
			}
			if side != 0 && is != side {
				changes++
				p.changes++
				at := (r.at + s[i-1].at) / 2
				if !math.IsNaN(since) {
					if side > 0 {
						rich = append(rich, at-since)
					} else {
						lean = append(lean, at-since)
					}
				}
				since = at
				if is > 0 {
					if !math.IsNaN(lastRich) {
						periods = append(periods, at-lastRich)
						p.periods = append(p.periods, at-lastRich)
					}
					lastRich = at
				}
			} else if side != 0 {
				stays++
			}
			side = is
		}
		rise.find(s, func(v float64) float64 { return v }, func(at, seconds float64) { p := cut.at(at); p.rises = append(p.rises, seconds) })
		fall.find(s, func(v float64) float64 { return low + high - v }, func(at, seconds float64) { p := cut.at(at); p.falls = append(p.falls, seconds) })
	}
	if b.Readings == 0 {
		return b
	}
	b.ShareRich = float64(above) / float64(b.Readings)
	for _, v := range volts {
		b.Mean = zero(b.Mean) + v/float64(b.Readings)
	}
	b.Low, b.High = stats.Quantile(volts, 0.01), stats.Quantile(volts, 0.99)
	if b.Seconds > 0 {
		b.PerSecond = float64(b.Readings-len(stretches)) / b.Seconds
	}
	if float64(changes) < aliased*float64(changes+stays) && b.Seconds >= 5 && b.Readings >= fewest {
		b.Per10s = 10 * float64(changes) / b.Seconds
		if changes >= 6 {
			b.Period, b.Rich, b.Lean = stats.Median(periods), stats.Median(rich), stats.Median(lean)
		}
	}
	b.Rise, b.Fall = rise.edge(), fall.edge()
	b.Limits = limits(b)
	return b
}

func zero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// edges gathers brackets of transitions from low to high.
type edges struct{ least, most []float64 }

// find takes the transitions of one stretch. A transition began after the last reading
// at or below 0.30 V and ended before the first at or above 0.60 V; it lasted at least
// from the first to the last reading between. each is told when it ended and the middle of
// its bracket.
func (e *edges) find(s []reading, as func(float64) float64, each func(at, seconds float64)) {
	began := -1
	for i, r := range s {
		v := as(float64(r.volts))
		switch {
		case v <= low:
			began = i
		case v >= high:
			if began >= 0 {
				e.most = append(e.most, r.at-s[began].at)
				least := 0.0
				if i-began > 2 {
					least = s[i-1].at - s[began+1].at
				}
				e.least = append(e.least, least)
				each(r.at, (least+r.at-s[began].at)/2)
			}
			began = -1
		}
	}
}

func (e *edges) edge() Edge {
	return Edge{len(e.most), zero(stats.Median(e.least)), stats.Median(e.most)}
}

// limits puts the figures beside what is usual. None of them alone makes a sensor bad.
func limits(b Band) []Limit {
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

// Text words an edge, honest about what the sampling can show.
func (e Edge) Text(perSecond float64) string {
	switch {
	case e.Count == 0:
		return "none seen"
	case !e.Shown():
		return fmt.Sprintf("not measurable at %.1f readings/s", perSecond)
	case e.AtLeast > 0:
		return fmt.Sprintf("between %.0f and %.0f ms", 1e3*e.AtLeast, 1e3*e.AtMost)
	}
	return fmt.Sprintf("within %.0f ms", 1e3*e.AtMost)
}
