package session

import (
	"math"
	"slices"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/obd"
)

// Stage is a part of the guided test.
type Stage string

// The stages in order; Hold to Answer come once a side.
const (
	StageReady    Stage = "ready"    // waiting for the car to be fit for the test, or for its next force
	StageBaseline Stage = "baseline" // hands off: how the car switches by itself
	StageForce    Stage = "force"    // the technician is to begin the force
	StageHold     Stage = "hold"     // the force is held
	StageRelease  Stage = "release"  // the technician is to let go, now
	StageAnswer   Stage = "answer"   // hands off: the sensor's own answer and the recovery
	StageDone     Stage = "done"
)

// Prompt is what the technician is to do now.
type Prompt struct {
	Stage Stage
	Side  analysis.Side // of the stages Force to Answer
	At    time.Duration // session time of the frame behind the prompt
	Since time.Duration // session time when the stage began
	Until time.Duration // when the stage ends by itself; 0: when its job is done
	New   bool          // the stage has just begun
	More  bool          // the hold goes on beyond its usual length: trim answered, but that is not enough yet
	Seen  bool          // in Hold: the watcher sees the force too
	Why   []string      // in Ready: what is not fit
	Twice bool          // a repetition was asked for, but this side was forced as often as is good for the car
}

// GuideConfig holds the lengths of the stages. Zero fields take the usual ones.
type GuideConfig struct {
	Sides    []analysis.Side // which sides to force, in order; lean, then rich
	Ready    time.Duration   // how long to wait for a car that is not ready; 3 min
	Baseline time.Duration   // 15 s
	Hold     time.Duration   // limits.Hold
	HoldMost time.Duration   // limits.HoldLong, when trim answered but has not come far, or the delivery is open; never above limits.HoldMost
	Answer   time.Duration   // at most 30 s
	Settle   time.Duration   // after the loop switches again; 4 s
}

func (c *GuideConfig) fill() {
	def := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	if c.Sides == nil {
		c.Sides = []analysis.Side{analysis.Lean, analysis.Rich}
	}
	def(&c.Ready, 3*time.Minute)
	def(&c.Baseline, 15*time.Second)
	def(&c.Hold, limits.Hold)
	def(&c.HoldMost, limits.HoldLong)
	def(&c.Answer, 30*time.Second)
	def(&c.Settle, 4*time.Second)
	c.HoldMost = min(c.HoldMost, limits.HoldMost)
}

// A Guide leads through the bias test. It is a Sink: it sees what the watcher
// sees, moves on by itself when the force and the release are seen, and prompts.
// Enter, Skip and Again may come from any goroutine.
type Guide struct {
	cfg    GuideConfig
	judge  *Judge
	prompt func(Prompt)
	done   func()
	trims  []string // the names under which the watched bank's short-term trim comes

	mu    sync.Mutex
	stage Stage
	side  int
	now   time.Duration
	since time.Duration
	step  step
	trim  float64 // the watched bank's short-term trim, %
	why   []string
	told  time.Duration // last prompt
	fresh bool
	over  bool                  // done was called
	based bool                  // the baseline is done
	again bool                  // the present side comes once more when its answer is seen
	twice bool                  // again was asked for in vain
	count map[analysis.Side]int // forces of a side
}

// step is what was seen of the present side.
type step struct {
	seen     bool // the watcher sees the force
	answered bool
	spoilt   bool // open loop: holding on brings nothing
	limit    bool // trim stands at the computer's limit
	sensor   bool
	resumed  time.Duration
	from     float64 // the bank's short-term trim when the hold began, %
	more     bool
}

// NewGuide returns a guide that reports to prompt (at each new stage and each
// second of it) and calls done once when the test is over.
func NewGuide(cfg GuideConfig, j *Judge, prompt func(Prompt), done func()) *Guide {
	cfg.fill()
	return &Guide{cfg: cfg, judge: j, prompt: prompt, done: done, trims: j.setup.Sensor.Trims(),
		stage: StageReady, fresh: true, told: -time.Hour, count: map[analysis.Side]int{}}
}

