package words

import (
	"fmt"
	"strings"
	"time"

	"pushback/analysis/session"
)

// AfterTest heads what a test leaves behind.
const AfterTest = "After the test"

// AfterLines says what a test leaves behind in the ECM; none where no step was seen and no code set.
func AfterLines(a *session.Aftermath) []string {
	var out []string
	if len(a.Stored) > 0 {
		out = append(out, "stored because of this test: "+strings.Join(a.Stored, ", ")+". Write them down; `pushback clear` clears them.")
	}
	if len(a.Pending) > 0 {
		out = append(out, "pending because of this test: "+strings.Join(a.Pending, ", ")+". They clear on their own over the next good drives, or with `pushback clear`.")
	}
	if !a.Learned() {
		return out
	}
	long := fmt.Sprintf("LTFT moved %s %% from %s %%", Signed(a.Most, 1), Signed(a.Before, 1))
	after, back := a.IsBack()
	switch {
	case !a.Moved():
		out = append(out, fmt.Sprintf("LTFT stayed within %.0f %% of %s %%: the ECM learned nothing from it.", session.LearnedBack, Signed(a.Before, 1)))
	case back && after < 1e9:
		out = append(out, long+fmt.Sprintf("; back within %.0f %% at the last release.", session.LearnedBack))
	case back:
		out = append(out, long+fmt.Sprintf("; back within %.0f %%, %.0f s after the last release.", session.LearnedBack, after.Seconds()))
	default:
		out = append(out, long+fmt.Sprintf("; still %s %% off at the end%s. Let it idle or drive until it is back within %.0f %%, before trims are judged.",
			Signed(a.Now, 1), foreseen(a), session.LearnedBack))
	}
	return out
}

// foreseen says when long-term trim will be back, as it learned in the steps.
func foreseen(a *session.Aftermath) string {
	after, lo, hi, no := a.Foreseen()
	if no {
		return ""
	}
	return ", by how it learned for about " + span(after) + " more at idle (" + span(lo) + " to " + span(hi) + ")"
}

// span is a time as people say it.
func span(d time.Duration) string {
	switch {
	case d < 100*time.Second:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d > 2*time.Hour:
		return "hours"
	}
	return minutes(d) + " min"
}
