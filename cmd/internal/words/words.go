// Package words holds all sentences and labels that people read while a test runs
// and after it, in the terminal, on the page and in the report, so that they can be
// translated in one place. Nothing here decides anything.
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
	"pushback/cmd/internal/words/why"
)

// Around the cautions.
const (
	BeforeYouTouch = "Before you touch anything:"
	AnyKey         = "Press any key to confirm you've read this."
	AnyKeyMore     = "Press any key for the next page."
)

// TestedBy names the sensor of a session and what was forced.
func TestedBy(sensor, by string) string {
	if by == string(analysis.ByNothing) {
		return "a drive, no test"
	}
	return sensor + " by " + by
}

// DriveCautions come before a drive that is led.
var DriveCautions = []string{
	"Eyes on the road: a second person reads the screen, or you listen. Don't drive and read.",
	"Obey traffic law; pull only where the road is clear. Stop where it's safe before you touch this machine.",
	"Standing still: Park or Neutral, parking brake, wheels chocked, outdoors or on the exhaust hose. Carbon monoxide kills.",
	"Keep the cable clear of pedals and steering.",
	"Manufacturer's information, local codes, licensed practice come first.",
}

// Cautions come before a test. The order is that of harm.
func Cautions(by analysis.By) []string {
	if by == analysis.ByNothing {
		return DriveCautions
	}
	c := []string{
		"Carbon monoxide kills: work outdoors or hook up the exhaust hose.",
		"The exhaust burns. Fans can start without warning. Keep clear of belts.",
		"Fuel vapor catches fire. No flames, no smoking, fire extinguisher at hand.",
		"Chock the wheels, set the parking brake, transmission in Park or Neutral.",
		"Manufacturer's information, local codes, licensed practice come first.",
		NotThese,
	}
	switch by {
	case analysis.ByFuelCut:
		return append(c,
			"Touch no wire: the throttle alone makes this test. Never hold a wide-range sensor's wire.",
			"On the road a second person drives; the road is clear behind you, for lifting off slows the car.")
	case analysis.ByMixture:
		return append(c,
			"Propane burns and explodes. Keep the bottle, hose and valve away from ignition parts and hot exhaust. Feed it slowly, never into a stopped engine.",
			"To drive it lean, pull one small vacuum hose you can reach, not the brake booster.",
			"Change the mixture for "+limits.HoldText+" at most, then rest "+limits.RestText+". Raw fuel overheats the catalyst and the engine may stall.")
	}
	return append(c,
		"Never 12 V, 5 V or a heater feed on this wire. Find it with a 10 MΩ meter.",
		"Lean: jumper the signal, ECM side, to SENSOR RETURN, not chassis ground.",
		OpenBranch,
		"Rich: 0.9 V from one 1.5 V dry cell and two soldered resistors onto the signal wire, negative to sensor return. `pushback source` has the values and the drawing.",
		"Scan data can't show a titania sensor (unplugged, key on: 1 V or 5 V). Check with a meter; never force one.",
		RaisedReturn,
		"Never use your fingers to bias the signal.",
		"Hold for "+limits.HoldText+", never more than "+limits.MostText+". A long hold may set codes; they are listed as caused by the test.")
}

// BothWires is what two wires need beside what one does: common practice, no source.
const BothWires = "Two wires: a tap and a switch on each, connected before you start, and a bias source for each, so that the two wires are never joined."

// OpenBranch says how the sensor's branch is opened.
const OpenBranch = "Disconnect the sensor side of the wire at a breakout box, don't pierce. Unplugging opens the heater too and may set its code."

// RaisedReturn is the one rule for a computer whose sensor return is not at the chassis' level.
const RaisedReturn = "About 2.5 V from sensor return to chassis ground, engine running, is a raised return: jumper to the return only, never to chassis ground."

// NotThese are the cars that must not be tested, where the ECM does not say so itself.
const NotThese = "Not on a diesel, on LPG or CNG, right after refueling a flex-fuel car, with secondary air on. Hybrid: inspection mode. Start-stop: off."

