package analysis

import (
	"time"

	"pushback/analysis/recent"
)

// openInput is what the computer's input reads while the sensor's branch is open and nothing is touched: between
// [limits.NeutralLow] and [limits.NeutralHigh] on many cars (published: 391 to 491 mV), 0 V with a pull-down, 1.1 V or the top of the range on others.
type openInput struct {
	said  float64 // s: that it was opened; 0: it was not said
	level float64 // V
	known bool
	lasts bool    // it is still being read
	asked bool    // a guide asks for it now
	left  float64 // s: when the reading left its level; 0: it did not. What came before is no force.
}

// How long a reading must lie still to be that of an open input, s: where that was said, and at a level where a held wire
// may lie too.
const (
	openStill  = 2.0
	openUnsaid = 3.0
)

// Open takes the word of the technician that the sensor's branch is open and nothing is touched.
func (w *Watcher) Open(at time.Duration) []Event {
	w.events = w.events[:0]
	w.open.said = at.Seconds()
	w.now = max(w.now, w.open.said)
	return w.events
}

// lookForOpen asks whether the readings lie at the level of an open input: between the sides, where no wire is
// held and no cell stays, or wherever they went when it was said. What is read then is no baseline.
func (w *Watcher) lookForOpen(p recent.Reading) {
	o, r := &w.open, &w.volts.run
	if o.lasts {
		said := len(w.hints) > 0 && w.hints[len(w.hints)-1].at > o.said
		if abs(p.V-o.level) > openWidth {
			o.left = p.T()
		}
		if o.left > 0 || said && o.said > 0 {
			o.lasts = false
			w.restFrom, w.cache.valid = p.T(), false
		}
		return
	}
	if o.known || w.cfg.By == ByMixture || r.n < 4 || r.seconds() < openStill || r.share() < 0.95 || r.alike < r.n-2 ||
		!r.hasBefore {
		return
	}
	said := o.said > 0 && r.first.T() > o.said-sayFar && r.first.T() < o.said+sayFar && (len(w.hints) == 0 || w.hints[len(w.hints)-1].at < o.said)
	if len(w.asked) > 0 {
		// With a guide it counts while the guide asks for it.
		said = o.asked && r.first.T() > w.asked[len(w.asked)-1].at-SayNear && (o.said > 0 || r.seconds() >= openUnsaid)
	}
	between := heldSide(r.level()) == "" && r.level() > middleLow && r.level() < middleHigh && r.high-r.low <= 2*bandHalf &&
		(said || r.seconds() >= openStill+2*w.volts.renewed && !w.ready.moved(r.first.T(), r.last.T()))
	if !said && !between {
		return
	}
	if lo, hi, _ := w.volts.volts.Span(r.first.T()-openStill, r.first.T()); max(r.level()-lo, hi-r.level()) < alive {
		return // it lay there before
	}
	b, _ := w.baseBefore(&w.volts, r.first.T())
	if between && (said || b.switching() || !b.known()) || said && (!b.known() || newLevel(r.level(), b.low, b.high)) {
		o.level, o.known, o.lasts = r.level(), true, true
		w.emit(Event{T: r.first.T(), Name: OpenLevel, Value: o.level})
		if f := w.running(); f != nil && f.ended {
			f.rel.comesOpen(o.level, p.T(), !said)
			w.announceRelease(f)
		}
	}
}

// near is the probability that an open input is read within levelWidth of v: about its level where that was seen,
// and where open inputs of other cars lie where not.
func (o *openInput) near(v float64) float64 {
	switch {
	case !o.known:
		return openLevel(v)
	case abs(v-o.level) <= openWidth:
		return 0.95 * levelWidth / (2 * openWidth)
	}
	return 0.05 * levelWidth
}

// openWidth is how near a reading of an open input lies to its level, V.
const openWidth = 0.02

// readsOpen reports whether a reading is that of an open input, not of the sensor, as far as is known.
func (w *Watcher) readsOpen(v float64) bool {
	n := len(w.forces)
	left := n > 0 && w.forces[n-1].ended && w.forces[n-1].rel.open
	return (w.open.lasts || left) && (abs(v-w.open.level) <= openWidth || left && abs(v-w.forces[n-1].rel.best) <= openWidth)
}

// ownReading reports whether a reading is the sensor's own, not that of a held or an open wire, as far as is known.
func (w *Watcher) ownReading(v float64) bool {
	return w.cfg.By == ByMixture || w.holding() == nil && !w.readsOpen(v)
}
