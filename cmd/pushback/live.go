package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/term"
	"pushback/obd"
	"pushback/obd/capture"
	"pushback/obd/poll"
	"pushback/store"
	"pushback/store/transfer"
)

// liveFlags are those that test, record and demo share.
type liveFlags struct {
	car     carFlags
	by      string
	dur     time.Duration
	label   string
	vehicle string
	note    string
	samples bool
	found   bool
	vin     bool
	capture string
	views   viewFlags
}

func (f *liveFlags) add(cmd *cobra.Command) {
	cmd.Flags().DurationVar(&f.dur, "for", 0, "stop by itself after this `DURATION`, such as 90s")
	cmd.Flags().StringVar(&f.capture, "capture", "", "keep the raw dialogue with the adapter as text in `FILE`; import reads it")
	cmd.Flags().BoolVar(&f.vin, "vin", false, "read the vehicle identification number, and keep it with the session")
	f.addCommon(cmd)
}

func (f *liveFlags) addCommon(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.by, "by", "wire", "`WHAT` is forced: wire (the signal) or mixture (propane, induced lean)")
	cmd.Flags().StringVar(&f.label, "label", "", "label of the session: `TEXT`")
	cmd.Flags().StringVar(&f.vehicle, "vehicle", "", "`NAME` of the vehicle")
	cmd.Flags().StringVar(&f.note, "note", "", "note on the session: `TEXT`")
	cmd.Flags().BoolVar(&f.samples, "samples", false, "with --json: print every sample too")
	cmd.Flags().BoolVar(&f.found, "found", false, foundUsage)
	f.views.add(cmd)
}

// liveRun is one session on a car, real or simulated.
type liveRun struct {
	name    string // of the command
	flags   liveFlags
	bus     obd.Bus
	by      analysis.By
	origin  string // live or simulated
	clock   obd.Clock
	open    func(context.Context) (obd.Link, error)
	memory  poll.Memory          // of cars met before; nil: none
	maxBaud int                  // serial speed up to which the line's is raised; 0: it stays
	guide   *session.GuideConfig // nil: not guided
	// cautions are said on the whole screen before the first step.
	cautions bool
	// technician stands in for the person in a demonstration: told the prompts,
	// shown the frames, given what a person can do.
	technician func(hands) technician
	// done is called with what was stored, after the verdict; nil: nothing more to do.
	done func(ctx context.Context, db *store.Store, id string) error
}

type technician interface {
	session.Sink
	Prompt(session.Prompt)
}

// closing bounds what a session may still ask for after it was told to end.
const closing = 2 * time.Second

// logDialogue has a line's dialogue logged, where that is wanted; what it returns ends that.
func (a *app) logDialogue(wire *line, clock obd.Clock) (end func()) {
	if a.log.GetLevel() > zerolog.DebugLevel {
		return func() {}
	}
	log, open := capture.NewWriter(&logLines{log: a.log}, clock), wire.open
	wire.open = func(ctx context.Context) (obd.Link, error) {
		link, err := open(ctx)
		if err != nil {
			return nil, err
		}
		return log.Link(link), nil
	}
	return func() { log.Flush() }
}

