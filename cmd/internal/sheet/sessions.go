package sheet

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/store"
)

// Session is a stored session as other programs see it.
type Session struct {
	ID         string   `json:"id"`
	Started    string   `json:"started"` // RFC 3339 with offset
	DurationS  float64  `json:"duration_s"`
	Finished   bool     `json:"finished"`
	Origin     string   `json:"origin"`
	Bus        string   `json:"bus"`
	Dialect    string   `json:"dialect,omitempty"` // j1979, j1979-2; where there was a bus
	Adapter    string   `json:"adapter"`
	Sensors    []string `json:"sensors"`
	Watching   string   `json:"watching"`
	By         string   `json:"by"`
	Label      string   `json:"label"`
	Vehicle    string   `json:"vehicle"`
	Note       string   `json:"note"`
	Conclusion string   `json:"conclusion"`
	Version    string   `json:"version"`
	Visit      string   `json:"visit,omitempty"`  // its name
	Before     string   `json:"before,omitempty"` // the paired session
	After      string   `json:"after,omitempty"`
}

// SessionOf is the JSON of a stored session.
func SessionOf(m store.Meta) Session {
	if m.Sensors == nil {
		m.Sensors = []string{}
	}
	visit, dialect := "", ""
	if m.Format.Bus != obd.BusUnknown {
		dialect = m.Format.Dialect.String()
	}
	if m.Visit != nil {
		visit = m.Visit.Name
	}
	return Session{
		ID: m.ID, Visit: visit, Started: m.Started.Format(time.RFC3339), DurationS: float64(m.Duration.Milliseconds()) / 1000, Finished: m.Finished,
		Origin: m.Origin, Bus: m.Format.Bus.String(), Dialect: dialect, Adapter: m.Adapter, Sensors: m.Sensors, Watching: m.Watching, By: m.By,
		Label: m.Label, Vehicle: m.Vehicle, Note: m.Note, Conclusion: m.Conclusion, Version: m.Version,
		Before: m.Before, After: m.After,
	}
}

// Day is a time as people read it in a list.
func Day(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

func busText(m store.Meta) string {
	if m.Origin == "import" {
		return "import"
	}
	return m.Format.Bus.String()
}

// paired names the other session of a pair.
func paired(m store.Meta) string {
	switch {
	case m.Before != "":
		return "after " + m.Before
	case m.After != "":
		return "before " + m.After
	}
	return "-"
}

func state(m store.Meta) string {
	if m.Finished {
		return "finished"
	}
	return "unfinished"
}

// Short shortens a text to a table's cell.
func Short(s string) string {
	s = words.Printable(s)
	if r := []rune(s); len(r) > 24 {
		return string(r[:23]) + "…"
	}
	if s == "" {
		return "-"
	}
	return s
}

// Described names a session in a sentence.
func Described(m store.Meta) string {
	var parts []string
	for _, s := range []string{m.Vehicle, m.Label, m.Origin} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ", ")
}

// SessionsOf is the JSON of stored sessions.
func SessionsOf(list []store.Meta) []Session { return each(list, SessionOf) }

// WriteSessions prints a table of stored sessions.
func WriteSessions(out io.Writer, list []store.Meta) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, "no sessions yet; `pushback demo` makes one without a car")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(w, "ID\tSTARTED\tVEHICLE\tLABEL\tBUS\tLENGTH\tSTATE\tCONCLUSION\tPAIR")
	for _, m := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", m.ID, Day(m.Started), Short(m.Vehicle), Short(m.Label),
			busText(m), m.Duration.Round(time.Second), state(m), words.ConclusionShort(m.Conclusion), paired(m))
	}
	return w.Flush()
}

// WriteSessionHead names a session in a line.
func WriteSessionHead(w io.Writer, m store.Meta) {
	text := fmt.Sprintf("session %s, %s, %s, %s", m.ID, Day(m.Started), m.Duration.Round(100*time.Millisecond), state(m))
	for _, s := range []string{m.Vehicle, m.Label} {
		if s != "" {
			text += ", " + words.Printable(s)
		}
	}
	term.Indent(w, "", text)
}

// WriteSession prints what is kept of a session beside its records.
func WriteSession(w io.Writer, m store.Meta) {
	fmt.Fprintln(w, "the session")
	line := func(what, text string) {
		if text != "" {
			term.Indent(w, fmt.Sprintf("  %-11s ", what), words.Printable(text))
		}
	}
	line("origin", m.Origin)
	line("vehicle", m.Vehicle)
	line("label", m.Label)
	line("note", m.Note)
	if m.Origin != "import" {
		line("bus", words.BusText(m.Format.Bus.String(), m.Format.Dialect.String()))
	}
	line("adapter", m.Adapter)
	line("sensors", strings.Join(m.Sensors, ", "))
	line("watching", words.TestedBy(m.Watching, m.By))
}
