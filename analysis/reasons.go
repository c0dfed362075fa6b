package analysis

import (
	"slices"
	"strings"

	"pushback/analysis/reason"
)

// Reasons tells what the judgement weighed, force by force, with the data that it used: the
// rest before, how likely such a hold is by itself, the sums that tell an answer from hunting, the
// release against this car's own switching, and how the conclusion follows. A line each.
func (w *Watcher) Reasons() []reason.Reason {
	var out []reason.Reason
	add := func(r reason.Reason) { out = append(out, r) }
	c := assess(w)
	for i, f := range w.forces {
		r := reason.Force.Of(i+1, f.side, f.begin, f.beginLo, f.beginHi, f.begin+max(0, f.seconds())).And(HowSeen(f.marked))
		switch {
		case slices.Contains(c.discounted, f):
			r = r.And(reason.DiscountedUnfit)
		case !slices.Contains(c.forces, f):
			r = r.And(reason.DiscountedOutOfStep)
		}
		add(r.And(reason.Stop))
		w.restReasons(f, add)
		if w.cfg.By != ByMixture && !f.loose && f.volts.known() {
			add(reason.HeldShare.Of(100*f.share, f.level, reason.Chance(f.volts.stays(f.side).chance(f.seconds()))))
			x := f.weight
			add(reason.Weighed.Of(x.free, x.down, x.release, x.prior))
		}
		f.answerReasons(add)
		f.releaseReasons(add)
	}
	for i := range w.doubts {
		if d := &w.doubts[i]; d.serious() && len(c.on([]Side{Lean, Rich}[i])) == 0 {
			add(reason.NoForce.Of(d.level, d.secs, d.begin, d.odds, oneInThousand))
		}
	}
	for i, s := range []Side{Lean, Rich} {
		fo := w.follow[i]
		if !fo.no && !fo.vague {
			continue
		}
		r := reason.SaidForced.Of(s, fo.secs)
		if fo.n > 0 {
			r = r.And(reason.SaidMean, fo.n, fo.level)
		}
		if r = r.And(reason.Blank); fo.no {
			r = r.And(reason.WentOn)
		} else {
			r = r.Then(fo.why)
		}
		add(r.And(reason.Stop))
	}
	c.lag().reasons(add)
	return append(out, Follows(w.Verdict()).And(reason.ArcOrder))
}

// HowSeen is how it is known of a force.
func HowSeen(marked bool) reason.Code {
	if marked {
		return reason.AsSaid
	}
	return reason.SeenUnsaid
}

// restReasons tells what the force is compared with.
func (w *Watcher) restReasons(f *force, add func(reason.Reason)) {
	b, t := f.volts, f.own.base
	if b.known() {
		add(reason.RestRead.Of(b.n, b.seconds, b.low, b.high, b.lean.n, b.lean.mid, b.lean.longest, b.rich.n, b.rich.mid, b.rich.longest))
	} else {
		add(reason.RestUnread.Of(b.n, b.seconds))
	}
	if t.known() {
		add(reason.TrimRestRead.Of(t.n, t.seconds, t.low, t.high, t.median))
	} else {
		add(reason.TrimRestUnread.Of(t.n, t.seconds))
	}
}

var answerCodes = map[answerState]reason.Code{
	answerOpen: reason.AnswerOpen, answered: reason.Answered, silent: reason.AnswerSilent, wrongWay: reason.AnswerWrongWay, cannot: reason.AnswerCannot,
}

func (f *force) answerReasons(add func(reason.Reason)) {
	a := &f.own
	if a.n == 0 {
		add(reason.NoTrimRead.Of())
		return
	}
	add(reason.TrimRead.Of(a.n, a.up*a.start, min(a.up*a.bottom, a.up*a.top), max(a.up*a.bottom, a.up*a.top), a.up*a.now).
		And(answerCodes[a.state]).And(reason.Stop))
	if s := a.climb.noise; s.known() {
		c := &a.climb
		add(reason.AgainstHunting.Of(s.block, s.n, s.sd, s.corr, c.most[0][0], c.most[0][1], c.most[1][0], c.most[1][1], c.up[0].H, c.up[1].H))
	}
	if a.state != answered {
		add(reason.StoodWithin.Of(a.stuckFor(), minLoopRate, stuckEnough))
		return
	}
	best, lo, hi := a.after()
	r := reason.AnswerBegan.Of(best, lo, hi)
	if a.fitted {
		r = r.And(reason.Surely)
	}
	add(r.And(reason.AnswerRate, a.rate))
}

var sensorCodes = map[sensorState]reason.Code{
	sensorOpen: reason.ReportOpen, sensorSays: reason.Reported, sensorLate: reason.ReportedLate, sensorMute: reason.NotReported, sensorVague: reason.ReportVague, sensorNotYet: reason.NoReport,
}

func (f *force) releaseReasons(add func(reason.Reason)) {
	r := &f.rel
	if !f.ended {
		return
	}
	said := reason.ReleasedAt.Of(f.own.up*r.trimMade, r.expect).And(sensorCodes[r.state])
	if len(r.why) > 0 {
		said = said.And(reason.Bracket).Then(r.why).And(reason.Unbracket)
	}
	add(said.And(reason.Stop))
	if r.hasOn {
		stay := reason.StayedOnSide.Of(r.firstOn.T()-r.at, r.lastOn.T()-r.at, r.stayNeeded(f.volts))
		if r.left {
			add(stay.And(reason.LeftWith, 100*max(0, r.stillLeft)))
		} else {
			add(stay.And(reason.StillThere))
		}
	}
	if odds, moved := f.rel.lives.odds(); odds != 0 {
		add(reason.LivesWeighed.Of(1000*moved, odds))
	}
	if d := &f.down; d.seen {
		rest := reason.RearNoRest.Of()
		if d.hasBase {
			rest = reason.RearRest.Of(d.baseLow, d.baseHigh)
		}
		went := reason.RearStayed
		if d.answered {
			went = reason.RearGone
		}
		add(rest.And(reason.RearAway, d.most, d.away, d.oxygen, enoughAway, enoughOxygen).And(went, d.side))
	}
}

// Follows is the conclusion with the states of the proofs that it follows from.
func Follows(v Verdict) reason.Reason {
	by := map[State][]string{}
	for _, p := range v.Proofs {
		by[p.State] = append(by[p.State], string(p.ID))
	}
	r := reason.Concluded.Of(v.Conclusion)
	for _, s := range []State{Proven, Failed, Unclear, Untested} {
		if len(by[s]) > 0 {
			r = r.And(reason.ArcsOf, s, strings.Join(by[s], ", "))
		}
	}
	return r
}
