package analysis

import (
	"math"
	"slices"
)

// Weighed is a stretch of readings that was weighed to its end: what was said of it in numbers, to be held against what was.
type Weighed struct {
	Side       Side
	Begin, End float64 // s
	Level      float64 // V
	LogOdds    float64 // of a force, as they stood when it was decided
	Called     bool    // it was called a force
	After      float64 // 0 to 1: were it no force, the probability that the release before made it
	Bank       int     // on whose sensor
	cycled     bool    // that sensor cycled before it
}

// maxWeighed is how many of those that were not called a force are kept: the shortest goes.
const maxWeighed = 64

// passOver notes that the stretch was not called a force, by these odds.
func (w *Watcher) passOver(s *stretch, x weight) {
	if len(w.passedOver) == maxWeighed {
		shortest := 0
		for i, x := range w.passedOver {
			if y := w.passedOver[shortest]; x.End-x.Begin < y.End-y.Begin {
				shortest = i
			}
		}
		w.passedOver = slices.Delete(w.passedOver, shortest, shortest+1)
	}
	b, _ := w.baseBefore(s.track, s.first.T())
	w.passedOver = append(w.passedOver, Weighed{cycled: b.switching(), Side: s.side, Begin: s.first.T(), End: s.last.T(), Level: s.level, LogOdds: x.sum(), After: x.after, Bank: w.bankOf(s.track)})
}

// Weighed returns the stretches that were decided by weight, forces first; not those that were only said.
func (w *Watcher) Weighed() []Weighed {
	var out []Weighed
	for _, f := range w.forces {
		if f.seen && w.cfg.By != ByMixture {
			out = append(out, Weighed{Side: f.side, Begin: f.begin, End: f.begin + max(0, f.seconds()), Level: f.level, LogOdds: f.weight.sum(), Called: true, Bank: f.bank})
		}
	}
	return append(out, w.passedOver...)
}

// again is how often this sensor comes to that level for so long by itself, per s and within levelWidth, by what it did before in
// this session: each stretch counts by the probability that it was neither a force nor what came of one.
func (w *Watcher) again(s *stretch, secs float64) float64 {
	sum, bank := 0.0, w.bankOf(s.track)
	for _, x := range w.passedOver {
		if x.Side == s.side && x.Bank == bank && x.End <= s.first.T() {
			sum += laplace(x.Level-s.level, 0.015, 0.015) * (1 - x.After) / (1 + math.Exp(x.LogOdds)) / (1 + math.Pow(secs/(x.End-x.Begin), 4))
		}
	}
	return sum / (w.now + 1/excursionRate)
}

// bankOf is on whose sensor the track is.
func (w *Watcher) bankOf(k *track) int {
	if k == &w.otherVolts {
		return w.other
	}
	return w.bank
}
