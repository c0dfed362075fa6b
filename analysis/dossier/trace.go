package dossier

import (
	"math"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/analysis/series"
	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd"
)

// Hold is a time for which the signal or the mixture was held, s.
type Hold struct {
	Side     analysis.Side
	From, To float64
}

// Tick is an event or a mark on the time axis; exactly one of the two is set.
type Tick struct {
	At    time.Duration
	Event *analysis.Event
	Mark  *obd.Mark
}

// Trace holds all that can be drawn of a session: every reading of the sensor and of its bank's
// short-term trim, the commanded lambda, the holds, the gaps, the events and the marks. A reading that is NaN breaks the
// line: it was asked for and nothing came.
type Trace struct {
	Sensor  decode.SensorID
	Volts   series.Series // V
	Lambda  series.Series // equivalence ratio, of a wide-range sensor
	Command series.Series // the one that the computer asks for
	Down    series.Series // V, the downstream sensor of the bank
	Trim    series.Series // %
	Holds   []Hold
	Gaps    [][2]float64 // s
	Ticks   []Tick       // by time
	End     float64      // s, of the last record

	open  bool                         // the last hold
	roles decode.Roles[*series.Series] // nil: it is not drawn
}

// NewTrace returns a sink for a session that watches a sensor.
func NewTrace(sensor decode.SensorID) *Trace {
	t := &Trace{Sensor: sensor}
	t.roles = decode.NewRoles(func(name string) *series.Series {
		switch {
		case name == sensor.Voltage():
			return &t.Volts
		case name == sensor.Ratio():
			return &t.Lambda
		case name == "EQ_RAT":
			return &t.Command
		case sensor.Position == 1 && name == sensor.Downstream().Voltage():
			return &t.Down
		case slices.Contains(sensor.Trims(), name):
			return &t.Trim
		}
		return nil
	})
	return t
}

// Wide reports that the sensor is a wide-range one, which says lambda in place of a voltage that
// switches.
func (t *Trace) Wide() bool { return t.Lambda.Len() > 0 }

// Marked reports whether the technician said that a side is forced.
func (t *Trace) Marked() bool {
	return slices.ContainsFunc(t.Ticks, func(k Tick) bool {
		return k.Mark != nil && (k.Mark.Kind == obd.MarkLean || k.Mark.Kind == obd.MarkRich)
	})
}

// Write takes one frame.
func (t *Trace) Write(f session.Frame) error {
	t.End = max(t.End, f.Record.At.Seconds())
	for i := range f.Samples {
		s := &f.Samples[i]
		to := t.roles.Of(s.Signal)
		if to == nil {
			continue
		}
		v := s.Value
		if s.Missing {
			if to == &t.Trim {
				continue // its other name may come by another PID
			}
			v = math.NaN()
		}
		to.Add(s.Received, v)
	}
	if m := f.Record.Mark; m != nil && m.Kind != obd.MarkStep {
		mark := *m
		t.Ticks = append(t.Ticks, Tick{At: f.Record.At, Mark: &mark})
	}
	for _, e := range f.Events {
		t.event(e)
	}
	if f.Last {
		t.close(t.End)
		slices.SortStableFunc(t.Ticks, func(a, b Tick) int { return int(a.At - b.At) })
	}
	return nil
}

func (t *Trace) event(e analysis.Event) {
	switch e.Name {
	case analysis.ForceBegins:
		t.close(e.T)
		t.Holds, t.open = append(t.Holds, Hold{Side: e.Side, From: e.T}), true
	case analysis.ForceEnds:
		t.close(e.T)
	case analysis.GapSeen:
		t.Gaps = append(t.Gaps, [2]float64{e.From, e.To})
	}
	t.Ticks = append(t.Ticks, Tick{At: time.Duration(e.T * float64(time.Second)), Event: &e})
}

func (t *Trace) close(at float64) {
	if t.open {
		t.Holds[len(t.Holds)-1].To, t.open = at, false
	}
}
