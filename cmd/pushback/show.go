package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/store"
)

func newShow(a *app) *cobra.Command {
	var why bool
	cmd := &cobra.Command{
		Use:   "show SESSION",
		Short: "A stored session's verdict and evidence",
		Long: `Prints what was stored: the session's conditions, its events, the proofs and the
verdict; and the hash of the records, which ties a report to its recording. The exit
status is the verdict's. 'replay' judges again in place of that, and so does --why for
what was weighed.`,
		Args: named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error { return a.show(cmd, db, args[0], why) })
		},
	}
	cmd.Flags().BoolVar(&why, "why", false, "print the numbers behind each proof, and what was weighed, force by force")
	return cmd
}

func (a *app) show(cmd *cobra.Command, db *store.Store, ref string, why bool) error {
	ctx := cmd.Context()
	m, err := db.Find(ctx, ref)
	if err != nil {
		return err
	}
	events, err := db.Events(ctx, m.ID)
	if err != nil {
		return err
	}
	raw, err := db.Verdict(ctx, m.ID)
	if err != nil {
		return err
	}
	c, d := conditions{}, digest{content: store.NewContent()}
	// What the car told is found again in the records; events and verdict are the stored ones.
	e, err := gather(ctx, db, m.ID, &c, &d)
	if err != nil {
		return err
	}
	found := foundOf(e)
	var reasons []string
	if why {
		reasons = e.reasons
	}
	if a.json {
		if events == nil {
			events = []json.RawMessage{}
		}
		if err := json.NewEncoder(a.out).Encode(struct {
			Session sessionJSON       `json:"session"`
			Events  []json.RawMessage `json:"events"`
			Verdict json.RawMessage   `json:"verdict"`
			Found   foundJSON         `json:"found"`
			Records int               `json:"records"`
			SHA256  string            `json:"records_sha256"`
			Reasons []string          `json:"reasons,omitempty"`
		}{sessionOf(m), events, raw, found, d.records, fmt.Sprintf("%x", d.content.Sum()), reasons}); err != nil {
			return err
		}
	} else {
		writeSession(a.out, m)
		fmt.Fprintf(a.out, "  %-11s %d, SHA-256 %x\n", "records", d.records, d.content.Sum())
	}
	if raw == nil {
		return hinted{fmt.Errorf("session %s has no verdict: it was not finished", m.ID),
			"what was recorded is kept; `pushback replay " + m.ID + " --store` judges it", statusFailed}
	}
	var v analysis.Verdict
	if err := json.Unmarshal(raw, &v); err != nil {
		return fmt.Errorf("reading the verdict of session %s: %w", m.ID, err)
	}
	if !a.json {
		c.print(a.out)
		fig := e.figures
		if len(found.Switching) > 0 {
			fig.Readings = 0 // said by speed below, and better
		}
		for _, line := range words.FigureLines(m.Watching, fig) {
			fmt.Fprintln(a.out, line)
		}
		found.print(a.out)
		fmt.Fprintln(a.out)
		for _, e := range events {
			text, err := storedEvent(e)
			if err != nil {
				return fmt.Errorf("reading the events of session %s: %w", m.ID, err)
			}
			fmt.Fprintln(a.out, text)
		}
		term.StyleOf(a.out).WriteVerdict(a.out, v, why)
		if why {
			term.WriteReasons(a.out, reasons)
			if !sameStates(e.verdict, v) {
				fmt.Fprintf(a.out, "This is how the records are judged now; what is stored is older: `pushback replay %s --store`.\n", m.ID)
			}
		}
	}
	return conclude(v.Conclusion)
}

// sameStates reports whether two verdicts come to the same, proof by proof.
func sameStates(a, b analysis.Verdict) bool {
	return a.Conclusion == b.Conclusion && slices.EqualFunc(a.Proofs, b.Proofs, func(p, q analysis.Proof) bool { return p.ID == q.ID && p.State == q.State })
}

func writeSession(w io.Writer, m store.Meta) {
	fmt.Fprintf(w, "session %s, %s, %s, %s\n", m.ID, day(m.Started), m.Duration.Round(100*time.Millisecond), state(m))
	line := func(what, text string) {
		if text != "" {
			fmt.Fprintf(w, "  %-11s %s\n", what, printable(text))
		}
	}
	line("origin", m.Origin)
	line("vehicle", m.Vehicle)
	line("label", m.Label)
	line("note", m.Note)
	if m.Origin != "import" {
		line("bus", m.Format.Bus.String())
	}
	line("adapter", m.Adapter)
	line("sensors", strings.Join(m.Sensors, ", "))
	line("watching", m.Watching+", for forces by the "+m.By)
}

// conditions is a sink that notes under what conditions a session ran.
type conditions struct {
	ranges map[string]*span
}

type span struct {
	unit     string
	min, max float64
	n        int
}

// shownConditions are the signals that say how the engine ran.
var shownConditions = []struct{ name, what string }{
	{"ECT", "coolant"}, {"RPM", "speed"}, {"LOAD_PCT", "load"}, {"VSS", "road speed"},
	{"LONGFT1", "long-term trim, bank 1"}, {"LONGFT2", "long-term trim, bank 2"},
	{"EQ_RAT11", "wide-range B1S1"}, {"EQ_RAT21", "wide-range B2S1"},
}

func (c *conditions) Write(f session.Frame) error {
	for _, s := range f.Samples {
		if !s.Missing {
			c.add(s)
		}
	}
	return nil
}

func (c *conditions) add(s decode.Sample) {
	if c.ranges == nil {
		c.ranges = make(map[string]*span)
	}
	r := c.ranges[s.Signal.Name]
	if r == nil {
		unit := s.Signal.Unit
		if unit == "1" {
			unit = "lambda" // the only ratio that is shown
		}
		r = &span{unit: unit, min: s.Value, max: s.Value}
		c.ranges[s.Signal.Name] = r
	}
	r.min, r.max, r.n = min(r.min, s.Value), max(r.max, s.Value), r.n+1
}

func (c *conditions) print(w io.Writer) {
	for _, k := range shownConditions {
		if r := c.ranges[k.name]; r != nil {
			fmt.Fprintf(w, "  %-11s %s %.4g to %.4g %s (%d readings)\n", k.name, k.what, r.min, r.max, r.unit, r.n)
		}
	}
}
