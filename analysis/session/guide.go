package session

import (
	"math"
	"slices"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/decode"
	"pushback/obd"
)

// GuideConfig holds the lengths of the stages. Zero fields take the usual ones.
type GuideConfig struct {
	Sides    []analysis.Side // which sides to force, in order; lean, then rich
	Ready    time.Duration   // how long to wait for a car that is not ready; 3 min
	Open     time.Duration   // with the sensor's branch open and nothing touched; 3 s, below 0: not asked for
	Baseline time.Duration   // 15 s
	Hold     time.Duration   // limits.Hold
	HoldMost time.Duration   // limits.HoldLong, when trim answered but has not come far, or the delivery is open; never above limits.HoldMost
	Answer   time.Duration   // at most 30 s
	Settle   time.Duration   // after the loop switches again; 4 s
	Absent   time.Duration   // how long to wait for somebody to begin; 90 s
	Beside   decode.SensorID // whose wire is held too, the other bank's; zero: nobody's
}

func (c *GuideConfig) fill(by analysis.By) {
	def := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	if c.Sides == nil && by == analysis.ByFuelCut { // it cuts no other way
		c.Sides = []analysis.Side{analysis.Lean}
	}
	if c.Sides == nil {
		c.Sides = []analysis.Side{analysis.Lean, analysis.Rich}
	}
	def(&c.Ready, 3*time.Minute)
	def(&c.Open, 3*time.Second)
	def(&c.Baseline, 15*time.Second)
	def(&c.Hold, limits.Hold)
	def(&c.HoldMost, limits.HoldLong)
	def(&c.Answer, 30*time.Second)
	def(&c.Settle, 4*time.Second)
	def(&c.Absent, 90*time.Second)
	c.HoldMost = min(c.HoldMost, limits.HoldMost)
	if by != analysis.ByWire && by != "" || c.both() {
		c.Open = -1 // no wire is touched, or there are two branches
	}
}

// Steps of the guide that have no length of their own.
const (
	reactIn      = 5 * time.Second  // what a person usually takes
	openWithin   = 12 * time.Second // to open the branch; then the test goes on without
	letGoWithin  = 20 * time.Second // to let go; then the reading lies there by itself
	awayFor      = 20 * time.Second // beyond the usual, for a slow loop to bring the mixture back
	unseenAnswer = 8 * time.Second  // after a release that shows nowhere
	clearsWithin = time.Minute      // for a computer that let go of the sensor to come back
	closeWithin  = 20 * time.Second // to close a branch that was left open
)

// Length is how long the test of a ready car usually takes, and how long at most: it ends
// by itself then.
func (c GuideConfig) Length(by analysis.By) (usual, most time.Duration) {
	c.fill(by)
	n := time.Duration(len(c.Sides))
	if c.Open > 0 {
		usual, most = reactIn+c.Open, openWithin+c.Open
	}
	usual += c.Baseline + n*(reactIn+c.Hold+c.Answer/2)
	most += baselineMost + n*(c.Absent+c.HoldMost+letGoWithin+c.Answer)
	if c.both() {
		usual, most = usual+n*(2*reactIn+Apart), most+n*(Apart+letGoWithin)
	}
	return usual, most
}

// A Guide leads through the bias test. It is a Sink: it sees what the watcher
// sees, moves on by itself when the force and the release are seen, and prompts.
// What is tapped is a hint: where the readings tell, they are believed.
// Enter, Skip and Again may come from any goroutine.
type Guide struct {
	cfg    GuideConfig
	judge  *Judge
	prompt func(Prompt)
	done   func()
	trims  []string // the names under which the watched bank's short-term trim comes

	mu    sync.Mutex
	stage Stage
	now   time.Duration
	since time.Duration
	began time.Duration // when the car was first found ready, and the length that was told counts from
	told  time.Duration // last prompt
	passed
	engine engine
	hold   hold
	both   both
	sides  map[analysis.Side]*side
	side   analysis.Side // that is asked for or held
	before analysis.Side // the other one, where it was asked for before
	until  time.Duration // of StageWait
	notice notice
}

