package wide

import (
	"math"
	"slices"

	"pushback/analysis"
	"pushback/analysis/reason"
)

// Limits of the gain (g) within which a ring is sound, and that below which half of it is missing.
const (
	gainSound, gainMost = 0.75, 1.35
	gainHalf            = 0.6
	gainNone            = 0.15
	gainTold            = 0.25 // half of an interval up to which its middle is told
	gainSkewed          = 0.30 // below which a fit tells no lag
	gainOpen            = 0.20 // what the interval of a sound one leaves out: half of a sensor is told from it by its middle, not by its end
	gainSure            = 0.90 // and that of a skewed one
	gainOdd             = 1.6  // above which what was fitted is something else, for a lag
)

// slowFrom is how far the lag of a slow sensor lies above what the computer's own refresh explains at the least, s; a healthy one is 0.05 to 0.10 s.
const slowFrom = 0.25

// mixes is what the exhaust may smear the mixture by itself, s: it reads as lag (common practice, no source).
const mixes = 0.1

// late is the lag from which a sensor may be taken for a weak one, s: what is late seems small.
const late = 0.35

// ring gathers what the forces have shown of each arc.
type ring struct {
	w      *Watcher
	forces []*force
	by     map[analysis.ProofID]*analysis.Proof
	order  []*analysis.Proof
	slow   bool
	skewed bool
	cold   bool // it was forced before the engine was warm
	offset bool // by the trims of the sensor behind the catalyst the mixture is not what this one reports
	half   bool // half of the fuel or half of the sensor: nothing here tells which
}

// Order is the order of a wide-range sensor's proofs.
var Order = append(append([]analysis.ProofID{}, analysis.ProofOrder[:]...), analysis.ProofScale)

func (w *Watcher) newRing() *ring {
	r := &ring{w: w, by: map[analysis.ProofID]*analysis.Proof{}}
	for _, id := range Order {
		p := &analysis.Proof{ID: id, State: analysis.Untested, Why: untested[id].Of(), Evidence: map[string]float64{}}
		r.by[id] = p
		r.order = append(r.order, p)
	}
	for i := range w.forces {
		switch f := &w.forces[i]; {
		case !f.seen || !f.marked && len(w.told) > 0:
		case f.cold:
			r.cold = true
		default:
			r.forces = append(r.forces, f)
		}
	}
	return r
}

var rank = map[analysis.State]int{analysis.Untested: 0, analysis.Unclear: 1, analysis.Failed: 2, analysis.Proven: 3}

// say puts a state into a proof unless it has a better one.
func (r *ring) say(id analysis.ProofID, s analysis.State, why reason.Reason, pairs ...any) {
	p := r.by[id]
	if rank[s] <= rank[p.State] {
		return
	}
	r.force(id, s, why, pairs...)
}

// force puts a state into a proof, whatever it had.
func (r *ring) force(id analysis.ProofID, s analysis.State, why reason.Reason, pairs ...any) {
	p := r.by[id]
	p.State, p.Why, p.Evidence = s, why, map[string]float64{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if v := pairs[i+1].(float64); !math.IsNaN(v) && !math.IsInf(v, 0) {
			p.Evidence[pairs[i].(string)] = math.Round(v*1000) / 1000
		}
	}
}

func (r *ring) is(id analysis.ProofID, s analysis.State) bool { return r.by[id].State == s }

// untested says of each proof what would test it.
var untested = map[analysis.ProofID]reason.Code{
	analysis.ProofInput:      reason.Unmoved,
	analysis.ProofAddsFuel:   reason.UnmovedLean,
	analysis.ProofCutsFuel:   reason.UnmovedRich,
	analysis.ProofDelivery:   reason.TrimNotFarEnough,
	analysis.ProofSensorRich: reason.NotMadeRich,
	analysis.ProofSensorLean: reason.NotMadeLean,
	analysis.ProofBank:       reason.NothingForced,
	analysis.ProofRecovery:   reason.NothingLetGo,
	analysis.ProofScale:      reason.FuelNotCompared,
}

