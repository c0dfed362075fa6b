package words

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/compare"
)

// Owner is what the report's first page says to the car's owner.
type Owner struct {
	Question, Answer string
	Did              string   // what was done
	Next             []string // what happens next
	Tone             string   // good, bad, doubt
}

// tones of the conclusions; those that are not here are doubt.
var tones = map[analysis.Conclusion]string{
	analysis.LoopProven: "good", analysis.InputDead: "bad", analysis.NoCommand: "bad", analysis.NoDelivery: "bad",
	analysis.SensorDead: "bad", analysis.SensorSlow: "bad", analysis.WrongBank: "bad",
}

func toneOf(c analysis.Conclusion) string {
	if t := tones[c]; t != "" {
		return t
	}
	return "doubt"
}

// OwnerText words a verdict for who does not know the trade; forced: somebody is known to
// have put a false message on the wire, or to have changed the mixture.
func OwnerText(v analysis.Verdict, byMixture, forced bool) Owner {
	c := v.Conclusion
	is := func(id analysis.ProofID, state analysis.State) bool {
		return slices.ContainsFunc(v.Proofs, func(p analysis.Proof) bool { return p.ID == id && p.State == state })
	}
	o := Owner{
		Tone:     toneOf(c),
		Question: "Can the engine's fuel control, and its oxygen sensor, be believed?",
		Did: "An oxygen sensor in the exhaust tells the engine's computer whether it burns too much or too little fuel, and the computer corrects. " +
			"We put a false message (“too little”, “too much”) on the sensor's wire for some seconds each, and watched whether the computer pushed back. " +
			"Then we let go and watched whether the sensor itself told the truth.",
	}
	if byMixture {
		o.Did = "An oxygen sensor in the exhaust tells the engine's computer whether it burns too much or too little fuel, and the computer corrects. " +
			"We made the mixture itself richer or leaner for some seconds and watched whether the sensor noticed and the computer pushed back. Then we undid it and watched both return."
	}
	if !forced {
		o.Did = "We recorded what the engine's computer reports. The test itself, a false message on the sensor's wire or a changed mixture, is not in this recording."
	}
	switch c {
	case analysis.LoopProven:
		o.Answer = "Yes. The sensor, its wire, the computer and the fuel command all did what they should."
		o.Next = []string{"None of these parts needs replacing for what was tested.", "If the engine still runs badly, the cause lies elsewhere, for instance in an air leak or the fuel supply: that is what we look at next."}
	case analysis.PartlyProven:
		o.Answer = "As far as tested, yes: but one half of the test is still to be done."
		o.Next = []string{"We do the other half before anything is replaced."}
	case analysis.InputDead:
		o.Answer = "No. The computer does not notice what is on the sensor's wire."
		o.Next = []string{"We look for a broken or shorted wire or plug between sensor and computer; that comes before any new part.", "The sensor itself has not been found bad."}
	case analysis.NoCommand:
		o.Answer = "No. The computer reads the sensor's wire, but does not correct the fuel."
		if is(analysis.ProofAddsFuel, analysis.Proven) {
			o.Answer = "No. The computer adds fuel as it should, but does not cut it."
		} else if is(analysis.ProofCutsFuel, analysis.Proven) {
			o.Answer = "No. The computer cuts fuel as it should, but does not add it."
		}
		o.Next = []string{"We find out whether something keeps the computer from correcting, such as a stored fault, before the computer itself is suspected.", "A new sensor would not cure this."}
	case analysis.NoDelivery:
		o.Answer = "No. The computer orders a correction, but the fuel does not follow."
		o.Next = []string{"We measure fuel pressure and injectors.", "A new sensor would not cure this."}
	case analysis.SensorDead:
		o.Answer = "No. The computer and the fuel do their work, but the oxygen sensor does not report it."
		o.Next = []string{"We check the sensor's heater, its wiring and the exhaust for leaks; if they are good, the sensor is replaced.", "Then the same test shows whether it is cured."}
	case analysis.SensorSlow:
		o.Answer = "Not fully. The oxygen sensor reports the truth, but too late."
		o.Next = []string{"We check the sensor's heater; if it is good, the sensor is replaced.", "Then the same test shows whether it is cured."}
	case analysis.WrongBank:
		o.Answer = "No. The engine's other side answered: the plugs of the two sensors seem to be swapped."
		o.Next = []string{"We check which plug belongs where. No part has been found bad."}
	case analysis.NotReadyToSay:
		o.Answer = "Not known yet: the car was not in a state in which this test counts."
		o.Next = []string{"We bring it to that state, most often fully warm and idling, and test again."}
	case analysis.NothingForced:
		o.Answer = "Not tested: this is a recording without the test."
		o.Next = []string{"The test itself is still to be done if the sensor or the computer is in doubt."}
	default:
		o.Answer = "Not known yet: what was measured does not decide it."
		o.Next = []string{"We do the further test that separates the possible causes before anything is replaced."}
	}
	return o
}

