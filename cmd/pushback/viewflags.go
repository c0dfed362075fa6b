package main

import (
	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"pushback/cmd/internal/views"
)

// viewFlags say how a session is shown.
type viewFlags struct {
	plain bool
	page  string
}

func (f *viewFlags) add(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.plain, "plain", false, "plain lines instead of the full screen")
	cmd.Flags().StringVar(&f.page, "page", "", "serve a page for a phone, `WHERE`: local (this machine, the default), lan, or ADDRESS:PORT")
	cmd.Flags().Lookup("page").NoOptDefVal = "local"
}

// viewConfig is where a session is shown by the flags.
func (a *app) viewConfig(f viewFlags) views.Config {
	return views.Config{In: a.in, Out: a.people(), Page: f.page, Plain: f.plain || a.json || a.log.GetLevel() < zerolog.WarnLevel}
}

const foundUsage = "with --json: before the verdict, also print what the computers reported (codes, freeze frame, monitors, own tests)"
