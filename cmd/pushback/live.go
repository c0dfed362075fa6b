package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/views"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// liveFlags are those that test, record and demo share.
type liveFlags struct {
	car     carFlags
	by      string
	dur     time.Duration
	label   string
	vehicle string
	note    string
	visit   string  // its name; "" none
	propane float64 // L/min; 0: not known
	samples bool
	found   bool
	vin     bool
	capture string
	views   viewFlags
}

func (f *liveFlags) add(cmd *cobra.Command) {
	cmd.Flags().DurationVar(&f.dur, "for", 0, "stop after this `DURATION`, such as 90s")
	cmd.Flags().StringVar(&f.capture, "capture", "", "save raw adapter traffic as text in `FILE`; import reads it")
	cmd.Flags().BoolVar(&f.vin, "vin", false, "read the vehicle identification number, and keep it with the session")
	cmd.Flags().StringVar(&f.visit, "visit", "", visitUsage)
	cmd.Flags().Float64Var(&f.propane, "propane", 0, "flow of propane in `L/MIN`, kept as a note; a mark such as note propane 0.6 L/min tells another flow later")
	f.addCommon(cmd)
}

func (f *liveFlags) addCommon(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.by, "by", "wire", "`WHAT` to test by: wire (the signal), mixture (propane, vacuum hose), fuelcut (lifting off) or nothing (a drive)")
	cmd.Flags().StringVar(&f.label, "label", "", "session label: `TEXT`")
	cmd.Flags().StringVar(&f.vehicle, "vehicle", "", "`NAME` of the vehicle")
	cmd.Flags().StringVar(&f.note, "note", "", "session note: `TEXT`")
	cmd.Flags().BoolVar(&f.samples, "samples", false, "with --json: print every sample too")
	cmd.Flags().BoolVar(&f.found, "found", false, foundUsage)
	f.views.add(cmd)
}

// liveRun is one session on a car, real or simulated.
type liveRun struct {
	look
	name   string // of the command
	flags  liveFlags
	by     analysis.By
	leads  bool                 // through the drive that fills the trim map
	ask    bool                 // what is forced was not said: the car's sensors tell, see [rig.Unsaid]
	origin string               // live or simulated
	guide  *session.GuideConfig // nil: not guided
	// technician stands in for the person in a demonstration: told the prompts,
	// shown the frames, given what a person can do.
	technician func(live.Controls) rig.Technician
	// done is called with what was stored, after the verdict; nil: nothing more to do.
	done func(ctx context.Context, db *store.Store, id string) error
}