// OwnerWide is what the first page says of a wide-range sensor, which the test cannot judge.
func OwnerWide() Owner {
	o := OwnerText(analysis.Verdict{Conclusion: analysis.NothingForced}, true, false)
	o.Did = "We recorded what the engine's computer reports." // a force on such a sensor is not seen
	o.Answer = "Not judged: this oxygen sensor is of a kind that this test only records."
	o.Next = []string{"What sensor and computer reported is on the pages that follow, for a technician to read.", "No part has been found bad, and none has been shown to be good."}
	return o
}

// OwnerProofs says each arc of the ring to the owner.
var OwnerProofs = map[analysis.ProofID]string{
	analysis.ProofInput:      "The computer notices what is on the wire",
	analysis.ProofAddsFuel:   "Told “too little fuel”, it adds fuel",
	analysis.ProofCutsFuel:   "Told “too much fuel”, it cuts fuel",
	analysis.ProofDelivery:   "The fuel really changes",
	analysis.ProofSensorRich: "The sensor can report “too much”",
	analysis.ProofSensorLean: "The sensor can report “too little”",
	analysis.ProofBank:       "The right side of the engine answers",
	analysis.ProofRecovery:   "Left alone, it goes back to normal",
}

// evidenceNames puts the numbers behind a proof in words; the verb is the sentence's.
var evidenceNames = map[string]string{
	"after_s": "after", "after_min_s": "not before", "after_max_s": "not after", "begin_s": "began at", "contact_share": "contact for",
	"away_s": "away for", "from_pct": "trim before", "held_s": "held for", "held_v": "held at", "limit_pct": "limit",
	"mean_v": "mean", "most_pct": "at most", "moved_pct": "trim moved", "needed_g": "needed", "oxygen_g": "oxygen moved", "other_moved_pct": "other bank moved",
	"own_moved_pct": "forced bank moved", "rate_pct_s": "rate", "reading_v": "reading", "readings": "readings", "seconds": "for",
	"stayed_s": "stayed for", "stood_still_s": "stood still for", "trim_made_pct": "trim still away by", "trim_pct": "trim at", "waited_s": "waited",
	"watched_s": "watched for",
}

// EvidenceText words the numbers behind a proof, each with its unit; times of an answer
// with the interval that holds the truth.
func EvidenceText(ev map[string]float64) []string {
	var out []string
	for _, key := range slices.Sorted(maps.Keys(ev)) {
		v := ev[key]
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		_, best := ev["after_s"]
		lo, hasLo := ev["after_min_s"]
		hi, hasHi := ev["after_max_s"]
		if best && hasLo && hasHi {
			switch key {
			case "after_s":
				out = append(out, fmt.Sprintf("after %.2f s (95 %%: %.2f to %.2f s)", v, lo, hi))
				continue
			case "after_min_s", "after_max_s":
				continue
			}
		}
		name := evidenceNames[key]
		if name == "" {
			name = strings.ReplaceAll(key, "_", " ")
		}
		switch {
		case key == "rate_pct_s":
			out = append(out, fmt.Sprintf("%s %.1f %%/s", name, v))
		case strings.HasSuffix(key, "_pct_s"):
			out = append(out, fmt.Sprintf("%s %.0f %%·s", name, v))
		case strings.HasSuffix(key, "_pct"):
			out = append(out, fmt.Sprintf("%s %+.1f %%", name, Unsigned(v, 1)))
		case strings.HasSuffix(key, "_s"), key == "seconds":
			out = append(out, fmt.Sprintf("%s %.2f s", name, v))
		case strings.HasSuffix(key, "_v"):
			out = append(out, fmt.Sprintf("%s %.2f V", name, v))
		case strings.HasSuffix(key, "_share"):
			out = append(out, fmt.Sprintf("%s %.0f %% of the time", name, 100*v))
		default:
			out = append(out, fmt.Sprintf("%s %.4g", name, v))
		}
	}
	return out
}

// CanShow says what readings of this rate can and cannot show.
func CanShow(f analysis.Figures) []string {
	if math.IsNaN(f.PerSecond) || f.PerSecond <= 0 {
		return []string{"Too few readings of the sensor to say how often it was read."}
	}
	gap := 1 / f.PerSecond
	out := []string{
		fmt.Sprintf("The sensor was read %.1f times a second: what happens within %.2f s lies between two readings, so each time below is an interval.", f.PerSecond, gap),
		fmt.Sprintf("Switching faster than %.1f Hz cannot be counted.", f.CanCountHz),
	}
	if gap > 0.1 {
		out = append(out, "How fast the voltage rises and falls (a good sensor takes about 0.1 s) cannot be shown, and is not claimed.")
	}
	return out
}

