package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/page"
	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// viewFlags say how a session is shown.
type viewFlags struct {
	plain bool
	page  string
}

func (f *viewFlags) add(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.plain, "plain", false, "lines in place of the whole screen")
	cmd.Flags().StringVar(&f.page, "page", "", "serve a page to watch on a phone, `WHERE`: local (this machine, the default), lan, or ADDRESS:PORT")
	cmd.Flags().Lookup("page").NoOptDefVal = "local"
}

// showing is a session that is to be shown.
type showing struct {
	views    viewFlags
	title    string
	meta     store.Meta
	verdict  func() analysis.Verdict
	controls live.Controls
	player   *replay.Player // of a replay
	guided   bool
	scripted bool // nobody's hands are on a wire
	lines    bool // never on the whole screen
	cautions bool // say what can hurt, before all else
	short    bool // it ends by itself, perhaps unseen
}

// lingering is how long an answer stays on the whole screen of a session that ends
// by itself; it is printed after that, too.
const lingering = 10 * time.Second

// watching is all that people watch a session on: the whole terminal or lines, and
// the page.
type watching struct {
	screen *term.Screen // or
	view   *term.View
	page   *page.Page
}

// whole reports whether the whole terminal can show a session, and which it is.
func (a *app) whole(f viewFlags) (in, out *os.File, ok bool) {
	in, out, ok = term.Fits(a.in, a.people())
	return in, out, ok && !f.plain && !a.json && a.log.GetLevel() >= zerolog.WarnLevel
}

// watch shows a session: on the whole terminal where there is one, as lines where
// not, and on the page if wanted. What is typed or tapped goes to its controls.
func (a *app) watch(s showing) (*watching, error) {
	w := &watching{}
	m, controls := s.meta, s.controls
	switch {
	case s.player != nil:
		controls = s.player.Controls(m.Duration)
	case s.scripted:
		controls = live.Controls{Stop: controls.Stop} // nobody else's hands are on the wire
	}
	setup, err := setupOf(m)
	if err != nil {
		return nil, err
	}
	people, style := a.people(), term.StyleOf(a.people())
	in, out, whole := a.whole(s.views)
	whole = whole && !s.lines
	var notice *term.Notice
	if s.views.page != "" {
		cfg := page.Config{Title: s.title, Name: m.ID, Setup: setup, Verdict: s.verdict, Controls: controls}
		if w.page, err = page.Serve(s.views.page, cfg); err != nil {
			return nil, pageError(err)
		}
		code, err := page.QR(w.page.URL(), false)
		if err != nil {
			return nil, err
		}
		notice = &term.Notice{Address: []string{words.PageAt(!w.page.Local(), controls.Mark != nil), w.page.URL()}, Code: code}
		if whole {
			fmt.Fprintln(people, "page: "+w.page.URL())
		} else {
			if !style.Live {
				notice.Code = nil // nobody scans a log
			}
			notice.Print(people, style)
		}
	}
	if whole {
		cfg := term.ScreenConfig{
			In: in, Out: out, Color: style.Color, Title: s.title, Name: m.ID, Keys: words.RecordScreenKeys, Notice: notice,
			Setup: setup, Verdict: s.verdict, Controls: controls,
		}
		if s.cautions {
			cfg.First = func(columns int) []string {
				var b strings.Builder
				writeCautions(&b, style, columns-2, setup.By)
				return strings.Split(strings.TrimSpace(b.String()), "\n")
			}
		}
		if w.page != nil {
			cfg.Guests = w.page.Guests
		}
		switch {
		case s.player != nil:
			cfg.Keys = words.ReplayScreenKeys
		case s.scripted:
			cfg.Keys = words.DemoScreenKeys
		case s.guided:
			cfg.Keys = words.TestScreenKeys
		}
		if s.scripted || s.short {
			cfg.Linger = lingering
		}
		w.screen = term.NewScreen(cfg)
		return w, nil
	}
	if s.lines {
		style.Live = false
	}
	w.view = term.NewView(people, style, setup)
	if s.scripted || s.player != nil || s.lines {
		return w, nil
	}
	single := term.Listen(a.in, controls, w.view.Say)
	switch {
	case single && s.guided:
		fmt.Fprintln(people, words.TestKeys)
	case single:
		fmt.Fprintln(people, words.RecordKeys)
	case s.guided:
		fmt.Fprintln(people, words.TestLines)
	}
	return w, nil
}

func pageError(err error) error {
	hint := "is the address one of this machine's, and the port free? --page alone takes any free port"
	if errors.Is(err, page.ErrNoNetwork) {
		hint = "join the shop's network, or name this machine's address: --page=ADDRESS:PORT"
	}
	return hinted{err, hint, statusFailed}
}

// Write shows a frame everywhere.
func (w *watching) Write(f session.Frame) error {
	var err error
	if w.screen != nil {
		err = w.screen.Write(f)
	} else {
		err = w.view.Write(f)
	}
	if w.page != nil {
		err = errors.Join(err, w.page.Write(f))
	}
	return err
}

// Prompt shows what the technician is to do.
func (w *watching) Prompt(p session.Prompt) {
	if w.screen != nil {
		w.screen.Prompt(p)
	} else {
		w.view.Prompt(p)
	}
	if w.page != nil {
		w.page.Prompt(p)
	}
}

// Restart forgets what was shown: a replay begins anew.
func (w *watching) Restart(verdict func() analysis.Verdict) {
	if w.screen != nil {
		w.screen.Restart(verdict)
	}
	if w.page != nil {
		w.page.Restart(verdict)
	}
}

// Status shows a replay's speed, whether it stands still, and whether it hurries to
// another place.
func (w *watching) Status(text string, still, hurry bool) {
	if w.screen != nil {
		w.screen.Status(text, still, hurry)
	}
	if w.page != nil {
		w.page.Replays(page.Status{Speed: text, Still: still, Quiet: hurry})
	}
}

// watched reports whether somebody watches who can go back from the end.
func (w *watching) watched() bool {
	return w.screen != nil || w.page != nil && w.page.Guests() > 0
}

// Left is closed when nobody watches any more: the screen was left or, where there is
// none, no page has been open for a moment.
func (w *watching) Left(ctx context.Context) <-chan struct{} {
	if w.screen != nil {
		return w.screen.Left()
	}
	left := make(chan struct{})
	go func() {
		defer close(left)
		look := time.NewTicker(250 * time.Millisecond)
		defer look.Stop()
		// A page that is loaded anew, or has lost its line, comes back within a moment.
		for alone := 0; w.page != nil && alone < 12; alone++ {
			if w.page.Guests() > 0 {
				alone = 0
			}
			select {
			case <-look.C:
			case <-ctx.Done():
				return
			}
		}
	}()
	return left
}

// Over leaves the answer on the whole screen for a while, then gives the terminal
// back.
func (w *watching) Over(ctx context.Context) {
	if w.screen != nil {
		w.screen.Close(ctx)
	}
	term.Restore()
}

// Close ends all showing, however the session ended. It may be called again.
func (w *watching) Close(context.Context) {
	if w.screen != nil {
		w.screen.Kill()
	}
	if w.page != nil {
		w.page.Close()
	}
	term.Restore()
}
