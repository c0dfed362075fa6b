package session

import (
	"cmp"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/obd"
)

// hold is what was seen and said of the present force.
type hold struct {
	said     bool          // that it is on
	let      time.Duration // when it was said that it was let go; 0: it was not
	tapAt    time.Duration
	openAt   time.Duration // since when the branch is open
	seen     bool          // the watcher sees the force
	begin    time.Duration // of it
	end      time.Duration // 0: not yet
	answered bool
	spoilt   Reason // why holding on brings nothing; "": it may
	limit    bool   // trim stands at the computer's limit
	sensor   bool
	resumed  time.Duration
	branch   bool    // left open after the release
	from     float64 // the bank's short-term trim when the hold began, %
	more     bool
	longer   bool // the hold before did not decide
	again    bool // the side comes once more when its answer is seen
}

// countsFrom is how long a hold must last to teach the computer anything, and to show anything.
const countsFrom = 4 * time.Second

// regripWithin is how soon the same side again is the same hold: the clip had slipped.
const regripWithin = 6 * time.Second

// unseenHold is how long a hold that was said and does not show is asked for: the contact may
// come long after it was said.
func (g *Guide) unseenHold() time.Duration { return min(g.cfg.Hold+5*time.Second, limits.HoldMost) }

func (g *Guide) enter(s Stage) {
	g.stage, g.since, g.fresh, g.notice.twice = s, g.now, true, false
}

// fit goes on from StageReady.
func (g *Guide) fit() {
	if !g.ready {
		g.ready, g.began = true, g.now
	}
	if g.judge.LeanOnly() {
		g.sides[analysis.Rich].left, g.opened = true, true
	}
	if g.based {
		g.next()
		return
	}
	g.notice.why = ""
	if g.cfg.Open > 0 && !g.opened {
		g.enter(StageOpen)
		return
	}
	g.baseline()
}

// baseline begins to learn how the car switches, with the branch closed.
func (g *Guide) baseline() {
	if g.notice.why = ""; g.stage == StageOpen {
		g.opened, g.notice.why = true, WhyClose
	}
	g.engine.changes = 0
	g.enter(StageBaseline)
}

// changesEnough is how many changes of side make a baseline; who waits for them waits so long at most.
const (
	changesEnough = 8
	baselineMost  = 40 * time.Second
)

// ask asks for a force of a side.
func (g *Guide) ask(s analysis.Side, why Reason) {
	g.hold, g.both = hold{tapAt: g.hold.tapAt, longer: why == WhyOpen}, both{}
	if g.side != s {
		g.before = g.side
	}
	g.side, g.notice.why = s, why
	g.sides[s].asked++
	g.sides[s].left = false
	g.enter(StageForce)
}

// unask takes back that a side was asked for, where nobody could begin: it comes in its turn again, and no hold
// was missed.
func (g *Guide) unask() {
	if g.stage == StageForce {
		g.sides[g.side].asked--
	}
}

// next goes on to what is missing: a side that was not forced, then one that has decided nothing.
func (g *Guide) next() {
	g.both = both{}
	if g.unfit() {
		return
	}
	if g.hold.again {
		g.ask(g.side, "")
		return
	}
	for _, s := range g.cfg.Sides {
		if x := g.sides[s]; !x.left && x.holds == 0 && x.asked == 0 {
			g.ask(s, "")
			return
		}
	}
	for _, s := range g.cfg.Sides {
		why := g.missing(s)
		if why == "" || why == WhyLimit {
			g.notice.why = cmp.Or(why, g.notice.why)
			continue
		}
		if _, most := g.Length(); g.now-g.began+g.cfg.HoldMost+g.cfg.Answer > most {
			g.notice.why = WhyLong
			break
		}
		if rested := g.sides[s].lastEnd + restBetween; g.now < rested && g.sides[s].holds > 0 {
			g.wait(WhyRest, rested)
			return
		}
		g.ask(s, why)
		return
	}
	g.enter(StageDone)
}

func (g *Guide) wait(why Reason, until time.Duration) {
	g.notice.why, g.until = why, until
	g.enter(StageWait)
}

// restBetween is the time between two holds of one side: a computer may pause trim for so long,
// and catalyst and learned trim need it.
const restBetween = limits.Rest

// missing says why a side is worth one more force; "": it is not.
func (g *Guide) missing(s analysis.Side) Reason {
	x := g.sides[s]
	if x.left || x.holds >= limits.Forces || x.asked >= limits.Forces+1 || g.engine.leftOpen && x.holds > 0 {
		return ""
	}
	for _, v := range g.judge.Verdict().Banks() {
		if why := g.missingOf(s, v); why != "" {
			return why
		}
	}
	return ""
}

