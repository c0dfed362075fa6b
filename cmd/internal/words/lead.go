package words

import (
	"fmt"
	"time"

	"pushback/analysis/hazard"
	"pushback/analysis/trimmap"
)

// LeadStep says what to drive next to fill the trim map, its caution in a line of its own, or that it is enough.
func LeadStep(g trimmap.Guidance) []string {
	switch {
	case g.Apart:
		return []string{"ENOUGH: leak, supply and scale are told apart."}
	case g.Enough:
		return []string{"ENOUGH: nothing is left to drive that would tell leak, supply and scale apart."}
	}
	what, caution := hazard.Cut(g.What)
	return []string{"DRIVE: " + what, "! " + caution}
}

// LeadFills says how far a step of that drive is, and the cell of the map that is being filled.
func LeadFills(at time.Duration, g trimmap.Guidance) string {
	text := fmt.Sprintf("%s: %d of %d s for this step", Clock(at), g.Have, g.Want)
	if c := g.Cell; c != nil {
		text += fmt.Sprintf("; filling %s rpm, load %s %%: %.0f s, trim %+.1f %%",
			EdgeText(trimmap.SpeedEdges, c.Speed), EdgeText(trimmap.LoadEdges, c.Load), c.Seconds, c.Mean)
	}
	return text
}
