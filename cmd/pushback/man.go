package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manAfter is what the first manual page says beyond the help.
const manAfter = `

# EXIT STATUS

0: done; the loop is proven, or nothing was forced.

1: the tool could not do its work; the error says why and what to do.

2: wrong usage.

10: a fault was found.

11: the evidence does not decide, or one side only was tested.

12: the car is not ready for the test.

# FILES

pushback/pushback.db under $XDG_DATA_HOME or ~/.local/share: the sessions.

# EXAMPLES

	pushback demo                           # the whole test, without a car
	pushback ports                          # which ports answer as an adapter
	pushback test --port /dev/ttyUSB0       # the guided test
	pushback show last                      # the verdict and its evidence`

func newMan() *cobra.Command {
	return &cobra.Command{
		Use:   "man FOLDER",
		Short: "Write the manual pages",
		Long: `Writes one manual page for each command into the folder, which is made if it is
not there. The date is SOURCE_DATE_EPOCH's where that is set.`,
		Args: named("FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("making the folder: %w", err)
			}
			root := cmd.Root()
			root.Long += manAfter
			root.DisableAutoGenTag = true
			return doc.GenManTree(root, &doc.GenManHeader{Section: "1", Source: "pushback " + versionText(), Manual: "pushback"}, args[0])
		},
	}
}
