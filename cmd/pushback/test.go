package main

import (
	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/session"
)

func newTest(a *app) *cobra.Command {
	var f liveFlags
	var sides string
	cmd := &cobra.Command{
		Use:   "test --port PORT",
		Short: "The guided bias test: prompts, live view, verdict",
		Long: `Leads through the test: hands off, hold lean, release, hold rich, release. The
steps advance by themselves when the force and the release are seen; Enter makes
the mark by hand, which also lets the watcher say that a reading did not follow.

With --sensor B1S1,B2S1 both banks' wires are held, the second 5 s after the first: a verdict
for each, and whether their sensors are swapped. It takes two taps and two switches.

A narrow sensor behind the catalyst (--sensor B1S2) is tested in a drive unless --by says otherwise: it
leads through fuel cuts in gear and full load, two of each or more, and waits for the road. A
second person watches the screen, or --page=lan speaks each step on a phone; the driver taps nothing.`,
		Args: named(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			r, err := f.run(cmd, a)
			if err != nil {
				return err
			}
			if r.by == analysis.ByNothing {
				return usagef(cmd, "--by nothing leaves nothing to test; 'record' takes it")
			}
			r.guide = &session.GuideConfig{}
			switch sides {
			case "both":
			case "lean", "rich":
				r.guide.Sides = []analysis.Side{analysis.Side(sides)}
			default:
				return usagef(cmd, "--sides %q is not lean, rich or both", sides)
			}
			r.name, r.ask = "test", !cmd.Flags().Changed("by") && r.flags.car.beside == ""
			return a.runLive(cmd.Context(), r)
		},
	}
	f.car.add(cmd)
	f.add(cmd)
	cmd.Flags().StringVar(&sides, "sides", "both", "`SIDES` to test: both, lean or rich")
	return cmd
}
