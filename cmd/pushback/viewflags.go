package main

import (
	"errors"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/page"
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

// openViews shows a session.
func openViews(c views.Config) (*views.Views, error) {
	v, err := views.Open(c)
	switch {
	case errors.Is(err, page.ErrNoNetwork):
		err = advice.On(err, "join the shop's network, or name this machine's address: --page=ADDRESS:PORT")
	case err != nil:
		err = advice.On(err, "is the address one of this machine's, and the port free? --page alone takes any free port")
	}
	return v, err
}