// live runs a session from the first byte to the verdict.
func (a *app) live(ctx context.Context, r liveRun) error {
	people, style := a.people(), term.StyleOf(a.people())
	say := func(format string, args ...any) { fmt.Fprintf(people, format+"\n", args...) }

	// A database that cannot be used is better known before the car is asked.
	db, err := store.Open(ctx, a.db)
	if err != nil {
		return err
	}
	defer db.Close()

	wire := line{open: r.open}
	var raw *capture.Writer
	if r.flags.capture != "" {
		// Never over an older one: it may be the only trace of what happened.
		file, err := os.OpenFile(r.flags.capture, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return fmt.Errorf("keeping the dialogue: %w", err)
		}
		defer file.Close()
		raw = capture.NewWriter(file, r.clock)
		wire.open = func(ctx context.Context) (obd.Link, error) {
			link, err := r.open(ctx)
			if err != nil {
				return nil, err
			}
			return raw.Link(link), nil
		}
		defer func() {
			if err := raw.Flush(); err != nil {
				fmt.Fprintf(a.errOut, "warning: the dialogue was not kept whole in %s: %v\n", r.flags.capture, err)
			}
		}()
	}
	defer a.logDialogue(&wire, r.clock)()
	if _, err := wire.reopen(ctx); err != nil {
		return err
	}
	adapter := obd.NewAdapter(wire.link, r.clock, obd.AdapterOptions{Trying: a.trying(), MaxBaud: r.maxBaud})
	defer wire.close(adapter)
	p, err := poll.Open(ctx, adapter, r.clock, poll.Config{
		Sensor: r.flags.car.sensor, Bus: r.bus, VIN: r.flags.vin, Reopen: wire.reopen, Memory: r.memory, Port: r.flags.car.port,
	})
	if err != nil {
		return err
	}
	car := p.Vehicle()
	mark := p.Mark
	if raw != nil {
		mark = func(m obd.Mark) { raw.Mark(m); p.Mark(m) }
	}
	a.log.Info().Str("bus", car.Format.Bus.String()).Bool("headers", car.Format.Headers).
		Float64("volts", car.Identity.Voltage).Strs("quirks", car.Identity.Quirks).Msg("adapter")
	say("%s, adapter %q, sensors %s", car.Format.Bus, car.Identity.Text, sensorText(car.Decoder))
	if err := readable(adapter, car.Decoder, r.flags.car.sensor); err != nil {
		return err
	}
	if err := suit(car.Decoder, r.flags.car.sensor, r.by); err != nil {
		if r.guide != nil {
			return err
		}
		text, hint, _ := describe(err)
		fmt.Fprintf(a.errOut, "warning: %s\n  what to do: %s\n", text, hint)
	}

	meta := store.Meta{
		Started: time.Now(), Format: car.Format, Adapter: car.Identity.Text,
		Sensors: sensorNames(car.Decoder), Watching: r.flags.car.sensor, By: string(r.by),
		Origin: r.origin, Label: r.flags.label, Vehicle: r.flags.vehicle, Note: r.flags.note,
		Version: versionText(),
	}
	w, err := db.Create(ctx, meta)
	if err != nil {
		return err
	}
	defer w.Close()
	meta.ID = w.ID()
	if raw != nil {
		about, err := transfer.Describe(transfer.Redact(transfer.Session{Meta: meta}, false, false).Meta)
		if err != nil {
			return err
		}
		raw.Session(p.Origin(), car.Format, about)
	}

	setup, err := setupOf(meta)
	if err != nil {
		return err
	}
	judge := session.NewJudge(setup)
	inquiry := session.NewOneTimeQueries(p, judge)
	sinks := []session.Sink{
		stored{w}, &vinKeeper{w.Update}, troubles{a.log},
		inquiry, session.NewBusPriority(p),
	}
	found := session.NewFindings(judge)
	sinks = append(sinks, found)
	var jsonl *live.JSONLines
	if a.json {
		jsonl = live.NewJSONLines(a.out, r.flags.samples)
		if err := jsonl.Begin(header(meta)); err != nil {
			return err
		}
		sinks = append(sinks, jsonl)
	}

	// The first Ctrl-C ends the session, not the judging of it.
	runCtx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	defer context.AfterFunc(ctx, func() {
		p.Stop()
		time.AfterFunc(closing, cancel)
	})()

	h := hands{mark: mark, stop: p.Stop}
	var g *session.Guide
	var told []func(session.Prompt)
	if r.guide != nil {
		g = session.NewGuide(*r.guide, judge, func(q session.Prompt) {
			for _, tell := range told {
				tell(q)
			}
		}, p.Stop)
		h.skip, h.again = g.Skip, g.Again
		h.enter = func() {
			if k := g.Enter(); k != "" {
				mark(obd.Mark{Kind: k})
			}
		}
	}
	say("session %s begins, watching %s", meta.ID, meta.Watching)
	show := showing{
		views: r.flags.views, title: fmt.Sprintf("%s  %s by %s  %s", r.name, meta.Watching, meta.By, meta.Format.Bus), meta: meta,
		verdict: judge.Verdict, hands: h, guided: r.guide != nil, scripted: r.technician != nil, cautions: r.cautions, short: r.flags.dur > 0,
	}
	watch, err := a.watch(show)
	if err != nil {
		return err
	}
	defer watch.Close(ctx)
	sinks, told = append(sinks, watch), append(told, watch.Prompt)
	list := newChecklist(judge, found, inquiry.Done, meta.Watching, r.by, func(c check) {
		if watch.screen == nil {
			say("            ! %s", c.text())
		}
	})
	if g != nil {
		sinks = append(sinks, list, g)
	}
	if r.technician != nil {
		t := r.technician(h)
		sinks, told = append(sinks, t), append(told, t.Prompt)
	}
	if r.flags.dur > 0 {
		sinks = append(sinks, &stopAfter{r.flags.dur, p.Stop})
	}
	res, err := session.Run(runCtx, p, judge, sinks...)
	if errors.Is(err, context.Canceled) {
		err = nil
	}

	// What was recorded is kept and judged, whatever ended the session.
	finish, done := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer done()
	if ferr := w.Finish(finish, res.End, res.Verdict, res.Events); ferr != nil && (err == nil || errors.Is(ferr, store.ErrReplaced)) { // which tells where all is
		err = ferr
	}
	watch.Over(ctx)
	style.WriteVerdict(people, res.Verdict, false)
	if len(list.unmet) > 0 {
		say("Not met when the test began:")
		for _, c := range list.unmet {
			say("  ! %s", c.text())
		}
	}
	if jsonl != nil {
		var jerr error
		if r.flags.found {
			jerr = jsonl.Found(foundLineOf(found, res.Events, judge.Figures(), meta.Watching))
		}
		if jerr = errors.Join(jerr, jsonl.End(res.Verdict)); jerr != nil && err == nil {
			err = jerr
		}
	}
	say("session %s: %d records, %.0f s", meta.ID, res.Records, res.End.Seconds())
	say("  pushback show %s      the evidence again", meta.ID)
	say("  pushback replay %s    judge it again", meta.ID)
	if err == nil && r.done != nil {
		// A time of its own: people may have looked at the last screen for minutes.
		after, done := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
		defer done()
		err = r.done(after, db, meta.ID)
	}
	if err != nil {
		return err
	}
	return conclude(res.Verdict.Conclusion)
}