// Lists of the keys and of the lines that a session listens to.
const (
	TestKeys   = "Keys: Enter done (adds the mark), l lean, r rich, space released, s skip, b repeat this side, n note, q stop."
	RecordKeys = "Keys: l lean, r rich, space released, n note, q stop."
	DriveKeys  = "The driver touches nothing. Keys of the second person: s skip this side, b repeat, n note, q stop."
	TestLines  = "Lines on standard input: tap (done), repeat, skip; mark lean, mark rich, mark release, note TEXT, stop."
)

// PromptText words a prompt with the key that answers it.
func PromptText(p session.Prompt, by analysis.By) string { return PromptSays(p, by) + enter(p, by) }

// enter is the part of a prompt that names a key, "" where none is waited for.
func enter(p session.Prompt, by analysis.By) string {
	when := "connected"
	switch {
	case p.Drive: // hands are on the wheel
		return ""
	case p.Stage == session.StageOpen:
		when = "it is open"
	case p.Stage != session.StageForce:
		return ""
	case by == analysis.ByFuelCut:
		when = "you lift"
	case by == analysis.ByMixture && p.Side == analysis.Rich:
		when = "the propane is flowing"
	case by == analysis.ByMixture:
		when = "it is off"
	}
	return " Press Enter when " + when + "."
}

// inOrder puts why before what is to be done, but where a hold is to end: there the hand comes first.
func inOrder(stage session.Stage, why, do string) string {
	if stage == session.StageRelease {
		why, do = do, why
	}
	return why + " " + do
}

// PromptSays words a prompt for one side of the test, for who taps instead of typing.
func PromptSays(p session.Prompt, by analysis.By) string {
	if p.Twice {
		p.Twice = false
		return "Two tries on this side is enough; another may set a code. " + PromptSays(p, by)
	}
	if len(p.Back) > 0 {
		back := make([]string, len(p.Back))
		for i, b := range p.Back {
			back[i] = TakenBack(b)
		}
		p.Back = nil
		return strings.Join(back, " ") + " " + PromptSays(p, by)
	}
	if text := stepWhy[p.Reason]; text != "" {
		p.Reason = ""
		return inOrder(p.Stage, text, PromptSays(p, by))
	}
	if p.AtWire() && len(p.Sensors) > 0 {
		return bothSay(p, by)
	}
	if p.Drive && p.Stage != session.StageReady {
		return drivePrompt(p)
	}
	side := strings.ToUpper(string(p.Side))
	switch p.Stage {
	case session.StageReady:
		if len(p.Why) > 0 {
			text := "NOT READY YET: " + hazard.Join(why.Advices(p.Why), "; ") + ". " + waitsFor(p)
			if !p.Barred && !p.Drive {
				text += " Press s to go ahead anyway."
			}
			return InUnits(text)
		}
		return "Checking whether the car is ready. The test " + TestLength(p) + "."
	case session.StageBaseline:
		if by != analysis.ByWire {
			return "BASELINE: hands off, steady idle. Watching what the car does by itself."
		}
		return "BASELINE: hands off, steady idle. Watching normal switching."
	case session.StageOpen:
		return "OPEN THE BRANCH: open the sensor's branch and touch nothing for 3 s."
	case session.StageWait:
		return "WAIT: hands off."
	case session.StageForce:
		switch {
		case by == analysis.ByFuelCut:
			return "LIFT OFF: bring the engine to 2500 rpm, close the throttle at once and keep it closed for 3 s or more."
		case by == analysis.ByMixture && p.Side == analysis.Rich:
			return "DRIVE IT RICH: feed propane into the intake, slowly, until the sensor stays rich."
		case by == analysis.ByMixture:
			return "DRIVE IT LEAN: pull the small vacuum hose."
		case p.Side == analysis.Rich:
			return "DRIVE IT RICH: 0.9 V from your bias source onto the signal wire, ECM side, negative to sensor return."
		}
		return "PULL IT LEAN: jumper signal to sensor return, ECM side."
	case session.StageHold:
		if by == analysis.ByFuelCut {
			return "FUEL CUT: keep the throttle closed."
		}
		if p.More {
			return "KEEP HOLDING " + side + ": trim responded, waiting for the exhaust to catch up."
		}
		return "HOLDING " + side + ": hold it there."
	case session.StageRelease:
		if by == analysis.ByFuelCut {
			return "Let the engine idle again, hands off."
		}
		if by == analysis.ByMixture {
			return ">>> RELEASE NOW: undo it, hands off <<<"
		}
		return ">>> RELEASE NOW: disconnect and reconnect the sensor <<<"
	case session.StageAnswer:
		if by == analysis.ByFuelCut {
			return "Hands off: the reading must come back to its command."
		}
		return watchingSays(by, p.Side)
	}
	return "The test is done."
}

