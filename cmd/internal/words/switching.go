package words

import (
	"fmt"
	"math"

	"pushback/analysis/switching"
)

// atPace words readings/s, where there are enough to tell.
func atPace(perSecond float64) string {
	if math.IsNaN(perSecond) {
		return ""
	}
	return fmt.Sprintf(" at %.1f readings/s", perSecond)
}

// Unsigned is v without a sign where it is printed as nothing: nobody reads -0 %.
func Unsigned(v float64, digits int) float64 {
	if math.Abs(v) < 0.5*math.Pow10(-digits) {
		return 0
	}
	return v
}

// Signed is a figure with its sign and so many decimals; never minus nothing.
func Signed(v float64, digits int) string { return fmt.Sprintf("%+.*f", digits, Unsigned(v, digits)) }

// PaceText words how often a sensor changed side.
func PaceText(b switching.SpeedBand) string {
	switch {
	case math.IsNaN(b.Per10s):
		return "cross-counts can't be measured" + atPace(b.PerSecond)
	case math.IsNaN(b.Period):
		return fmt.Sprintf("%.1f cross-counts in 10 s", b.Per10s)
	}
	return fmt.Sprintf("%.1f cross-counts in 10 s; period %.2f s, rich %.2f s, lean %.2f s", b.Per10s, b.Period, b.Rich, b.Lean)
}

// ReadingsText is how many readings there were, and how many a second if that is known.
func ReadingsText(b switching.SpeedBand) string {
	if math.IsNaN(b.PerSecond) {
		return fmt.Sprintf("%d readings", b.Readings)
	}
	return fmt.Sprintf("%d readings (%.1f/s)", b.Readings, b.PerSecond)
}

// LimitText words the state of a figure beside what is usual; "" where it is usual.
func LimitText(state string) string {
	return map[string]string{"between": "borderline", "unusual": "outside the usual range"}[state]
}

// SwitchingRows are the figures of a band, with the limit of switching that each is set beside.
var SwitchingRows = []struct {
	What  string
	Limit string // switching.Limit.What; "" none
	Text  func(b switching.SpeedBand) string
}{
	{"readings", "", func(b switching.SpeedBand) string {
		if math.IsNaN(b.PerSecond) {
			return fmt.Sprint(b.Readings)
		}
		return fmt.Sprintf("%d, %.1f/s", b.Readings, b.PerSecond)
	}},
	{"lowest (1 %)", "lowest voltage, V", func(b switching.SpeedBand) string { return measured("%.2f V", b.Low) }},
	{"highest (99 %)", "highest voltage, V", func(b switching.SpeedBand) string { return measured("%.2f V", b.High) }},
	{"swing", "swing, V", func(b switching.SpeedBand) string { return measured("%.2f V", b.High-b.Low) }},
	{"mean", "", func(b switching.SpeedBand) string { return measured("%.2f V", b.Mean) }},
	{"rich of the time", "", func(b switching.SpeedBand) string { return measured("%.0f %%", 100*b.ShareRich) }},
	{"cross-counts in 10 s", "changes of side in 10 s", func(b switching.SpeedBand) string { return measured("%.1f", b.Per10s) }},
	{"period", "", func(b switching.SpeedBand) string { return measured("%.2f s", b.Period) }},
	{"rise from 0.30 to 0.60 V", "rise from 0.30 to 0.60 V, s", func(b switching.SpeedBand) string { return FlankText(b.Rise, b.PerSecond) }},
	{"fall from 0.60 to 0.30 V", "fall from 0.60 to 0.30 V, s", func(b switching.SpeedBand) string { return FlankText(b.Fall, b.PerSecond) }},
}

func measured(format string, v float64) string {
	if math.IsNaN(v) {
		return "not measurable"
	}
	return fmt.Sprintf(format, v)
}

// BesideUsual sets a figure beside what is usual.
func BesideUsual(l switching.Limit) string {
	return fmt.Sprintf("%s %.2f is %s (%s); that alone doesn't make a sensor bad", l.What, l.Value, LimitText(l.State), l.Usual)
}

// FlankText words how fast a sensor crosses, honest about what so many readings a second can show.
func FlankText(e switching.Edge, perSecond float64) string {
	switch {
	case e.Count == 0:
		return "none seen"
	case !e.Shown():
		return fmt.Sprintf("not measurable at %.1f readings/s", perSecond)
	case e.AtLeast > 0:
		return fmt.Sprintf("between %.0f and %.0f ms", 1e3*e.AtLeast, 1e3*e.AtMost)
	}
	return fmt.Sprintf("within %.0f ms", 1e3*e.AtMost)
}
