package session

import (
	"encoding/json"
	"math"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
)

// Stage is a part of the guided test.
type Stage string

// The stages in order; Force to Answer come once or twice a side.
const (
	StageReady    Stage = "ready"    // waiting for the car to be fit for the test, or for its next force
	StageBaseline Stage = "baseline" // hands off: how the car switches by itself
	StageOpen     Stage = "open"     // the sensor's branch is open, nothing is touched
	StageForce    Stage = "force"    // the technician is to begin the force
	StageHold     Stage = "hold"     // the force is held
	StageRelease  Stage = "release"  // the technician is to let go, now
	StageAnswer   Stage = "answer"   // hands off: the sensor's own answer and the recovery
	StageWait     Stage = "wait"     // nothing can be forced yet; Reason says what is waited for
	StageDone     Stage = "done"
)

// Reason says why a step is asked for once more, cut short or waited in.
type Reason string

const (
	WhyShort   Reason = "short"     // the hold before was too short
	WhyOpen    Reason = "undecided" // the hold before has not decided
	WhyUnseen  Reason = "unseen"    // no hold was seen
	WhyShorter Reason = "shorter"   // the computer gave up during the hold before
	WhyStalled Reason = "stalled"   // the engine has stopped
	WhyLetGo   Reason = "let_go"    // the computer let go of the sensor
	WhyBranch  Reason = "branch"    // the sensor's branch was not closed again
	WhyClose   Reason = "close"     // the branch is to be closed now
	WhyRest    Reason = "rest"      // the same side was forced a moment ago
	WhyHeld    Reason = "held"      // the reading lies where it was held, though it was asked to be let go
	WhyAbsent  Reason = "absent"    // nobody began
	WhyLong    Reason = "long"      // the test has taken as long as was told
	WhyNever   Reason = "never"     // no waiting brings this car to a test
	WhyLimit   Reason = "limit"     // trim stood at its limit, so a side that is open is not asked for again
)

// Prompt is what the technician is to do now.
type Prompt struct {
	Stage  Stage
	Side   analysis.Side    // of the stages Force to Answer
	At     time.Duration    // session time of the frame behind the prompt
	Since  time.Duration    // session time when the stage began
	Until  time.Duration    // when the stage ends by itself; 0: when its job is done
	New    bool             // the stage has just begun
	More   bool             // the hold goes on beyond its usual length: trim answered, but that is not enough yet
	Seen   bool             // in Hold: the watcher sees the force too
	Let    bool             // in Release: they have just said that they let go
	Why    []reason.Reason  // in Ready: what is not fit
	Barred bool             // in Ready: the step cannot be skipped, the car must not be tested
	Reason Reason           // why the step is asked for, cut short or waited in; "" as usual
	Twice  bool             // a repetition was asked for, but this side was forced as often as is good for the car
	Back   []analysis.Proof // arcs that were decided and are not any more, or the other way now
	// Sensors are those that the step is about, where two wires are held; nil: there is one.
	Sensors []string
	Drive   bool          // it is a drive that is led: nothing is held, and nothing tapped
	Usual   time.Duration // how long the test of a ready car takes, and at most
	Most    time.Duration
}

// Step names the step for other programs.
func (p Prompt) Step(by analysis.By) string {
	side := string(p.Side)
	switch p.Stage {
	case StageReady:
		return "check_ready"
	case StageOpen:
		return "open_level"
	case StageBaseline:
		return "baseline"
	case StageForce:
		switch {
		case p.Drive && p.Side == analysis.Rich:
			return "full_load"
		case p.Drive, by == analysis.ByFuelCut:
			return "lift_off"
		case by == analysis.ByMixture:
			return "go_" + side + "_mixture"
		}
		return "go_" + side
	case StageHold:
		return "hold_" + side
	case StageRelease:
		if by == analysis.ByMixture {
			return "shut_off"
		}
		return "release_now"
	case StageAnswer:
		return "watch_release"
	case StageWait:
		return "wait"
	}
	return "done"
}

