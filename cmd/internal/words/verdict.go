package words

import (
	"fmt"
	"strings"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/cmd/internal/words/why"
)

// Verdict is an answer in the order in which it is read: the name from across the shop, the
// reason in a sentence, the one step to do now with what can hurt at it. The rest follows.
type Verdict struct {
	Name, Why     string
	Step, Caution string // "" there is nothing to do

	owner, plan string // reason and step in the words of the car's owner, of a verdict that is open
}

// VerdictOf words an answer.
//
// Special cases are: of two banks' wires it is the answer that comes first ([analysis.Joined]), with its sensor where the other's
// differs.
func VerdictOf(v analysis.Verdict) Verdict {
	if b := v.Beside; b != nil {
		v.Beside = nil
		out := VerdictOf(v)
		if b.Conclusion == v.Conclusion {
			out.Why = "Both banks. " + out.Why
			return out
		}
		out.Name = v.Sensor + " " + out.Name
		out.Why += " " + b.Sensor + ": " + VerdictOf(*b).Name + "."
		return out
	}
	if name, is := openNames[v.Decide]; is && v.Conclusion == analysis.ConclusionUnclear && !wideRange(v) {
		return open(v, name)
	}
	out := Verdict{Name: ConclusionName(v.Conclusion), Why: ConclusionMeans(v.Conclusion)}
	if byDrive(v) {
		out.Why = driveMeans(v)
	}
	if len(v.Next) > 0 {
		step := why.Advice(v.Next[0])
		out.Step, out.Caution = sentence(step.Do), step.Caution()
	}
	return out
}

// wideRange reports whether a verdict is of a wide-range sensor: the volts that our words name are none of its.
func wideRange(v analysis.Verdict) bool { return proof(v, analysis.ProofScale).ID != "" }

// Rest are the steps after the first; where words of ours name that one, it is among them with its
// numbers.
func Rest(v analysis.Verdict) []string {
	if _, is := openNames[v.Decide]; len(v.Next) == 0 || is && v.Conclusion == analysis.ConclusionUnclear && !wideRange(v) {
		return why.Texts(v.Next)
	}
	return why.Texts(v.Next[1:])
}

// First is the number of the first of them.
func First(v analysis.Verdict) int { return 1 + len(v.Next) - len(Rest(v)) }

// Title is the answer in one line: its name and its reason.
func (v Verdict) Title() string { return v.Name + ". " + v.Why }

func sentence(s string) string { return capital(strings.TrimSuffix(s, ".")) + "." }

// named is what an open verdict is called by the step that would settle it, and the step.
// To the car's owner it says why and what is done next without the trade's words.
type named struct{ name, why, step, owner, plan string }

const (
	propaneTells = "Feed propane. Sensor goes above 0.8 V: it's good. Stays low: it's dead, or its wire is."
	leanTells    = "Pull a small vacuum hose. Sensor drops below 0.2 V: it's good. Stays high: it's dead, or its wire is."
)

