package report

import (
	"math"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/decode"
	"pushback/obd"
)

// A Point is one reading; a NaN breaks the line (asked for, nothing came).
type Point struct{ T, V float64 }

// A Band is a time for which the signal was held.
type Band struct {
	Side     analysis.Side
	From, To float64
}

// A Trace holds all that is drawn of a session: every reading of the sensor and of its
// bank's short-term trim, the forces, the events and the marks. It is a session.Sink.
type Trace struct {
	Sensor string
	Length time.Duration // that the session will have; 0: not known
	Volts  []Point       // V
	Lambda []Point       // equivalence ratio, of a wide-range sensor
	Down   []Point       // V, the downstream sensor of the bank
	Trim   []Point       // %
	Bands  []Band
	Gaps   [][2]float64
	Ticks  []live.Tick
	End    float64 // s

	volts, lambda, down string
	trims               []string
	open                bool // the last band
}

// NewTrace returns a sink for a session that watches sensor ("B1S1").
func NewTrace(sensor string) *Trace {
	t := &Trace{Sensor: sensor}
	if id, err := decode.ParseSensorID(sensor); err == nil {
		t.volts, t.lambda, t.trims = id.Voltage(), id.Ratio(), id.Trims()
		if id.Position == 1 {
			t.down = id.Downstream().Voltage()
		}
	}
	return t
}

// Write takes one frame.
func (t *Trace) Write(f session.Frame) error {
	t.End = max(t.End, f.Record.At.Seconds())
	for _, s := range f.Samples {
		var to *[]Point
		switch name := s.Signal.Name; {
		case name == t.volts:
			to = &t.Volts
		case name == t.lambda:
			to = &t.Lambda
		case name == t.down:
			to = &t.Down
		case slices.Contains(t.trims, name):
			to = &t.Trim
		default:
			continue
		}
		p := Point{s.Received.Seconds(), s.Value}
		if s.Missing {
			if to == &t.Trim {
				continue // its other name may come by another PID
			}
			p.V = math.NaN()
		}
		*to = append(t.room(*to, f.Record.At), p)
	}
	if m := f.Record.Mark; m != nil {
		mark := *m
		t.Ticks = append(t.Ticks, live.Tick{At: f.Record.At, Mark: &mark})
	}
	for _, e := range f.Events {
		t.event(e)
	}
	if f.Last {
		t.close(t.End)
		slices.SortStableFunc(t.Ticks, func(a, b live.Tick) int { return int(a.At - b.At) })
	}
	return nil
}

// room makes room for another reading: where there is none, for as many as the rest of the
// session will bring at the pace until now, since to copy a long one takes longer than to
// read it. The length is believed within bounds only.
func (t *Trace) room(points []Point, now time.Duration) []Point {
	n := len(points)
	if n < cap(points) {
		return points
	}
	rest := float64(n)
	if 0 < now && now < t.Length {
		rest *= 1.02 * float64(t.Length-now) / float64(now)
	}
	return slices.Grow(points, int(min(max(1024, float64(n)/8, rest), 1024+16*float64(n))))
}

// Wide reports that the sensor is a wide-range one, which says lambda in place of a
// voltage that switches.
func (t *Trace) Wide() bool { return len(t.Lambda) > 0 }

func (t *Trace) event(e analysis.Event) {
	switch e.Name {
	case analysis.ForceBegins:
		t.close(e.T)
		t.Bands, t.open = append(t.Bands, Band{Side: e.Side, From: e.T}), true
	case analysis.ForceEnds:
		t.close(e.T)
	case analysis.GapSeen:
		t.Gaps = append(t.Gaps, [2]float64{e.From, e.To})
	}
	t.Ticks = append(t.Ticks, live.Tick{At: time.Duration(e.T * float64(time.Second)), Event: &e})
}

func (t *Trace) close(at float64) {
	if t.open {
		t.Bands[len(t.Bands)-1].To, t.open = at, false
	}
}

// Notes lists what the technician said.
func (t *Trace) Notes() (out []live.Tick) {
	for _, k := range t.Ticks {
		if k.Mark != nil && k.Mark.Kind != obd.MarkStop {
			out = append(out, k)
		}
	}
	return out
}

// run is a stretch of readings that are joined by a line.
type run []Point

// thin keeps what a drawing of so many columns can show of points between from and to:
// of each column the first, the lowest, the highest and the last, in order of time, so
// that no peak is lost. One point beyond each end is kept, so that lines reach the edge.
// A NaN, or a pause far longer than usual, parts runs.
func thin(points []Point, from, to float64, columns int) []run {
	at := func(t float64) int {
		i, _ := slices.BinarySearchFunc(points, t, func(p Point, t float64) int {
			if p.T < t {
				return -1
			}
			return 1
		})
		return i
	}
	points = points[max(0, at(from)-1):min(len(points), at(to)+1)]
	if to <= from || columns < 1 {
		return nil
	}
	pause := max(2.0, 6*usualStep(points))
	var out []run
	var cur run
	var c column
	end := func() {
		cur = c.flush(cur)
		if len(cur) > 0 {
			out = append(out, cur)
		}
		cur = nil
	}
	last := math.Inf(-1)
	for _, p := range points {
		if math.IsNaN(p.V) {
			end()
			continue
		}
		if p.T-last > pause && !math.IsInf(last, -1) {
			end()
		}
		last = p.T
		if k := int(math.Floor((p.T - from) / (to - from) * float64(columns))); k != c.k || c.n == 0 {
			cur = c.flush(cur)
			c.k = k
		}
		c.add(p)
	}
	end()
	return out
}

// usualStep is the mean time between readings.
func usualStep(points []Point) float64 {
	if len(points) < 2 {
		return 0
	}
	return (points[len(points)-1].T - points[0].T) / float64(len(points)-1)
}

// column is what one column of a drawing holds.
type column struct {
	k, n                  int
	first, low, high, end Point
}

func (c *column) add(p Point) {
	if c.n == 0 {
		c.first, c.low, c.high = p, p, p
	}
	if p.V < c.low.V {
		c.low = p
	}
	if p.V > c.high.V {
		c.high = p
	}
	c.end = p
	c.n++
}

// flush adds the column's points to a run and empties it.
func (c *column) flush(to run) run {
	if c.n == 0 {
		return to
	}
	a, b := c.low, c.high
	if b.T < a.T {
		a, b = b, a
	}
	for _, p := range []Point{c.first, a, b, c.end} {
		if n := len(to); n == 0 || to[n-1] != p {
			to = append(to, p)
		}
	}
	c.n = 0
	return to
}