func sideWord(rich bool) analysis.Side {
	if rich {
		return analysis.Rich
	}
	return analysis.Lean
}

func sensorProof(rich bool) analysis.ProofID {
	if rich {
		return analysis.ProofSensorRich
	}
	return analysis.ProofSensorLean
}

// weigh goes through all that was seen.
func (r *ring) weigh() {
	for _, f := range r.forces {
		if !f.closed && r.w.now-f.fitAt > 1 && r.w.now-f.begin > 4 {
			r.w.estimate(f)
		}
		r.sensor(f)
		r.command(f)
		r.delivery(f)
		r.recovery(f)
	}
	r.saidOtherwise()
	r.silence()
	r.unsaid()
	r.unfollowed()
	if r.cold {
		r.say(analysis.ProofInput, analysis.Unclear, reason.ForcedUnfit.Of())
	}
	r.scale()
	r.lag()
	r.w.cuts.weigh(r)
	r.w.rears.weigh(r)
	if !r.w.byRear() && !slices.ContainsFunc(r.forces, func(f *force) bool { return f.silent }) { // its wire is held, and its trim answers that
		r.w.offset.weigh(r)
	}
	if p := r.by[analysis.ProofInput]; r.w.unjudged > 0 {
		p.Why = p.Why.And(reason.OnlyFirstForces, maxForces, r.w.unjudged)
	}
	if len(r.forces) > 0 && r.is(analysis.ProofBank, analysis.Untested) {
		r.by[analysis.ProofBank].Why = reason.NoWireHeld.Of()
	}
}

// saidOtherwise says of a side that was said and not moved, since the other was, that the readings tell so.
func (r *ring) saidOtherwise() {
	for _, f := range r.forces {
		id := analysis.ProofCutsFuel // of the side that was said
		if f.side == analysis.Rich {
			id = analysis.ProofAddsFuel
		}
		if p := r.by[id]; f.otherwise && p.State == analysis.Untested {
			p.Why = reason.TapsDiffer.Of()
		}
	}
}

// leastAfter is the shortest time that is claimed, s: readings are no closer.
const leastAfter = 0.1

// sensor is what a force has shown of the sensor itself: its onset tests one side, its end the other.
func (r *ring) sensor(f *force) {
	for _, rich := range []bool{true, false} {
		onset := rich == (f.side == analysis.Rich)
		if t, has := f.said(rich); has {
			since, went := f.begin, reason.LambdaWent
			if !onset {
				since, went = f.end, reason.LambdaWentAtEnd
			}
			r.say(sensorProof(rich), analysis.Proven, went.Of(sideWord(rich), max(leastAfter, t-since)), "after_s", t-since)
			r.say(analysis.ProofInput, analysis.Proven, reason.ReadingFollowed.Of(100*f.size), "moved_pct", 100*f.size, "begin_s", f.begin)
			continue
		}
		if f.answered && f.made.end >= farEnough {
			r.say(analysis.ProofInput, analysis.Proven, reason.ReadingFollowed.Of(100*f.size), "moved_pct", 100*f.size, "begin_s", f.begin)
		}
		if onset || !f.ended() || r.w.now < f.end+6 {
			continue
		}
		// Released, trim should have left the other mixture.
		if moved := f.made.end; moved >= 0.06 && f.fitted && f.fit.G > gainHalf && f.recovered == 0 {
			r.say(sensorProof(rich), analysis.Unclear, reason.NoOvershoot.Of(100*moved, sideWord(rich)))
		}
	}
}