// logLines logs each whole line that is written to it.
type logLines struct {
	log  zerolog.Logger
	rest []byte
}

func (l *logLines) Write(p []byte) (int, error) {
	l.rest = append(l.rest, p...)
	for {
		line, rest, whole := bytes.Cut(l.rest, []byte("\n"))
		if !whole {
			return len(p), nil
		}
		l.log.Debug().Msg(string(line))
		l.rest = rest
	}
}

// header is the session line of a stored session.
func header(m store.Meta) live.Header {
	return live.Header{ID: m.ID, Bus: m.Format.Bus.String(), Sensors: m.Sensors, Watching: m.Watching, By: m.By}
}

// stored is the store as a sink.
type stored struct{ w *store.Writer }

func (s stored) Write(f session.Frame) error {
	if f.Last {
		return nil
	}
	return s.w.Append(f.Record, f.Samples)
}

// stopAfter ends a session at a session time.
type stopAfter struct {
	at   time.Duration
	stop func()
}

func (s *stopAfter) Write(f session.Frame) error {
	if f.Record.At >= s.at && s.stop != nil {
		s.stop()
		s.stop = nil
	}
	return nil
}

// troubles logs the exchanges that brought nothing, for who wants to see them.
type troubles struct{ log zerolog.Logger }

func (t troubles) Write(f session.Frame) error {
	if x := f.Record.Exchange; x != nil && x.Outcome != obd.OK {
		t.log.Debug().Stringer("outcome", x.Outcome).Str("request", x.Request.Hex()).
			Dur("took", x.Received-x.Sent).Bytes("raw", x.Raw).Msg("exchange")
	}
	return nil
}
