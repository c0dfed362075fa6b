// Package hazardtest finds advice that lacks a caution, by words of its own: it knows nothing
// of which hazards the advice was written with.
package hazardtest

import (
	"regexp"
	"strings"

	"pushback/analysis/hazard"
)

// hurts says by which words a step shows that it has a hazard.
var hurts = []struct {
	words *regexp.Regexp
	kind  hazard.Kind
}{
	{regexp.MustCompile(`(?i)propane|\benrich`), hazard.Propane},
	{regexp.MustCompile(`(?i)fuel pressure|pressure and volume|injectors and their drive|pressure regulator`), hazard.Fuel},
	{regexp.MustCompile(`(?i)induced lean|hose off|a vacuum hose$|\blean the mixture|(^|or )lean until|move the mixture`), hazard.Hose},
	{regexp.MustCompile(`(?i)rpm without load|at 2[05]00 (to 2500 )?rpm|warm idle|let it idle|warm it up|wait until it has run`), hazard.Running},
	{regexp.MustCompile(`(?i)on the road|cruise|pulls|under load: a leak`), hazard.Road},
	{regexp.MustCompile(`(?i)(^|[^t] )(hold|force|repeat) [^;:]*\b(signal|wire|contact)|wire is held|the wire (from|between)|contact's resistance`), hazard.Wire},
	{regexp.MustCompile(`(?i)heater|replace the sensor|sensor connectors`), hazard.Heater},
}

// Missing returns the cautions that a step, or any text that shows one, lacks. byMixture: no wire
// is touched.
func Missing(step string, byMixture bool) []string {
	advice, _, _ := strings.Cut(step, hazard.Mark)
	flat := strings.Join(strings.Fields(step), " ")
	var out []string
	for _, h := range hurts {
		if byMixture && h.kind == hazard.Wire {
			continue
		}
		if h.words.MatchString(advice) && !strings.Contains(flat, h.kind.Caution()) {
			out = append(out, h.kind.Caution())
		}
	}
	return out
}
