package words

import (
	"fmt"
	"math"
	"strings"

	"pushback/analysis"
	"pushback/decode"
)

// RestingFact is what readings show apart from any force, in lines.
type RestingFact struct {
	What  string // a sensor, or trim
	Lines []string
}

// Resting words what a session's readings show apart from any force: how the sensor switches and
// where the trims lie.
func Resting(sensor string, f analysis.Figures) []RestingFact {
	var out []RestingFact
	if f.Readings > 0 {
		lines := []string{
			fmt.Sprintf("%.2f to %.2f V, mean %.2f V%s", f.Low, f.High, f.Mean, strings.Replace(atPace(f.PerSecond), " at", ",", 1)),
			fmt.Sprintf("below 0.20 V %.0f %%, 0.20 to 0.70 V %.0f %%, above 0.70 V %.0f %% of %d readings",
				100*f.ShareLean, 100*f.ShareMid, 100*f.ShareRich, f.Readings)}
		switch {
		case !math.IsNaN(f.Per10s):
			lines = append(lines, fmt.Sprintf("cross-counts %.0f in 10 s", f.Per10s))
		case f.Seconds >= 5:
			lines = append(lines, "cross-counts can't be measured"+atPace(f.PerSecond))
		}
		out = append(out, RestingFact{sensor, lines})
	}
	if f.TrimCount > 0 {
		line := fmt.Sprintf("short-term %+.1f to %+.1f %%, mean %+.1f %%", Unsigned(f.ShortLow, 1), Unsigned(f.ShortHigh, 1), Unsigned(f.ShortMean, 1))
		if f.LongCount > 0 {
			line += fmt.Sprintf("; long-term mean %+.1f %%; total %+.1f %%", Unsigned(f.LongMean, 1), Unsigned(decode.TotalTrim(f.ShortMean, f.LongMean), 1))
		}
		out = append(out, RestingFact{"trim", []string{line}})
	}
	return out
}

// FigureLines is that in lines for a terminal, under a head; none where nothing was read.
func FigureLines(sensor string, f analysis.Figures) []string {
	var out []string
	for _, r := range Resting(sensor, f) {
		sign := r.What + "  "
		for _, text := range r.Lines {
			out = append(out, "  "+sign+text)
			sign = "      "
		}
	}
	if len(out) > 0 {
		out = append([]string{"at rest (no test running):"}, out...)
	}
	return out
}
