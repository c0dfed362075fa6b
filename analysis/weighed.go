package analysis

import "slices"

// Weighed is a stretch of readings that was weighed to its end: what was said of it in numbers, to be held against what was.
type Weighed struct {
	Side       Side
	Begin, End float64 // s
	LogOdds    float64 // of a force, as they stood when it was decided
	Called     bool    // it was called a force
	Bank       int     // on whose sensor
}

// maxWeighed is how many of those that were not called a force are kept: the oldest goes.
const maxWeighed = 64

// passOver notes that the stretch was not called a force, by these odds.
func (w *Watcher) passOver(s *stretch, x weight) {
	bank := w.bank
	if s.track == &w.otherVolts {
		bank = w.other
	}
	if len(w.passedOver) == maxWeighed {
		w.passedOver = slices.Delete(w.passedOver, 0, 1)
	}
	w.passedOver = append(w.passedOver, Weighed{Side: s.side, Begin: s.first.t(), End: s.last.t(), LogOdds: x.sum(), Bank: bank})
}

// Weighed returns the stretches that were decided by weight, forces first; not those that were only said.
func (w *Watcher) Weighed() []Weighed {
	var out []Weighed
	for _, f := range w.forces {
		if f.seen && w.cfg.By != ByMixture {
			out = append(out, Weighed{Side: f.side, Begin: f.begin, End: f.begin + max(0, f.seconds()), LogOdds: f.weight.sum(), Called: true, Bank: f.bank})
		}
	}
	return append(out, w.passedOver...)
}