// command is whether trim answered, on both flanks.
func (r *ring) command(f *force) {
	id, back := analysis.ProofCutsFuel, analysis.ProofAddsFuel
	went, came := reason.MovedTrimFell, reason.TrimCameUp
	if f.side == analysis.Lean {
		id, back = back, id
		went, came = reason.MovedTrimRose, reason.TrimCameDown
	}
	moved := f.made.end
	switch {
	case f.answered:
		r.say(id, analysis.Proven, went.Of(f.side, f.after[1], f.after[2], 100*moved), "after_s", f.after[0], "after_min_s", f.after[1], "after_max_s", f.after[2], "moved_pct", -100*f.sign*moved)
	case f.opened:
		r.say(id, analysis.Unclear, reason.OpenedBeforeAnswer.Of(f.openedAt-f.begin))
	case f.limit != 0:
		r.say(id, analysis.Unclear, reason.NoFurther.Of(f.limit), "value_pct", f.limit)
	case f.silent:
		r.say(id, analysis.Unclear, reason.SilentOnce.Of(f.away), "waited_s", f.away)
	default:
		r.say(id, analysis.Unclear, reason.HuntingOnly.Of(), "moved_pct", -100*f.sign*moved)
	}
	if !f.ended() || !f.answered {
		return
	}
	// After the end trim comes back against what it has itself made: to its middle, where it may stop. So it is no answer on the other
	// side where that was forced too and trim stood.
	if by := f.made.came; by >= max(twoCounts, 0.4*moved) && moved >= twoCounts && !r.stoodOn(f.side.Opposite()) {
		if _, has := f.said(f.side == analysis.Lean); has {
			r.say(back, analysis.Proven, came.Of(100*by), "moved_pct", 100*f.sign*by)
		}
	}
}

// delivery is whether the mixture followed the command.
func (r *ring) delivery(f *force) {
	if !f.fitted || !f.answered || f.broken {
		return
	}
	moved, over := f.made.end, f.made.over
	e := &f.fit
	ev := []any{"gain", e.G, "gain_low", e.GLow, "gain_high", e.GHigh, "moved_pct", -100 * f.sign * moved}
	switch {
	case moved >= farEnough && f.made.off < ratioBack && e.G >= gainHalf:
		r.say(analysis.ProofDelivery, analysis.Proven, reason.LoopBrought.Of(100*moved), ev...)
	case moved >= twoCounts && over >= max(0.5*moved, f.enough()) && f.ended():
		r.say(analysis.ProofDelivery, analysis.Proven, reason.Overshot.Of(100*over), ev...)
	case moved >= 0.10 && abs(e.G) < gainNone && e.GHigh < 0.3 && f.plain():
		r.say(analysis.ProofDelivery, analysis.Failed, reason.LambdaUnfollowed.Of(100*moved, e.G), ev...)
	case moved < farEnough:
		r.say(analysis.ProofDelivery, analysis.Unclear, reason.TrimLittle.Of(100*moved), ev...)
	default:
		r.say(analysis.ProofDelivery, analysis.Unclear, reason.FollowedInPart.Of(e.G), ev...)
	}
}

func (r *ring) recovery(f *force) {
	switch {
	case !f.ended():
	case f.recovered > 0:
		r.force(analysis.ProofRecovery, analysis.Proven, reason.BackAfter.Of(max(0, f.recovered-f.end)), "after_s", f.recovered-f.end)
	case f.opened:
		r.say(analysis.ProofRecovery, analysis.Unclear, reason.HadLeftClosedLoop.Of())
	case r.w.now-f.end < recoverWithin:
		r.say(analysis.ProofRecovery, analysis.Unclear, reason.EndUnwatched.Of(), "watched_s", r.w.now-f.end)
	default:
		r.say(analysis.ProofRecovery, analysis.Unclear, reason.NotBack.Of())
	}
}

// farEnough is how far trim must have gone before a wrong scale is said: what is smaller may be this loop's own
// wandering. The 4 % that delivery asks for; and one force alone says it of no sensor, since what else moved the
// mixture meanwhile reads the same.
const farEnough = 0.04

