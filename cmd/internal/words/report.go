package words

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/reason"
	"pushback/decode"
)

// Owner is what the report's first page says to the car's owner.
type Owner struct {
	Question, Answer string
	Did              string   // what was done
	Known            []string // what is known where the answer is not
	Next             []string // what happens next
	Tone             string   // good, bad, doubt
}

// tones of the conclusions; those that are not here are doubt.
var tones = map[analysis.Conclusion]string{
	analysis.LoopProven: "good", analysis.InputDead: "bad", analysis.NoCommand: "bad", analysis.NoDelivery: "bad",
	analysis.SensorDead: "bad", analysis.SensorSlow: "bad", analysis.SensorSkewed: "bad", analysis.WrongBank: "bad",
}

func toneOf(c analysis.Conclusion) string {
	if t := tones[c]; t != "" {
		return t
	}
	return "doubt"
}

// didBy is what was done, by what was forced.
var didBy = map[analysis.By]string{
	analysis.ByWire: "We put a false signal on the sensor's wire, first “running lean”, then “running rich”, for some seconds each, and checked that the computer responded. " +
		"Then we released it and checked the sensor's own reading.",
	analysis.ByMixture: "We made the mixture itself richer or leaner for some seconds, and checked that the sensor saw it and the computer responded. Then we undid it and watched both return.",
	analysis.ByFuelCut: "We lifted off the throttle so that the computer shut the fuel off for some seconds, and checked that the sensor saw the air and came back.",
}

// OwnerText words a verdict for who does not know the trade; forced: somebody is known to
// have put a false message on the wire, or to have changed the mixture.
func OwnerText(v analysis.Verdict, by analysis.By, forced bool) Owner {
	c := v.Conclusion
	is := func(id analysis.ProofID, state analysis.State) bool {
		return slices.ContainsFunc(v.Proofs, func(p analysis.Proof) bool { return p.ID == id && p.State == state })
	}
	o := Owner{
		Tone:     toneOf(c),
		Question: "Are the oxygen sensor and fuel control working?",
		Did:      "An oxygen sensor in the exhaust shows the engine's computer whether the engine is burning too much or too little fuel, and the computer corrects it. " + didBy[by],
	}
	if !forced {
		o.Did = "We recorded what the engine's computer reports. The test itself, a false signal on the sensor's wire or a changed mixture, is not in this recording."
	}
	switch c {
	case analysis.LoopProven:
		o.Answer = "Yes. The sensor, its wire, the computer and the fuel command all work."
		o.Next = []string{"Nothing we tested needs replacing.", "If the engine still runs badly, something else is causing it, such as a vacuum leak or weak fuel supply. We'll check that next."}
	case analysis.PartlyProven:
		o.Answer = "So far, yes. Half of the test is still to be done."
		o.Next = []string{"We'll do the other half before replacing anything."}
	case analysis.InputDead:
		o.Answer = "No. The computer doesn't see what is on the sensor's wire."
		o.Next = []string{"We'll check for a broken or shorted wire or connector between the sensor and the computer before replacing anything.", "Nothing shows that the sensor itself is bad."}
	case analysis.NoCommand:
		o.Answer = "No. The computer reads the sensor's wire, but doesn't correct the fuel."
		if is(analysis.ProofAddsFuel, analysis.Proven) {
			o.Answer = "No. The computer adds fuel as it should, but doesn't cut it."
		} else if is(analysis.ProofCutsFuel, analysis.Proven) {
			o.Answer = "No. The computer cuts fuel as it should, but doesn't add it."
		}
		o.Next = []string{"We'll check whether something is keeping the computer from correcting, such as a stored fault, before suspecting the computer.", "A new sensor won't fix this."}
	case analysis.NoDelivery:
		o.Answer = "No. The computer commands a correction, but the fuel doesn't change."
		o.Next = []string{"We'll test fuel pressure and the injectors.", "A new sensor won't fix this."}
	case analysis.SensorDead:
		o.Answer = "No. The computer and the fuel respond, but the oxygen sensor doesn't see it."
		o.Next = []string{"We'll check the sensor's heater, its wiring and the exhaust for leaks. If they are good, the sensor needs replacing.", "Then the same test shows whether it's fixed."}
	case analysis.SensorSlow:
		o.Answer = "Not fully. The oxygen sensor sees the change, but too late."
		o.Next = []string{"We'll check the sensor's heater. If it is good, the sensor needs replacing.", "Then the same test shows whether it's fixed."}
	case analysis.SensorSkewed:
		o.Answer = "Not fully. The sensor sees the change, but reads the wrong amount."
		o.Next = []string{"We'll check for exhaust leaks and the sensor's plug. If they are good, the sensor needs replacing.", "Then the same test shows whether it's fixed."}
	case analysis.WrongBank:
		o.Answer = "No. The other bank of the engine responded: the connectors of the two sensors seem to be swapped."
		o.Next = []string{"We'll check which connector belongs where. Nothing shows a bad part."}
	case analysis.ConclusionNotReady:
		o.Answer, o.Next = "Not known yet: test conditions weren't met.", []string{"We'll get the car ready, usually fully warm and idling, and test again."}
		if !slices.ContainsFunc(v.Next, func(r reason.Reason) bool { return r.Has(reason.BringToConditions) }) { // no warming up makes it fit
			o.Answer, o.Next = "Not known yet: this test isn't for this kind of sensor or engine.", []string{"We'll use the test that is meant for its kind."}
		}
	case analysis.NothingForced:
		o.Answer = "Not tested: this recording doesn't include the test."
		o.Next = []string{"If the sensor or the computer is in doubt, the test still has to be done."}
	default:
		o.Answer, o.Next = "Not known yet: the test didn't settle it.", []string{"We'll run one more test before replacing anything."}
		if say := VerdictOf(v); say.owner != "" {
			o.Answer = "Not known yet. " + say.owner
			o.Next = append(o.Next, say.plan)
		}
	}
	if byDrive(v) {
		driveOwner(&o, v, forced)
	}
	if o.Tone == "doubt" {
		o.Known = known(v)
	}
	return o
}

