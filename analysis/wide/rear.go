package wide

import (
	"math"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

// rearHold is one time at which the wire of the narrow sensor behind the catalyst was held lean, on a
// car whose upstream sensor is a wide-range one. The computer then asks for a little more fuel, slowly, and the
// upstream sensor shows it: a true small step of mixture without any gas.
type rearHold struct {
	begin, end     float64 // s; end 0: it is held
	level          float64 // V, the mean
	n              int
	asked, moved   float64     // per cent of fuel: what the computer asked for, what the upstream sensor showed
	askedN, movedN float64     // and their standard errors, per cent
	by             reason.Code // the signal that showed the asking
	rich           bool        // released, the sensor itself said rich
	measured       bool
}

// rearWatch follows holds of the rear wire.
type rearWatch struct {
	all   []rearHold
	since float64 // since when the reading lies at ground; 0: it does not
	sum   float64
	n     int
}

// The level of a wire that is held to ground, V, and the least time that says so, s.
const (
	grounded   = 0.06
	groundedIn = 6.0
)

// byRear reports whether the session is one of the rear wire.
func (w *Watcher) byRear() bool {
	return w.cfg.By == analysis.ByWire && w.cfg.Sensor.Position > 1
}

// stepRear takes a reading of the sensor behind the catalyst.
func (w *Watcher) stepRear(p recent.Reading) {
	h := &w.rears
	if n := len(h.all); n > 0 && h.all[n-1].end == 0 {
		x := &h.all[n-1]
		if p.V <= grounded+0.03 {
			x.level = (x.level*float64(x.n) + p.V) / float64(x.n+1)
			x.n++
			return
		}
		x.end = p.Lo
		w.measureRear(x)
		w.emit(analysis.Event{T: x.end, Name: analysis.ForceEnds, Side: analysis.Lean})
		return
	}
	if n := len(h.all); n > 0 && !h.all[n-1].rich && p.V >= 0.6 && p.T()-h.all[n-1].end < 30 && p.T() > h.all[n-1].end+0.3 {
		h.all[n-1].rich = true
		w.emit(analysis.Event{T: p.T(), Name: analysis.SensorAnswers, Toward: string(analysis.Rich), After: p.T() - h.all[n-1].end})
	}
	if s, has := w.status.Last(); p.V > grounded || has && !isClosed(s.V) || len(h.all) >= maxForces || w.wasLean(p.T()) {
		h.since, h.sum, h.n = 0, 0, 0
		return
	}
	if h.since == 0 {
		h.since = p.T()
	}
	h.sum, h.n = h.sum+p.V, h.n+1
	if p.T()-h.since >= groundedIn && h.n >= 5 {
		h.all = append(h.all, rearHold{begin: h.since, level: h.sum / float64(h.n), n: h.n})
		w.emit(analysis.Event{T: h.since, Name: analysis.ForceBegins, Side: analysis.Lean})
		h.since, h.sum, h.n = 0, 0, 0
	}
}

// wasLean reports whether the ratio has been far out in the last 10 s: a fuel cut brings the rear sensor to ground too.
func (w *Watcher) wasLean(t float64) bool {
	s := &w.own.lambda
	for i := s.From(t - 10); i < s.Len() && s.At(i).T() <= t; i++ {
		if s.At(i).V > 1.1 {
			return true
		}
	}
	return false
}

// measureRear compares the last seconds of a hold with the rest before it.
func (w *Watcher) measureRear(x *rearHold) {
	end := x.until(w.now)
	b := &w.own
	shift := func(s *recent.Series) (d, se float64, ok bool) {
		rest, held := s.Values(nil, x.begin-20, x.begin), s.Values(nil, max(x.begin+3, end-8), end)
		if len(rest) < 3 || len(held) < 3 {
			return 0, 0, false
		}
		a, sa := moments(rest)
		c, sc := moments(held)
		return c - a, sa + sc, true
	}
	x.asked, x.askedN, x.by = 0, 99, ""
	take := func(d, se float64, by reason.Code) {
		if x.by == "" || d-2*se > x.asked-2*x.askedN {
			x.asked, x.askedN, x.by = d, se, by
		}
	}
	if d, se, ok := shift(&b.rearTrim); ok {
		take(d, max(se, 0.2), reason.RearAskedTrim)
	}
	if d, se, ok := shift(&w.command); ok {
		take(-100*d, max(100*se, 0.1), reason.RearAskedRatio)
	}
	if d, se, ok := shift(&b.trim); ok {
		take(d, max(se, 0.3), reason.RearAskedShort)
	}
	if d, se, ok := shift(&b.lambda); ok {
		x.moved, x.movedN = -100*d, max(100*se, 0.1)
		x.measured = true
	}
}

// moments are the mean and its standard error, for readings of which a third are worth something by themselves.
func moments(v []float64) (mean, se float64) {
	for _, x := range v {
		mean += x
	}
	mean /= float64(len(v))
	_, sd := spread(v)
	return mean, sd / max(1, math.Sqrt(float64(len(v))/3))
}

// leastAsked is how much a computer asks for at the least, per cent.
const leastAsked = 0.5

// weigh puts what the holds have shown into the proofs.
func (h *rearWatch) weigh(r *ring) {
	for i := range h.all {
		x := &h.all[i]
		if x.end == 0 {
			r.w.measureRear(x)
		}
		held := x.until(r.w.now) - x.begin
		r.say(analysis.ProofInput, analysis.Proven, reason.RearHeld.Of(x.level, held), "held_v", x.level, "held_s", held, "begin_s", x.begin)
		asks := x.by != "" && x.asked >= leastAsked && x.asked > 2*x.askedN
		shows := x.measured && x.moved >= leastAsked*0.8 && x.moved > 2*x.movedN
		ev := []any{"asked_pct", x.asked, "moved_pct", x.moved, "held_s", held}
		switch {
		case asks:
			r.say(analysis.ProofAddsFuel, analysis.Proven, x.by.Of(x.asked), ev...)
		default:
			r.say(analysis.ProofAddsFuel, analysis.Unclear, reason.RearNotAsked.Of(), ev...)
		}
		switch {
		case asks && shows:
			r.say(analysis.ProofDelivery, analysis.Proven, reason.UpstreamRicher.Of(x.moved), ev...)
		case asks:
			r.say(analysis.ProofDelivery, analysis.Unclear, reason.RearNotMoved.Of(), ev...)
		}
		if x.end > 0 && x.rich {
			r.say(analysis.ProofSensorRich, analysis.Proven, reason.RearSaidRich.Of(), "held_s", held)
		}
	}
}

// until is when the hold ended, now if it has not.
func (x *rearHold) until(now float64) float64 {
	if x.end > 0 {
		return x.end
	}
	return now
}
