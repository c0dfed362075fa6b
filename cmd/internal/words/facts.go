package words

import (
	"fmt"
	"math"
	"strings"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/trimmap"
	"pushback/decode"
)

// Fact is a name and what is so called.
type Fact struct{ What, Text string }

// CodeText words a trouble code.
func CodeText(c dossier.Code) string {
	text := fmt.Sprintf("%s (%s)", c.Code, c.State)
	if meaning := TroubleCode(c.Code); meaning != "" {
		text += ": " + meaning
	}
	if c.ByTest {
		text += ", set during this test (caused by it)"
	}
	return text
}

// CodeKnown is a code on the customer's page.
func CodeKnown(code, meaning string) string {
	text := "! Trouble code " + code
	if meaning != "" {
		text += ": " + meaning
	}
	return text
}

// PresenceText says whether a code was there when codes were read.
func PresenceText(p dossier.Presence) string {
	return [...]string{dossier.NotRead: "not rechecked", dossier.NotThere: "not present", dossier.There: "present"}[p]
}

// NoCodes says which kinds of codes were read and not found, and when; "" where none was read.
func NoCodes(h dossier.CodeHistory) string {
	var parts []string
	if len(h.Twice) > 0 {
		parts = append(parts, "no "+orList(h.Twice)+" codes at the start or at the end")
	}
	if len(h.Once) > 0 {
		parts = append(parts, "no "+orList(h.Once)+" codes when they were read")
	}
	if len(parts) == 0 {
		return ""
	}
	return capital(strings.Join(parts, "; ")) + "."
}

func orList(words []string) string {
	last := len(words) - 1
	if last == 0 {
		return words[0]
	}
	return strings.Join(words[:last], ", ") + " or " + words[last]
}

func capital(s string) string { return strings.ToUpper(s[:min(1, len(s))]) + s[min(1, len(s)):] }

// FreezeHead heads a freeze frame.
func FreezeHead(f dossier.Freeze) string {
	if f.Latest {
		return "when " + f.Code + " came again last"
	}
	return "when " + f.Code + " was set"
}

// FreezeFacts words a freeze frame, a value a line.
func FreezeFacts(f dossier.Freeze) []Fact {
	var out []Fact
	for _, v := range f.Values {
		what, text := v.Name, fmt.Sprintf("%.4g %s", Unsigned(v.Value, 2), v.Unit)
		if s := decode.ByName(v.Name); s != nil {
			what = s.What
		}
		if strings.HasPrefix(v.Name, "FUELSYS") {
			if v.Value == 0 {
				continue // not in use
			}
			text = FuelStatus(byte(v.Value))
		}
		out = append(out, Fact{what, InUnits(strings.TrimSpace(text))})
	}
	return out
}

// MonitorsText words the monitors as last read.
func MonitorsText(m dossier.Monitors) string {
	text := "all complete"
	if len(m.Incomplete) > 0 {
		text = fmt.Sprintf("%d of %d complete; not yet: %s", len(m.Complete), len(m.Complete)+len(m.Incomplete), strings.Join(m.Incomplete, ", "))
	}
	if len(m.Finished) > 0 {
		text += "; finished in this session: " + strings.Join(m.Finished, ", ")
	}
	return text
}

// ReadinessFacts words the monitors as they were read first and last, or as read once.
func ReadinessFacts(r dossier.Readiness) []Fact {
	switch {
	case r.First == nil:
		return nil
	case r.Last == nil || r.Last == r.First: // the same reading, not an equal one
		return []Fact{{"When they were read", Readiness(r.First)}}
	}
	return []Fact{{"At the start", Readiness(r.First)}, {"At the end", Readiness(r.Last)}}
}

// TestText words one of the computer's own figures.
func TestText(t decode.TestResult) string {
	if t.NotRun {
		return "not completed since the codes were cleared"
	}
	text := strings.TrimSpace(fmt.Sprintf("%s %s", testFigure(t.Value), t.Unit))
	noMin, noMax := math.IsNaN(t.Min), math.IsNaN(t.Max)
	switch {
	case noMin && noMax, t.Min == t.Value && t.Max == t.Value: // a constant of the computer's
	case noMin:
		text += fmt.Sprintf(" (at most %s)", testFigure(t.Max))
	case noMax:
		text += fmt.Sprintf(" (at least %s)", testFigure(t.Min))
	default:
		text += fmt.Sprintf(" (limits %s to %s)", testFigure(t.Min), testFigure(t.Max))
	}
	if !t.Passed() {
		text += " FAILED"
	}
	if !t.Known {
		text += ", raw count"
	}
	return text
}

