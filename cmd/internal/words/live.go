package words

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/limits"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/obd"
)

// The stations of the ring.
const (
	StationTap      = "TAP"
	StationComputer = "ECM"
	StationFuel     = "FUEL"
	StationExhaust  = "EXHAUST"
	StationSensor   = "SENSOR"
)

// ArcShort names an arc in a few letters, beside the arc itself.
var ArcShort = map[analysis.ProofID]string{
	analysis.ProofInput:      "reads",
	analysis.ProofAddsFuel:   "adds",
	analysis.ProofCutsFuel:   "cuts",
	analysis.ProofDelivery:   "arrives",
	analysis.ProofSensorRich: "rich",
	analysis.ProofSensorLean: "lean",
	analysis.ProofBank:       "bank",
	analysis.ProofRecovery:   "recovers",
	analysis.ProofScale:      "scale",
}

// ArcSign marks how far an arc has come.
func ArcSign(a ring.Arc) string {
	if a.Open() {
		return "…"
	}
	return StateSigns[a.State]
}

// ArcState says it.
func ArcState(a ring.Arc) string {
	if a.Open() {
		return "being tested"
	}
	return strings.ToLower(StateWords[a.State])
}

// Headline is what must be read from two metres away.
type Headline struct {
	Text string        // a few capitals
	Side analysis.Side // whose colour it has; "" for none
	Loud bool          // to be obeyed at once
}

// Big is the step to do now, and when the session is over its answer.
func Big(s *live.State) Headline {
	if s.Drive != nil && (s.Verdict != nil || !s.Lost) {
		return driveBig(*s.Drive, s.Verdict != nil)
	}
	if s.Verdict != nil {
		return Headline{Text: VerdictOf(*s.Verdict).Name}
	}
	if s.Lost {
		return Headline{Text: "NO ADAPTER", Loud: true}
	}
	if p := s.Prompt; p != nil {
		return bigStep(s, *p)
	}

	if h, drives := driveBigNow(s); drives {
		return h
	}
	switch s.Phase {
	case live.Held:
		if Overheld(s) {
			return Headline{"RELEASE NOW", s.Side, true}
		}
		return Headline{Text: fmt.Sprintf("%s %d", heldBig(s), left(s.Since+limits.Hold-s.Now)), Side: s.Side}
	case live.Released:
		return Headline{Text: fmt.Sprintf("WATCHING %d", left(s.Since+live.GiveUp-s.Now))}
	}
	switch {
	case s.Setup.By == analysis.ByNothing:
		return Headline{Text: "DRIVE"}
	case s.Replay:
		return Headline{Text: "AT REST"}
	case s.Ready == nil:
		return Headline{Text: "CHECKING"}
	case !*s.Ready:
		return Headline{Text: "NOT READY"}
	}
	return Headline{Text: "READY"}
}

// HeldTooLong asks to let go of a force that nobody guides.
func HeldTooLong(d time.Duration) string {
	return fmt.Sprintf("Held for %d s: release now, before it sets a code.", int(d.Seconds()))
}

// Overheld reports that the signal must be let go now.
func Overheld(s *live.State) bool {
	if s.Verdict != nil || s.Replay || DrivesRear(s.Setup) {
		return false
	}
	if s.Prompt != nil {
		return s.Prompt.Stage == session.StageRelease && !s.Prompt.Let
	}
	return s.Phase == live.Held && s.Now-s.Since >= limits.HoldLong
}

func bigStep(s *live.State, p session.Prompt) Headline {
	side := strings.ToUpper(string(p.Side))
	counted := func(text string) string {
		if p.Until == 0 {
			return text
		}
		return fmt.Sprintf("%s %d", text, left(p.Until-s.Now))
	}
	if p.Drive && p.Stage != session.StageReady {
		return Headline{Text: counted(driveStep(p)), Side: p.Side}
	}
	switch p.Stage {
	case session.StageReady:
		if len(p.Why) > 0 {
			return Headline{Text: "NOT READY"}
		}
		return Headline{Text: "CHECKING"}
	case session.StageBaseline:
		return Headline{Text: counted("BASELINE")}
	case session.StageOpen:
		return Headline{Text: counted("OPEN BRANCH")}
	case session.StageWait:
		if p.Reason == session.WhyBranch {
			return Headline{Text: "CLOSE BRANCH", Loud: true}
		}
		return Headline{Text: counted("WAIT")}
	case session.StageForce:
		return Headline{Text: "GO " + side + bankOf(p), Side: p.Side}
	case session.StageHold:
		return Headline{Text: counted("HOLD " + side), Side: p.Side}
	case session.StageRelease:
		if bank := bankOf(p); bank != "" {
			return Headline{"RELEASE" + bank, p.Side, true}
		}
		return Headline{"RELEASE NOW", p.Side, true}
	case session.StageAnswer:
		return Headline{Text: counted("WATCHING")}
	}
	return Headline{Text: "DONE"}
}

