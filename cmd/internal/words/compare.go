package words

import (
	"fmt"
	"math"
	"strings"

	"pushback/analysis/compare"
	"pushback/analysis/dossier"
)

// CompareLimit words what a comparison's reader must know.
func CompareLimit(l dossier.Limit) string {
	switch l.ID {
	case dossier.LimitMatched:
		return fmt.Sprintf("only %.0f %% of the readings before and %.0f %% after were taken under matching conditions", 100*l.Shares[0], 100*l.Shares[1])
	case dossier.LimitGone:
		return "a missing code doesn't prove a repair; it may have been cleared"
	case dossier.LimitMonitors:
		return fmt.Sprintf("the ECM hasn't finished its own tests since (%s)", strings.Join(l.Names, ", "))
	case dossier.LimitVehicles:
		return fmt.Sprintf("these are two different vehicles: %s and %s", Printable(l.Names[0]), Printable(l.Names[1]))
	case dossier.LimitSensors:
		return fmt.Sprintf("two different sensors were watched: %s and %s", l.Names[0], l.Names[1])
	}
	return ""
}

// CompareLimits words all of them.
func CompareLimits(limits []dossier.Limit) []string {
	out := []string{}
	for _, l := range limits {
		out = append(out, CompareLimit(l))
	}
	return out
}

// ForceName names what of the force test is compared to other programs; a proof by its id.
func ForceName(p dossier.ForcePair) string {
	switch p.What {
	case dossier.ForceProof:
		return string(p.Proof)
	case dossier.ForceLatency:
		return "answer to " + string(p.Side)
	case dossier.ForceRate:
		return "speed of answer to " + string(p.Side)
	}
	return "conclusion"
}

// ForceTitle says it to people.
func ForceTitle(p dossier.ForcePair) string {
	switch p.What {
	case dossier.ForceProof:
		return ProofTitles[p.Proof]
	case dossier.ForceLatency:
		return "response to the " + string(p.Side) + " step"
	case dossier.ForceRate:
		return "trim rate in the " + string(p.Side) + " step"
	}
	return "conclusion"
}

// ForceText words one side of such a pair; "" where it is not known.
func ForceText(what dossier.ForceFigure, v dossier.ForceValue) string {
	switch {
	case what != dossier.ForceLatency && what != dossier.ForceRate:
		return v.Said
	case !v.Known():
		return ""
	case what == dossier.ForceLatency:
		return Within(v.Lo, v.Hi)
	}
	return fmt.Sprintf("%.2f to %.2f %%/s", v.Lo, v.Hi)
}

// ForceRow is what, before, after, answer.
func ForceRow(p dossier.ForcePair) []string {
	return []string{strings.TrimSpace(p.Sensor + " " + ForceTitle(p)), plain(ForceText(p.What, p.Before)), plain(ForceText(p.What, p.After)), plain(string(p.Answer))}
}

// SensorRow is what, before, after, difference, answer; ok is false where neither side was measured.
func SensorRow(f compare.Figure) (cells []string, ok bool) {
	text := func(v float64) string {
		if math.IsNaN(v) {
			return "not measurable"
		}
		return strings.TrimSpace(fmt.Sprintf("%.2f %s", v, f.Unit))
	}
	diff := ""
	if !math.IsNaN(f.Diff.Lo + f.Diff.Hi) {
		diff = fmt.Sprintf("%s (%s to %s)", Signed(f.Diff.Value, 2), Signed(f.Diff.Lo, 2), Signed(f.Diff.Hi, 2))
	}
	return []string{f.Band + ": " + f.What, text(f.Before), text(f.After), diff, plain(string(f.Answer))},
		!math.IsNaN(f.Before) || !math.IsNaN(f.After)
}

// TestRow is what, before, after, change; ok is false for what stands still by definition.
func TestRow(p dossier.TestPair) (cells []string, ok bool) {
	of := func(t *dossier.OwnTest) string {
		if t == nil {
			return "not read"
		}
		return TestText(t.TestResult)
	}
	t := p.Of()
	return []string{strings.TrimSpace(t.Sensor + " " + TestName(t.TestResult)), of(p.Before), of(p.After), string(p.Change)}, !p.Still()
}

// plain writes a name of other programs as people do.
func plain(s string) string { return strings.ReplaceAll(s, "_", " ") }

// TwoVehicles is the answer where two cars were compared.
const TwoVehicles = "TWO DIFFERENT VEHICLES"

// CompareAnswer is the answer of a comparison in large letters.
func CompareAnswer(r compare.Result, different bool) string {
	if different {
		return TwoVehicles
	}
	if r.Answer == compare.NoDifference && r.Shifted {
		return "CHANGED, BUT NO CLOSER TO ZERO"
	}
	return strings.ToUpper(plain(string(r.Answer)))
}

// DifferenceCell is a difference with its 95 % interval.
func DifferenceCell(c compare.Change) string {
	return fmt.Sprintf("%s (%s to %s)", Signed(c.Diff.Value, 1), Signed(c.Diff.Lo, 1), Signed(c.Diff.Hi, 1))
}

// EdgeText is the range from an edge to the next: '1000-1500', or '4000+' without an end.
func EdgeText(edges []float64, i int) string {
	if math.IsInf(edges[i+1], 1) {
		return fmt.Sprintf("%.0f+", edges[i])
	}
	return fmt.Sprintf("%.0f-%.0f", edges[i], edges[i+1])
}
