package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"pushback/analysis/dossier"
	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/sheet"
	"pushback/store"
)

func newCompare(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "compare BEFORE AFTER",
		Short: "Before and after a repair, condition by condition",
		Long: `Compares total trim under the same conditions (speed × load, warm), then the sensor's
switching, the force test's answers, the computer's own tests, trouble codes with their
freeze frame, and monitors. Each of BEFORE and AFTER is a session, or several with commas
between them; all but trims is of the last one.

The answer is better (trim is nearer to zero), worse, no difference shown, or not
comparable. Differences that one unchanged car shows from recording to recording are
never called a repair: less than about 6 % cannot be told with one session on each side, less
than about 3.5 % with three on each. A figure of the sensor's switching differs where it
does by more than the recordings scatter and a margin; a latency where its intervals lie
more than a period of switching apart.`,
		Args: named("BEFORE", "AFTER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error { return a.runCompare(cmd.Context(), db, args[0], args[1]) })
		},
	}
}

func (a *app) runCompare(ctx context.Context, db *store.Store, before, after string) error {
	ids, dossiers := [2][]string{}, [2][]*dossier.Dossier{}
	for i, refs := range []string{before, after} {
		for _, ref := range strings.Split(refs, ",") {
			m, d, err := replay.Dossier(ctx, db, strings.TrimSpace(ref), dossier.Setup{Trims: true})
			if err != nil {
				return err
			}
			ids[i], dossiers[i] = append(ids[i], m.ID), append(dossiers[i], d)
		}
	}
	c := dossier.Compare(dossiers[0], dossiers[1])
	return a.print(sheet.ComparisonOf(ids[0], ids[1], c), func() error {
		sheet.WriteComparison(a.out, ids[0], ids[1], c)
		return nil
	})
}
