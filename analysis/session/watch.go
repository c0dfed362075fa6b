package session

import (
	"time"

	"pushback/analysis"
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
	Verdict() analysis.Verdict
	Figures() analysis.Figures
	Reasons() []string
}

// watchers holds both until the first reading of the watched sensor tells its kind. What a
// car's bitmaps say is not asked: the readings are the same in a replay and in a table.
type watchers struct {
	cfg   analysis.Config
	kind  decode.Kind
	both  [2]watcher          // narrow, wide; after the choice the other is nil
	held  [2][]analysis.Event // what they said before the choice
	seen  [2]bool             // the kind's own reading came in this record
	since time.Duration       // when the first reading of a sensor behind the catalyst came; −1: none yet
}

func newWatchers(cfg analysis.Config) *watchers {
	w := &watchers{cfg: cfg, since: -1}
	w.both = [2]watcher{analysis.NewWatcher(cfg), newWide(cfg)}
	return w
}

func newWide(cfg analysis.Config) watcher { return wide.New(cfg) }

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

// step gives a sample.
func (w *watchers) step(s decode.Sample) []analysis.Event {
	if !s.Missing {
		switch name := s.Signal.Name; name {
		case w.cfg.Sensor.Ratio():
			w.seen[1] = true
		case w.cfg.Sensor.Voltage():
			w.seen[0] = true
		}
	}
	return w.each(func(x watcher) []analysis.Event { return x.Step(s) })
}

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
