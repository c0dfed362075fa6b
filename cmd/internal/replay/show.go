package replay

import (
	"context"
	"errors"
	"fmt"
	"io"

	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/views"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// Config says how a stored session is played again.
type Config struct {
	Speed    float64      // times the speed of life; 0: as fast as possible
	Views    views.Config // where it is shown; what is shown is filled in
	Progress io.Writer    // told how far one as fast as possible is
	JSON     io.Writer    // of its lines; nil: none
	Samples  bool         // as lines too
	Found    bool         // before the verdict a line of what the computers reported
}

// Show plays a session again in front of who watches it. The dossier is nil where they stopped it
// before its end; the result is then of what was played.
func Show(ctx context.Context, db *store.Store, m store.Meta, c Config) (session.Result, *dossier.Dossier, error) {
	setup, err := session.NewSetup(m.Watching, m.By, m.Format)
	if err != nil {
		return session.Result{}, nil, err
	}
	s := showing{Config: c, db: db, meta: m}
	s.Views.Kind, s.Views.Title, s.Views.Name, s.Views.Setup = views.Judged, "replay  "+m.Watching+" by "+m.By, m.ID, setup
	if c.Speed > 0 {
		s.play = New(c.Speed)
		s.Views.Kind, s.Views.Controls = views.Replay, s.play.Controls(m.Duration)
	} else {
		defer pace()()
	}
	for {
		e := dossier.NewCollector(dossier.Setup{Setup: setup})
		if err := s.begin(e); err != nil {
			return session.Result{}, nil, err
		}
		res, err := s.once(ctx, e)
		switch {
		case errors.Is(err, ErrSeek):
		case errors.Is(err, ErrStopped):
			s.watch.Close(ctx)
			return res, nil, nil
		case err != nil:
			s.watch.Close(ctx)
			return res, nil, err
		case !s.rests(ctx):
			s.watch.Close(ctx)
			return res, e.Dossier(res), nil
		}
		s.play.Again()
	}
}

// showing is one replay in front of who watches it.
type showing struct {
	Config
	db    *store.Store
	meta  store.Meta
	play  *Player      // nil: as fast as possible
	watch *views.Views // nil: not yet begun
}

// begin shows a session from its beginning, which may be again.
func (s *showing) begin(e *dossier.Collector) (err error) {
	if s.watch != nil {
		s.watch.Restart(e.Judge.Verdict)
		return nil
	}
	s.Views.Verdict = e.Judge.Verdict
	if s.watch, err = views.Open(s.Views); err == nil && s.play != nil {
		s.play.TellTo(s.watch.Status)
	}
	return err
}

// once is one run, from the beginning.
func (s *showing) once(ctx context.Context, e *dossier.Collector) (session.Result, error) {
	reader, err := s.db.Records(ctx, s.meta.ID)
	if err != nil {
		return session.Result{}, err
	}
	defer reader.Close()
	var src session.Source = reader
	var sinks, shows []session.Sink
	var lines *live.JSONLines
	if s.JSON != nil {
		lines = live.NewJSONLines(s.JSON, s.Samples)
		if err := lines.Begin(live.HeaderOf(s.meta, e.Judge.Kind)); err != nil {
			return session.Result{}, err
		}
		sinks = append(sinks, lines)
	}
	if s.play != nil {
		src = s.play.Pace(reader)
		sinks = append(sinks, s.play)
	} else {
		ahead, stop := NewAhead(ctx, reader, e.Ahead)
		defer stop()
		src = ahead
		shows = append(shows, views.NewProgress(s.Progress, "", s.meta.Duration))
	}
	shows = append(shows, s.watch)
	if s.play == nil && s.JSON == nil && s.watch.Lined() { // whoever writes lines of both sees them in order
		e.Also(shows...)
		shows = nil
	}
	res, err := session.Run(ctx, src, e.Judge, append(append(sinks, shows...), e)...)
	if err == nil && lines != nil && s.Found {
		err = lines.Found(sheet.FoundOf(e.Found, res.Events, e.Judge.Figures(), e.Judge.Setup().Sensor))
	}
	if err == nil && lines != nil {
		err = lines.End(res.Verdict)
	}
	return res, err
}

// rests waits at the end while somebody watches, and reports whether they went back into it.
func (s *showing) rests(ctx context.Context) bool {
	if s.play == nil || !s.watch.Watched() {
		return false
	}
	if !s.watch.OnScreen() {
		fmt.Fprintln(s.Views.Out, words.StaysForPage)
	}
	resting, cancel := context.WithCancel(ctx)
	defer cancel()
	return s.play.Rest(resting, s.watch.Left(resting))
}
