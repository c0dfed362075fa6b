package words

import (
	"fmt"
	"math"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/hazard"
	"pushback/analysis/measure"
	"pushback/analysis/meter"
	"pushback/cmd/internal/words/why"
)

// MeasureFacts words what a session has measured beside its verdict.
func MeasureFacts(d *dossier.Dossier) (out []Fact) {
	add := func(what, format string, args ...any) {
		out = append(out, Fact{What: what, Text: fmt.Sprintf(format, args...)})
	}
	for _, p := range d.Measured.Propane {
		text := PropaneText(p)
		if p.Purged {
			text += "; purge opened or closed meanwhile, which moves trim too: repeat"
		}
		out = append(out, Fact{What: "propane", Text: text})
	}
	if l := d.Measured.Line; l != nil {
		add("propane", "%d flows on a line through zero: trim moved %.0f %% of what it should (75 to 125 %%: flow, MAF and trim agree), %.1f points off the line at most", l.Flows, 100*l.Slope, l.Off)
	}
	for _, b := range d.Measured.Both {
		out = append(out, Fact{What: "both banks", Text: BothText(b)})
	}
	for _, s := range d.Measured.Snaps {
		out = append(out, Fact{What: "snap throttle", Text: SnapText(s)})
	}
	if r := d.Measured.Rest; r != nil {
		add("lean at idle", "trim of %+.0f %% at %.2g g/s is worth %.2g L/min of propane; if all of it is a vacuum leak, about %.2g g/s of unmetered air", r.Trim, r.Flow, r.Litres, r.Unmetered())
	}
	for _, o := range d.Measured.Oxygen {
		out = append(out, Fact{What: "catalyst", Text: doseText(o)})
	}
	if b := d.Measured.Breathing(0); b != nil {
		add("engine air", "%s", BreathingText(b))
	}
	return out
}

// SnapText words what a snap of the throttle has shown, or why it can't here and what to do instead.
func SnapText(s measure.Snap) string {
	if !s.Shown {
		return SnapRefused(s.Rate)
	}
	text := fmt.Sprintf("%.2f V at most, then %.2f V at least", s.High, s.Low)
	switch {
	case s.High >= measure.SnapRich && s.Low <= measure.SnapLean:
		text += ": the sensor reads both sides (a good one gets over 0.8 V and under 0.2 V)"
	case s.High < measure.SnapRich && s.Low <= measure.SnapLean:
		text += ": not over 0.8 V, where a good sensor gets if the throttle was snapped wide open"
	case s.High >= measure.SnapRich:
		text += ": not under 0.2 V, where a good sensor gets if the ECM cuts the fuel as the throttle closes"
	default:
		text += ": neither over 0.8 V nor under 0.2 V; was the throttle snapped wide open?"
	}
	if !math.IsNaN(s.RiseMax) {
		text += fmt.Sprintf("; rise from 0.3 to 0.6 V in %.2f to %.2f s at %.0f readings/s: ", s.RiseMin, s.RiseMax, s.Rate)
		switch {
		case s.Quick():
			text += "as fast as a good one (0.1 s)"
		case s.Slow():
			text += "slower than a good one (0.1 s), or the ECM renews its reading less often"
		default:
			text += "too few readings in between to call it fast or slow"
		}
	}
	return text + ". This alone doesn't judge a sensor."
}

// SnapRefused says why a snap of the throttle shows nothing at a car's rate, and what does.
func SnapRefused(rate float64) string {
	return hazard.Step(fmt.Sprintf("not at %.1f readings/s: it takes %.0f to see a rise of 0.1 s; use a scope on the signal, or feed propane and watch how high the sensor gets", rate, measure.SnapRate), hazard.Propane)
}

// SnapHow says how the throttle is snapped.
var SnapHow = hazard.Step("snap the throttle wide open and let go before 4000 rpm, engine warm, out of gear", hazard.Running)

// PropaneText words what one hold of propane has shown.
func PropaneText(p measure.Propane) string {
	switch {
	case !math.IsNaN(p.Expected):
		return fmt.Sprintf("%.2g L/min at %.2g g/s should move trim by %+.1f %%; it moved by %+.1f %%", p.Litres, p.Flow, p.Expected, p.Moved)
	case p.Flow > 0:
		return fmt.Sprintf("trim moved by %+.1f %%, as %.1f %% more fuel does: %.2g L/min at %.2g g/s, if the sensor and trim are right",
			p.Moved, p.Share, measure.PropaneFlow(max(0, p.Share/100), p.Flow), p.Flow)
	}
	return fmt.Sprintf("trim moved by %+.1f %%, as %.1f %% more fuel does; no MAF reading to tell the flow", p.Moved, p.Share)
}

