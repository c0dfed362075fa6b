package wide

import (
	"slices"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/analysis/recent"
	"pushback/decode"
)

// readiness follows the conditions under which a test counts.
type readiness struct {
	coolant    float64
	hasCoolant bool
	closedAt   float64
	openAt     float64
	gapAt      float64
	fit        analysis.Fit

	said, ok, everReady bool
	candidate           bool
	since               float64
}

func isClosed(status float64) bool { return decode.LoopClosed(byte(status)) }

func (w *Watcher) stepStatus(p recent.Reading) {
	was, had := w.status.Last()
	w.status.Add(p)
	if isClosed(p.V) {
		w.ready.closedAt = p.T()
		return
	}
	w.ready.openAt = p.T()
	if f := w.running(); f != nil && had && isClosed(was.V) && !f.opened && w.cfg.By != analysis.ByFuelCut {
		f.opened, f.openedAt = true, p.T()
		w.tell(f, analysis.Event{T: p.T(), Name: analysis.OpenLoop, Status: analysis.FuelStatus(int(p.V))})
	}
}

// unmet lists the conditions that do not hold.
func (w *Watcher) unmet() []reason.Reason {
	var out []reason.Reason
	r := &w.ready
	if w.cfg.By == analysis.ByWire && !w.byRear() {
		out = append(out, reason.WideNeverHold.Of())
	}
	if w.cold() {
		out = append(out, reason.CoolantCold.Of(r.coolant))
	}
	if s, has := w.status.Last(); has && !isClosed(s.V) {
		out = append(out, reason.LoopOpen.Of().Then(analysis.FuelStatus(int(s.V))))
	}
	if p, has := w.rpm.Last(); has && p.V < limits.TurningSpeed {
		out = append(out, r.fit.Standing())
	}
	return append(out, r.fit.Unmet()...)
}

// Barred reports whether the car must not be tested now, and whether waiting never changes that.
func (w *Watcher) Barred() (now, always bool) {
	always = w.cfg.By == analysis.ByWire && !w.byRear() || w.ready.fit.Never()
	s, has := w.status.Last()
	return always || !w.ready.fit.Holds() || w.ready.said && has && !isClosed(s.V), always // an open loop answers nothing
}

// cold reports whether the engine is too cold for a test: a sensor that is not heated yet and fuel that stays on the walls are no fault.
func (w *Watcher) cold() bool { return w.ready.hasCoolant && w.ready.coolant < limits.WarmCoolant }

// holds reports whether all of them hold.
func (w *Watcher) holds() bool {
	r := &w.ready
	s, hasStatus := w.status.Last()
	p, turns := w.rpm.Last()
	return (w.cfg.By != analysis.ByWire || w.byRear()) && r.fit.Holds() && !w.cold() && (!hasStatus || isClosed(s.V)) && (!turns || p.V >= limits.TurningSpeed)
}

// stepReady says ready or not_ready when that has changed for long enough: closed loop comes and goes
// with each deceleration, and that is no news.
func (w *Watcher) stepReady(now float64) {
	r := &w.ready
	ok := w.holds()
	if ok != r.candidate || r.since < 0 {
		r.candidate, r.since = ok, now
	}
	settle := 2.0
	if r.ok {
		settle = 12
	}
	if r.said && ok == r.ok || now-r.since < settle || ok && r.fit.Open() {
		return
	}
	r.said, r.ok = true, ok
	if ok {
		r.everReady = true
		w.emit(analysis.Event{T: now, Name: analysis.Ready, Reasons: r.fit.Heeds()})
	} else {
		w.emit(analysis.Event{T: now, Name: analysis.NotReady, Reasons: w.unmet()})
	}
}

// opened reports whether the loop was seen open in [from, to].
func (w *Watcher) opened(from, to float64) bool {
	return slices.ContainsFunc(w.status.Values(nil, from, to), func(x float64) bool { return !isClosed(x) })
}

// steady reports whether the engine ran evenly in [from, to]: within a quarter of its slowest and the loop not seen open.
func (w *Watcher) steady(from, to float64) bool {
	if w.opened(from-2, to) {
		return false
	}
	v := w.rpm.Values(nil, from-2, to)
	return len(v) == 0 || limits.SteadySpeed(slices.Min(v), slices.Max(v)) && slices.Min(v) >= limits.TurningSpeed
}

// evenShare is for what share of so long before a change the engine ran evenly, 0 to 1; 0 where it did not until its end.
func (w *Watcher) evenShare(f *force, before float64) float64 {
	const steps = 8
	for k := range steps + 1 {
		if !w.steady(f.begin-before*float64(k)/steps, f.end) {
			return max(0, float64(k-1)/steps)
		}
	}
	return 1
}

// motion is whether the car moved about [from, to].
func (w *Watcher) motion(from, to float64) motion {
	v := w.speed.Values(nil, from-limits.SpeedRead, to+limits.SpeedRead)
	switch {
	case len(v) == 0:
		return speedUnread
	case slices.Max(v) >= limits.MovingSpeed:
		return moving
	}
	return standing
}
