package sheet

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/meter"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
	"pushback/store"
)

// Shown is the JSON of a stored session with its verdict and evidence.
type Shown struct {
	Session Session          `json:"session"`
	Events  []analysis.Event `json:"events"`
	Verdict json.RawMessage  `json:"verdict"`                  // null: the session was not finished
	Stored  json.RawMessage  `json:"stored_verdict,omitempty"` // where it comes to something else
	Found   Stored           `json:"found"`
	Records int              `json:"records"`
	SHA256  string           `json:"records_sha256"`
	Reasons []string         `json:"reasons,omitempty"`
	Meter   []Metered        `json:"meter,omitempty"` // readings of the visit that it belongs to
}

// Metered is a meter's reading in words, with the step that it asks for.
type Metered struct {
	Text string `json:"text"`
	Next string `json:"next,omitempty"`
}

// meterOf are the meter readings of a session's visit.
func meterOf(m store.Meta) (out []Metered) {
	if m.Visit == nil {
		return nil
	}
	entries := m.Visit.Texts()
	var open []string
	for _, step := range words.MeterSteps(entries) {
		open = append(open, step.String())
	}
	for _, e := range entries {
		if _, is := meter.Read(e); is {
			x := Metered{Text: words.EntryText(e)}
			for _, step := range words.MeterSteps([]string{e}) {
				if slices.Contains(open, step.String()) { // no later reading is usual
					x.Next = step.String()
				}
			}
			out = append(out, x)
		}
	}
	return out
}

// ShownOf is what is shown of a session whose verdict is stored, or null; same says that it comes
// to what is judged now, weighed that the reasons are wanted.
func ShownOf(m store.Meta, d *dossier.Dossier, stored json.RawMessage, same, weighed bool) (Shown, error) {
	s := Shown{Session: SessionOf(m), Events: list(why.Events(d.Events)), Found: StoredOf(d), Records: d.Records, SHA256: fmt.Sprintf("%x", d.Sum), Meter: meterOf(m)}
	if stored != nil {
		v, err := json.Marshal(why.Verdict(d.Verdict))
		if err != nil {
			return s, err
		}
		if s.Verdict = v; !same {
			s.Stored = stored
		}
	}
	if weighed {
		s.Reasons = why.Texts(d.Reasons)
	}
	return s, nil
}

// WriteShown prints the answer first, then what it rests on.
func WriteShown(w io.Writer, m store.Meta, d *dossier.Dossier, weighed bool) {
	WriteSessionHead(w, m)
	term.StyleOf(w).WriteVerdict(w, d.Verdict, weighed)
	if m.Visit != nil {
		for i, line := range words.MeterLines(m.Visit.Texts()) {
			if i == 0 {
				fmt.Fprintln(w, "\nmeter readings of the visit")
			}
			term.Indent(w, "  ", line)
		}
	}
	if weighed {
		term.WriteReasons(w, d.Reasons)
	}
	WriteStored(w, d)
	fmt.Fprintln(w)
	WriteSession(w, m)
	fmt.Fprintf(w, "  %-11s %d, SHA-256 %x\n", "records", d.Records, d.Sum)
}