// Method says how the report came about, of tests by wire, by mixture, or both.
func Method(byWire, byMixture bool) []string {
	out := []string{"Every reply of the car's computer was kept with the times of its request and its arrival. This report judges those records again; nothing was judged on drawn or thinned data."}
	if byWire {
		out = append(out, "Forcing the wire proves the way from the tap through the computer to the fuel command. It says nothing about the sensor while it is held; only the release tests the sensor.")
	}
	if byMixture {
		out = append(out, "Where the mixture itself is made lean or rich the sensor answers for itself, and the loop may compensate and go on switching at another trim. What does not answer may be the sensor, its wire or the computer's input.")
	}
	return append(out,
		"A force is recognised against this car's own switching before it; an answer where short-term trim leaves the range in which it hunts at rest and does not turn back.",
		"The times of an answer are given with the interval that holds the truth 95 times in 100.",
		"The curves draw the first, lowest, highest and last reading of each fine column, so no peak is lost.",
	)
}

// Limits are what no report shows.
var Limits = []string{
	"What is “not tested” is not shown to be good.",
	"Shown is how the car behaved during this recording; a fault that comes and goes may have been away.",
	"Trim of the computer is a command; that fuel arrived is shown by “the mixture really moves” alone.",
}

// SessionTime is a time since the session's start, to a tenth of a second.
func SessionTime(t float64) string {
	if math.IsNaN(t) || math.IsInf(t, 0) {
		return ""
	}
	tenths := int64(math.Round(t * 10))
	s, d := tenths/10, tenths%10
	switch {
	case s >= 3600:
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	case s >= 60:
		return fmt.Sprintf("%d:%02d.%d", s/60, s%60, d)
	}
	return fmt.Sprintf("%d.%d s", s, d)
}

// Length is a duration for people.
func Length(d time.Duration) string {
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
	case d >= 2*time.Minute:
		return fmt.Sprintf("%d min %d s", int(d.Minutes()), int(d.Seconds())%60)
	}
	return fmt.Sprintf("%.0f s", d.Seconds())
}

// OwnerCompared is what the first page of a report on a repair says.
func OwnerCompared(a compare.Answer, shifted bool, first, last analysis.Verdict, byMixture bool) Owner {
	was, now := OwnerText(first, byMixture, true), OwnerText(last, byMixture, true) // what was done is said anew
	before, after := first.Conclusion, last.Conclusion
	o := Owner{Question: "Did the repair help?", Next: now.Next,
		Did: "We measured the car before the repair and again after it, and compared how much the engine's computer has to correct the fuel under the same conditions. " +
			"A difference that an unchanged car shows from day to day is not called a repair."}
	say := func(tone, answer string, next ...string) {
		o.Tone, o.Answer = tone, answer
		if after == analysis.LoopProven || after == analysis.NothingForced {
			o.Next = next
		}
	}
	const again = "We look for the cause again before anything more is replaced."
	const ownTests = "The computer must run its own tests again before an inspection; some days of ordinary driving do that."
	switch cured := toneOf(before) == "bad" && after == analysis.LoopProven; {
	case toneOf(after) == "bad":
		say("bad", "No. The test after the repair finds a fault.")
	case cured && a == compare.Worse:
		say("doubt", "In part. What failed in the test works now, but the computer has more to correct than before.", again)
	case cured:
		say("good", "Yes. What failed in the test before works now.", ownTests)
	case a == compare.Better:
		say("good", "Yes. Under the same conditions the computer has less to correct than before.", ownTests)
	case a == compare.Worse:
		say("bad", "No. Under the same conditions the computer has more to correct than before.", again)
	case a == compare.NoDifference && shifted:
		say("doubt", "The correction has moved, but it is neither nearer to nothing nor farther from it.", again)
	case a == compare.NoDifference:
		say("doubt", "Not shown. The computer's correction shows no difference that an unchanged car would not show.", again)
	default:
		say("doubt", "Not known yet: the two recordings share too few conditions to be compared.", "A drive under the conditions of the first recording makes the two comparable.")
	}
	if before != analysis.NothingForced || after != analysis.NothingForced {
		o.Did += fmt.Sprintf(" The test of sensor and computer said before: “%s” And after: “%s”", was.Answer, now.Answer)
	}
	return o
}

// Compared names the answer of a comparison.
func Compared(a compare.Answer, shifted bool) string {
	switch {
	case a == compare.NoDifference && shifted:
		return "neither better nor worse, but moved"
	case a == compare.NoDifference:
		return "no difference shown"
	}
	return strings.ReplaceAll(string(a), "_", " ")
}

// SensorPlace says which sensor a name such as B1S1 means.
func SensorPlace(sensor string) string {
	if len(sensor) != 4 {
		return sensor
	}
	place := "number " + sensor[3:] + " in the exhaust"
	if sensor[3] == '1' {
		place = "the first in the exhaust"
	}
	return sensor + ": engine bank " + sensor[1:2] + ", " + place
}