// BothText words how both banks answered one force, side by side.
func BothText(b measure.Both) string {
	what := "air"
	switch {
	case b.Wire && b.Rich:
		what = "both wires driven rich"
	case b.Wire:
		what = "both wires driven lean"
	case b.Rich:
		what = "propane"
	}
	text := what
	for i, m := range b.Banks {
		text += fmt.Sprintf("%s bank %d's trim moved by %+.1f %% from %+.1f %%", [...]string{":", ";"}[i], m.Bank, m.Moved, m.Before)
		if !math.IsNaN(m.Gain) {
			text += fmt.Sprintf(", %.0f %% of what it should", 100*m.Gain)
		}
		switch {
		case math.IsNaN(m.AfterMax):
			text += ", within its own hunting"
		case m.AfterMax < 0:
			text += fmt.Sprintf(", %.1f to %.1f s before its wire was held", -m.AfterMax, -m.AfterMin)
		default:
			text += ", " + Within(max(0, m.AfterMin), m.AfterMax)
		}
	}
	return text + ". " + bothSays[b.Says]
}

var bothSays = map[measure.Likeness]string{
	measure.Alike:      "Both sensors and both trims see and correct the same change. Propane can't show swapped sensors.",
	measure.OneLess:    "One bank corrects less: sensor, trim limit or a bank that draws less air. Propane can't show swapped sensors.",
	measure.OneSilent:  "One bank doesn't correct: test its sensor's wire next.",
	measure.EachItsOwn: "Each wire moved its own bank's trim: the banks aren't swapped.",
	measure.Crossed:    "Each wire moved the other bank's trim: the two sensors' connectors are swapped.",
	measure.NotTold:    "Not enough to compare the banks.",
}

func doseText(o analysis.Dose) string {
	does, side := "gave up", "rich"
	if o.Side == analysis.Rich {
		does, side = "took up", "lean"
	}
	text := fmt.Sprintf("%s step: %.1f g of oxygen moved and the rear sensor had not gone %s: it %s that much or the rear sensor can't show it", o.Side, o.Grams, side, does)
	if o.Passed {
		least := "at least "
		if o.FromFull && o.Metered {
			least = ""
		}
		text = fmt.Sprintf("%s step: it %s %s%.1f g of oxygen before the rear sensor went %s", o.Side, does, least, o.Grams, side)
	}
	if !o.Metered {
		text += "; airflow was not read, the least that an engine takes was used"
	}
	return text + ". Small engines store less; this alone doesn't judge a catalyst."
}

// BreathingText words how an engine filled in a pull.
func BreathingText(b *measure.Breathing) string {
	text := fmt.Sprintf("volumetric efficiency %.0f %%: %.0f g/s of %.0f g/s for %.2g L at %.0f rpm, total trim %+.0f %%. ",
		100*b.Share, b.Metered, b.Full, b.Litres, b.RPM, b.Trim)
	switch b.Says {
	case measure.Fills:
		return text + "The MAF and the engine agree."
	case measure.MeterLow:
		return text + "Low, and trim adds fuel: the MAF reads low, or air gets in behind it."
	case measure.ChokedAir:
		return text + "Low, and trim agrees: the engine breathes badly (intake, exhaust, cam timing), or it was no full pull."
	case measure.Overfull:
		return text + "More than a full cylinder: boosted, or another displacement."
	}
	return text + "Low, and trim takes fuel out: two faults may be at work; check the displacement."
}

// EntryText is an entry of a visit as people read it: a meter's reading beside what is usual.
func EntryText(entry string) string {
	r, is := meter.Read(entry)
	if !is {
		return Printable(entry)
	}
	usual := fmt.Sprintf("%.4g to %.4g %s", r.Low, r.High, r.Unit)
	if r.Unit == "kPa" {
		usual += fmt.Sprintf(" (%.0f to %.0f psi)", r.Low/kPaInPSI, r.High/kPaInPSI)
	}
	return fmt.Sprintf("meter, %s; usual %s (%s)", readText(r), usual, r.Source)
}

// readText is what a meter read, and whether that is usual.
func readText(r meter.Reading) string {
	value := fmt.Sprintf("%.4g %s", r.Value, r.Unit)
	if r.Unit == "kPa" {
		value += fmt.Sprintf(" (%.0f psi)", r.Value/kPaInPSI)
	}
	return fmt.Sprintf("%s: %s, %s", r.What, value, [...]string{"LOW", "usual", "HIGH"}[1+r.Side()])
}

// MeterSteps are the steps that a visit's meter readings ask for.
func MeterSteps(entries []string) (out []hazard.Advice) {
	for _, r := range meter.Unusual(entries) {
		step := why.Advice(r.Step())
		step.Do = readText(r) + ": " + step.Do
		out = append(out, step)
	}
	return out
}

// MeterLines are the meter readings among a visit's entries, then the steps that they ask for.
func MeterLines(entries []string) (out []string) {
	for _, e := range entries {
		if _, is := meter.Read(e); is {
			out = append(out, EntryText(e))
		}
	}
	for _, step := range MeterSteps(entries) {
		out = append(out, "next: "+step.String())
	}
	return out
}

const kPaInPSI = 6.894757 // NIST SP 811