// missingOf is missing by the verdict on one sensor.
func (g *Guide) missingOf(s analysis.Side, verdict analysis.Verdict) Reason {
	x := g.sides[s]
	command, sensor := analysis.ProofAddsFuel, analysis.ProofSensorRich
	if s == analysis.Rich {
		command, sensor = analysis.ProofCutsFuel, analysis.ProofSensorLean
	}
	state := func(id analysis.ProofID) analysis.State {
		for _, p := range verdict.Proofs {
			if p.ID == id {
				return p.State
			}
		}
		return ""
	}
	open := func(id analysis.ProofID) bool {
		st := state(id)
		return st != analysis.Proven && st != analysis.Failed
	}
	early := slices.ContainsFunc(verdict.Proofs, func(p analysis.Proof) bool { return p.ID == sensor && p.Why.Has(reason.ReleasedTooEarly) })
	switch {
	case verdict.Conclusion == analysis.LoopProven:
		return ""
	case x.holds == 0:
		return WhyUnseen
	case x.limit > 0 && g.cfg.both():
		return "" // too short a time for two wires, one after the other
	case state(analysis.ProofInput) == analysis.Failed, state(analysis.ProofBank) == analysis.Failed:
		return "" // what lies behind it cannot be seen
	case !open(command) && !open(sensor), g.judge.setup.By == analysis.ByMixture && !open(command):
		return ""
	case g.judge.setup.By == analysis.ByFuelCut && !open(analysis.ProofSensorLean), g.judge.LeanOnly() && !open(command):
		return "" // more it cannot show
	case x.limit > 0:
		return WhyShorter
	case g.engine.quiet && !open(command) && !early:
		return "" // a sensor that lies on one side by itself says no more the second time
	case x.stood:
		return WhyLimit // it would stand there again
	case x.short:
		return WhyShort
	}
	return WhyOpen
}

func (g *Guide) mark(k obd.MarkKind) {
	switch k {
	case obd.MarkOpen:
		if g.stage == StageOpen && g.hold.openAt == 0 {
			g.hold.openAt = g.now
		}
	case obd.MarkLean, obd.MarkRich:
		g.announced(analysis.Side(k))
	case obd.MarkRelease:
		if g.letFirst() {
			return
		}
		g.hold.let = g.now
		if (g.stage == StageHold || g.stage == StageRelease) && !g.hold.seen {
			g.released(g.now)
		}
	}
}

// waits reports whether a force may begin now.
func (g *Guide) waits() bool {
	switch g.stage {
	case StageReady, StageBaseline, StageOpen, StageForce, StageWait:
		return g.both.phase == 0
	}
	return false
}

// announced takes what was said: the hold is asked for as if it had begun, until it is seen.
func (g *Guide) announced(s analysis.Side) {
	switch {
	case g.stage == StageForce && g.both.phase > 0:
		g.heldSecond(g.now, true)
	case g.waits():
		g.hold = hold{tapAt: g.hold.tapAt, longer: g.hold.longer, said: true, from: g.engine.trim}
		g.side, g.both.held = s, g.now
		g.enter(StageHold)
	case g.stage == StageHold && (g.hold.seen || s == g.side):
		g.hold.said = true
	case g.stage == StageHold:
		g.side, g.fresh = s, true // said the wrong word before, or does now
	}
}

// begins takes a force that the watcher sees.
func (g *Guide) begins(s analysis.Side, at time.Duration) {
	x := g.sides[s]
	switch {
	case g.stage == StageHold && !g.hold.seen, g.stage == StageRelease && !g.hold.seen, g.waits():
		said := g.hold.said && g.stage != StageForce && g.stage != StageWait
		g.hold = hold{tapAt: g.hold.tapAt, longer: g.hold.longer, said: said, from: g.engine.trim}
	case g.stage == StageAnswer && s == g.side && !g.hold.branch && at-g.hold.end < regripWithin:
		if g.hold.end-g.hold.begin >= countsFrom {
			x.holds-- // the same hold goes on
		}
		g.hold.resumed, g.hold.sensor, g.hold.spoilt = 0, false, ""
	default: // the other side at once, or again without being asked
		g.hold = hold{tapAt: g.hold.tapAt, from: g.engine.trim}
	}
	g.hold.seen, g.hold.begin, g.hold.end, g.hold.let = true, at, 0, 0
	again := g.stage != StageHold || g.side != s
	g.side, g.based, g.notice.why = s, true, ""
	g.enter(StageHold)
	g.since, g.fresh = at, again
	g.both.held = at
}