// passed is what a guide has behind it.
type passed struct {
	fresh  bool
	over   bool // done was called
	ready  bool // the car was found so once
	based  bool // the baseline is done
	opened bool // the open level was asked for
}

// engine is what the car tells beside trim and sensor.
type engine struct {
	why    []reason.Reason // what is not fit, as the watcher has it
	trim   float64         // the watched bank's short-term trim, %
	rpm    float64
	hasRPM bool
	closed bool // the loop, and without a fault, as far as is known
	second bool // the watched bank has a fuel system of its own
	toldFit

	volts    float64 // of the watched sensor
	reads    analysis.Side
	changes  int     // of side, since the baseline began
	open     float64 // V: what an open input reads
	hasOpen  bool
	atOpen   time.Duration // since when it reads that; never: it does not
	quiet    bool          // the sensor did not change sides in the baseline
	leftOpen bool          // the branch was not closed after the last release
}

// readsOpen reports whether the sensor's branch is open, as far as is known: the reading stays
// where an open input lies, through which a sensor that switches only passes.
func (e *engine) readsOpen(now time.Duration) bool {
	return e.hasOpen && math.Abs(e.volts-e.open) < likeOpen && now-e.atOpen >= staysOpen
}

const (
	likeOpen  = 0.03 // V
	staysOpen = 3 * time.Second
)

func (e *engine) stands() bool { return e.hasRPM && e.rpm < limits.TurningSpeed }

// side is what became of the forces of a side.
type side struct {
	holds   int           // that lasted long enough to count
	left    bool          // it was skipped
	limit   time.Duration // holds must be shorter; 0: no
	lastEnd time.Duration
	asked   int  // how often it was asked for
	short   bool // the last hold was too short to show anything
	stood   bool // trim stood at the computer's limit in it
}

// notice is what is said beside the step.
type notice struct {
	twice  bool             // again was asked for in vain
	why    Reason           // why the step is asked for, or was cut short
	back   []analysis.Proof // that were decided and are open again, or the other way now
	since  time.Duration    // of back
	looked time.Duration    // when it was looked for last
	known  map[analysis.ProofID]analysis.State
}

// NewGuide returns a guide that reports to prompt (at each new stage and each
// second of it) and calls done once when the test is over.
func NewGuide(cfg GuideConfig, j *Judge, prompt func(Prompt), done func()) *Guide {
	cfg.fill(j.setup.By)
	g := &Guide{cfg: cfg, judge: j, prompt: prompt, done: done, trims: j.setup.Sensor.Trims(),
		stage: StageReady, passed: passed{fresh: true}, told: -time.Hour, sides: map[analysis.Side]*side{},
		engine: engine{closed: true}, notice: notice{known: map[analysis.ProofID]analysis.State{}}}
	for _, s := range []analysis.Side{analysis.Lean, analysis.Rich} {
		g.sides[s] = &side{left: !slices.Contains(cfg.Sides, s)}
	}
	return g
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
		return g.side
	}
	return ""
}

// Length is how long the test usually takes, and at most, once the car is ready.
func (g *Guide) Length() (usual, most time.Duration) { return g.cfg.Length(g.judge.setup.By) }

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
		if !x.Missing {
			g.sample(x.Signal.Name, x.Value)
		}
	}
	for _, e := range f.Events {
		g.event(e)
	}
	for _, e := range f.Beside {
		g.eventBeside(e)
	}
	if g.advance(); len(f.Events) > 0 || g.now-g.notice.looked >= time.Second || g.stage == StageDone {
		g.compare() // some are taken back by time alone
	}
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

