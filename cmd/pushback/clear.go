package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
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
		Args: args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			bus, err := f.check(cmd)
			if err != nil {
				return err
			}
			return a.clear(cmd.Context(), visit{car: f, bus: bus, clock: obd.SystemClock{}, open: f.line().Open}, "live", note)
		},
	}
	f.add(cmd)
	cmd.Flags().StringVar(&note, "note", "", "session note: `TEXT`")
	return cmd
}

var errNotCleared = errors.New("nothing was cleared")

func (a *app) clear(ctx context.Context, r visit, origin, note string) error {
	db, err := a.openStore(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	car, err := rig.Open(ctx, r.config(a))
	if err != nil {
		return err
	}
	defer car.Close()
	s, err := car.Begin(ctx, db, store.Meta{Watching: r.car.sensor, By: string(analysis.ByWire), Origin: origin,
		Label: "clearing of codes", Note: note, Version: versionText()}, nil)
	if err != nil {
		return err
	}
	defer s.Close()
	look := rig.NewSurvey(s.Judge.Setup().Sensor, s.Queries.Done, car.Stop)
	s.Views = []session.Sink{look}
	var before dossier.VehicleData
	cleared, err := s.Clear(ctx, func() error {
		before = codesRead(s.Found)
		return a.decide(s.Meta.ID, before, look)
	})
	if err != nil {
		if errors.Is(err, obd.ErrEngineRuns) {
			return notReady(err.Error(), "switch the engine off and the ignition on, then try again")
		}
		return err
	}
	after := codesRead(s.Found)
	if a.json {
		return errors.Join(json.NewEncoder(a.out).Encode(clearJSON{s.Meta.ID, cleared.Outcome == obd.OK, sheet.CodesReadOf(before), sheet.CodesReadOf(after)}), notCleared(cleared.Outcome))
	}
	if err := notCleared(cleared.Outcome); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "cleared; what was there before is in session %s\n", s.Meta.ID)
	sheet.WriteCodesRead(a.out, after)
	fmt.Fprintln(a.out, "Drive until the monitors are complete again; only then do missing codes say anything.")
	return nil
}

type clearJSON struct {
	Session string          `json:"session"`
	Cleared bool            `json:"cleared"`
	Before  sheet.CodesRead `json:"before"`
	After   sheet.CodesRead `json:"after"`
}

// codesRead is what clearing takes away.
func codesRead(f *session.Findings) dossier.VehicleData {
	return dossier.VehicleDataOf(f, nil, nil, "")
}

// decide shows what is there and asks; an error is a no.
func (a *app) decide(id string, now dossier.VehicleData, look *rig.Survey) error {
	if rpm, known := look.Look.Last["RPM"]; known && rpm > 0 {
		return fmt.Errorf("clear codes: %.0f rpm: %w", rpm, obd.ErrEngineRuns)
	}
	w := a.people()
	sheet.WriteCodesRead(w, now)
	fmt.Fprintf(w, `
This erases, in all computers that answer:
  - the codes above, and the freeze frame: the only trace of when they were set (kept in session %s)
  - the monitors' results: the car is 'not ready' for an inspection until it was driven long enough
  - learned fuel trims and other adaptation: it may idle badly at first
Permanent codes stay until the computer itself finds them gone.
Type yes to clear: `, id)
	text, err := bufio.NewReader(a.in).ReadString('\n')
	if err != nil && text == "" {
		fmt.Fprintln(w)
	}
	if strings.TrimSpace(text) != "yes" {
		return advice.On(errNotCleared, "only a typed yes clears; what was read is kept")
	}
	return nil
}

// notCleared is an error unless the car said that it has cleared.
func notCleared(o obd.Outcome) error {
	if o == obd.OK {
		return nil
	}
	return advice.On(fmt.Errorf("the car did not clear: %s", o),
		"ignition on and engine off? Some computers need that, and some seconds, before they clear")
}