// runLive runs a session from the first byte to the verdict.
func (a *app) runLive(ctx context.Context, r liveRun) error {
	// A database that cannot be used is better known before the car is asked.
	db, err := a.openStore(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	var into *store.Visit
	if r.flags.visit != "" {
		v, err := db.Visit(ctx, r.flags.visit)
		if err != nil {
			return err
		}
		into, r.flags.vehicle = &v, cmp.Or(r.flags.vehicle, v.Vehicle)
	}
	r.look.car = r.flags.car
	cfg := a.reach(r.look)
	cfg.Poll.VIN, cfg.Capture = r.flags.vin, r.flags.capture
	car, err := rig.Open(ctx, cfg)
	if err != nil {
		return err
	}
	defer func() {
		if err := car.Close(); err != nil {
			fmt.Fprintf(a.errOut, "warning: %v\n", err)
		}
	}()
	if by := rig.Unsaid(car.Vehicle().Decoder, r.flags.car.sensor); r.ask && (r.guide == nil || by == analysis.ByFuelCut) {
		r.by = by
	}
	if err := a.greet(car, r); err != nil {
		return err
	}
	if r.flags.car.beside != "" {
		if r.guide.Beside, err = decode.ParseSensorID(r.flags.car.beside); err != nil {
			return err
		}
	}
	s, err := car.Begin(ctx, db, store.Meta{
		Watching: r.flags.car.sensor, By: string(cmp.Or(r.by, analysis.ByWire)), Origin: r.origin,
		Label: r.flags.label, Vehicle: r.flags.vehicle, Note: r.flags.note, Version: versionText(), Visit: into,
	}, r.guide)
	if err != nil {
		return err
	}
	defer s.Close()
	res, err := a.perform(ctx, s, r)
	if err == nil && r.done != nil {
		// A time of its own: people may have looked at the last screen for minutes.
		after, done := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
		defer done()
		err = r.done(after, db, s.Meta.ID)
	}
	if err != nil {
		return err
	}
	if r.leads {
		return nil // nothing was asked that has a verdict
	}
	return conclude(res.Verdict.Conclusion)
}

// greet says which car was met; the error refuses it.
func (a *app) greet(car *rig.Rig, r liveRun) error {
	v := car.Vehicle()
	a.log.Info().Str("bus", v.Format.Bus.String()).Bool("headers", v.Format.Headers).
		Float64("volts", v.Identity.Voltage).Strs("quirks", v.Identity.Quirks).Msg("adapter")
	fmt.Fprintf(a.people(), "%s, adapter %q, sensors %s\n", v.Format.Bus, v.Identity.Text, words.SensorsText(v.Decoder.Sensors()))
	for _, sensor := range r.flags.car.sensors() {
		if err := car.Readable(sensor); err != nil {
			return err
		}
		err := rig.Suit(v.Decoder, sensor, r.by)
		if err != nil {
			if r.guide != nil {
				return err
			}
			text, hint, _ := describe(err)
			fmt.Fprintf(a.errOut, "warning: %s\n  what to do: %s\n", text, hint)
		}
	}
	return nil
}

// perform runs a session in front of who watches it, and prints what it came to.
func (a *app) perform(ctx context.Context, s *rig.Session, r liveRun) (session.Result, error) {
	people, style, m := a.people(), term.StyleOf(a.people()), s.Meta
	say := func(format string, args ...any) { fmt.Fprintf(people, format+"\n", args...) }
	var lines *live.JSONLines
	if a.json {
		lines = live.NewJSONLines(a.out, r.flags.samples)
		if err := lines.Begin(live.HeaderOf(m, s.Judge.Kind)); err != nil {
			return session.Result{}, err
		}
		s.Views = append(s.Views, lines)
	}
	watching := strings.Join(r.flags.car.sensors(), " and ")
	say("session %s begins, watching %s", m.ID, watching)
	cfg := a.viewConfig(r.flags.views)
	cfg.Title, cfg.Name = fmt.Sprintf("%s  %s by %s  %s", r.name, watching, m.By, m.Format.Bus), m.ID
	cfg.Setup, cfg.Verdict, cfg.Controls = s.Judge.Setup(), s.Judge.Verdict, s.Controls
	cfg.Short, cfg.Both = r.flags.dur > 0, r.flags.car.beside != ""
	switch {
	case r.technician != nil:
		cfg.Kind = views.Demo
	case r.guide != nil:
		cfg.Kind = views.Test
	}
	cfg.Plain = cfg.Plain || r.leads
	watch, err := views.Open(cfg)
	if err != nil {
		return session.Result{}, err
	}
	defer watch.Close(ctx)
	s.Views = append(s.Views, watch)
	list := rig.NewChecklist(s.Judge, s.Found, s.Queries.Done, func(c dossier.Check) {
		watch.Say("! ", words.CheckLine(c))
	})
	if r.guide != nil {
		s.Views = append(s.Views, list)
	}
	if r.leads {
		s.Views = append(s.Views, &views.MapLead{Say: func(text string) { watch.Say("", text) }, Show: watch.Drive, JSON: lines, Stop: s.Controls.Stop})
	}
	if r.technician != nil {
		s.Technician = r.technician(s.Controls)
	}
	if r.flags.propane > 0 {
		s.Controls.Mark(obd.Mark{Kind: obd.MarkNote, Text: fmt.Sprintf("propane %g L/min", r.flags.propane)})
	}
	s.For = r.flags.dur
	after := &session.Aftermath{Sensor: s.Judge.Setup().Sensor}
	s.Views = append(s.Views, after)
	res, err := s.Run(ctx)
	watch.Over(ctx)
	if !r.leads {
		style.WriteVerdict(people, res.Verdict, false)
	}
	if len(list.Unmet) > 0 {
		say("Not met when the test began:")
		for _, c := range list.Unmet {
			term.Indent(people, "  ! ", words.CheckLine(c))
		}
	}
	if left := words.AfterLines(after); len(left) > 0 {
		say("%s:", words.AfterTest)
		for _, text := range left {
			term.Indent(people, "  ", text)
		}
	}
	if lines != nil {
		var jerr error
		if r.flags.found {
			jerr = lines.Found(sheet.FoundOf(s.Found, res.Events, s.Judge.Figures(), s.Judge.Setup().Sensor))
		}
		if jerr = errors.Join(jerr, lines.End(res.Verdict)); jerr != nil && err == nil {
			err = jerr
		}
	}
	say("session %s: %d records, %.0f s", m.ID, res.Records, res.End.Seconds())
	say("  pushback show %s      the evidence again", m.ID)
	say("  pushback replay %s    judge it again", m.ID)
	return res, err
}