func (g *Guide) sample(name string, v float64) {
	switch {
	case name == g.judge.setup.Sensor.Voltage():
		reads := g.engine.reads
		if v < 0.30 {
			reads = analysis.Lean
		} else if v > 0.60 {
			reads = analysis.Rich
		}
		if reads != g.engine.reads {
			g.engine.changes++
		}
		g.engine.volts, g.engine.reads = v, reads
		if math.Abs(v-g.engine.open) >= likeOpen {
			g.engine.atOpen = g.now
		}
	case slices.Contains(g.trims, name):
		g.engine.trim = v
	case analysis.TellsFit(name):
		g.engine.toldFit.tell(name, g.now)
	case name == "RPM":
		g.engine.rpm, g.engine.hasRPM = v, true
	case name == "FUELSYS1" && !g.engine.second:
		g.engine.closed = byte(v) == decode.FuelClosed
	case name == "FUELSYS2" && v != 0 && g.judge.setup.Sensor.Bank%2 == 0:
		g.engine.second = true // where it is not in use, one system controls both banks
		g.engine.closed = byte(v) == decode.FuelClosed
	}
}

// backFor is how long it stands in the prompts that an arc was taken back.
const backFor = 8 * time.Second

// compare notes what the ring has lost since the last event.
func (g *Guide) compare() {
	g.notice.looked = g.now
	for _, p := range g.judge.Verdict().Of(g.judge.setup.Sensor.String()).Proofs {
		was := g.notice.known[p.ID]
		if p.State == analysis.Proven || p.State == analysis.Failed {
			g.notice.known[p.ID] = p.State
		} else {
			delete(g.notice.known, p.ID)
		}
		if was != "" && was != p.State {
			if g.now-g.notice.since > backFor {
				g.notice.back = nil
			}
			g.notice.back, g.notice.since = append(slices.Clone(g.notice.back), p), g.now
			g.told = -time.Hour
		}
	}
}

// say returns the prompt when it is new or a second has passed.
func (g *Guide) say() (Prompt, bool) {
	if !g.fresh && g.now-g.told < time.Second {
		return Prompt{}, false
	}
	p := Prompt{Stage: g.stage, Side: g.current(), At: g.now, Since: g.since, New: g.fresh, More: g.hold.more, Seen: g.hold.seen,
		Why: g.engine.why, Reason: g.notice.why, Twice: g.notice.twice, Back: g.notice.back, Sensors: g.sensors()}
	p.Let = g.stage == StageRelease && g.hold.let > 0 && g.now-g.hold.let < reactIn
	p.Usual, p.Most = g.Length()
	p.Barred, _ = g.judge.Barred()
	switch g.stage {
	case StageReady:
		p.Until = g.since + g.cfg.Ready
	case StageOpen:
		p.Until = g.since + openWithin
		if g.hold.openAt > 0 {
			p.Until = g.hold.openAt + g.cfg.Open
		}
	case StageBaseline:
		p.Until = g.since + g.cfg.Baseline
		if g.now >= p.Until {
			p.Until = g.since + baselineMost
		}
	case StageForce:
		if g.both.phase > 0 { // the first is held
			p.Until = g.both.held + g.cfg.HoldMost
		}
	case StageHold:
		p.Until = g.since + g.holdFor()
	case StageAnswer:
		p.Until = g.since + g.cfg.Answer
		if g.now >= p.Until {
			p.Until += awayFor
		}
	case StageWait:
		p.Until = g.until
	}
	if g.now-g.notice.since > backFor {
		p.Back = nil
	}
	g.told, g.fresh = g.now, false
	return p, true
}

// Enter is the one button: it says 'done' to what the prompt asks. It returns the mark to
// make, "" for none.
func (g *Guide) Enter() obd.MarkKind {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.hold.tapAt > 0 && g.now-g.hold.tapAt < twiceWithin {
		return "" // pressed twice
	}
	g.hold.tapAt = g.now
	switch g.stage {
	case StageOpen:
		return obd.MarkOpen
	case StageForce:
		return obd.MarkKind(g.side)
	case StageHold:
		if !g.hold.said { // the readings were quicker than the hand
			return obd.MarkKind(g.side)
		}
		return obd.MarkRelease
	case StageRelease:
		return obd.MarkRelease
	}
	return ""
}