// Side returns the side of the present stage, "" before the first force.
func (g *Guide) Side() analysis.Side {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.current()
}

func (g *Guide) current() analysis.Side {
	switch g.stage {
	case StageForce, StageHold, StageRelease, StageAnswer:
		return g.cfg.Sides[g.side]
	}
	return ""
}

// Enter says 'done' to what the prompt asks, and returns the mark to make, "" for
// none.
func (g *Guide) Enter() obd.MarkKind {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch g.stage {
	case StageForce:
		return obd.MarkKind(g.cfg.Sides[g.side])
	case StageHold:
		if g.now-g.since < 2*time.Second {
			return "" // the key was pressed twice
		}
		return obd.MarkRelease
	case StageRelease:
		return obd.MarkRelease
	}
	return ""
}

// Skip leaves the present stage: readiness and baseline are cut short, a side is
// left out.
func (g *Guide) Skip() {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch g.stage {
	case StageReady:
		g.why = nil
		g.fit()
	case StageBaseline:
		g.begin()
	case StageForce, StageAnswer:
		g.next()
	case StageHold:
		g.enter(StageRelease)
	case StageRelease:
		g.enter(StageAnswer)
	}
}

// Again repeats the present step, or the one before when it has not begun. What is held
// is let go first.
func (g *Guide) Again() {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch g.stage {
	case StageBaseline:
		g.enter(StageBaseline)
	case StageForce:
		switch {
		case g.side == 0:
			g.enter(StageBaseline)
		case g.may(g.side - 1):
			g.side--
			g.begin()
		}
	case StageHold:
		if g.again = g.may(g.side); g.again {
			g.enter(StageRelease)
		}
	case StageRelease:
		g.again = g.may(g.side)
	case StageAnswer:
		if g.may(g.side) {
			g.begin()
		}
	}
}

// may reports whether a side may be forced once more, and has it said where not.
func (g *Guide) may(side int) bool {
	ok := g.count[g.cfg.Sides[side]] < limits.Forces
	if !ok && !g.twice {
		g.twice, g.told = true, -time.Hour
	}
	return ok
}

func (g *Guide) enter(s Stage) { g.stage, g.since, g.fresh, g.twice = s, g.now, true, false }

// begin prompts for the present side, once the car is ready for it.
func (g *Guide) begin() {
	g.step, g.based, g.again = step{}, true, false
	if len(g.why) > 0 {
		g.enter(StageReady)
		return
	}
	g.enter(StageForce)
}

// fit goes on from StageReady.
func (g *Guide) fit() {
	if g.based {
		g.enter(StageForce)
		return
	}
	g.enter(StageBaseline)
}

func (g *Guide) next() {
	if g.again {
		g.begin()
		return
	}
	if g.side+1 < len(g.cfg.Sides) {
		g.side++
		g.begin()
		return
	}
	g.enter(StageDone)
}

// Write lets the guide see a frame.
func (g *Guide) Write(f Frame) error {
	g.mu.Lock()
	if f.Last || g.over {
		g.mu.Unlock()
		return nil
	}
	g.now = max(g.now, f.Record.At)
	if m := f.Record.Mark; m != nil {
		g.mark(m.Kind)
	}
	for _, x := range f.Samples {
		if !x.Missing && slices.Contains(g.trims, x.Signal.Name) {
			g.trim = x.Value
		}
	}
	for _, e := range f.Events {
		g.event(e)
	}
	g.advance()
	p, say := g.say()
	over := g.stage == StageDone
	g.over = over
	g.mu.Unlock()

	if say {
		g.prompt(p)
	}
	if over {
		g.done()
	}
	return nil
}

func (g *Guide) mark(k obd.MarkKind) {
	switch k {
	case obd.MarkLean, obd.MarkRich:
		g.forced(analysis.Side(k), g.now)
	case obd.MarkRelease:
		if g.stage == StageHold || g.stage == StageRelease {
			g.enter(StageAnswer)
		}
	}
}