// shortBelow is how long a hold must last to show something.
func (g *Guide) shortBelow() time.Duration {
	if g.judge.setup.By == analysis.ByFuelCut {
		return 3 * time.Second // as is asked for
	}
	return g.cfg.Hold / 2
}

// released takes the end of a force.
func (g *Guide) released(at time.Duration) {
	x := g.sides[g.side]
	g.hold.end, x.lastEnd = at, at
	x.stood, x.short = g.hold.limit && !g.hold.answered, g.hold.seen && at-g.hold.begin < g.shortBelow()
	if g.hold.seen && at-g.hold.begin >= countsFrom || !g.hold.seen && g.hold.said {
		x.holds++
	}
	if g.hold.spoilt == WhyShorter || g.hold.spoilt == WhyLetGo {
		x.limit = max(3*time.Second, at-g.hold.begin-2*time.Second)
	}
	g.enter(StageAnswer)
}

func (g *Guide) event(e analysis.Event) {
	at := time.Duration(e.T * float64(time.Second))
	switch e.Name {
	case analysis.Ready:
		g.engine.why, g.engine.closed, g.engine.isReady, g.engine.readyAt = nil, true, true, g.now
	case analysis.NotReady:
		g.engine.why = e.Reasons
		if g.judge.NeverForce() {
			g.enter(StageDone)
		} else if g.stage == StageForce && g.both.phase > 0 {
			g.enter(StageRelease)
		} else if g.stage == StageBaseline || g.stage == StageForce || g.stage == StageOpen {
			g.unask()
			g.notice.why = ""
			g.enter(StageReady)
		}
		g.told = -time.Hour // what is waited for is said at once
		if _, always := g.judge.Barred(); always && g.stage == StageReady && !g.based {
			g.notice.why = WhyNever
			g.enter(StageDone)
		}
	case analysis.OpenLevel:
		g.engine.open, g.engine.hasOpen, g.engine.atOpen = e.Value, true, g.now
		if g.stage == StageOpen {
			g.hold.openAt = at
		}
	case analysis.ForceBegins:
		if g.stage == StageOpen { // an open input may lie there
			g.hold.openAt = at
		} else if g.cfg.both() {
			g.seenBegin(0, e.Side, at)
		} else if g.sides[e.Side] != nil {
			g.begins(e.Side, at)
		}
	case analysis.ForceEnds:
		if g.cfg.both() {
			g.seenEnd(0, e.Side, at)
		} else if e.Side == g.side && (g.stage == StageHold || g.stage == StageRelease) && (!g.hold.seen || at > g.hold.begin) {
			g.released(at)
		}
	default:
		g.answer(e)
	}
}

// answer takes what the car did during the hold, or after it.
func (g *Guide) answer(e analysis.Event) {
	h := &g.hold
	switch e.Name {
	case analysis.SwitchingResumes, analysis.SensorAnswers:
		g.engine.leftOpen = false
	case analysis.BranchOpen:
		g.engine.leftOpen = true
	}
	switch e.Name {
	case analysis.LoopAnswers:
		h.answered = true
	case analysis.TrimAtLimit:
		h.limit = true
	case analysis.OpenLoop:
		h.spoilt, g.engine.closed = WhyLetGo, false
	case analysis.ComputerLetsGo:
		if h.spoilt == "" {
			h.spoilt = WhyShorter
		}
		if e.How == "status" {
			h.spoilt, g.engine.closed = WhyLetGo, false
		}
		if g.stage == StageHold {
			g.sides[g.side].limit = max(3*time.Second, time.Duration((e.After-2)*float64(time.Second)))
		}
	case analysis.BranchOpen:
		h.branch = true
		if g.stage == StageAnswer {
			g.wait(WhyBranch, g.now+closeWithin)
		}
	case analysis.SensorAnswers, analysis.SensorSilent:
		h.sensor = true
	case analysis.SwitchingResumes:
		h.resumed = g.now
		g.engine.quiet = false // it changes sides after all
	}
}

// holdFor is how long the present hold is to last.
func (g *Guide) holdFor() time.Duration {
	if g.cfg.both() {
		return g.holdBoth() - g.since
	}
	switch x := g.sides[g.side]; {
	case !g.hold.seen:
		return g.unseenHold()
	case x.limit > 0:
		return min(x.limit, g.cfg.Hold)
	case g.hold.more || g.hold.longer:
		return g.cfg.HoldMost
	}
	return g.cfg.Hold
}

