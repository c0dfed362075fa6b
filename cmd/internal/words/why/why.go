// Package why has the sentences of reasons: what analysis hands over as codes with figures, people read from here. A line
// that is printed or kept has the sentences too; see package reason for how they are read again.
package why

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
)

// sentence is what is said for a code, and what can hurt at what it asks to do.
type sentence struct {
	text    string
	hazards []hazard.Kind
}

// may is what can hurt.
type may []hazard.Kind

// sentences are data, with no call in them, so the program needs no code to make them (0.1 MB).
type sentences map[reason.Code]sentence

// all of them.
var all = func() sentences {
	s := sentences{reason.Told: {text: "%s"}, reason.Because: {text: ": "}}
	for _, some := range []sentences{proofs, conditions, advice, weighed, wide, rear, trims, tools} {
		maps.Copy(s, some)
	}
	return s
}()

// Text is a reason as people read it, with the cautions of what it asks to do.
func Text(r reason.Reason) string { return Advice(r).String() }

// Advice is a reason as people read it, and what can hurt at what it asks to do.
//
// Special cases are: no reason is an empty text; a code that is not known, and figures that do not fit,
// are shown as package fmt shows what is wrong; one that was read from a session has its cautions in its text.
func Advice(r reason.Reason) hazard.Advice {
	text := ""
	var hazards []hazard.Kind
	for _, c := range r {
		s, known := all[c.Code]
		if !known {
			s.text = fmt.Sprintf("%%!(reason %q)", c.Code)
		}
		if c.Code == reason.Stop {
			text = strings.TrimSuffix(text, "?") // nobody is asked
		}
		text += fmt.Sprintf(s.text, figures(c.Figures)...)
		hazards = append(append(hazards, s.hazards...), c.Hazards...)
	}
	if r.Below() {
		text = "  " + text
	}
	return hazard.Advice{Do: text, Hazards: hazards}
}

// Texts is Text of each.
func Texts(of []reason.Reason) []string {
	if of == nil {
		return nil
	}
	out := make([]string, len(of))
	for i, r := range of {
		out[i] = Text(r)
	}
	return out
}

// Advices is Advice of each.
func Advices(of []reason.Reason) []hazard.Advice {
	out := make([]hazard.Advice, len(of))
	for i, r := range of {
		out[i] = Advice(r)
	}
	return out
}

// figures are those of a sentence, in words where they are more than a number.
func figures(of []any) []any {
	out := slices.Clone(of)
	for i, f := range out {
		switch f := f.(type) {
		case reason.Interval:
			out[i] = interval(f)
		case reason.Chance:
			out[i] = odds(float64(f))
		case reason.Conditions:
			if out[i] = fmt.Sprintf("%d conditions", f); f == 1 {
				out[i] = "1 condition"
			}
		case reason.Reason:
			out[i] = Text(f)
		}
	}
	return out
}

// interval says an interval of seconds.
func interval(i reason.Interval) string {
	lo, hi := fmt.Sprintf("%.1f", i.Lo), fmt.Sprintf("%.1f", i.Hi)
	if lo == hi {
		return hi + " s"
	}
	return lo + " to " + hi + " s"
}

// odds says a probability as people do.
func odds(p float64) string {
	switch {
	case p <= 0:
		return "none: it was never there"
	case p > 0.5:
		return "better than even"
	case p < 1e-12:
		return "less than 1 in a million million"
	case p < 1e-6:
		digit := math.Pow(10, math.Floor(-math.Log10(p)))
		return fmt.Sprintf("1 in %.0f million", math.Round(1/p/digit)*digit/1e6)
	}
	return fmt.Sprintf("1 in %.0f", 1/p)
}

// told is a reason in words.
func told(r reason.Reason) reason.Reason {
	if text := Text(r); text != "" {
		return reason.Told.Of(text)
	}
	return nil
}

// Told is each of them in words, as it is printed and kept.
func Told(of []reason.Reason) []reason.Reason {
	out := slices.Clone(of)
	for i, r := range out {
		out[i] = told(r)
	}
	return out
}

// Verdict is a verdict with its reasons in words, as it is printed and kept.
func Verdict(v analysis.Verdict) analysis.Verdict {
	v.Proofs = slices.Clone(v.Proofs)
	for i := range v.Proofs {
		v.Proofs[i].Why = told(v.Proofs[i].Why)
	}
	v.Next = Told(v.Next)
	if v.Beside != nil {
		beside := Verdict(*v.Beside)
		v.Beside = &beside
	}
	return v
}

// Event is an event with its reasons in words, as it is printed and kept.
func Event(e analysis.Event) analysis.Event {
	e.Reasons, e.Status = Told(e.Reasons), told(e.Status)
	return e
}

// Events is Event of each.
func Events(events []analysis.Event) []analysis.Event {
	out := slices.Clone(events)
	for i, e := range out {
		out[i] = Event(e)
	}
	return out
}