// scale joins what the forces say of the gain: their mean, weighed by the width of the intervals.
func (r *ring) scale() {
	var all []Estimate
	most := 0.0
	for _, f := range r.forces {
		if f.tellsGain() {
			most = max(most, f.made.end)
			all = append(all, f.fit)
		}
	}
	n := float64(len(all))
	if n == 0 {
		return
	}
	g, low, high := joined(all)
	lag, lagLow, lagHigh := lagging(all)
	ev := []any{"gain", g, "gain_low", low, "gain_high", high, "forces", n}
	if f := r.forces[len(r.forces)-1]; f.fitted {
		ev = append(ev, "delay_s", f.fit.Delay, "delay_low_s", f.fit.DelayLow, "delay_high_s", f.fit.DelayHigh,
			"lag_s", lag, "lag_low_s", max(leastTau, lagLow-mixes-r.refreshed(f)/2), "lag_high_s", lagHigh, "fed_pct", 100*f.fit.P, "ramp_s", f.fit.On)
	}
	scale := reason.Scale.Of(g, low, high)
	if high-low > 2*gainTold {
		scale = reason.ScaleBetween.Of(low, high)
	}
	switch rear, seen := r.rearProves(); {
	case g >= gainSound && g <= gainMost && low > gainOpen:
		r.say(analysis.ProofScale, analysis.Proven, scale, ev...)
		if most >= farEnough { // what comes round whole was delivered and read
			r.say(analysis.ProofDelivery, analysis.Proven, reason.LambdaFollowed.Of(g), ev...)
		}
	case g < gainNone || !r.is(analysis.ProofDelivery, analysis.Proven) && !rear && g < gainSound:
		half := reason.HalfOfWhat.Of(g)
		if seen {
			half = half.And(reason.RearUndecided)
		}
		r.say(analysis.ProofScale, analysis.Unclear, half, ev...)
		r.half = g >= gainNone
	case n >= 2 && most >= farEnough && (g <= gainHalf+0.04 && high < gainSure && rear && lag <= late || low > gainMost):
		r.skewed = true
		r.say(analysis.ProofScale, analysis.Failed, scale.And(reason.WhileRearFollowed), ev...)
		if rear {
			r.say(analysis.ProofDelivery, analysis.Proven, reason.RearFollowed.Of())
		}
	default:
		r.say(analysis.ProofScale, analysis.Unclear, scale.And(reason.NeitherSoundNorWrong), ev...)
	}
	r.banks()
}

// tellsGain reports whether a force was answered so far that its gain can be told, and is plain beside the loop's own noise: what
// trim makes of that tells no gain.
func (f *force) tellsGain() bool {
	return f.fitted && !f.broken && f.answered && f.made.end >= 0.025 && f.plain()
}

// plain reports whether what was fed stands out from the loop's own noise, on the force's own side: else the fit is of something else.
func (f *force) plain() bool {
	return f.sign*f.fit.P >= max(0.02, 2*min(f.noise, f.fit.Noise))
}

// rearProves reports whether the sensor behind the catalyst has followed what trim made after a force.
func (r *ring) rearProves() (proves, seen bool) {
	for _, f := range r.forces {
		seen = seen || f.rearRead
		if f.rearSays[f.side == analysis.Lean] {
			proves = true
		}
	}
	return proves, seen
}

// banks compares the two banks under one flow.
func (r *ring) banks() {
	for _, f := range r.forces {
		if !f.hasBeside || !f.fitted || f.broken || math.Abs(f.beside.P) < 0.02 {
			continue
		}
		p := r.by[analysis.ProofScale]
		if d := f.fit.G - f.beside.G; math.Abs(d) > 0.15 && (f.fit.GHigh < f.beside.GLow || f.fit.GLow > f.beside.GHigh) {
			own, other := r.w.cfg.Sensor.Bank, r.w.cfg.Sensor.Beside().Bank
			odd := own
			if math.Abs(f.beside.G-1) > math.Abs(f.fit.G-1) {
				odd = other
			}
			p.Why = p.Why.And(reason.OddBank, other, f.beside.G, odd)
		}
		p.Evidence["gain_other_bank"] = math.Round(f.beside.G*1000) / 1000
	}
}