// waitsFor says how long the test waits for a car that is not ready.
func waitsFor(p session.Prompt) string {
	left := fmt.Sprintf("%.0f s", math.Ceil((p.Until - p.At).Seconds()))
	if p.Until-p.At > 90*time.Second {
		left = minutes(p.Until-p.At) + " min"
	}
	return "Waiting up to " + left + ", then the test ends."
}

// minutes is a time in minutes and halves of it.
func minutes(d time.Duration) string {
	m := float64((d+29*time.Second)/(30*time.Second)) / 2
	return strings.TrimSuffix(fmt.Sprintf("%.1f", m), ".0")
}

// TestLength says how long the test takes.
func TestLength(p session.Prompt) string {
	return fmt.Sprintf("takes about %s min, %s min at most", minutes(p.Usual), minutes(p.Most))
}

// TakenBack says that an arc that was decided is not any more, and why.
func TakenBack(p analysis.Proof) string {
	if p.State == analysis.Proven || p.State == analysis.Failed {
		return fmt.Sprintf("CHANGED: %s is now %s: %s.", ProofTitles[p.ID], strings.ToLower(StateWords[p.State]), why.Text(p.Why))
	}
	return fmt.Sprintf("TAKEN BACK: %s is open again: %s.", ProofTitles[p.ID], why.Text(p.Why))
}

// stepWhy says why a step is asked for once more, cut short or waited in.
var stepWhy = map[session.Reason]string{
	session.WhyShort:   "ONCE MORE: the hold was too short.",
	session.WhyOpen:    "ONCE MORE: the last hold did not decide.",
	session.WhyUnseen:  "ONCE MORE: no hold was seen on this side. Check clip, wire and side.",
	session.WhyShorter: "The computer gave up on the sensor: holds get shorter.",
	session.WhyStalled: "THE ENGINE STOPPED. Restart it, or use the maker's mode that keeps it running.",
	session.WhyLetGo:   "The computer let go of the sensor: it saw the hold and took it for a fault. Wait up to 1 min; if it stays so, note the codes, clear them, or cycle the key, then test again.",
	session.WhyBranch:  "THE SENSOR'S BRANCH IS STILL OPEN: close it.",
	session.WhyClose:   "CLOSE THE BRANCH.",
	session.WhyRest:    "Rest: two holds on one side need " + limits.RestText + " between them.",
	session.WhyHeld:    "The reading still lies where it was held.",
	session.WhyAbsent:  "Nobody began the hold.",
	session.WhyLong:    "The time for this test is over.",
	session.WhyNever:   "Waiting won't make this car fit for the test.",
	session.WhyLimit:   "TRIM IS PEGGED: another hold shows nothing until the cause is fixed.",
}

// Step is the prompt in the narrow room of the live line.
func Step(p session.Prompt) string {
	left := func() string {
		if p.Until == 0 {
			return ""
		}
		return fmt.Sprintf(" %d s", int((max(0, p.Until-p.At)+time.Second-1)/time.Second))
	}
	if p.Drive && p.Stage != session.StageReady {
		return strings.TrimSpace(driveStep(p) + left())
	}
	side := strings.ToUpper(string(p.Side))
	switch p.Stage {
	case session.StageReady:
		return "waiting until ready"
	case session.StageBaseline:
		return "BASELINE" + left()
	case session.StageOpen:
		return "OPEN THE BRANCH" + left()
	case session.StageWait:
		return "WAIT" + left()
	case session.StageForce:
		return strings.TrimSpace("GO " + side + " " + strings.Join(p.Sensors, " "))
	case session.StageHold:
		if !p.Seen {
			return "HOLD " + side + left() + " (not seen yet)"
		}
		return "HOLD " + side + left()
	case session.StageRelease:
		return strings.TrimSpace("RELEASE NOW " + strings.Join(p.Sensors, " "))
	case session.StageAnswer:
		return "WATCHING" + left()
	}
	return ""
}

