package main

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/sheet"
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

func (a *app) runShow(ctx context.Context, db *store.Store, why bool, ref string) error {
	m, d, err := replay.Dossier(ctx, db, ref, replay.Hashed(dossier.Setup{}))
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
	same := d.Verdict.Agrees(stored)
	shown, err := sheet.ShownOf(m, d, raw, same, why)
	if err != nil {
		return err
	}
	err = a.print(shown, func() error {
		sheet.WriteShown(a.out, m, d, why)
		if raw != nil && !same {
			fmt.Fprintln(a.out, words.JudgedAnew(stored.Conclusion, d.Verdict.Conclusion, m.ID))
		}
		return nil
	})
	if err != nil {
		return err
	}
	if raw == nil {
		return advice.On(fmt.Errorf("session %s is not finished; what it shows so far is above", m.ID),
			"if it is still running, wait for its end; if it was cut short, `pushback replay "+m.ID+"` judges what was recorded")
	}
	return conclude(d.Verdict.Conclusion)
}
