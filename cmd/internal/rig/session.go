package rig

import (
	"context"
	"errors"
	"time"

	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/words/why"
	"pushback/obd"
	"pushback/store"
	"pushback/store/transfer"
)

// Technician acts in place of a person: told what to do, shown what follows.
type Technician interface {
	session.Sink
	Prompter
}

// Prompter is told what the technician is asked to do.
type Prompter interface{ Prompt(session.Prompt) }

// Session is a live session: stored as it runs, judged, and shown to who watches.
type Session struct {
	Meta     store.Meta
	Judge    *session.Judge
	Found    *session.Findings
	Queries  *session.OneTimeQueries
	Controls live.Controls

	// Set before Run:
	Views      []session.Sink // shown each frame before the guide sees it; Prompters are told its prompts
	Technician Technician     // nil: a person
	For        time.Duration  // it stops by itself then; 0: it does not

	rig    *Rig
	writer *store.Writer
	guide  session.Leader // nil: not guided
}

// Begin makes a session in db out of what meta says of it; what the car told is filled in.
// With a guide it is a guided test. Close is due, however Run ends.
func (r *Rig) Begin(ctx context.Context, db *store.Store, meta store.Meta, guide *session.GuideConfig) (*Session, error) {
	car := r.Vehicle()
	meta.Started, meta.Format, meta.Adapter = time.Now(), car.Format, car.Identity.Text
	for _, s := range car.Decoder.Sensors() {
		meta.Sensors = append(meta.Sensors, s.Name)
	}
	setup, err := session.NewSetup(meta.Watching, meta.By, meta.Format)
	if err != nil {
		return nil, err
	}
	w, err := db.Create(ctx, meta)
	if err != nil {
		return nil, err
	}
	meta.ID = w.ID()
	if r.raw != nil {
		about, err := transfer.Describe(transfer.Redact(transfer.Session{Meta: meta}, false, false).Meta)
		if err != nil {
			return nil, errors.Join(err, w.Close())
		}
		r.raw.Session(r.Origin(), meta.Format, about)
	}
	judge := session.NewJudge(setup)
	s := &Session{Meta: meta, Judge: judge, Found: session.NewFindings(judge), Queries: session.NewOneTimeQueries(r, judge),
		Controls: live.Controls{Mark: r.Mark, Stop: r.Stop}, rig: r, writer: w}
	if guide != nil {
		s.guide = session.NewLeader(*guide, judge, s.prompt, r.Stop)
		s.Controls.Skip, s.Controls.Again = s.guide.Skip, s.guide.Again
		s.Controls.Enter = func() {
			if k := s.guide.Enter(); k != "" {
				r.Mark(obd.Mark{Kind: k})
			}
		}
	}
	return s, nil
}

// prompt tells all who are to know what the technician is asked to do. It is a mark too: what is
// asked for is likelier to be done, and a replay must know as much.
func (s *Session) prompt(p session.Prompt) {
	if p.New {
		s.rig.Mark(obd.Mark{Kind: obd.MarkStep, Text: p.Mark(s.Judge.Setup().By)})
	}
	for _, v := range s.Views {
		if v, ok := v.(Prompter); ok {
			v.Prompt(p)
		}
	}
	if s.Technician != nil {
		s.Technician.Prompt(p)
	}
}

// Run runs the session until it is stopped or the line is gone for good; when ctx is done
// it ends too, and is judged all the same. The error says why it ended when nobody asked
// for that.
func (s *Session) Run(ctx context.Context) (session.Result, error) {
	sinks := append([]session.Sink{session.NewBusPriority(s.rig)}, s.Views...)
	if s.guide != nil {
		sinks = append(sinks, s.guide)
	}
	if s.Technician != nil {
		sinks = append(sinks, s.Technician)
	}
	if s.For > 0 {
		sinks = append(sinks, &StopAfter{At: s.For, Stop: s.rig.Stop})
	}
	run, end := s.rig.Orderly(ctx)
	defer end()
	res, err := s.run(run, s.rig, sinks...)
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	return res, err
}

// run stores and judges the records of src, with more sinks.
func (s *Session) run(ctx context.Context, src session.Source, more ...session.Sink) (session.Result, error) {
	sinks := append([]session.Sink{Stored{s.writer}, &vinKeeper{s.writer.Update}, troubles{s.rig.log}, s.Queries, s.Found}, more...)
	res, err := session.Run(ctx, src, s.Judge, sinks...)
	// What was recorded is kept and judged, whatever ended the session.
	finish, done := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer done()
	ferr := s.writer.Finish(finish, res.End, why.Verdict(res.Verdict), why.Events(res.Events))
	if ferr != nil && (err == nil || errors.Is(err, context.Canceled) || errors.Is(ferr, store.ErrReplaced)) { // which tells where all is
		err = ferr
	}
	return res, err
}

// Close ends the storing.
func (s *Session) Close() error { return s.writer.Close() }
