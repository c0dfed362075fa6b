package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/smallfile"
	"pushback/cmd/internal/words"
)

func newUnits(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "units [us|si]",
		Short: "Units that people read: °F, mph, inHg, or °C, km/h, kPa",
		Long: `Prints the units in use, or keeps others for all sessions in this database's folder
(settings.json). --units and PUSHBACK_UNITS come before what is kept. JSON and exports are
always in the standard's units.`,
		ValidArgs: []string{"us", "si"},
		Args:      args(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, names []string) error {
			if len(names) > 0 {
				if err := words.Use(names[0]); err != nil {
					return usage(cmd, err)
				}
				if err := keepUnits(a.db, words.InUse()); err != nil {
					return err
				}
			}
			return a.print(settings{words.InUse()}, func() error {
				_, err := fmt.Fprintln(a.out, words.InUse())
				return err
			})
		},
	}
}

// settings is what stays from one start to the next.
type settings struct {
	Units string `json:"units"`
}

func settingsBeside(db string) string { return filepath.Join(filepath.Dir(db), "settings.json") }

// keptUnits is the name of the units that were kept beside a database; "" none were. It is only a
// help: what cannot be read is not kept.
func keptUnits(db string) string {
	var s settings
	if text, err := smallfile.Read(settingsBeside(db), 1<<16); err != nil || json.Unmarshal(text, &s) != nil {
		return ""
	}
	return s.Units
}

func keepUnits(db, name string) error {
	text, err := json.Marshal(settings{name})
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(db), 0o700); err != nil {
		return err
	}
	return os.WriteFile(settingsBeside(db), append(text, '\n'), 0o600)
}
