package dossier

import (
	"slices"

	"pushback/analysis"
)

// An Order dates events for people: what follows from a force is never dated before it. The
// watcher dates both by estimates of their own, which may cross.
type Order struct{ force float64 }

// At is when an event is shown to have happened, s. Events come as the watcher told them.
func (o *Order) At(e analysis.Event) float64 {
	if e.Sensor != "" { // of the other bank's
		return e.T
	}
	switch e.Name {
	case analysis.ForceBegins:
		o.force = e.T
	case analysis.LoopAnswers, analysis.LoopSilent, analysis.LoopWrongWay, analysis.TrimAtLimit, analysis.ComputerLetsGo, analysis.OtherBankAnswers:
		return max(e.T, o.force)
	}
	return e.T
}

// InOrder lists events by the time at which they are shown to have happened.
func InOrder(events []analysis.Event) []analysis.Event {
	var o Order
	out := slices.Clone(events)
	for i, e := range out {
		out[i].T = o.At(e)
	}
	slices.SortStableFunc(out, func(a, b analysis.Event) int {
		switch {
		case a.T < b.T:
			return -1
		case a.T > b.T:
			return 1
		}
		return 0
	})
	return out
}