// known lists what passed and failed.
func known(v analysis.Verdict) (out []string) {
	for _, p := range v.Proofs {
		switch p.State {
		case analysis.Proven:
			out = append(out, StateSigns[p.State]+" "+OwnerProofs[p.ID])
		case analysis.Failed:
			out = append(out, StateSigns[p.State]+" Not shown: "+lower(OwnerProofs[p.ID]))
		}
	}
	return out
}

func lower(s string) string { return strings.ToLower(s[:min(1, len(s))]) + s[min(1, len(s)):] }

// OwnerProofs says each arc of the ring to the owner.
var OwnerProofs = map[analysis.ProofID]string{
	analysis.ProofInput:      "The computer reads the wire",
	analysis.ProofAddsFuel:   "Adds fuel when told it's running lean",
	analysis.ProofCutsFuel:   "Cuts fuel when told it's running rich",
	analysis.ProofDelivery:   "The mixture actually changes",
	analysis.ProofSensorRich: "The sensor can read rich",
	analysis.ProofSensorLean: "The sensor can read lean",
	analysis.ProofBank:       "The correct bank responds",
	analysis.ProofRecovery:   "Goes back to normal on release",
	analysis.ProofScale:      "The sensor reads the right amount",
}

// evidenceNames puts the numbers behind a proof in words; the verb is the sentence's.
var evidenceNames = map[string]string{
	"after_s": "after", "after_min_s": "not before", "after_max_s": "not after", "begin_s": "began at", "other_begin_s": "other bank began at", "contact_share": "contact for",
	"away_s": "away for", "from_pct": "trim before", "held_s": "held for", "held_v": "held at", "limit_pct": "limit",
	"mean_v": "mean", "most_pct": "at most", "moved_pct": "trim moved", "needed_g": "needed", "oxygen_g": "oxygen moved", "other_moved_pct": "other bank moved",
	"own_moved_pct": "forced bank moved", "rate_pct_s": "rate", "reading_v": "reading", "readings": "readings", "seconds": "for",
	"delay_s": "delay", "fed_pct": "fed", "flank_s": "most of the way took", "forces": "steps", "gain_other_bank": "gain of the other bank", "lag_s": "lag", "lag_at_most_s": "lag at most",
	"missed_times": "missed", "shown_times": "shown", "times": "asked of it",
	"moved_ratio": "lambda moved", "ramp_s": "fed within", "rear_v": "behind the catalyst", "top_ratio": "lambda up to",
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
		lo, hasLo := ev["after_min_s"]
		hi, hasHi := ev["after_max_s"]
		if _, best := ev["after_s"]; best && hasLo && hasHi {
			switch key {
			case "after_s":
				out = append(out, Within(lo, hi))
				continue
			case "after_min_s", "after_max_s":
				continue
			}
		}
		if lo, hi, is := interval(ev, key); is {
			out = append(out, fmt.Sprintf("%s %.2f (%.2f to %.2f)%s", cmp.Or(evidenceNames[key], key), v, lo, hi, map[bool]string{true: " s"}[strings.HasSuffix(key, "_s")]))
			continue
		}
		if of := strings.NewReplacer("_low", "", "_high", "").Replace(key); of != key {
			if _, has := ev[of]; has {
				continue // it stands with its figure
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
			out = append(out, fmt.Sprintf("%s %+.0f %%", name, Unsigned(v, 0)))
		case strings.HasSuffix(key, "_s"), key == "seconds":
			out = append(out, fmt.Sprintf("%s %.1f s", name, v))
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

// interval is that of a figure that has one: gain has gain_low and gain_high, lag_s has lag_low_s and lag_high_s.
func interval(ev map[string]float64, key string) (lo, hi float64, is bool) {
	name, unit := strings.TrimSuffix(key, "_s"), ""
	if name != key {
		unit = "_s"
	}
	lo, hasLo := ev[name+"_low"+unit]
	hi, hasHi := ev[name+"_high"+unit]
	return lo, hi, hasLo && hasHi
}

// CanShow says what readings of this rate can and cannot show.
func CanShow(f analysis.Figures) []string {
	if math.IsNaN(f.PerSecond) || f.PerSecond <= 0 {
		return []string{"Too few readings to say how often the sensor was read."}
	}
	gap := 1 / f.PerSecond
	out := []string{
		fmt.Sprintf("The sensor was read %.1f times a second, so anything faster than %.2f s falls between two readings and times are given as intervals.", f.PerSecond, gap),
	}
	if !(f.CanCountHz > 0) { // of a wide-range sensor, which doesn't switch
		return out
	}
	out = append(out, fmt.Sprintf("Switching faster than %.1f Hz can't be counted.", f.CanCountHz))
	if gap > 0.1 {
		out = append(out, "How fast the voltage rises and falls (about 0.1 s for a good sensor) can't be shown at this rate.")
	}
	return out
}

// Method says how the report came about, of tests by wire, by mixture, or both.
func Method(byWire, byMixture bool) []string {
	out := []string{"Every reply from the car's computer was saved with the times of its request and its arrival. This report judges all of those records, not the drawn curves."}
	if byWire {
		out = append(out, "Biasing the wire tests the path from the test point through the ECM to the fuel command. It doesn't test the sensor while it is held; only the release does.")
	}
	if byMixture {
		out = append(out, "Changing the mixture tests the sensor directly, and the loop may compensate and keep switching at another trim. No response can be the sensor, its wire or the ECM input.")
	}
	return append(out,
		"A step is recognized against what this car does by itself; a response when short-term trim leaves the range it hunts in at rest and doesn't turn back.",
		"The time of a response is an interval that holds the truth at least 95 times in 100.",
		"The curves keep every peak, however long the recording.",
	)
}

// Limits are what no report shows.
var Limits = []string{
	"“Not tested” doesn't mean good.",
	"This is how the car behaved during this recording; an intermittent fault may not have shown up.",
	"Fuel trim is a command. Only “mixture actually changes” shows that the fuel got there.",
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

// OwnerCompared is what the first page of a report on a repair says; different: the two are of different
// vehicles.
func OwnerCompared(a compare.Answer, shifted, different bool, first, last analysis.Verdict) Owner {
	was, now := OwnerText(first, analysis.ByWire, true), OwnerText(last, analysis.ByWire, true) // what was done is said anew
	before, after := first.Conclusion, last.Conclusion
	o := Owner{Question: "Did the repair help?", Next: now.Next,
		Did: "We measured the car before the repair and again after it, and compared how much the engine's computer has to correct the fuel under the same conditions. " +
			"Normal day-to-day variation doesn't count as a repair."}
	say := func(tone, answer string, next ...string) {
		o.Tone, o.Answer = tone, answer
		if after == analysis.LoopProven || after == analysis.NothingForced {
			o.Next = next
		}
	}
	const again = "We'll look for the cause again before replacing anything else."
	const ownTests = "The computer has to run its own tests again before an inspection; a few days of normal driving does that."
	if different {
		say("doubt", "No answer: these are two different vehicles.")
		o.Next = []string{"Compare a car only with itself: choose two recordings of the same vehicle."}
		return o
	}
	switch cured := toneOf(before) == "bad" && after == analysis.LoopProven; {
	case toneOf(after) == "bad":
		say("bad", "No. The test after the repair finds a fault.")
	case cured && a == compare.Worse:
		say("doubt", "Partly. What failed in the test works now, but the computer has to correct more than before.", again)
	case cured:
		say("good", "Yes. What failed in the test before works now.", ownTests)
	case a == compare.Better:
		say("good", "Yes. Under the same conditions the computer has to correct less than before.", ownTests)
	case a == compare.Worse:
		say("bad", "No. Under the same conditions the computer has to correct more than before.", again)
	case a == compare.NoDifference && shifted:
		say("doubt", "The correction has changed, but is no closer to zero.", again)
	case a == compare.NoDifference:
		say("doubt", "No difference shown: the computer's correction changed no more than it does from day to day.", again)
	default:
		say("doubt", "Not known yet: the two recordings have too few matching conditions to compare.", "We'll drive it again under the conditions of the first recording.")
	}
	if before != analysis.NothingForced || after != analysis.NothingForced {
		o.Did += fmt.Sprintf(" The sensor and fuel control test said before: “%s” After: “%s”", was.Answer, now.Answer)
	}
	return o
}

// Compared names the answer of a comparison.
func Compared(a compare.Answer, shifted bool) string {
	switch {
	case a == compare.NoDifference && shifted:
		return "changed, but no closer to zero"
	case a == compare.NoDifference:
		return "no difference shown"
	}
	return strings.ReplaceAll(string(a), "_", " ")
}

// SensorPlace says which sensor a name such as B1S1 means.
//
// Special cases are: another name is left as it is.
func SensorPlace(sensor string) string {
	id, err := decode.ParseSensorID(sensor)
	if err != nil {
		return sensor
	}
	place := fmt.Sprintf("number %d in the exhaust", id.Position)
	if id.Position == 1 {
		place = "the first in the exhaust"
	}
	return fmt.Sprintf("%s: engine bank %d, %s", id, id.Bank, place)
}
