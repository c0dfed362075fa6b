package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/store"
)

func newClear(a *app) *cobra.Command {
	var f carFlags
	var note string
	cmd := &cobra.Command{
		Use:   "clear --port PORT",
		Short: "Clear trouble codes, after a warning and a typed yes",
		Long: `Reads codes, freeze frame, monitors and the computer's own tests, stores them as a
session, and then asks. Clearing also erases the freeze frame, the readiness of all
monitors and what the computer has learned about this engine, so it is for after the
repair. Key on, engine off.`,
		Args: named(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			l, err := f.look(cmd, a.db)
			if err != nil {
				return err
			}
			l.memory, l.maxBaud = nil, 0
			return a.runClear(cmd.Context(), l, store.Meta{Origin: "live", Note: note})
		},
	}
	f.add(cmd)
	cmd.Flags().StringVar(&note, "note", "", "session note: `TEXT`")
	return cmd
}

var errNotCleared = errors.New("nothing was cleared")

// runClear reads what clearing takes away into a session that about describes, asks, and clears.
func (a *app) runClear(ctx context.Context, l look, about store.Meta) error {
	db, err := a.openStore(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	car, err := rig.Open(ctx, a.reach(l))
	if err != nil {
		return err
	}
	defer car.Close()
	about.Watching, about.By, about.Label, about.Version = l.car.sensor, string(analysis.ByWire), "clearing of codes", versionText()
	s, err := car.Begin(ctx, db, about, nil)
	if err != nil {
		return err
	}
	defer s.Close()
	seen := rig.NewSurvey(s.Judge.Setup().Sensor, s.Queries.Done, car.Stop)
	s.Views = []session.Sink{seen}
	read := func() dossier.VehicleData { return dossier.VehicleDataOf(s.Found, nil, nil, "") }
	var before dossier.VehicleData
	cleared, err := s.Clear(ctx, func() error {
		before = read()
		return a.mayClear(s.Meta.ID, before, seen)
	})
	if errors.Is(err, obd.ErrEngineRuns) {
		return advice.NotReady(err.Error(), "switch the engine off and the ignition on, then try again")
	} else if err != nil {
		return err
	}
	after, refused := read(), notCleared(cleared.Outcome)
	if a.json || refused == nil {
		err = a.print(sheet.ClearedOf(s.Meta.ID, refused == nil, before, after), func() error { return sheet.WriteCleared(a.out, s.Meta.ID, after) })
	}
	return errors.Join(err, refused)
}

// mayClear shows what is there and asks; an error is a no.
func (a *app) mayClear(id string, now dossier.VehicleData, seen *rig.Survey) error {
	if rpm, known := seen.Look.Last["RPM"]; known && rpm > 0 {
		return fmt.Errorf("clear codes: %.0f rpm: %w", rpm, obd.ErrEngineRuns)
	}
	w := a.people()
	sheet.WriteCodesRead(w, now)
	fmt.Fprintf(w, words.BeforeClearing, id)
	if !a.saysYes(w) {
		return advice.On(errNotCleared, "only a typed yes clears; what was read is kept")
	}
	return nil
}

// saysYes reads one line, which must be the word.
func (a *app) saysYes(w io.Writer) bool {
	text, err := bufio.NewReader(a.in).ReadString('\n')
	if err != nil && text == "" {
		fmt.Fprintln(w)
	}
	return strings.TrimSpace(text) == "yes"
}

// notCleared is an error unless the car said that it has cleared.
func notCleared(o obd.Outcome) error {
	if o == obd.OK {
		return nil
	}
	return advice.On(fmt.Errorf("the car did not clear: %s", o),
		"ignition on and engine off? Some computers need that, and some seconds, before they clear")
}