// forced moves on when the technician, or the watcher, says that a side is held.
func (g *Guide) forced(s analysis.Side, at time.Duration) {
	if g.stage != StageForce && g.stage != StageBaseline && g.stage != StageReady {
		return
	}
	for i, want := range g.cfg.Sides {
		if i >= g.side && want == s {
			g.side, g.step = i, step{from: g.trim}
			g.count[s]++
			g.enter(StageHold)
			g.since = at
			return
		}
	}
}

func (g *Guide) event(e analysis.Event) {
	switch e.Name {
	case analysis.Ready:
		g.why = nil
		if g.stage == StageReady {
			g.fit()
		}
	case analysis.NotReady:
		g.why = e.Reasons
		if g.stage == StageBaseline || g.stage == StageForce {
			g.enter(StageReady)
		}
	case analysis.ForceBegins:
		g.forced(e.Side, time.Duration(e.T*float64(time.Second)))
		if e.Side == g.current() {
			g.step.seen = true
		}
	case analysis.LoopAnswers:
		g.step.answered = true
	case analysis.TrimAtLimit:
		g.step.limit = true
	case analysis.OpenLoop:
		g.step.spoilt = true
	case analysis.ForceEnds:
		if e.Side == g.current() && (g.stage == StageHold || g.stage == StageRelease) {
			g.enter(StageAnswer)
		}
	case analysis.SensorAnswers, analysis.SensorSilent:
		g.step.sensor = true
	case analysis.SwitchingResumes:
		g.step.resumed = g.now
	}
}

// advance leaves a stage whose job is done.
func (g *Guide) advance() {
	in := g.now - g.since
	switch g.stage {
	case StageReady:
		if in >= g.cfg.Ready {
			g.enter(StageDone) // a force now would not count, and only set codes
		}
	case StageBaseline:
		if in >= g.cfg.Baseline {
			g.begin()
		}
	case StageHold:
		g.step.more = in >= g.cfg.Hold && g.step.answered && (g.slow() || !g.delivered())
		limit := g.cfg.Hold
		if g.step.more {
			limit = g.cfg.HoldMost
		}
		if in >= limit || g.step.spoilt {
			g.enter(StageRelease)
		}
	case StageRelease:
		// A wire that the computer does not read shows no release either.
		if !g.step.seen && in >= 5*time.Second {
			g.enter(StageAnswer)
		}
	case StageAnswer:
		settled := g.step.sensor && g.step.resumed > 0 && g.now-g.step.resumed >= g.cfg.Settle
		nothing := !g.step.seen && in >= 5*time.Second
		if settled || nothing || in >= g.cfg.Answer {
			g.next()
		}
	}
}

// slow reports that trim answers but has not come far yet, and could go on.
func (g *Guide) slow() bool {
	return !g.step.limit && math.Abs(g.trim-g.step.from) < limits.TrimEnough
}

func (g *Guide) delivered() bool {
	for _, p := range g.judge.Verdict().Proofs {
		if p.ID == analysis.ProofDelivery {
			return p.State == analysis.Proven || p.State == analysis.Failed
		}
	}
	return false
}

// say returns the prompt when it is new or a second has passed.
func (g *Guide) say() (Prompt, bool) {
	if !g.fresh && g.now-g.told < time.Second {
		return Prompt{}, false
	}
	p := Prompt{Stage: g.stage, Side: g.current(), At: g.now, Since: g.since, New: g.fresh,
		More: g.step.more, Seen: g.step.seen, Why: g.why, Twice: g.twice}
	switch g.stage {
	case StageBaseline:
		p.Until = g.since + g.cfg.Baseline
	case StageHold:
		p.Until = g.since + g.cfg.Hold
		if g.step.more {
			p.Until = g.since + g.cfg.HoldMost
		}
	case StageAnswer:
		p.Until = g.since + g.cfg.Answer
	}
	g.told, g.fresh = g.now, false
	return p, true
}
