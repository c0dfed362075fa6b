package words

import (
	"fmt"
	"math"

	"pushback/analysis"
)

// FigureLines words what a session's readings show apart from any force: how the
// sensor switches and where the trims lie.
func FigureLines(sensor string, f analysis.Figures) []string {
	var out []string
	if f.Readings > 0 {
		out = append(out,
			fmt.Sprintf("%s  %.2f to %.2f V, mean %.2f V, %.1f readings/s", sensor, f.Low, f.High, f.Mean, f.PerSecond),
			fmt.Sprintf("      below 0.20 V %.0f %%, 0.20 to 0.70 V %.0f %%, above 0.70 V %.0f %% of %d readings",
				100*f.ShareLean, 100*f.ShareMid, 100*f.ShareRich, f.Readings))
		switch {
		case !math.IsNaN(f.Per10s):
			out = append(out, fmt.Sprintf("      changes of side %.1f in 10 s", f.Per10s))
		case f.Seconds >= 5:
			out = append(out, fmt.Sprintf("      changes of side not measurable at %.1f readings/s", f.PerSecond))
		}
	}
	if f.TrimCount > 0 {
		line := fmt.Sprintf("trim  short-term %+.1f to %+.1f %%, mean %+.1f %%", f.ShortLow, f.ShortHigh, f.ShortMean)
		if f.LongCount > 0 {
			line += fmt.Sprintf("; long-term mean %+.1f %%; total %+.1f %%", f.LongMean, f.ShortMean+f.LongMean)
		}
		out = append(out, line)
	}
	if len(out) > 0 {
		out = append([]string{"while nobody forced:"}, indent(out)...)
	}
	return out
}

func indent(lines []string) []string {
	out := make([]string, len(lines))
	for i, l := range lines {
		out[i] = "  " + l
	}
	return out
}