var openNames = map[analysis.Step]named{
	analysis.LeanStep: {
		"REDO LEAN", "The lean step wasn't clear enough to count.", "Repeat the lean step: " + limits.HoldText + ", good connection.",
		"One half of the test wasn't clear enough to count.", "We'll repeat that half."},
	analysis.RichStep: {
		"REDO RICH", "The rich step wasn't clear enough to count.", "Repeat the rich step: " + limits.HoldText + ", good connection.",
		"One half of the test wasn't clear enough to count.", "We'll repeat that half."},
	analysis.FeedPropane: {
		"FUEL OR SENSOR", "Either the fuel doesn't change or the sensor doesn't see it.", propaneTells,
		"Either the fuel doesn't change when the computer asks for it, or the sensor doesn't notice.", "We'll enrich the mixture ourselves and see whether the sensor notices."},
	analysis.InduceLean: {
		"FUEL OR SENSOR", "Either the fuel doesn't change or the sensor doesn't see it.", leanTells,
		"Either the fuel doesn't change when the computer asks for it, or the sensor doesn't notice.", "We'll let in some air and see whether the sensor notices."},
	analysis.LongerHold: {
		"HOLD LONGER", "The steps were too short to tell.", "Repeat with " + limits.HoldText + " steps and " + limits.RestText + " of rest between.",
		"The test was too short to tell.", "We'll repeat it with more time for each half."},
	analysis.ShorterHold: {
		"ECM LET GO", "The ECM saw the step, took it for a fault and stopped using the sensor.", "Read and clear the codes, then repeat with shorter steps.",
		"The computer noticed the test, took it for a fault and stopped listening to the sensor.", "We'll read and clear the codes, then repeat the test with shorter steps."},
	analysis.CloseBranch: {
		"SENSOR OPEN", "After the release the sensor was still disconnected.", "Reconnect the sensor the moment you release, and repeat.",
		"The sensor was still disconnected when its own reading was wanted.", "We'll repeat the test and reconnect it in time."},
	analysis.OpenCheck: {
		"CHECK INPUT", "The reading may be the ECM's own bias, not the sensor.", "Disconnect the sensor and watch the reading.",
		"What the computer reads may not come from the sensor at all.", "We'll unplug the sensor and watch what the computer reads then."},
	analysis.CoolDown: {
		"TOO HOT", "A hot sensor reads rich too low to count.", "Let it idle for some minutes, then repeat the lean step.",
		"The sensor was too hot to be judged.", "We'll let the engine idle for some minutes and repeat the test."},
	analysis.LeakCheck: {
		"LEAK OR SENSOR", "The sensor has only ever read lean; an exhaust leak does that too.", "Check for an exhaust leak ahead of the sensor.",
		"A leak in the exhaust ahead of the sensor would look just like a bad sensor.", "We'll check the exhaust for leaks first."},
	analysis.MoreReading: {
		"TOO FEW READS", "Too few readings to tell.", "Repeat with fewer signals or a faster adapter.",
		"The car gives its readings too slowly for what was seen.", "We'll repeat the test with fewer other readings."},
	analysis.HandsOff: {
		"WAIT FOR IT", "The loop had no time to settle after the release.", "Repeat, then keep hands off for " + limits.RestText + " after the release.",
		"The engine had no time to settle after the test.", "We'll repeat it and wait longer at the end."},
	analysis.ForceOther: {
		"WHICH BANK", "Both banks moved together.", "Test the other bank's sensor and see whose trim responds.",
		"Both sides of the engine responded together.", "We'll test the other side's sensor."},
	analysis.FuelCut: {
		"CUT AGAIN", "No fuel cut was long enough, or clear enough, to call it.", "Drive: lift off from 2500 rpm or more, throttle shut for 5 s or more. The sensor must go below 0.2 V.",
		"The drive had no long enough stretch of coasting.", "We'll drive again, coasting for longer."},
	analysis.FullLoad: {
		"PULL AGAIN", "No full load was long enough, or clear enough, to call it.", "Drive: pull at full throttle for 4 s or more. The sensor must go above 0.6 V.",
		"The drive had no long enough stretch of hard pulling.", "We'll drive again, pulling hard for longer."},
	analysis.HoldWire: {
		"WIRE OR SENSOR", "The reading didn't move with the mixture: sensor, wire or ECM input.", "Pull the signal wire lean, then drive it rich. Reading follows: the sensor is dead. It doesn't: wire or ECM input.",
		"The reading didn't follow the mixture: the sensor, its wire or the computer itself.", "We'll put a signal on the wire, which tells these apart."},
}