// advance leaves a stage whose job is done.
func (g *Guide) advance() {
	in := g.now - g.since
	if _, most := g.Length(); g.ready && g.now-g.began > most && (g.waits() || g.stage == StageAnswer) {
		g.notice.why = WhyLong
		g.enter(StageDone)
		return
	}
	if g.engine.stands() && g.waits() && g.stage != StageReady {
		g.unask()
		g.notice.why = WhyStalled
		g.enter(StageReady)
		in = 0
	}
	g.stalled()
	switch g.stage {
	case StageReady:
		barred, _ := g.judge.Barred() // which the watcher tells some seconds later
		came := !barred && g.engine.isReady && (g.notice.why != WhyStalled || g.engine.closed) && len(g.engine.why) == 0 && !g.engine.stands()
		if came && g.engine.knowsFit(g.judge.Decoder(), g.now) {
			g.fit()
		} else if in >= g.cfg.Ready && !came {
			g.enter(StageDone) // a force now would not count, and only set codes
		}
	case StageBaseline:
		if in >= g.cfg.Baseline && (g.engine.changes >= changesEnough || g.engine.changes == 0 && !g.engine.readsOpen(g.now) || in >= baselineMost) {
			g.based, g.engine.quiet = true, g.engine.changes == 0
			g.next()
		} else if in >= reactIn {
			if g.notice.why = ""; g.engine.readsOpen(g.now) {
				g.notice.why = WhyBranch
			}
		}
	case StageOpen:
		if g.hold.openAt > 0 && g.now >= g.hold.openAt+g.cfg.Open || in >= openWithin {
			g.baseline()
		}
	case StageForce:
		if g.both.phase > 0 {
			if g.engine.stands() {
				g.hold.spoilt = WhyStalled
			}
			if g.now >= g.both.held+g.cfg.HoldMost || g.hold.spoilt != "" {
				g.notice.why = g.hold.spoilt
				g.enter(StageRelease) // nobody came to the other wire
			}
		} else if in >= g.cfg.Absent {
			g.notice.why = WhyAbsent
			g.enter(StageDone)
		}
	case StageHold:
		g.advanceHold(in)
	case StageRelease:
		// A wire that the computer does not read shows no release either; nor does a reading
		// that lies there by itself.
		said := g.both.phase == 2 && g.hold.let > 0 // by who holds two wires: that both readings move is not waited for
		if (!g.hold.seen || said) && in >= reactIn || in >= letGoWithin {
			if !g.letFirst() {
				g.released(g.now)
			}
		} else if g.hold.let > 0 && min(in, g.now-g.hold.let) >= reactIn {
			g.notice.why = WhyHeld
		}
	case StageAnswer:
		resumed := max(g.hold.resumed, g.both.resumed)
		settled := g.hold.sensor && g.hold.resumed > 0 && (g.both.sensor && g.both.resumed > 0 || !g.both.second) && g.now-resumed >= g.cfg.Settle
		nothing := !g.hold.seen && in >= unseenAnswer
		lost := g.hold.spoilt == WhyLetGo && in >= reactIn
		if settled || nothing || lost || in >= g.cfg.Answer && !(g.stillAway() && in < g.cfg.Answer+awayFor) {
			g.next()
		}
	case StageWait:
		g.advanceWait()
	}
}

// stillAway reports whether the reading has not left the side to which the loop brought it: a hold on that side would not be told from it. Where the
// release was seen late, somebody may hold that side already.
func (g *Guide) stillAway() bool {
	return g.hold.seen && g.hold.sensor && g.hold.resumed == 0 && g.engine.reads == g.side.Opposite() && g.since-g.hold.end < reactIn
}

func (g *Guide) advanceHold(in time.Duration) {
	g.hold.more = in >= g.cfg.Hold && g.hold.seen && g.hold.answered && (g.slow() || !g.delivered())
	if g.engine.stands() {
		g.hold.spoilt = WhyStalled
	}
	if (in >= g.holdFor() || g.hold.spoilt != "") && !g.askSecond() {
		g.notice.why = g.hold.spoilt
		g.enter(StageRelease)
	}
}

func (g *Guide) advanceWait() {
	switch over := g.now >= g.until; {
	case g.notice.why == WhyLetGo && g.engine.closed:
		g.hold.spoilt = ""
		g.next()
	case g.notice.why == WhyLetGo && over:
		g.enter(StageDone) // nothing can come of another force
	case over, g.notice.why == WhyBranch && g.hold.resumed > 0:
		g.next()
	}
}
