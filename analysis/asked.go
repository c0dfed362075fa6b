package analysis

import (
	"math"
	"time"
)

// ask is what a guide asked for from a moment on: a side to be held, or hands off.
type ask struct {
	side Side    // "": hands off
	at   float64 // s
}

// How often a hold begins, per s, while a guide asks for it, asks for the other side, and asks for none: most people
// begin some seconds after they were asked, few do something else (from memory).
const (
	askedRate    = 1.0 / 10
	notAskedRate = 1.0 / 200
	handsOffRate = 1.0 / 1000
)

// Asked takes what a guide asks for from now on: a side to be held; "" is hands off, with open and the sensor's
// branch open.
func (w *Watcher) Asked(at time.Duration, side Side, open bool) []Event {
	w.events = w.events[:0]
	w.open.asked = open
	w.asked = append(w.asked, ask{side, at.Seconds()})
	return w.events
}

// askedFor is the log odds of a force at the stretch by what a guide asked for then; guided: it asked at all, and
// said: for this side.
func (w *Watcher) askedFor(s *stretch) (odds float64, guided, said bool) {
	side := s.side
	if s.track != &w.volts {
		side = "" // nobody asks for the other bank
	}
	rate, guided, said := w.askedThen(s.first.T(), side)
	return math.Log(rate), guided, said
}

// askedThen is how often a force of the side begins, per s, by what a guide asked for at t, s; forceRate where none did.
func (w *Watcher) askedThen(t float64, side Side) (rate float64, guided, said bool) {
	for i := len(w.asked) - 1; i >= 0; i-- {
		a := w.asked[i]
		switch {
		case a.at > t:
			continue
		case a.side == "":
			return handsOffRate, true, false
		case a.side == side:
			return askedRate, true, true
		}
		return notAskedRate, true, false
	}
	return forceRate, false, false
}

// asksNow reports whether a guide asks for a hold now, or has not yet asked for hands off again: it may be there unseen.
func (w *Watcher) asksNow() bool { return len(w.asked) > 0 && w.asked[len(w.asked)-1].side != "" }

// asksFor reports whether a guide asked for the side at time t, s.
func (w *Watcher) asksFor(side Side, t float64) bool {
	i := len(w.asked) - 1
	for i >= 0 && w.asked[i].at > t {
		i--
	}
	return i >= 0 && w.asked[i].side == side
}