// Mark is the step as it is kept in the session: its name, and where two wires are held the sensors that it is about.
func (p Prompt) Mark(by analysis.By) string {
	return strings.Join(append([]string{p.Step(by)}, p.Sensors...), " ")
}

// asksFor is the side that a step of this name asks to hold, "" for hands off. Letting go changes
// nothing yet: the hand may be late.
func asksFor(step string) (side analysis.Side, told bool) {
	switch step {
	case "go_lean", "hold_lean", "go_lean_mixture", "lift_off":
		return analysis.Lean, true
	case "go_rich", "hold_rich", "go_rich_mixture", "full_load":
		return analysis.Rich, true
	case "release_now", "shut_off":
		return "", false
	}
	return "", true
}

// AtWire reports whether something is held at the step, or about to be.
func (p Prompt) AtWire() bool {
	return !p.Drive && (p.Stage == StageForce || p.Stage == StageHold || p.Stage == StageRelease)
}

// Hazards are what can hurt at the step.
func (p Prompt) Hazards(by analysis.By) []hazard.Kind {
	switch {
	case p.Drive && p.Stage == StageDone:
		return nil
	case p.Drive && p.Stage != StageReady:
		return []hazard.Kind{hazard.Road}
	case p.Stage == StageHold && len(p.Sensors) == 2: // hands are still
		return nil
	case p.AtWire() && len(p.Sensors) > 0: // hands are at one wire while the other is held
		return []hazard.Kind{hazard.Wire}
	case p.Stage == StageReady || p.Stage == StageBaseline || p.Stage == StageWait:
		return []hazard.Kind{hazard.Running}
	case p.Stage == StageOpen:
		return []hazard.Kind{hazard.Wire}
	case p.Stage != StageForce:
		return nil
	case by == analysis.ByFuelCut:
		return []hazard.Kind{hazard.Running, hazard.Road}
	case by == analysis.ByMixture && p.Side == analysis.Rich:
		return []hazard.Kind{hazard.Propane}
	case by == analysis.ByMixture:
		return []hazard.Kind{hazard.Hose}
	}
	return []hazard.Kind{hazard.Wire}
}

// StepJSON is the line that tells other programs the step; what is not fit must be in words, see package reason.
func (p Prompt) StepJSON(by analysis.By) ([]byte, error) {
	seconds := func(d time.Duration) float64 { return math.Round(d.Seconds()*1000) / 1000 }
	line := struct {
		Kind    string          `json:"kind"`
		T       float64         `json:"t"`
		Step    string          `json:"step"`
		Side    analysis.Side   `json:"side,omitempty"`
		Sensors []string        `json:"sensors,omitempty"`
		Until   float64         `json:"until_s,omitempty"`
		Caution []string        `json:"caution"`
		Why     Reason          `json:"why,omitempty"`
		Back    []string        `json:"taken_back,omitempty"`
		Refused string          `json:"refused,omitempty"`
		Reasons []reason.Reason `json:"reasons,omitempty"`
		Usual   float64         `json:"usual_s,omitempty"`
		Most    float64         `json:"most_s,omitempty"`
	}{Kind: "step", T: seconds(p.At), Step: p.Step(by), Side: p.Side, Sensors: p.Sensors, Until: seconds(p.Until), Caution: []string{}, Why: p.Reason}
	for _, k := range p.Hazards(by) {
		line.Caution = append(line.Caution, k.Caution())
	}
	for _, b := range p.Back {
		line.Back = append(line.Back, string(b.ID))
	}
	if p.Twice {
		line.Refused = "repeat"
	}
	if p.Stage == StageReady {
		line.Reasons, line.Usual, line.Most = p.Why, seconds(p.Usual), seconds(p.Most)
	}
	return json.Marshal(line)
}