// EventText words an event.
//
// Special cases are: one of the other bank's sensor begins with its name.
func EventText(e analysis.Event) string {
	if sensor := e.Sensor; sensor != "" {
		e.Sensor = ""
		return sensor + ": " + EventText(e)
	}
	if e.How == analysis.HowDrive {
		return driveEvent(e)
	}
	switch e.Name {
	case analysis.Ready:
		if len(e.Reasons) > 0 {
			return InUnits("ready for the test (" + strings.Join(why.Texts(e.Reasons), "; ") + ")")
		}
		return "ready for the test"
	case analysis.NotReady:
		return InUnits("not ready: " + hazard.Join(why.Advices(e.Reasons), "; "))
	case analysis.ForceBegins:
		return Arrow(e.Side) + " " + string(e.Side) + " step starts"
	case analysis.LoopAnswers:
		return fmt.Sprintf("loop responds: %s fuel %s", doing(e.Toward), Within(e.AfterMin, e.AfterMax))
	case analysis.LoopSilent:
		return fmt.Sprintf("no response to the %s step: trim moved %+.1f %% in %.0f s", e.Side, Unsigned(e.Moved, 1), e.Waited)
	case analysis.LoopWrongWay:
		return fmt.Sprintf("trim goes the WRONG WAY: %s fuel on a %s signal", doing(e.Toward), e.Side)
	case analysis.TrimAtLimit:
		return fmt.Sprintf("short-term trim pegged at %+.0f %%", e.Value)
	case analysis.ForceEnds:
		return string(e.Side) + " step released"
	case analysis.SensorAnswers:
		if e.Side != "" { // only of a wide-range sensor: the mixture was moved, and both flanks count
			return fmt.Sprintf("lambda goes %s %s, %s the %s of the %s step", Arrow(analysis.Side(e.Toward)), e.Toward, After(e.After),
				map[bool]string{true: "start", false: "end"}[analysis.Side(e.Toward) == e.Side], e.Side)
		}
		return fmt.Sprintf("sensor reads %s %s on its own, %s release", Arrow(analysis.Side(e.Toward)), e.Toward, After(e.After))
	case analysis.SensorSilent:
		return fmt.Sprintf("sensor never read %s within %.1f s of release", e.Toward, e.Waited)
	case analysis.SwitchingResumes:
		if e.Side != "" {
			return fmt.Sprintf("lambda and trim are back, %s the end of the %s step", After(e.After), e.Side)
		}
		return fmt.Sprintf("normal switching is back, %s release", After(e.After))
	case analysis.OpenLoop:
		return "the ECM left closed loop (fuel status " + why.Text(e.Status) + ")"
	case analysis.OtherBankAnswers:
		return fmt.Sprintf("bank %d moved, but you forced bank %d", e.Bank, 3-e.Bank)
	case analysis.ComputerLetsGo:
		return fmt.Sprintf("the ECM let go of the sensor %s the %s step", After(e.After), e.Side)
	case analysis.OpenLevel:
		return fmt.Sprintf("open input reads %.2f V", e.Value)
	case analysis.BranchOpen:
		return "sensor not reconnected after the " + string(e.Side) + " step"
	case analysis.ReturnOffset:
		return fmt.Sprintf("pulled lean it reads %.2f V: biased return, or a poor connection", e.Value)
	case analysis.GapSeen:
		return fmt.Sprintf("no data from %.1f to %.1f s: %s", e.From, e.To, e.Cause)
	case analysis.CodeSet:
		kind := "stored"
		if e.Pending {
			kind = "pending"
		}
		text := "code set during this test (caused by it): " + e.Code + " (" + kind + ")"
		if what := TroubleCode(e.Code); what != "" {
			text += ", " + what
		}
		return text
	}
	return string(e.Name)
}

