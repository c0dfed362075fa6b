package sheet

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"pushback/analysis/agenda"
	"pushback/analysis/hazard"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// Visit is a visit with its sessions, in order of time, and what is still open, as other programs
// see it.
type Visit struct {
	store.Visit
	Sessions []Session `json:"sessions"`
	Open     []Open    `json:"open"`

	metas []store.Meta
}

// Open is a piece of work that is open.
type Open struct {
	Work   agenda.Work   `json:"work"`
	Sensor string        `json:"sensor,omitempty"`
	Text   hazard.Advice `json:"text"`
	AboutS float64       `json:"about_s"`
}

// NewVisit puts a visit together.
func NewVisit(v store.Visit, sessions []store.Meta, open []agenda.Item) Visit {
	out := Visit{Visit: v, Sessions: SessionsOf(sessions), Open: []Open{}, metas: sessions}
	for _, i := range open {
		out.Open = append(out.Open, Open{i.Work, i.Sensor, words.OpenWork(i), i.Lasts.Seconds()})
	}
	for _, step := range words.MeterSteps(v.Texts()) {
		out.Open = append(out.Open, Open{Work: "meter", Text: step})
	}
	return out
}

// Write prints a visit.
func (v Visit) Write(out io.Writer) error {
	fmt.Fprintf(out, "visit %s, %s\n", words.Printable(v.Name), visitState(v.Visit))
	for _, f := range []struct{ what, text string }{{"vehicle", v.Vehicle}, {"complaint", v.Complaint}, {"odometer", v.Odometer}, {"order", v.Order}} {
		if f.text != "" {
			term.Indent(out, fmt.Sprintf("  %-11s ", f.what), words.Printable(f.text))
		}
	}
	if len(v.Done) > 0 {
		fmt.Fprintln(out, "\nwhat was done")
		for _, e := range v.Done {
			term.Indent(out, "  "+Day(e.At)+"  ", words.EntryText(e.Text))
		}
	}
	if len(v.metas) > 0 {
		fmt.Fprintln(out, "\nsessions")
		w := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
		for _, m := range v.metas {
			fmt.Fprintf(w, "  %s\t%s\t%s\t%s\t%s\n", Day(m.Started), m.ID, words.TestedBy(m.Watching, m.By), words.ConclusionShort(m.Conclusion), Short(m.Label))
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	fmt.Fprintln(out, "\nstill open")
	if len(v.Open) == 0 {
		_, err := fmt.Fprintln(out, "  "+words.NothingOpen)
		return err
	}
	var steps []hazard.Advice
	for _, o := range v.Open {
		term.Indent(out, "  - ", strings.TrimSuffix(o.Text.Do, "."))
		steps = append(steps, o.Text)
	}
	if caution := hazard.Cautions(hazard.Together(steps)...); caution != "" { // each once, for the list
		term.Indent(out, "  ! ", caution)
	}
	return nil
}

func visitState(v store.Visit) string {
	text := "opened " + Day(v.Opened)
	if !v.Closed.IsZero() {
		text += ", closed " + Day(v.Closed)
	}
	return text
}

// VisitsOf is the JSON of visits.
func VisitsOf(visits []store.Visit) []store.Visit { return list(visits) }

// WriteVisits prints a table of visits.
func WriteVisits(out io.Writer, list []store.Visit) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, "no visits; `pushback visit new NAME` opens one")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tOPENED\tCLOSED\tVEHICLE\tORDER\tCOMPLAINT")
	for _, v := range list {
		closed := "-"
		if !v.Closed.IsZero() {
			closed = Day(v.Closed)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", words.Printable(v.Name), Day(v.Opened), closed, Short(v.Vehicle), Short(v.Order), Short(v.Complaint))
	}
	return w.Flush()
}