// twiceWithin is how soon a second tap means nothing.
const twiceWithin = 1500 * time.Millisecond

// Skip leaves the present stage: what comes before the forces is cut short, a side is left out.
func (g *Guide) Skip() {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch g.stage {
	case StageReady:
		if barred, _ := g.judge.Barred(); barred || g.engine.stands() {
			return // there is nothing to force
		}
		g.engine.why = nil
		g.fit()
	case StageOpen:
		g.baseline()
	case StageBaseline:
		g.based = true
		g.next()
	case StageForce:
		if g.both.phase > 0 {
			g.enter(StageRelease)
			return
		}
		g.sides[g.side].left = true
		g.next()
	case StageAnswer, StageWait:
		g.next()
	case StageHold:
		g.enter(StageRelease)
	case StageRelease:
		if !g.letFirst() {
			g.enter(StageAnswer)
		}
	}
}

// Again repeats the present step, or the one before when it has not begun. What is held
// is let go first.
func (g *Guide) Again() {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch g.stage {
	case StageOpen:
		g.hold.openAt = 0
		g.enter(StageOpen)
	case StageBaseline:
		g.enter(StageBaseline)
	case StageForce:
		switch {
		case g.both.phase > 0:
			g.letGoAndRepeat()
		case g.before == "":
			g.unask()
			g.enter(StageBaseline)
		case g.may(g.before):
			g.unask()
			g.ask(g.before, "")
		}
	case StageHold:
		g.letGoAndRepeat()
	case StageRelease:
		g.hold.again = g.may(g.side)
	case StageAnswer:
		if g.may(g.side) {
			g.ask(g.side, "")
		}
	}
}

// letGoAndRepeat ends what is held, and has the side held once more.
func (g *Guide) letGoAndRepeat() {
	if g.hold.again = g.may(g.side); g.hold.again {
		g.enter(StageRelease)
	}
}

// may reports whether a side may be forced once more, and has it said where not.
func (g *Guide) may(s analysis.Side) bool {
	n := g.sides[s].holds
	if s == g.side && (g.stage == StageHold || g.stage == StageRelease || g.both.phase > 0) {
		n++ // the one that is held
	}
	ok := n < limits.Forces
	if !ok && !g.notice.twice {
		g.notice.twice, g.told = true, -time.Hour
	}
	return ok
}

// slow reports that trim answers but has not come far yet, and could go on.
func (g *Guide) slow() bool {
	return !g.hold.limit && math.Abs(g.engine.trim-g.hold.from) < limits.TrimEnough
}

func (g *Guide) delivered() bool {
	decided := func(p analysis.Proof) bool {
		return p.ID == analysis.ProofDelivery && (p.State == analysis.Proven || p.State == analysis.Failed)
	}
	return !slices.ContainsFunc(g.judge.Verdict().Banks(), func(v analysis.Verdict) bool { return !slices.ContainsFunc(v.Proofs, decided) })
}

// stalled takes an engine that was found to stand only after the loop had opened for it: the computer let go of
// nothing, and holds need not be shorter.
func (g *Guide) stalled() {
	h := &g.hold
	if !g.engine.stands() || g.stage != StageRelease && g.stage != StageAnswer || h.spoilt != WhyLetGo && h.spoilt != WhyShorter {
		return
	}
	h.spoilt, g.notice.why, g.told = WhyStalled, WhyStalled, -time.Hour
	g.sides[g.side].limit = 0
}

// unfit reports that nothing can be forced now, and waits for what must come first.
func (g *Guide) unfit() bool {
	switch {
	case g.engine.stands():
		g.notice.why = WhyStalled
		g.enter(StageReady)
	case g.hold.spoilt == WhyLetGo && !g.engine.closed:
		g.wait(WhyLetGo, g.now+clearsWithin)
	case len(g.engine.why) > 0:
		g.notice.why = ""
		g.enter(StageReady)
	default:
		return false
	}
	return true
}