// testFigure is a test's value in no more places than its unit resolves (0.305 mV of a volt: SAE J1979, scaling 0A).
func testFigure(v float64) string {
	if math.Abs(v) < 10 {
		return fmt.Sprintf("%.3g", v)
	}
	return fmt.Sprintf("%.4g", v)
}

// OwnTestFact words one of the computer's own figures beside the recording's.
func OwnTestFact(t dossier.OwnTest) Fact {
	text := TestText(t.TestResult)
	if !math.IsNaN(t.Recorded) {
		text += fmt.Sprintf("; recording %.3g", t.Recorded)
	}
	if t.Differs != "" {
		text += " (" + DifferenceText(t.Differs) + ")"
	}
	return Fact{strings.TrimSpace(t.Sensor + " " + TestName(t.TestResult)), text}
}

// DifferenceText says in what a recording differs from the computer's own figure; "" in nothing.
func DifferenceText(d dossier.Difference) string {
	return map[dossier.Difference]string{
		dossier.OtherSpeed: "differs from this recording", dossier.AnotherPace: "differs from this recording",
		dossier.GoesLower: "this recording goes lower", dossier.NotAsLow: "this recording doesn't go as low",
		dossier.GoesHigher: "this recording goes higher", dossier.NotAsHigh: "this recording doesn't go as high",
	}[d]
}

var conditionWords = map[string]string{
	"ECT": "coolant", "RPM": "engine speed", "LOAD_PCT": "load", "VSS": "vehicle speed",
	"LONGFT1": "long-term trim, bank 1", "LONGFT2": "long-term trim, bank 2",
	"EQ_RAT11": "wide-range B1S1", "EQ_RAT21": "wide-range B2S1",
}

// RangeFact words what a signal went through.
func RangeFact(r dossier.Range) Fact {
	unit := r.Unit
	if unit == "1" {
		unit = "lambda" // the only ratio that is shown
	}
	return Fact{conditionWords[r.Name], InUnits(fmt.Sprintf("%.4g to %.4g %s (%d readings)", r.Min, r.Max, unit, r.Count))}
}

// FuelShares words how long the fuel system was in which status.
func FuelShares(shares []dossier.FuelShare) string {
	total := 0
	for _, s := range shares {
		total += s.Count
	}
	if total == 0 {
		return "status not read"
	}
	parts := make([]string, len(shares))
	for i, s := range shares {
		parts[i] = fmt.Sprintf("%s in %.0f %%", FuelStatus(s.Status), 100*float64(s.Count)/float64(total))
	}
	return fmt.Sprintf("%s of %d readings", strings.Join(parts, ", "), total)
}

// ConditionFacts are the conditions of a test: how it was forced, the engine, the fuel system.
func ConditionFacts(d *dossier.Dossier) (forced Fact, conditions []Fact) {
	sensor := d.Setup.Sensor.String()
	forced = Fact{"Tested", sensor + ", by the " + string(d.Setup.By)}
	switch d.Forcing() {
	case dossier.NotForced:
		forced = Fact{"Watched", sensor}
	case dossier.ForceMarked:
		forced.Text += ", as the technician marked; the reading shows no step"
	}
	for _, r := range d.Conditions {
		f := RangeFact(r)
		conditions = append(conditions, Fact{capital(f.What), f.Text})
	}
	return forced, append(conditions, Fact{"Fuel system", FuelShares(d.Fuel)})
}

// LeftText says how many readings of trim were left out, and why; "" none.
func LeftText(l trimmap.Left) string {
	var out []string
	for _, k := range []struct {
		n    int
		what string
	}{{l.OpenLoop, "open loop"}, {l.Cold, "cold"}, {l.Forced, "during a test step"}, {l.Stopped, "engine not running"}, {l.Unsteady, "not steady"}, {l.Unknown, "engine speed not read"}} {
		if k.n > 0 {
			out = append(out, fmt.Sprintf("%d %s", k.n, k.what))
		}
	}
	return strings.Join(out, ", ")
}

// JudgedAnew says that a stored verdict was another than the records give now.
func JudgedAnew(stored, now analysis.Conclusion, id string) string {
	if stored == now {
		return fmt.Sprintf("The stored verdict is the same (%s), with other details. This is today's judgment of the same records; `pushback replay %s --store` saves it.", ConclusionShort(string(now)), id)
	}
	return fmt.Sprintf("The stored verdict was different: %s. This is today's judgment of the same records; `pushback replay %s --store` saves it.", Printable(ConclusionShort(string(stored))), id)
}
