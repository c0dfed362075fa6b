package session

import (
	"time"

	"pushback/analysis"
	"pushback/analysis/rear"
	"pushback/analysis/reason"
	"pushback/analysis/wide"
	"pushback/decode"
)

// A watcher turns samples, and what was said, into events and a verdict: one for narrow
// sensors, one for wide-range ones.
type watcher interface {
	Step(decode.Sample) []analysis.Event
	Mark(at time.Duration, side analysis.Side) []analysis.Event
	Release(at time.Duration) []analysis.Event
	Codes(at time.Duration, service byte, codes []string) []analysis.Event
	Gap(from, to time.Duration, cause string) []analysis.Event
	Finish(at time.Duration) []analysis.Event
	Barred() (now, always bool) // the car must not be tested
	Verdict() analysis.Verdict
	Figures() analysis.Figures
	Reasons() []reason.Reason
}

// watchers holds both until the first reading of the watched sensor tells its kind. What a
// car's bitmaps say is not asked: the readings are the same in a replay and in a table.
type watchers struct {
	cfg   analysis.Config
	kind  decode.Kind
	both  [2]watcher          // narrow, wide; after the choice the other is nil
	held  [2][]analysis.Event // what they said before the choice
	seen  [2]bool             // the kind's own reading came in this record
	first time.Duration       // when the sensor behind the catalyst was read first
	tells decode.Roles[tells]
}

// tells is what a signal tells of the kind.
type tells uint8

const (
	tellsNothing tells = iota
	tellsRear          // the sensor is behind the catalyst
	tellsNarrow
	tellsWide
)

// newWatchers watches what the setup says. Where it does not say what is forced, that is the wire of a narrow sensor and, as
// nobody holds the wire of a wide-range one, the mixture of that.
func newWatchers(s Setup) *watchers {
	w := &watchers{cfg: analysis.Config{Sensor: s.Sensor, By: s.By}}
	narrow := newNarrow(w.cfg)
	if s.Unsaid && s.Sensor.Position <= 1 {
		w.cfg.By = analysis.ByMixture
	}
	w.both = [2]watcher{narrow, newWide(w.cfg)}
	w.tells = decode.NewRoles(w.tellsOf)
	return w
}

func newWide(cfg analysis.Config) watcher { return wide.New(cfg) }

// newNarrow watches a narrow sensor. What one behind the catalyst does when the fuel is cut has a watcher of its own.
func newNarrow(cfg analysis.Config) watcher {
	if cfg.By == analysis.ByFuelCut && cfg.Sensor.Position > 1 {
		return rear.New(cfg)
	}
	return analysis.NewWatcher(cfg)
}

// chosen is the watcher that counts; of a sensor that was never read the narrow one.
func (w *watchers) chosen() watcher {
	if w.kind == decode.WideRange {
		return w.both[1]
	}
	return w.both[0]
}

// each gives something to the watchers that are still there, and returns what the chosen one says.
func (w *watchers) each(give func(watcher) []analysis.Event) []analysis.Event {
	if w.kind != decode.UnknownKind {
		return give(w.chosen())
	}
	for i, x := range w.both {
		w.held[i] = append(w.held[i], give(x)...)
	}
	return nil
}

// guidedWatcher is one to which it matters what a guide asked for.
type guidedWatcher interface {
	Open(at time.Duration) []analysis.Event
	Asked(at time.Duration, side analysis.Side, open bool) []analysis.Event
}

// guided gives what a guide asked for to those to which it matters.
func (w *watchers) guided(give func(guidedWatcher) []analysis.Event) []analysis.Event {
	return w.each(func(x watcher) []analysis.Event {
		if g, ok := x.(guidedWatcher); ok {
			return give(g)
		}
		return nil
	})
}

// step gives a sample.
func (w *watchers) step(s *decode.Sample) []analysis.Event {
	if !s.Missing && w.kind != decode.WideRange { // which it stays
		w.notice(s)
	}
	if w.kind != decode.UnknownKind {
		return w.chosen().Step(*s)
	}
	return w.each(func(x watcher) []analysis.Event { return x.Step(*s) })
}

// notice takes down what tells of the kind.
func (w *watchers) notice(s *decode.Sample) {
	switch w.tells.Of(s.Signal) {
	case tellsRear:
		if w.first == 0 {
			w.first = max(s.Received, 1)
		}
		w.seen[0] = w.seen[0] || s.Received > w.first+upstreamWithin
	case tellsNarrow:
		w.seen[0] = true
	case tellsWide:
		w.seen[1] = true
	}
}

// tellsOf is what the signal of a name tells. By wire, a sensor behind the catalyst is judged by what is upstream of it,
// which may come a little later.
func (w *watchers) tellsOf(name string) tells {
	id := w.cfg.Sensor
	if rear := id.Position > 1 && w.cfg.By == analysis.ByWire; rear {
		if name == id.Voltage() {
			return tellsRear
		}
		id.Position = 1
	}
	switch name {
	case id.Ratio():
		return tellsWide
	case id.Voltage():
		return tellsNarrow
	}
	return tellsNothing
}

// upstreamWithin is how long the first reading of the upstream sensor is waited for.
const upstreamWithin = 6 * time.Second

// choose decides at the end of a record, and returns what the chosen one has said so far. A wide
// reading counts whenever it comes: who shows both shows a narrow one for old scan tools.
func (w *watchers) choose() []analysis.Event {
	kind := w.kind
	switch {
	case w.seen[1]:
		kind = decode.WideRange
	case w.seen[0] && kind == decode.UnknownKind:
		kind = decode.Narrow
	}
	w.seen = [2]bool{}
	if kind == w.kind {
		return nil
	}
	w.kind = kind
	i := 0
	if kind == decode.WideRange {
		i = 1
		if w.both[1] == nil {
			w.both[1] = newWide(w.cfg)
		}
	}
	w.both[1-i] = nil
	out := w.held[i]
	w.held = [2][]analysis.Event{}
	return out
}

// finish ends the session.
func (w *watchers) finish(at time.Duration) []analysis.Event {
	if w.kind == decode.UnknownKind {
		w.kind = decode.Narrow
		w.both[1] = nil
	}
	return append(w.held[0], w.chosen().Finish(at)...)
}
