package sheet

import (
	"fmt"
	"io"
	"math"

	"pushback/analysis/switching"
	"pushback/cmd/internal/words"
)

// Band is the JSON of how the sensor switched at one kind of engine speed.
type Band struct {
	Band      string            `json:"band"`
	Readings  int               `json:"readings"`
	PerSecond Number            `json:"readings_per_s"`
	Low       Number            `json:"low_v"`
	High      Number            `json:"high_v"`
	Mean      Number            `json:"mean_v"`
	ShareRich Number            `json:"share_rich"`
	Per10s    Number            `json:"changes_in_10s"` // null: not measurable at this rate
	Period    Number            `json:"period_s"`
	Rich      Number            `json:"rich_s"`
	Lean      Number            `json:"lean_s"`
	Rise      Edge              `json:"rise_0_30_to_0_60"`
	Fall      Edge              `json:"fall_0_60_to_0_30"`
	Limits    []switching.Limit `json:"limits"`
}

// Edge is the JSON of a transition.
type Edge struct {
	AtLeast Number `json:"at_least_s"` // null: not measurable at this rate
	AtMost  Number `json:"at_most_s"`
	Text    string `json:"text"`
}

func bandOf(b switching.SpeedBand) Band {
	edge := func(e switching.Edge) Edge {
		j := Edge{Number(math.NaN()), Number(math.NaN()), words.FlankText(e, b.PerSecond)}
		if e.Shown() {
			j.AtLeast, j.AtMost = Number(e.AtLeast), Number(e.AtMost)
		}
		return j
	}
	return Band{b.Name, b.Readings, Number(b.PerSecond), Number(b.Low), Number(b.High), Number(b.Mean), Number(b.ShareRich),
		Number(b.Per10s), Number(b.Period), Number(b.Rich), Number(b.Lean), edge(b.Rise), edge(b.Fall), list(b.Limits)}
}

func writeBand(w io.Writer, b switching.SpeedBand) {
	line(w, "switching", fmt.Sprintf("%s: %.2f to %.2f V, mean %.2f V, rich %.0f %% of %s", b.Name,
		b.Low, b.High, b.Mean, 100*b.ShareRich, words.ReadingsText(b)))
	say := func(text string) { line(w, "", "  "+text) }
	say(words.PaceText(b))
	say(fmt.Sprintf("rise 0.30 to 0.60 V %s; fall %s", words.FlankText(b.Rise, b.PerSecond), words.FlankText(b.Fall, b.PerSecond)))
	for _, l := range b.Limits {
		if words.LimitText(l.State) != "" {
			say(words.BesideUsual(l))
		}
	}
}
