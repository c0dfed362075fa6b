package session

import (
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/obd"
)

// A Leader leads through a test: it sees the frames and prompts. What is tapped may come from any goroutine.
type Leader interface {
	Sink
	Enter() obd.MarkKind // the one button: the mark that it makes, "" for none
	Skip()
	Again()
}

// NewLeader returns who leads through the test that j judges: a [Drive] where the sensor behind the catalyst is judged in one, else a [Guide].
func NewLeader(cfg GuideConfig, j *Judge, prompt func(Prompt), done func()) Leader {
	if s := j.setup; s.By == analysis.ByFuelCut && s.Sensor.Position > 1 {
		return NewDrive(j, prompt, done)
	}
	return NewGuide(cfg, j, prompt, done)
}

// Drive leads through the drive that shows both sides of a sensor behind the catalyst: fuel cuts in gear and full load, in turn, until both are
// decided. It waits for the road, not the road for it: what is driven counts, whatever was asked for, and nothing is tapped while driving.
// It is a Sink; Skip and Again may come from any goroutine.
type Drive struct {
	judge  *Judge
	prompt func(Prompt)
	done   func()

	mu    sync.Mutex
	stage Stage
	side  analysis.Side // that is asked for, or driven
	now   time.Duration
	since time.Duration // when the stage began
	began time.Duration // when the car was first found ready
	told  time.Duration // last prompt
	fresh bool
	over  bool // done was called
	ready bool
	fit   toldFit
	why   []reason.Reason // what is not fit
	cause Reason
	sides map[analysis.Side]*driven
}

// driven is what came of a side.
type driven struct {
	asked, times int
	left         bool // it was skipped
}

// Times of a led drive: common practice, no source.
const (
	partsEnough = 2               // of each side: one may be chance
	partsMost   = 5               // asked for of a side; then the rest of it stays open
	easyFor     = 5 * time.Second // after a part its gas comes, and the catalyst and the driver rest
	driveUsual  = 4 * time.Minute
	driveMost   = 20 * time.Minute
	readyWithin = 3 * time.Minute
)

// partFor is how long a part is to last: a catalyst first stores the oxygen of a cut, or gives its own to rich gas.
var partFor = map[analysis.Side]time.Duration{analysis.Lean: 6 * time.Second, analysis.Rich: 5 * time.Second}

// NewDrive returns a leader that reports to prompt at each new step and each second of it, and calls done once when the drive is over.
func NewDrive(j *Judge, prompt func(Prompt), done func()) *Drive {
	return &Drive{judge: j, prompt: prompt, done: done, stage: StageReady, fresh: true, told: -time.Hour,
		sides: map[analysis.Side]*driven{analysis.Lean: {}, analysis.Rich: {}}}
}

// Enter makes no mark: the drive tells by itself what it does.
func (d *Drive) Enter() obd.MarkKind { return "" }

// Skip leaves out the side that is asked for.
func (d *Drive) Skip() {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch d.stage {
	case StageForce:
		d.sides[d.side].left = true
		d.next()
	case StageAnswer:
		d.next()
	}
}

// Again asks for the side before once more.
func (d *Drive) Again() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.stage == StageAnswer || d.stage == StageForce && d.sides[d.side.Opposite()].times > 0 {
		if d.stage == StageForce {
			d.side = d.side.Opposite()
		}
		d.sides[d.side].left = false
		d.ask(d.side)
	}
}

// Write lets the leader see a frame.
func (d *Drive) Write(f Frame) error {
	d.mu.Lock()
	if f.Last || d.over {
		d.mu.Unlock()
		return nil
	}
	d.now = max(d.now, f.Record.At)
	for _, x := range f.Samples {
		if !x.Missing && analysis.TellsFit(x.Signal.Name) {
			d.fit.tell(x.Signal.Name, d.now)
		}
	}
	for _, e := range f.Events {
		d.event(e)
	}
	d.advance()
	p, say := d.say()
	over := d.stage == StageDone
	d.over = over
	d.mu.Unlock()
	if say {
		d.prompt(p)
	}
	if over {
		d.done()
	}
	return nil
}

