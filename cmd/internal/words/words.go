// Package words holds all sentences and labels that people read while a test runs
// and after it, in the terminal, on the page and in the report, so that they can be
// translated in one place. Nothing here decides anything.
package words

import (
	"fmt"
	"strings"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/bias"
	"pushback/analysis/hazard"
	"pushback/analysis/session"
)

// Around the cautions.
const (
	BeforeYouTouch = "Before you touch anything:"
	AnyKey         = "Any key: read and understood."
	AnyKeyMore     = "Any key: read, on to the next."
)

// Cautions come before a test. The order is that of harm.
func Cautions(by analysis.By) []string {
	c := []string{
		"Carbon monoxide has no smell and kills: work outdoors or with extraction.",
		"Exhaust, sensor, manifold burn. Fans and belts move, also by themselves.",
		"Fuel vapour catches fire: no flame, no smoking, an extinguisher at hand.",
		"Wheels chocked, parking brake on, gear in neutral or park.",
		"Maker's information, local codes and licensed practice come before this.",
	}
	if by == analysis.ByMixture {
		return append(c,
			"Propane burns and explodes: keep bottle, hose and valve away from ignition parts and hot exhaust; meter it in slowly, never into a stopped engine.",
			"An induced lean is one small hose off, within reach, that does not feed the brake booster.",
			"Move the mixture for 15 s at most, then rest 30 s: raw fuel overheats the catalyst, and the engine may stall.")
	}
	return append(c,
		"Never put 12 V, 5 V or a heater feed on the signal wire. Identify it first, by a 10 MΩ meter.",
		"Lean: join the signal, on the computer's side, to the SENSOR RETURN, not to the chassis.",
		OpenBranch,
		"Rich: "+usualSource()+" between signal and sensor return. `pushback source` computes it for what you have.",
		"No data tells a titania sensor (unplugged, key on, 1 V or 5 V): measure; never force it.",
		RaisedReturn,
		"A person is never the resistor: no fingers from battery to signal.",
		"One hold is 15 s, 30 s at the very most. A long hold may set trouble codes; they are listed as caused by the test.")
}

// OpenBranch says how the sensor's branch is opened.
const OpenBranch = "Open the sensor's branch in a harness box, no piercing; unplugging opens the heater too and may set its code."

// RaisedReturn is the one rule for a computer whose sensor return is not at the chassis' level.
const RaisedReturn = "Measure sensor return to chassis, engine running: about 2.5 V is a raised return. Join to the return alone, never to the chassis."

// usualSource is what `pushback source` computes when it is told nothing.
var usualSource = sync.OnceValue(func() string {
	series, err := bias.ParseSeries("E24")
	if err == nil {
		var d bias.Design
		if d, err = bias.Find(bias.DryCell, 0.9, 600, series, series.Tolerance, bias.UsualComputer); err == nil {
			return fmt.Sprintf("%.1f V (dry cell of %.1f V, %s over %s)", d.Target, d.Supply.Volts.Nom, bias.Ohms(d.Top), bias.Ohms(d.Bottom))
		}
	}
	panic(err) // the usual source exists: tested
})

// Lists of the keys and of the lines that a session listens to.
const (
	TestKeys   = "Keys: Enter = done (makes the mark), l lean, r rich, space release, s skip, b repeat this side, n note, q stop."
	RecordKeys = "Keys: l lean, r rich, space release, n note, q stop."
	TestLines  = "Lines on standard input: mark lean, mark rich, mark release, note TEXT, stop; next, skip, repeat."
)

// enterWhen begins the part of a prompt that names a key.
const enterWhen = " Enter when "

