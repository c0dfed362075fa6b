package wide

import (
	"slices"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

// cut is one time at which the computer shut the fuel off, by the engine's own drive.
type cut struct {
	begin, end float64 // s: when λ left its rest or the status told it, and when it was over; end 0: it goes on
	rest       float64 // λ before
	top        float64 // the highest λ
	far        float64 // the farthest that λ was from its rest
	status     bool    // PID 03 told it
	slope      float64 // of the sensor behind the catalyst towards lean, V/s, the steepest seen
	rearLow    float64
	rearRead   bool
	up, down   flank   // from a fifth to four fifths of the way, up and back
	back       float64 // s: when λ was back at its command; 0: it was not seen
	seen       bool    // λ showed it
}

// flank is how long the sensor took for most of the way, s: by the readings within it at the least, by those around it at the most; most 0: it
// was not seen.
type flank struct{ least, most float64 }

// cutWatch follows fuel cuts.
type cutWatch struct {
	all     []cut
	running bool
	rested  bool // lambda has been near its command since the one before: an engine that always runs so lean has no cuts
	said    bool // force_begins was told of the running one
}

// during reports whether a fuel cut was going on in [from, to], s.
func (c *cutWatch) during(from, to float64) bool {
	return slices.ContainsFunc(c.all, func(x cut) bool { return x.begin < to && (x.end == 0 || x.end > from) })
}

const farLean = analysis.FarLean

// nearRest is the lambda below which no fuel cut is going on.
const nearRest = 1.1

func (c *cutWatch) tested() bool {
	return slices.ContainsFunc(c.all, func(x cut) bool { return x.seen || x.status && x.end-x.begin >= 2 })
}

// stepCut is the whole judging of a session by fuel cut.
func (w *Watcher) stepCut(p recent.Reading) { w.cuts.watch(w, p) }

// watch takes a reading of λ.
func (c *cutWatch) watch(w *Watcher, p recent.Reading) {
	s, has := w.status.Last()
	driving := has && analysis.OpenForDriving(byte(s.V), p.T()-s.T())
	speed, turns := w.rpm.Last()
	coasting := !turns || speed.V > limits.TurningSpeed
	if !c.running {
		c.rested = c.rested || p.V < nearRest
		if c.rested && coasting && (p.V >= farLean && !w.opens(p.T()) || driving && w.lifted(p.T())) && len(c.all) < maxForces {
			c.begin(w, p, driving)
		}
		return
	}
	x := &c.all[len(c.all)-1]
	x.status = x.status || driving
	x.top, x.far = max(x.top, p.V), max(x.far, abs(p.V-x.rest))
	if p.V >= farLean {
		x.seen = true
	}
	c.announce(w, x)
	switch {
	case x.end == 0 && p.V < 1+(x.top-1)/2 && x.seen, x.end == 0 && !x.seen && !driving && p.T()-x.begin > 1, x.end == 0 && p.T()-x.begin > 120:
		x.end = p.Lo
		if c.said {
			w.emit(analysis.Event{T: x.end, Name: analysis.ForceEnds, Side: analysis.Lean})
		}
	case x.end > 0 && x.back == 0 && abs(p.V-w.command.Hold(p.T(), 1)) < 0.02:
		x.back = p.T()
		if c.said {
			w.emit(analysis.Event{T: x.back, Name: analysis.SwitchingResumes, Side: analysis.Lean, After: x.back - x.end})
		}
	}
	if x.end > 0 && (p.T()-x.end > recoverWithin || x.back > 0 && p.T()-x.end > 5 || p.V >= farLean && p.T()-x.end > 2) {
		c.close(w, x)
	}
}

// lifted reports whether the engine has been falling in speed, as it does with the throttle shut.
func (w *Watcher) lifted(t float64) bool {
	v := w.rpm.Values(nil, t-analysis.LiftedIn, t)
	return len(v) > 1 && analysis.Lifted(v[len(v)-1], slices.Max(v))
}

// opens reports whether the throttle is open or being opened: the air comes before the fuel then, and what reads lean is no cut.
func (w *Watcher) opens(t float64) bool {
	load, has := w.load.Last()
	return analysis.Gains(w.rpm.Values(nil, t-analysis.GainsIn, t)) || has && t-load.T() < loadHolds && load.V > analysis.ShutLoad && !w.lifted(t)
}

// loadHolds is how long a load that was read is taken to hold, s.
const loadHolds = 4.0

func (c *cutWatch) begin(w *Watcher, p recent.Reading, status bool) {
	s := &w.own.lambda
	rest := median(s.Values(nil, p.T()-12, p.T()-2.5))
	if rest == 0 {
		rest = 1
	}
	at := s.Len() - 1
	for at > 0 && s.At(at).V > rest+0.03 && p.T()-s.At(at).T() < 3 {
		at--
	}
	c.all = append(c.all, cut{begin: s.At(at).T(), rest: rest, top: p.V, status: status, seen: p.V >= farLean})
	c.running, c.rested, c.said = true, false, false
	c.announce(w, &c.all[len(c.all)-1])
}

func (c *cutWatch) announce(w *Watcher, x *cut) {
	if c.said || !x.seen || w.cfg.By != analysis.ByFuelCut {
		return
	}
	c.said = true
	w.emit(analysis.Event{T: x.begin, Name: analysis.ForceBegins, Side: analysis.Lean})
	w.emit(analysis.Event{T: w.now, Name: analysis.SensorAnswers, Side: analysis.Lean, Toward: string(analysis.Lean), After: max(0, w.now-x.begin)})
}

// close measures the flanks when the readings about them are complete.
func (c *cutWatch) close(w *Watcher, x *cut) {
	c.running = false
	if x.end == 0 {
		x.end = w.now
	}
	if x.seen {
		x.up = w.flank(x, x.begin-1, x.begin+6, true)
		x.down = w.flank(x, x.end-3, x.end+8, false)
	}
	r := &w.own.rear
	x.rearLow = 9
	before := median(r.Values(nil, x.begin-8, x.begin))
	for i := r.From(x.begin); i < r.Len() && r.At(i).T() < x.end+5; i++ {
		x.rearLow, x.rearRead = min(x.rearLow, r.At(i).V), before > 0.3
		if i > 0 {
			if a, b := r.At(i-1), r.At(i); b.T() > a.T() {
				x.slope = max(x.slope, (a.V-b.V)/(b.Hi-a.Lo))
			}
		}
	}
}

func (c *cutWatch) finish(w *Watcher) {
	if c.running {
		c.close(w, &c.all[len(c.all)-1])
	}
}

// flank is what the sensor took from a fifth to four fifths of the way in [from, to], up or back.
func (w *Watcher) flank(x *cut, from, to float64, up bool) (f flank) {
	s := &w.own.lambda
	// In parts of fuel: a first-order lag is one there, and the ceiling is soft.
	base := 1 / x.rest
	if after := median(s.Values(nil, x.end+4, x.end+9)); !up && after > 0 && after < 1+(x.top-1)/2 {
		base = 1 / after // what it comes back to is not always what it left
	}
	top := base - 1/x.top
	lo, hi := 1/(base-0.2*top), 1/(base-0.8*top)
	// Of the last time that it left the one side for the other: the last reading before, and the first and last on the way.
	before, first, last := -1.0, -1.0, -1.0
	for i := s.From(from); i < s.Len() && s.At(i).T() < to; i++ {
		r := s.At(i)
		left, arrived := r.V < lo, r.V >= hi
		if !up {
			left, arrived = arrived, left
		}
		switch {
		case left:
			before, first, last = r.Lo, -1, -1
		case arrived && before >= 0:
			return flank{max(0, last-first), r.Hi - before}
		case arrived: // it was there already
			return flank{}
		default:
			if first < 0 {
				first = r.Hi
			}
			last = r.Lo
		}
	}
	return flank{}
}

// slowFlank is the least time from a fifth to four fifths that a healthy sensor does not take, s: 1.39 times a lag of
// 0.7 s. What the exhaust mixes by itself is less.
const slowFlank = 1.0

// stayed is within what of its rest a dead sensor stays; one that moves otherwise was enriched, or is read too seldom.
const stayed = 0.03

// weigh puts what the cuts have shown into the proofs.
func (c *cutWatch) weigh(r *ring) {
	for i := range c.all {
		x := &c.all[i]
		switch {
		case x.seen:
			r.say(analysis.ProofInput, analysis.Proven, reason.CutFollowed.Of(x.top), "top_ratio", x.top, "begin_s", x.begin)
			r.say(analysis.ProofSensorLean, analysis.Proven, reason.CutLean.Of(x.top), "top_ratio", x.top)
			if x.end > 0 && r.w.cfg.By == analysis.ByFuelCut {
				c.recovery(r, x)
				if slow := max(c.slowest(x.up, func(y *cut) flank { return y.up }), c.slowest(x.down, func(y *cut) flank { return y.down })); slow > 0 {
					r.slow = true
					p := r.by[analysis.ProofSensorLean]
					p.Why = p.Why.And(reason.SlowFlank, slow)
					p.Evidence["flank_s"] = slow
				}
			}
		case x.status && x.end-x.begin >= 3 && x.rearRead && x.rearLow < 0.2 && x.far < stayed:
			r.say(analysis.ProofSensorLean, analysis.Failed, reason.CutDead.Of(x.end-x.begin, x.rearLow), "waited_s", x.end-x.begin, "rear_v", x.rearLow)
			r.say(analysis.ProofInput, analysis.Unclear, reason.ReadingStoodStill.Of())
		case x.status && x.end-x.begin >= 3:
			r.say(analysis.ProofInput, analysis.Unclear, reason.CutUnseen.Of())
		}
	}
}

// slowest is how long a flank took at the least where no sensor that is sound takes so long, and in no cut this one was quicker the same
// way: there the engine was on the way by itself. Else 0.
func (c *cutWatch) slowest(f flank, way func(*cut) flank) float64 {
	if f.least <= slowFlank || slices.ContainsFunc(c.all, func(y cut) bool { m := way(&y).most; return m > 0 && m < slowFlank }) {
		return 0
	}
	return f.least
}

func (c *cutWatch) recovery(r *ring, x *cut) {
	if x.back > 0 {
		r.say(analysis.ProofRecovery, analysis.Proven, reason.BackAfter.Of(max(0, x.back-x.end)), "after_s", x.back-x.end)
	} else if r.w.now-x.end >= recoverWithin {
		r.say(analysis.ProofRecovery, analysis.Unclear, reason.NotBack.Of())
	}
}