func (d *Drive) enter(s Stage) { d.stage, d.since, d.fresh = s, d.now, true }

func (d *Drive) event(e analysis.Event) {
	switch e.Name {
	case analysis.Ready:
		d.why, d.fit.isReady, d.fit.readyAt = nil, true, d.now
	case analysis.NotReady:
		d.why, d.fit.isReady = e.Reasons, false
		switch _, always := d.judge.Barred(); {
		case always:
			d.cause = WhyNever
			d.enter(StageDone)
		case d.stage != StageReady && d.stage != StageDone:
			d.enter(StageReady)
		}
		d.told = -time.Hour
	case analysis.ForceBegins:
		if d.ready && d.stage != StageDone {
			d.side, d.cause = e.Side, ""
			d.enter(StageHold)
		}
	case analysis.ForceEnds:
		if d.stage == StageHold {
			d.sides[d.side].times++
			d.enter(StageAnswer)
		}
	}
}

func (d *Drive) advance() {
	in := d.now - d.since
	barred, _ := d.judge.Barred()
	switch {
	case d.stage == StageReady && d.fit.isReady && !barred && d.fit.knowsFit(d.judge.Decoder(), d.now):
		if !d.ready {
			d.ready, d.began = true, d.now
		}
		d.next()
	case d.stage == StageReady && in >= readyWithin:
		d.enter(StageDone)
	case d.stage == StageForce && d.now-d.began >= driveMost:
		d.cause = WhyLong
		d.enter(StageDone)
	case d.stage == StageAnswer && in >= easyFor:
		d.next()
	}
}

// next asks for the side that is open yet and was asked for less often, of both lean.
func (d *Drive) next() {
	best := analysis.Side("")
	if d.judge.Verdict().Conclusion == analysis.SensorDead {
		d.enter(StageDone) // no more driving gives it back its life
		return
	}
	for _, s := range []analysis.Side{analysis.Lean, analysis.Rich} {
		if x := d.sides[s]; !x.left && x.asked < partsMost && !d.settled(s) && (best == "" || x.asked < d.sides[best].asked) {
			best = s
		}
	}
	if best == "" {
		d.enter(StageDone)
		return
	}
	d.ask(best)
}

func (d *Drive) ask(s analysis.Side) {
	d.side, d.cause = s, ""
	d.sides[s].asked++
	d.enter(StageForce)
}

// settled reports whether more of a side would tell nothing new.
func (d *Drive) settled(s analysis.Side) bool {
	id := analysis.ProofSensorLean
	if s == analysis.Rich {
		id = analysis.ProofSensorRich
	}
	for _, p := range d.judge.Verdict().Proofs {
		if p.ID == id {
			return p.State == analysis.Failed || p.State == analysis.Proven && d.sides[s].times >= partsEnough
		}
	}
	return false
}

// say returns the prompt when it is new or a second has passed.
func (d *Drive) say() (Prompt, bool) {
	if !d.fresh && d.now-d.told < time.Second {
		return Prompt{}, false
	}
	p := Prompt{Stage: d.stage, At: d.now, Since: d.since, New: d.fresh, Seen: true, Why: d.why, Reason: d.cause, Drive: true, Usual: driveUsual, Most: driveMost}
	p.Barred, _ = d.judge.Barred()
	switch d.stage {
	case StageForce:
		p.Side = d.side
	case StageHold:
		p.Side, p.Until = d.side, d.since+partFor[d.side]
	case StageAnswer:
		p.Side, p.Until = d.side, d.since+easyFor
	case StageReady:
		p.Until = d.since + readyWithin
	}
	d.told, d.fresh = d.now, false
	return p, true
}