// PromptText words a prompt for one side of the test.
func PromptText(p session.Prompt, by analysis.By) string {
	if p.Twice {
		p.Twice = false
		return "Twice is enough: another force on this side would only set codes. " + PromptText(p, by)
	}
	side := strings.ToUpper(string(p.Side))
	switch p.Stage {
	case session.StageReady:
		if len(p.Why) > 0 {
			return "NOT READY YET: " + hazard.Join(p.Why, "; ") + ". Waiting for it; s goes on anyway."
		}
		return "Looking whether the car is ready for the test."
	case session.StageBaseline:
		return "HANDS OFF: steady idle. Learning how this car switches by itself."
	case session.StageForce:
		switch {
		case by == analysis.ByMixture && p.Side == analysis.Rich:
			return "FORCE RICH: feed propane into the intake, slowly, until the sensor stays rich." + enterWhen + "it flows."
		case by == analysis.ByMixture:
			return "FORCE LEAN: open the small vacuum hose." + enterWhen + "it is open."
		case p.Side == analysis.Rich:
			return "HOLD RICH: " + usualSource() + " between signal and sensor return, computer's side." + enterWhen + "it is on."
		}
		return "HOLD LEAN: signal to sensor return, computer's side." + enterWhen + "it is on."
	case session.StageHold:
		if p.More {
			return "KEEP HOLDING " + side + ": trim answered, but the exhaust does not show enough yet."
		}
		return "HOLDING " + side + ": keep it there."
	case session.StageRelease:
		if by == analysis.ByMixture {
			return ">>> RELEASE NOW: undo it, hands off <<<"
		}
		return ">>> RELEASE NOW: take it off, sensor back on its wire <<<"
	case session.StageAnswer:
		return "RELEASED. Hands off: now the sensor itself must tell, and the loop must recover."
	}
	return "The test is over."
}

// Step is the prompt in the narrow room of the live line.
func Step(p session.Prompt) string {
	left := func() string {
		if p.Until == 0 {
			return ""
		}
		return fmt.Sprintf(" %d s", int((max(0, p.Until-p.At)+time.Second-1)/time.Second))
	}
	side := strings.ToUpper(string(p.Side))
	switch p.Stage {
	case session.StageReady:
		return "waiting until ready"
	case session.StageBaseline:
		return "HANDS OFF" + left()
	case session.StageForce:
		return "BEGIN TO HOLD " + side
	case session.StageHold:
		if !p.Seen {
			return "HOLD " + side + left() + " (not seen yet)"
		}
		return "HOLD " + side + left()
	case session.StageRelease:
		return "RELEASE NOW"
	case session.StageAnswer:
		return "HANDS OFF" + left()
	}
	return ""
}

// EventText words an event.
func EventText(e analysis.Event) string {
	switch e.Name {
	case analysis.Ready:
		if len(e.Reasons) > 0 {
			return "ready for the test (" + strings.Join(e.Reasons, "; ") + ")"
		}
		return "ready for the test"
	case analysis.NotReady:
		return "not ready: " + hazard.Join(e.Reasons, "; ")
	case analysis.ForceBegins:
		return "the " + Arrow(e.Side) + " " + string(e.Side) + " force begins"
	case analysis.LoopAnswers:
		verb := "adds"
		if e.Toward == "cut" {
			verb = "cuts"
		}
		return fmt.Sprintf("the loop pushes back: it %s fuel %.2f s after the force began (between %.2f and %.2f s), %.1f %%/s",
			verb, e.After, e.AfterMin, e.AfterMax, e.Rate)
	case analysis.LoopSilent:
		return fmt.Sprintf("the loop does not answer the %s force: trim moved %+.1f %% in %.0f s", e.Side, Unsigned(e.Moved, 1), e.Waited)
	case analysis.LoopWrongWay:
		return fmt.Sprintf("trim moves WITH the %s force: it %ss fuel", e.Side, e.Toward)
	case analysis.TrimAtLimit:
		return fmt.Sprintf("short-term trim stopped at %+.1f %%, the computer's limit", e.Value)
	case analysis.ForceEnds:
		return "the " + string(e.Side) + " force is released"
	case analysis.SensorAnswers:
		return fmt.Sprintf("the sensor itself reports %s %s, %.2f s after the release", Arrow(analysis.Side(e.Toward)), e.Toward, e.After)
	case analysis.SensorSilent:
		return fmt.Sprintf("the sensor does not report %s within %.1f s", e.Toward, e.Waited)
	case analysis.SwitchingResumes:
		return fmt.Sprintf("the loop switches again as before, %.1f s after the release", e.After)
	case analysis.OpenLoop:
		return "the computer left closed loop (fuel status " + e.Status + ")"
	case analysis.OtherBankAnswers:
		return fmt.Sprintf("bank %d moved, which nobody forced", e.Bank)
	case analysis.GapSeen:
		return fmt.Sprintf("no data from %.1f to %.1f s: %s", e.From, e.To, e.Cause)
	case analysis.CodeSet:
		kind := "stored"
		if e.Pending {
			kind = "pending"
		}
		text := "trouble code set during the test, so caused by it: " + e.Code + " (" + kind + ")"
		if what := TroubleCode(e.Code); what != "" {
			text += ", " + what
		}
		return text
	}
	return string(e.Name)
}

