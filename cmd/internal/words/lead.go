package words

import (
	"fmt"
	"math"
	"time"

	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words/why"
)

// LeadStep says what to drive next to fill the trim map, its caution in a line of its own, or that it is enough.
func LeadStep(g trimmap.Guidance) []string {
	switch {
	case g.Enough && g.Apart:
		return []string{"ENOUGH: leak, supply and scale are told apart."}
	case g.Enough:
		return []string{"ENOUGH: nothing is left to drive that would tell leak, supply and scale apart."}
	}
	step := why.Advice(g.What)
	what := step.Do
	if g.Wait > 0 {
		what = fmt.Sprintf("as you like for about %.0f min, then %s", math.Ceil(g.Wait/60), what)
	}
	return []string{"DRIVE: " + what, "! " + step.Caution()}
}

// LeadFills says how far a step of that drive is, and the cell of the map that is being filled.
func LeadFills(at time.Duration, g trimmap.Guidance) string {
	text := fmt.Sprintf("%s: %d of %d s for this step", Clock(at), g.Have, g.Want)
	if g.Wait > 0 {
		text += fmt.Sprintf(", which counts %.0f s from now", math.Ceil(g.Wait))
	}
	if c := g.Cell; c != nil {
		text += fmt.Sprintf("; filling %s rpm, load %s %%: %.0f s, trim %+.1f %%",
			EdgeText(trimmap.SpeedEdges, c.Speed), EdgeText(trimmap.LoadEdges, c.Load), c.Seconds, c.Mean)
	}
	return text
}

// driveSteps are the steps of that drive in large letters, and as they are spoken.
var driveSteps = map[string]struct{ big, voice string }{
	"map_idle":       {"IDLE", "Warm idle"},
	"map_1500":       {"1500 RPM", "1500 r p m, no load"},
	"map_2500":       {"2500 RPM", "2500 r p m, no load"},
	"map_cruise":     {"CRUISE", "Steady cruise, high gear"},
	"map_pull":       {"PULL", "Long pull, when the road is clear"},
	"map_idle_again": {"IDLE AGAIN", "Idle again"},
	"done":           {"ENOUGH", "Enough. The drive is done"},
}

// driveBig is a step of that drive with the seconds that it still wants; over: it was ended.
func driveBig(g trimmap.Guidance, over bool) Headline {
	big := driveSteps[g.Step].big
	if over && !g.Enough {
		return Headline{Text: "STOPPED"}
	}
	if left := g.Want - g.Have; !g.Enough && left > 0 {
		return Headline{Text: fmt.Sprintf("%s %d", big, left)}
	}
	return Headline{Text: big}
}

// driveSays is the step in full; over: the drive was ended.
func driveSays(g trimmap.Guidance, over bool) string {
	if over && !g.Enough {
		return "Stopped before it was enough: the map shows what it has."
	}
	return LeadStep(g)[0]
}

// IdleText words the idle at the start and minutes later.
func IdleText(i trimmap.Idle) string {
	return fmt.Sprintf("%+.1f %% at first, %+.1f %% %.0f min later: %s", i.First, i.Later, i.Minutes, why.Text(i.Says))
}
