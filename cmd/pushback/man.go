package main

import (
	"fmt"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/manual"
)

// manAfter is what the first manual page says beyond the help.
const manAfter = `.SH EXIT STATUS
.TP
0
done; the loop is proven, or nothing was forced
.TP
1
the tool could not do its work; the error says why and what to do
.TP
2
wrong usage
.TP
10
a fault was found
.TP
11
the evidence does not decide, or one side only was tested
.TP
12
the car is not ready for the test
.SH FILES
pushback/pushback.db under $XDG_DATA_HOME or ~/.local/share: the sessions.
.SH EXAMPLES
.nf
pushback demo                           # the whole test, without a car
pushback ports                          # which ports answer as an adapter
pushback test \-\-port /dev/ttyUSB0       # the guided test
pushback show last                      # the verdict and its evidence
.fi
`

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
			made := time.Now()
			if s := os.Getenv("SOURCE_DATE_EPOCH"); s != "" {
				epoch, err := strconv.ParseInt(s, 10, 64)
				if err != nil {
					return fmt.Errorf("SOURCE_DATE_EPOCH: %w", err)
				}
				made = time.Unix(epoch, 0)
			}
			return manual.Write(args[0], manual.Form{Root: cmd.Root(), Made: made.UTC(), Version: "pushback " + versionText(), After: manAfter})
		},
	}
}