// ConclusionText is the verdict in one sentence.
func ConclusionText(c analysis.Conclusion) string {
	switch c {
	case analysis.LoopProven:
		return "LOOP PROVEN. The sensor, its wire, the computer and the fuel command can be believed: look for the cause of the mixture elsewhere."
	case analysis.PartlyProven:
		return "PROVEN AS FAR AS TESTED. Everything that was tested works, but one side was not tested."
	case analysis.InputDead:
		return "INPUT DEAD. The computer's reading does not follow the wire: tap, harness, connector or the computer's input."
	case analysis.NoCommand:
		return "NO COMMAND. The computer reads the wire, but its fuel trim does not push back."
	case analysis.NoDelivery:
		return "NO DELIVERY. The computer commands the fuel, but the mixture does not follow."
	case analysis.SensorDead:
		return "SENSOR DEAD. The loop answers and the mixture follows, but the sensor never reports it."
	case analysis.SensorSlow:
		return "SENSOR SLOW. The sensor reports the mixture, but later than a healthy one can."
	case analysis.WrongBank:
		return "WRONG BANK. The other bank answered: sensors or wiring of the banks are swapped."
	case analysis.NotReadyToSay:
		return "NOT READY. The car was not in a state in which the test counts."
	case analysis.UnclearResult:
		return "UNCLEAR. The evidence does not decide."
	case analysis.NothingForced:
		return "NOTHING FORCED. No force was seen, so nothing is proven and nothing found wrong."
	}
	return string(c)
}

// ConclusionShort is a conclusion in a table's cell.
func ConclusionShort(c string) string {
	if c == "" {
		return "-"
	}
	return strings.ReplaceAll(c, "_", " ")
}

// ProofTitles says what each arc of the ring claims.
var ProofTitles = map[analysis.ProofID]string{
	analysis.ProofInput:      "the computer reads the wire",
	analysis.ProofAddsFuel:   "held lean, it adds fuel",
	analysis.ProofCutsFuel:   "held rich, it cuts fuel",
	analysis.ProofDelivery:   "the mixture really moves",
	analysis.ProofSensorRich: "the sensor can report rich",
	analysis.ProofSensorLean: "the sensor can report lean",
	analysis.ProofBank:       "the forced bank answers",
	analysis.ProofRecovery:   "released, the loop recovers",
}

// StateSigns marks the state of a proof.
var StateSigns = map[analysis.State]string{
	analysis.Proven: "✓", analysis.Failed: "✗", analysis.Unclear: "?", analysis.Untested: "–",
}

// StateWords names the state of a proof.
var StateWords = map[analysis.State]string{
	analysis.Proven: "PROVEN", analysis.Failed: "FAILED", analysis.Unclear: "UNCLEAR", analysis.Untested: "not tested",
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
const Weighed = "What was weighed, force by force"