// doing is what trim does as it moves.
func doing(toward string) string {
	if toward == "cut" {
		return "cutting"
	}
	return "adding"
}

// conclusions are what each of them is called across the shop, and why in a sentence.
var conclusions = map[analysis.Conclusion]struct{ name, because string }{
	analysis.LoopProven:         {"LOOP PROVEN", "The sensor, its wire, the ECM and the fuel command check out OK."},
	analysis.PartlyProven:       {"GOOD SO FAR", "Everything tested passed; one side still to test."},
	analysis.InputDead:          {"INPUT DEAD", "The ECM reading doesn't follow the signal wire. Suspect your test point, the harness, a connector or the ECM input."},
	analysis.NoCommand:          {"NO COMMAND", "The ECM reads the wire, but fuel trim doesn't respond."},
	analysis.NoDelivery:         {"NO DELIVERY", "The ECM commands a correction, but the mixture doesn't change."},
	analysis.SensorDead:         {"SENSOR DEAD", "The loop responds and the mixture changes, but the sensor never sees it."},
	analysis.SensorSlow:         {"SENSOR SLOW", "The sensor sees the change, but later than a good sensor should."},
	analysis.SensorSkewed:       {"SENSOR SKEWED", "The sensor sees the change, but reads the wrong amount."},
	analysis.WrongBank:          {"WRONG BANK", "The other bank responded: the bank 1 and bank 2 sensors or their wiring are swapped."},
	analysis.ConclusionNotReady: {"NOT READY", "Test conditions weren't met."},
	analysis.ConclusionUnclear:  {"UNCLEAR", "Can't call it from this data."},
	analysis.NothingForced:      {"NO STEP SEEN", "No lean or rich step was seen, so nothing passed and nothing failed."},
}

// ConclusionName is what a conclusion is called across the shop; one that is not known, by its code.
func ConclusionName(c analysis.Conclusion) string {
	if is, known := conclusions[c]; known {
		return is.name
	}
	return string(c)
}

// ConclusionMeans says a conclusion in a sentence, "" for one that is not known.
func ConclusionMeans(c analysis.Conclusion) string { return conclusions[c].because }

// ConclusionShort is a conclusion in a table's cell.
func ConclusionShort(c string) string {
	if c == "" {
		return "-"
	}
	return strings.ReplaceAll(c, "_", " ")
}

// ProofTitles says what each arc of the ring claims.
var ProofTitles = map[analysis.ProofID]string{
	analysis.ProofInput:      "ECM reads the wire",
	analysis.ProofAddsFuel:   "adds fuel when driven lean",
	analysis.ProofCutsFuel:   "cuts fuel when driven rich",
	analysis.ProofDelivery:   "mixture actually changes",
	analysis.ProofSensorRich: "sensor can read rich",
	analysis.ProofSensorLean: "sensor can read lean",
	analysis.ProofBank:       "correct bank responds",
	analysis.ProofRecovery:   "loop recovers on release",
	analysis.ProofScale:      "sensor reads the right amount",
}

// StateSigns marks the state of a proof.
var StateSigns = map[analysis.State]string{
	analysis.Proven: "✓", analysis.Failed: "✗", analysis.Unclear: "?", analysis.Untested: "–",
}

// StateWords names the state of a proof.
var StateWords = map[analysis.State]string{
	analysis.Proven: "PASSED", analysis.Failed: "FAILED", analysis.Unclear: "UNCLEAR", analysis.Untested: "not tested",
}

// Arrow is the sign of a side: ▼ lean, ▲ rich.
func Arrow(s analysis.Side) string {
	switch s {
	case analysis.Lean:
		return "▼"
	case analysis.Rich:
		return "▲"
	}
	return " "
}

// Weighed heads what a verdict weighed.
const Weighed = "How each step was judged"

// Heads of an answer's parts: the one step, and what comes after it.
const (
	Do   = "NEXT"
	Then = "Then"
)
