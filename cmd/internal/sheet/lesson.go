package sheet

import (
	"fmt"
	"io"
	"math"
	"strings"

	"pushback/analysis"
	"pushback/cmd/internal/simrun"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
	"pushback/obd/simcar"
)

// Lesson is the JSON of a lesson on a hidden car.
type Lesson struct {
	Seed    uint64           `json:"seed"`
	Session string           `json:"session"`
	Seconds []LessonSecond   `json:"seconds"`
	Answer  string           `json:"answer"` // a conclusion; "": none was given
	Step    string           `json:"next_step"`
	Right   bool             `json:"right"`
	Car     Car              `json:"car"`
	Expects []string         `json:"expects"` // conclusions that are right
	Verdict analysis.Verdict `json:"verdict"` // of the program
}

// LessonSecond is the JSON of one second of it.
type LessonSecond struct {
	T     int      `json:"t"`
	Low   *Number  `json:"low_v,omitempty"`
	High  *Number  `json:"high_v,omitempty"`
	Rich  *Number  `json:"low_lambda,omitempty"` // of a wide-range sensor, in place of volts
	Lean  *Number  `json:"high_lambda,omitempty"`
	Trim  Number   `json:"short_trim_pct"`
	Long  Number   `json:"long_trim_pct"`
	Other Number   `json:"other_bank_trim_pct"`
	Rear  Number   `json:"rear_v"`
	RPM   Number   `json:"rpm"`
	Steps []string `json:"steps,omitempty"`
}

// LessonOf is the JSON of a lesson, before it was answered.
func LessonOf(seed uint64, id string, seconds []simrun.Second, by analysis.By, c simcar.Car, v analysis.Verdict) Lesson {
	l := Lesson{Seed: seed, Session: id, Car: Car{c.Name, c.About}, Expects: simrun.Expects(c), Verdict: why.Verdict(v)}
	for _, s := range seconds {
		j := LessonSecond{T: s.At, Trim: Number(s.Trim), Long: Number(s.Long),
			Other: Number(s.Other), Rear: Number(s.Rear), RPM: Number(s.RPM)}
		low, high := Number(s.Low), Number(s.High)
		if by == analysis.ByMixture {
			j.Rich, j.Lean = &low, &high
		} else {
			j.Low, j.High = &low, &high
		}
		for _, p := range s.Steps {
			j.Steps = append(j.Steps, p.Step(by))
		}
		l.Seconds = append(l.Seconds, j)
	}
	return l
}

// WriteLesson prints what was read, with the steps between, and the verdicts to choose from; the
// car and what was made of it are not told.
func WriteLesson(w io.Writer, name string, seconds []simrun.Second, sensor string, by analysis.By) {
	fmt.Fprintf(w, "%s\n", strings.ToUpper(name))
	intro, unit := words.LessonIntro, " V"
	if by == analysis.ByMixture {
		intro, unit = words.LessonMixture, " λ"
	}
	term.Indent(w, "", intro)
	other := false
	for _, s := range seconds {
		other = other || !math.IsNaN(s.Other)
	}
	head := fmt.Sprintf("\n%5s  %-11s  %6s  %6s", "s", sensor+unit, "STFT %", "LTFT %")
	if other {
		head += "  other bank"
	}
	fmt.Fprintln(w, head+"   rear V   rpm")
	for _, s := range seconds {
		for _, p := range s.Steps {
			if p.Side != "" {
				p.Seen = true // what the watcher has seen is part of the answer
				fmt.Fprintf(w, "       --- %s: %s ---\n", strings.ToLower(string(p.Side)), words.Step(p))
			}
		}
		line := fmt.Sprintf("%5d  %-11s  %6s  %6s", s.At, span(s.Low, s.High), figure("%+.1f", s.Trim), figure("%+.1f", s.Long))
		if other {
			line += fmt.Sprintf("  %10s", figure("%+.1f", s.Other))
		}
		fmt.Fprintln(w, line+fmt.Sprintf("  %7s  %4s", figure("%.2f", s.Rear), figure("%.0f", s.RPM)))
	}
	fmt.Fprintln(w)
	for i, c := range words.Answers() {
		term.Indent(w, fmt.Sprintf("%2d  ", i+1), words.ConclusionName(c)+": "+words.ConclusionMeans(c))
	}
}

// WriteTruth prints the answer beside the truth, and what told it.
func WriteTruth(w io.Writer, l Lesson) {
	mark := words.LessonNone
	switch {
	case l.Right:
		mark = words.LessonRight
	case l.Answer != "":
		mark = words.LessonWrong
	}
	fmt.Fprintf(w, "\n%s\n", mark)
	term.Indent(w, "the car: ", l.Car.Name+". "+l.Car.About)
	var right []string
	for _, e := range l.Expects {
		right = append(right, words.ConclusionName(analysis.Conclusion(e)))
	}
	term.Indent(w, "right answer: ", strings.Join(right, " or "))
	if l.Step != "" {
		term.Indent(w, "your next step: ", l.Step)
	}
	fmt.Fprintln(w, "\nwhat told it:")
	term.StyleOf(w).WriteVerdict(w, l.Verdict, false)
}

func span(lo, hi float64) string {
	if math.IsNaN(lo) {
		return "–"
	}
	return fmt.Sprintf("%.2f..%.2f", lo, hi)
}

func figure(format string, v float64) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf(format, v)
}