// open names a verdict that is open by what keeps it so.
func open(v analysis.Verdict, n named) Verdict {
	add, cut, input, rich, lean := proof(v, analysis.ProofAddsFuel), proof(v, analysis.ProofCutsFuel),
		proof(v, analysis.ProofInput), proof(v, analysis.ProofSensorRich), proof(v, analysis.ProofSensorLean)
	pegged := func(p analysis.Proof) (string, bool) {
		l, is := p.Evidence["limit_pct"]
		return Percent(l), is && p.State == analysis.Unclear
	}
	high, isHigh := pegged(add)
	low, isLow := pegged(cut)
	switch {
	case v.Decide == analysis.FeedPropane && isHigh && rich.State == analysis.Proven:
		n = named{"NO ROOM TO ADD", "Trim was already at " + high + ", so it couldn't add fuel when driven lean.", "Feed propane until trim comes down, then repeat the lean step.",
			"The sensor works, but the computer already adds as much fuel as it can.", "We'll enrich the mixture ourselves, then repeat that half of the test."}
	case v.Decide == analysis.FeedPropane && isHigh:
		n = named{"PEGGED LEAN", "Trim was already pegged at " + high + ": too lean for the ECM to correct, or a false lean reading.", "Feed propane. Sensor goes rich: it's good, find the lean cause. Stays lean: it's dead.",
			"The computer already adds as much fuel as it can: the engine runs too lean for it, or the sensor says so falsely.", "We'll enrich the mixture ourselves and see whether the sensor notices."}
	case v.Decide == analysis.InduceLean && isLow && lean.State == analysis.Proven:
		n = named{"NO ROOM TO CUT", "Trim was already at " + low + ", so it couldn't cut fuel when driven rich.", "Pull a small vacuum hose until trim comes up, then repeat the rich step.",
			"The sensor works, but the computer already takes away as much fuel as it can.", "We'll let in some air, then repeat that half of the test."}
	case v.Decide == analysis.InduceLean && isLow:
		n = named{"PEGGED RICH", "Trim was already pegged at " + low + ": too rich for the ECM to correct, or a false rich reading.", "Pull a small vacuum hose. Sensor goes lean: it's good, find the rich cause. Stays rich: it's dead.",
			"The computer already takes away as much fuel as it can: the engine runs too rich for it, or the sensor says so falsely.", "We'll let in some air and see whether the sensor notices."}
	case (v.Decide == analysis.LeanStep || v.Decide == analysis.RichStep) && input.Why.Has(reason.LayAsHeld):
		n.name, n.why = "HELD OR NOT", "The reading lay at one level as if it were held, but nobody said so."
		n.owner, n.plan = "The reading stayed at one level for a while, and no test was noted then.", "We'll do the test, with each step noted."
	case (v.Decide == analysis.LeanStep || v.Decide == analysis.RichStep) && input.State == analysis.Unclear:
		n.name, n.why = "TAPS DIFFER", "Your taps and the reading differ: what you connected wasn't seen when you said so."
	}
	out := Verdict{Name: n.name, Why: n.why, Step: n.step, owner: n.owner, plan: n.plan}
	if len(v.Next) > 0 {
		out.Caution = why.Advice(v.Next[0]).Caution()
	}
	return out
}

func proof(v analysis.Verdict, id analysis.ProofID) analysis.Proof {
	for _, p := range v.Proofs {
		if p.ID == id {
			return p
		}
	}
	return analysis.Proof{}
}

// Percent is a trim in whole per cent, in prose. Tables and live values have a tenth.
func Percent(v float64) string { return Signed(v, 0) + " %" }

// After says how long after a step or its release something was seen. It is never more exact
// than a tenth of a second: readings are farther apart.
func After(s float64) string {
	if s < 0.1 {
		return "within 0.1 s of"
	}
	return fmt.Sprintf("%.1f s after", s)
}

// Within is the one interval that holds the truth of a time.
func Within(lo, hi float64) string {
	if lo < 0.1 {
		return fmt.Sprintf("within %.1f s", max(0.1, hi))
	}
	return fmt.Sprintf("after %.1f to %.1f s", lo, hi)
}

// watchingSays is the step after a release: what the sensor's own reading must show.
func watchingSays(by analysis.By, held analysis.Side) string {
	if held == analysis.Lean || held == analysis.Rich {
		return "Hands off: " + mustRead(by, held)
	}
	return "Hands off: watching the sensor's own reading while the loop recovers."
}

// mustRead is what the sensor must show after a release. By mixture nothing was ever held on it: it follows what trim has left.
func mustRead(by analysis.By, held analysis.Side) string {
	must := held.Opposite()
	if by == analysis.ByMixture {
		return fmt.Sprintf("the reading must go %s %s, as trim has left the mixture, and come back.", Arrow(must), strings.ToUpper(string(must)))
	}
	return fmt.Sprintf("the sensor must read %s %s on its own while the loop recovers.", Arrow(must), strings.ToUpper(string(must)))
}
