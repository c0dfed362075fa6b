package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/store"
)

func newShow(a *app) *cobra.Command {
	var why bool
	cmd := &cobra.Command{
		Use:   "show SESSION",
		Short: "A stored session's verdict and evidence",
		Long: `Judges the stored records again and prints the session's conditions, its events, the
proofs and the verdict; and the hash of the records, which ties a report to its recording.
Where the verdict that was stored is another, it says so. The exit status is the verdict's.`,
		Args: named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error { return a.runShow(cmd.Context(), db, why, args[0]) })
		},
	}
	cmd.Flags().BoolVar(&why, "why", false, "print the numbers behind each result, and how each step was judged")
	return cmd
}

// shownJSON is the JSON of a session.
type shownJSON struct {
	Session sheet.Session    `json:"session"`
	Events  []analysis.Event `json:"events"`
	Verdict json.RawMessage  `json:"verdict"`                  // null: the session was not finished
	Stored  json.RawMessage  `json:"stored_verdict,omitempty"` // where it comes to something else
	Found   sheet.Stored     `json:"found"`
	Records int              `json:"records"`
	SHA256  string           `json:"records_sha256"`
	Reasons []string         `json:"reasons,omitempty"`
}

func (a *app) runShow(ctx context.Context, db *store.Store, why bool, ref string) error {
	m, d, err := dossierOf(ctx, db, ref, hashed(dossier.Setup{}))
	if err != nil {
		return err
	}
	raw, err := db.Verdict(ctx, m.ID)
	if err != nil {
		return err
	}
	var stored analysis.Verdict
	if raw != nil {
		if err := json.Unmarshal(raw, &stored); err != nil {
			return fmt.Errorf("reading the verdict of session %s: %w", m.ID, err)
		}
	}
	same := sameStates(d.Verdict, stored)
	if a.json {
		if err := a.writeShown(m, d, raw, same, why); err != nil {
			return err
		}
	} else {
		a.printShown(m, d, why)
	}
	switch {
	case raw == nil:
		return advice.On(fmt.Errorf("session %s is not finished; what it shows so far is above", m.ID),
			"if it is still running, wait for its end; if it was cut short, `pushback replay "+m.ID+"` judges what was recorded")
	case !a.json && !same:
		fmt.Fprintln(a.out, words.JudgedAnew(stored.Conclusion, d.Verdict.Conclusion, m.ID))
	}
	return conclude(d.Verdict.Conclusion)
}

// printShown prints the answer first, then what it rests on.
func (a *app) printShown(m store.Meta, d *dossier.Dossier, why bool) {
	sheet.WriteSessionHead(a.out, m)
	term.StyleOf(a.out).WriteVerdict(a.out, d.Verdict, why)
	if why {
		term.WriteReasons(a.out, d.Reasons)
	}
	sheet.WriteStored(a.out, d)
	fmt.Fprintln(a.out)
	sheet.WriteSession(a.out, m)
	fmt.Fprintf(a.out, "  %-11s %d, SHA-256 %x\n", "records", d.Records, d.Sum)
}

func (a *app) writeShown(m store.Meta, d *dossier.Dossier, stored json.RawMessage, same, why bool) error {
	j := shownJSON{Session: sheet.SessionOf(m), Events: some(d.Events), Found: sheet.StoredOf(d), Records: d.Records, SHA256: fmt.Sprintf("%x", d.Sum)}
	if stored != nil {
		v, err := json.Marshal(d.Verdict)
		if err != nil {
			return err
		}
		if j.Verdict = v; !same {
			j.Stored = stored
		}
	}
	if why {
		j.Reasons = d.Reasons
	}
	return json.NewEncoder(a.out).Encode(j)
}

// sameStates reports whether two verdicts come to the same, proof by proof.
func sameStates(a, b analysis.Verdict) bool {
	return a.Conclusion == b.Conclusion && slices.EqualFunc(a.Proofs, b.Proofs, func(p, q analysis.Proof) bool { return p.ID == q.ID && p.State == q.State })
}
