package session

import (
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// Apart is how long after each other two banks' wires are taken, and let go: long enough that each bank's answer is told from
// the other's (common practice, no source).
const Apart = 5 * time.Second

// both leads through a side where two wires are held: the first alone, then both, then the second alone.
type both struct {
	phase   int           // 0: the first is asked for, or held alone; 1: the second too; 2: the first was let go
	held    time.Duration // since when the first is held
	asked   time.Duration // since when the second is asked for
	heldTwo time.Duration // since when both are
	let     time.Duration // when the first was let go
	second  bool          // the second was held
	seen    [2]bool       // which the watchers see
	begun   [2]time.Duration
	swapped bool // the wire that was taken last was let go first
	ended   [2]bool
	sensor  bool          // the second sensor's own answer came
	resumed time.Duration // when it switched again
}

// last reports whether the reading of sensor i was held last, however long it took to be seen: where the sensors are crossed it is
// not that of the wire named last.
func (b *both) last(i int) bool {
	if !b.seen[1-i] {
		return b.begun[i] >= b.asked
	}
	return b.begun[i] > b.begun[1-i] || b.begun[i] == b.begun[1-i] && i == 1
}

func (c *GuideConfig) both() bool { return c.Beside != decode.SensorID{} }

// sensors are those that the present step is about; none where one wire is tested.
func (g *Guide) sensors() []string {
	if !g.cfg.both() {
		return nil
	}
	first, second := g.judge.setup.Sensor.String(), g.cfg.Beside.String()
	switch g.stage {
	case StageForce, StageHold, StageRelease:
		switch {
		case g.both.phase == 2 && g.both.swapped:
			return []string{first}
		case g.both.phase == 2, g.stage == StageForce && g.both.phase == 1:
			return []string{second}
		case g.stage == StageHold && g.both.phase == 1:
		default:
			return []string{first}
		}
	}
	return []string{first, second}
}

// askSecond asks for the second wire when the first has been held for long enough, and reports whether it does.
func (g *Guide) askSecond() bool {
	if !g.cfg.both() || g.both.phase > 0 || g.hold.spoilt != "" {
		return false
	}
	g.both.phase, g.both.asked, g.hold.said, g.hold.tapAt = 1, g.now, false, 0
	g.notice.why = ""
	if g.both.seen[0] && g.both.seen[1] { // both were taken at once
		g.heldSecond(g.now, false)
	} else {
		g.enter(StageForce)
	}
	return true
}

// heldSecond takes that the second wire is held now.
func (g *Guide) heldSecond(at time.Duration, said bool) {
	g.both.second, g.both.heldTwo, g.hold.said = true, at, said
	g.enter(StageHold)
}

// holdBoth is until when the present hold is to last.
func (g *Guide) holdBoth() time.Duration {
	switch limit := g.sides[g.side].limit; {
	case g.both.phase == 0:
		return g.both.held + Apart
	case g.both.phase == 2:
		return g.both.let + Apart
	case limit > 0:
		return g.both.held + limit
	case g.hold.more || g.hold.longer:
		return g.both.held + g.cfg.HoldMost - Apart
	}
	return min(g.both.heldTwo+g.cfg.Hold-Apart, g.both.held+g.cfg.HoldMost)
}

// letFirst takes that the first wire was let go where the second is still held, and reports whether that was so.
func (g *Guide) letFirst() bool {
	if !g.both.second || g.both.phase != 1 || g.stage != StageHold && g.stage != StageRelease {
		return false
	}
	g.both.phase, g.both.let = 2, g.now
	g.hold.said, g.hold.let, g.hold.tapAt = true, 0, 0
	if g.hold.spoilt != "" {
		g.enter(StageRelease)
	} else {
		g.enter(StageHold)
	}
	return true
}

// seenBegin takes a force that the watcher of sensor i sees, 0 the first.
func (g *Guide) seenBegin(i int, s analysis.Side, at time.Duration) {
	switch {
	case g.stage == StageForce && g.both.phase == 0:
		g.begins(s, at)
		g.both.seen[i], g.both.begun[i] = true, at
	case s != g.side || g.stage != StageForce && g.stage != StageHold && g.stage != StageRelease: // nobody was asked
	default:
		g.both.seen[i], g.both.begun[i], g.hold.seen = true, at, true
		if g.hold.begin == 0 {
			g.hold.begin = at
		}
		if g.stage == StageForce && g.both.seen[0] && g.both.seen[1] {
			g.heldSecond(max(at, g.both.held), false)
		}
	}
}

// seenEnd takes that the watcher of sensor i sees its force end.
func (g *Guide) seenEnd(i int, s analysis.Side, at time.Duration) {
	g.both.ended[i] = true
	if s != g.side || g.stage != StageHold && g.stage != StageRelease && !(g.stage == StageForce && g.both.phase == 1) {
		return
	}
	switch {
	case !g.both.second: // the first was let go before the second was taken
		g.released(at)
	case g.both.ended[0] && g.both.ended[1]:
		g.released(at)
	case !g.both.last(i):
		g.letFirst()
	case g.both.phase == 2 && at-g.both.let > reactIn: // the first was said to be let go, and does not show it
		g.released(at)
	default:
		g.both.swapped = true
		g.letFirst()
		g.fresh = true // the step is about the other wire now
	}
}

// eventBeside takes what the watcher of the second sensor tells.
func (g *Guide) eventBeside(e analysis.Event) {
	if !g.cfg.both() {
		return
	}
	at := time.Duration(e.T * float64(time.Second))
	switch e.Name {
	case analysis.ForceBegins:
		g.seenBegin(1, e.Side, at)
	case analysis.ForceEnds:
		g.seenEnd(1, e.Side, at)
	case analysis.ComputerLetsGo:
		g.answer(e)
	case analysis.SensorAnswers, analysis.SensorSilent:
		g.both.sensor = true
	case analysis.SwitchingResumes:
		g.both.resumed = at
	}
}