// left is a time to go in whole seconds, never below 0.
func left(d time.Duration) int { return int(math.Ceil(max(0, d).Seconds())) }

// Sentence says the step in full, and at the end the answer.
func Sentence(s *live.State) string { return sentenceBy(s, PromptText) }

// Tapped is that sentence for who taps instead of typing.
func Tapped(s *live.State) string { return sentenceBy(s, PromptSays) }

func sentenceBy(s *live.State, prompt func(session.Prompt, analysis.By) string) string {
	switch {
	case s.Drive != nil && (s.Verdict != nil || !s.Lost):
		return driveSays(*s.Drive, s.Verdict != nil)
	case s.Verdict != nil:
		return VerdictOf(*s.Verdict).Why
	case s.Lost:
		return LineGone + ". Check the plug and cable."
	case s.Replay:
		return replaySays(s)
	case DrivesRear(s.Setup) && s.Prompt == nil && s.Ready != nil && *s.Ready:
		return driveSaysNow
	case s.Prompt != nil && s.Prompt.Stage == session.StageHold && !s.Seen && s.Now-s.Since > 2*time.Second:
		if s.Setup.By == analysis.ByFuelCut {
			return "No fuel cut seen yet: lift off fully, from 2500 rpm."
		}
		return "Not reading " + string(s.Prompt.Side) + ": check your connection."
	case s.Prompt != nil:
		return strings.Trim(prompt(*s.Prompt, s.Setup.By), "<> ")
	case Overheld(s):
		return HeldTooLong(s.Now - s.Since)
	case s.Phase == live.Held && !s.Seen:
		return "The reading doesn't show the step yet: check your connection."
	case s.Phase == live.Held:
		return "Hold it there. Release after " + limits.HoldText + "."
	case s.Phase == live.Released:
		return watchingSays(s.Setup.By, s.Side)
	case s.Ready != nil && !*s.Ready:
		return InUnits("Not ready; a test now wouldn't count: " + hazard.Join(s.Reasons, "; ") + ".")
	case s.Setup.By == analysis.ByNothing:
		return "Just drive: nothing is being tested."
	case s.Ready != nil && s.Setup.By == analysis.ByFuelCut:
		return "Bring it to 2500 rpm and lift off for 3 s or more."
	case s.Ready != nil && s.Setup.By == analysis.ByMixture:
		return "Drive the mixture lean or rich for " + limits.HoldText + ", then undo it."
	case s.Ready != nil:
		return "Drive the signal lean or rich for " + limits.HoldText + ", then release."
	}
	return "Checking whether the car is ready."
}

// Caution is what can hurt at this very step, "" when nothing more than before the
// test.
func Caution(s *live.State) string {
	switch {
	case s.Drive != nil && s.Verdict == nil && !s.Lost:
		return why.Advice(s.Drive.What).Caution()
	case s.Drive != nil:
		return ""
	case s.Verdict != nil:
		return VerdictOf(*s.Verdict).Caution
	case s.Lost || s.Replay:
		return ""
	case s.Prompt != nil:
		return PromptCaution(*s.Prompt, s.Setup.By)
	case (s.Phase == live.Held || s.Phase == live.Released) && !DrivesRear(s.Setup):
		return ""
	case s.Setup.By == analysis.ByNothing:
		return hazard.Cautions(hazard.Running, hazard.Road)
	case s.Ready == nil || !*s.Ready:
		return hazard.Running.Caution()
	case s.Setup.By == analysis.ByFuelCut:
		return hazard.Cautions(hazard.Running, hazard.Road)
	case s.Setup.By == analysis.ByMixture:
		return hazard.Cautions(hazard.Propane, hazard.Hose)
	}
	return hazard.Wire.Caution()
}

// PromptCaution is what can hurt at a step of the guided test.
func PromptCaution(p session.Prompt, by analysis.By) string {
	text := hazard.Cautions(p.Hazards(by)...)
	if by != analysis.ByMixture && by != analysis.ByFuelCut && (p.Stage == session.StageForce || p.Stage == session.StageOpen) {
		text = OpenBranch + " " + text
	}
	return text
}

