package main

import (
	"github.com/spf13/cobra"

	"pushback/cmd/internal/intake"
	"pushback/decode"
)

func newJudge(a *app) *cobra.Command {
	said := intake.Said{Version: versionText()}
	cmd := &cobra.Command{
		Use:   "judge FILE…",
		Short: "Judge sessions straight from files, and keep nothing",
		Long: `Reads what 'export' writes (Parquet, CSV long and wide, SQLite, captures) and prints one
JSON line a session: what was forced, the conclusion, the step that would decide, the state
of each proof, the conclusion that was stored (stored) and whether today's is another
(differs). '-' is a long CSV on standard input. No database is opened and nothing is
kept, so an engine can run it on every worker; the verdicts are those of 'import' and
'replay'. records_sha256 tells sessions apart that were exported twice.

A file that cannot be read is named on standard error, the others are judged all the same,
and the exit status is 1; else it is 0, whatever the verdicts are.`,
		Args: args(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkSaid(cmd, said); err != nil {
				return err
			}
			return intake.Judging{Said: said, In: a.in, Lines: a.out, Bad: a.errOut}.Files(cmd.Context(), args)
		},
	}
	cmd.Flags().StringVar(&said.Sensor, "sensor", "", "judge as if this `SENSOR` had been forced (default: as the file says, or B1S1)")
	cmd.Flags().StringVar(&said.By, "by", "", "judge as if `WHAT` was forced: wire or mixture (default: as the file says, or wire)")
	return cmd
}

// checkSaid checks what flags say of the sessions of a file.
func checkSaid(cmd *cobra.Command, said intake.Said) error {
	if cmd.Flags().Changed("sensor") {
		if _, err := decode.ParseSensorID(said.Sensor); err != nil {
			return usage(cmd, err)
		}
	}
	if said.By != "" {
		_, err := parseBy(cmd, said.By)
		return err
	}
	return nil
}