// lag decides whether the sensor is slow, both ways or one.
func (r *ring) lag() {
	all, last := r.lags()
	if last == nil {
		return
	}
	x := slowBy(all, r.refreshed(last), r.renewed(last))
	if x.odds < slowOdds {
		return
	}
	r.slow = true
	for way, rich := range []bool{false, true} {
		p := r.by[sensorProof(rich)]
		if p.State != analysis.Proven || x.way[way] <= 0 && x.way[way] < x.way[1-way] {
			continue
		}
		p.Why = p.Why.And(reason.SlowLag, x.tau, x.low, x.high)
		if x.way[1-way] <= -slowOdds/2 {
			p.Why = p.Why.And(reason.SlowOneWay, sideWord(!rich))
		}
		p.Evidence["lag_s"] = math.Round(x.tau*1000) / 1000
	}
}

// lags are the fits that tell a lag, and the last force of them.
func (r *ring) lags() (all []Estimate, last *force) {
	for _, f := range r.forces {
		if f.fitted && !f.broken && f.ended() && f.fit.G >= gainSkewed && f.fit.G <= gainOdd && f.plain() && f.made.end >= 0.02 {
			all, last = append(all, f.fit), f
		}
	}
	return all, last
}

// refreshed is how old what is told of the ratio about a force may be, s: it reads as lag too.
func (r *ring) refreshed(f *force) float64 {
	s := &r.w.own.lambda
	return min(refresh(s, f.begin-15, f.begin+15), interval(s, f.begin-15, f.begin+15), 0.5)
}

// renewed is how far apart new readings of the ratio about a force are, s.
func (r *ring) renewed(f *force) float64 {
	s := &r.w.own.lambda
	return max(refresh(s, f.begin-15, f.begin+15), interval(s, f.begin-15, f.begin+15))
}

// unfollowed judges what the technician said and the sensor did not show: was the mixture moved at all?
func (r *ring) unfollowed() {
	w := r.w
	for i := range w.told {
		m := &w.told[i]
		to := m.release
		if to == 0 {
			to = m.at + 15
		}
		if w.byRear() {
			return
		}
		if m.used || w.now < m.at+sayNear+4 || w.cfg.By == analysis.ByFuelCut {
			continue
		}
		if m.cold {
			r.cold = true
			continue
		}
		if w.opened(m.at-2, to) {
			r.say(analysis.ProofInput, analysis.Unclear, reason.ForcedWhileOpen.Of())
			continue
		}
		rest, noise := spread(w.own.lambda.Values(nil, m.at-15, m.at-1))
		held := w.own.lambda.Values(nil, m.at+1, min(to, w.now))
		if len(held) < 5 || rest == 0 {
			continue
		}
		far := 0.0
		for _, v := range held {
			far = max(far, math.Abs(v-rest))
		}
		rich := m.side == analysis.Rich
		still := far <= min(max(0.006, 3*noise), 0.012) // a dead one has no noise of an engine either
		rear, _ := w.own.rearWent(rich, m.at-12, m.at, min(w.now, to+6))
		beside := w.besideMoved(m, to)
		switch {
		case still && (rear || beside):
			dead := reason.StayedDeadBank
			if rear {
				dead = reason.StayedDeadRear
			}
			r.say(sensorProof(rich), analysis.Failed, dead.Of(m.side, to-m.at, far), "waited_s", to-m.at, "moved_ratio", far)
			r.say(analysis.ProofInput, analysis.Unclear, reason.ReadingStoodStill.Of())
			r.say(analysis.ProofDelivery, analysis.Unclear, reason.SensorShowsNot.Of())
		default:
			r.say(analysis.ProofInput, analysis.Unclear, reason.WasItMoved.Of())
		}
	}
}

// besideMoved reports whether the other bank's trim answered what was said.
func (w *Watcher) besideMoved(m *told, to float64) bool {
	rest, held := w.other.trim.Values(nil, m.at-12, m.at-0.5), w.other.trim.Values(nil, m.at+2, min(w.now, to))
	if len(rest) < 3 || len(held) < 3 {
		return false
	}
	base, sd := spread(rest)
	moved := median(held) - base
	if m.side == analysis.Rich {
		moved = -moved
	}
	return moved > max(2.5, 4*sd)
}