// Conditions lists what a test needs, shortly.
func Conditions(s *live.State) []string {
	var out []string
	if s.FuelStatus.Known {
		text := FuelStatus(byte(s.FuelStatus.Value))
		if byte(s.FuelStatus.Value) != decode.FuelClosed {
			text = strings.ToUpper(text)
		}
		out = append(out, text)
	}
	if s.Coolant.Known {
		out = append(out, InUnits(fmt.Sprintf("coolant %.0f °C", s.Coolant.Value)))
	}
	if s.RPM.Known {
		out = append(out, RPM(s.RPM.Value))
	}
	if rate := s.Rate(); rate > 0 {
		out = append(out, fmt.Sprintf("%.1f readings/s", rate))
	}
	return out
}

// NoData says for how long nothing has come.
func NoData(d time.Duration) string { return fmt.Sprintf("NO DATA FOR %d s", int(d.Seconds())) }

// TickText words what happened at a tick.
func TickText(t live.Tick) string {
	if t.Mark != nil {
		return You(*t.Mark)
	}
	return EventText(*t.Event)
}

// You words a mark as what the technician did.
func You(m obd.Mark) string { return "you: " + Printable(MarkText(m)) }

// MarkText words a mark.
func MarkText(m obd.Mark) string {
	switch m.Kind {
	case obd.MarkLean, obd.MarkRich:
		return Arrow(analysis.Side(m.Kind)) + " " + string(m.Kind) + " connected"
	case obd.MarkRelease:
		return "released"
	case obd.MarkNote:
		return "note: " + m.Text
	}
	return string(m.Kind)
}

// TickSign is one character for the time axis, and the side whose colour it has.
func TickSign(t live.Tick) (string, analysis.Side) {
	if t.Mark != nil {
		return "m", ""
	}
	switch e := t.Event; e.Name {
	case analysis.ForceBegins:
		return Arrow(e.Side), e.Side
	case analysis.LoopAnswers:
		if e.Toward == "cut" {
			return "−", e.Side
		}
		return "+", e.Side
	case analysis.ForceEnds:
		return "◇", e.Side
	case analysis.SensorAnswers:
		return "✓", analysis.Side(e.Toward)
	case analysis.SwitchingResumes:
		return "~", ""
	case analysis.LoopSilent, analysis.LoopWrongWay, analysis.SensorSilent, analysis.OpenLoop, analysis.OtherBankAnswers, analysis.CodeSet, analysis.ComputerLetsGo, analysis.BranchOpen, analysis.ReturnOffset:
		return "!", ""
	case analysis.TrimAtLimit:
		if e.Value < 0 {
			return "⊥", ""
		}
		return "⊤", ""
	}
	return "", ""
}

// Labels of the live views.
const (
	Paused   = "PAUSED"
	Session  = "session"
	LineGone = "Lost the adapter, reconnecting"
	LineBack = "the adapter is back"
	Waiting  = "no reading yet"
	TooSmall = "Enlarge the window to 80 × 24 for the full view"
)

// NoDataBig is NoData in few capitals.
func NoDataBig(d time.Duration) string { return fmt.Sprintf("NO DATA %d", int(d.Seconds())) }

// VoltageOf labels the trace of a sensor, TrimOf that of its bank's short-term trim.
func VoltageOf(sensor string) string { return sensor + " sensor, V" }

// ReadingText is a reading of the watched sensor with so many decimals: volts, or the lambda of a wide-range one.
func ReadingText(v float64, wide bool, decimals int) string {
	if wide {
		return fmt.Sprintf("λ %.*f", decimals, v)
	}
	return fmt.Sprintf("%.*f V", decimals, v)
}

// LambdaOf labels the trace of a wide-range sensor.
func LambdaOf(sensor string) string { return sensor + " lambda" }

// TrimOf labels the trace of the short-term trim of a sensor's bank.
//
// Special cases are: of no sensor the bank is left out.
func TrimOf(sensor decode.SensorID) string {
	if sensor.Bank == 0 {
		return "trim, %"
	}
	return fmt.Sprintf("trim bank %d, %%", sensor.Bank)
}

// TrimDoes says what a short-term trim does now: its motion, for its sign tells only where it stands.
func TrimDoes(m live.Motion) string {
	return [...]string{live.Unmoved: "steady", live.Rising: "↑ adding", live.Falling: "↓ cutting", live.Pegged: "⊤ PEGGED"}[m]
}

// ReadsText is the side of a reading in capitals.
func ReadsText(s analysis.Side) string {
	if s == "" {
		return "between"
	}
	return Arrow(s) + " " + strings.ToUpper(string(s))
}

// Keys of the live screen.
const (
	TestScreenKeys   = "Enter done · space off · s skip · b again · n note · p pause · ? help · q stop"
	RecordScreenKeys = "l lean · r rich · space release · n note · p pause · ? help · q stop"
	OverKeys         = "↑ ↓ scroll · Enter or q closes"
	NoteKeys         = "Enter keeps the note · Esc drops it"
	NotePrompt       = "note: "
	Stopping         = "finishing: rechecking codes"
)

// Bells is how often a terminal's bell rings for an event, which has one pitch
// only: the number tells.
func Bells(e analysis.Event) int {
	switch e.Name {
	case analysis.ForceBegins, analysis.SensorAnswers:
		return 1
	case analysis.LoopAnswers:
		if e.Toward == "cut" {
			return 3
		}
		return 2
	case analysis.LoopSilent, analysis.SensorSilent, analysis.LoopWrongWay, analysis.OpenLoop:
		return 4
	}
	return 0
}

// BellsVerdict is how often the bell rings at the end.
const BellsVerdict = 5

// ScreenHelp explains the keys and the signs of the live screen.
func ScreenHelp(guided, replay, page bool) string {
	var b strings.Builder
	line := func(key, text string) { fmt.Fprintf(&b, "   %-12s %s\n", key, text) }
	b.WriteString("\n KEYS\n\n")
	switch {
	case replay:
		line("space, p", "pause, play")
		line(".", "jump to next event and pause")
		line("← →", "back 10 s, forward 10 s")
		line("Home", "to the start")
		line("− +", "slower, faster")
	case guided:
		line("Enter", "done: the step is connected, or released")
		line("l  r  space", "lean connected, rich connected, released")
		line("s", "skip this step")
		line("b", "repeat this side")
	default:
		line("l  r  space", "lean connected, rich connected, released")
	}
	if !replay {
		line("n", "a note")
		line("p", "freeze the screen (recording continues)")
	}
	if page {
		line("a", "address of the page for a phone")
	}
	line("q", "stop")
	b.WriteString("\n SIGNS\n\n")
	line("▼ ▲", "lean step, rich step    + −  adds, cuts fuel    ◇  released")
	line("✓ ✗ ? –", "passed, failed, unclear, not tested    …  being tested")
	line("~ ! ⊤ ⊥ m", "switching is back, check this, trim pegged high and low, your mark")
	b.WriteString("\n Press any key to go back.\n")
	return b.String()
}

// DemoScreenKeys are the keys while a scripted technician works.
const DemoScreenKeys = "p pause · ? help · q stop"

// ReplayScreenKeys are the keys of a replay.
const ReplayScreenKeys = "space pause · . next event · ← → 10 s · − + speed · ? help · q stop"

// NoticeGoes says how the page's address leaves the screen.
const NoticeGoes = "Closes on any key or when a phone connects. Press a to show it again."

// NoRoomForCode stands where the QR code would.
const NoRoomForCode = "(Enlarge the window for a code your phone's camera can read.)"

// StaysForPage is said at the end of a replay that is watched on the page alone.
const StaysForPage = "The page stays open while someone watches it. Ctrl-C ends it."

// PageAt says who can open the page.
func PageAt(network, marks bool) string {
	switch {
	case network && marks:
		return "Anyone on this network with this link can watch and add marks:"
	case network:
		return "Anyone on this network with this link can watch:"
	}
	return "On this computer only. For a phone on the shop's network: --page=lan"
}

// TrimShort is a trim in a narrow room.
func TrimShort(v float64) string { return fmt.Sprintf("trim %+6.1f %%", Unsigned(v, 1)) }

// OtherTrim is the trim of the bank that is not tested.
func OtherTrim(bank int, v float64) string { return fmt.Sprintf("trim bank %d %s", bank, Signed(v, 1)) }

// More says how many lines of a list are below it.
func More(n int) string { return fmt.Sprintf("▼ %d more", n) }

// RingLegend explains the ring's signs where there is room.
const RingLegend = "✓ pass  ✗ fail  ? unclear  – untested"

// RPM is an engine speed.
func RPM(v float64) string { return fmt.Sprintf("%.0f rpm", v) }
