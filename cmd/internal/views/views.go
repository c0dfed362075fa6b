// Package views shows a session on all that people watch it on: the whole terminal or lines,
// and the page for a phone.
package views

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/page"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
)

// Kind is what is watched.
type Kind uint8

const (
	Record Kind = iota // somebody forces when they like
	Test               // they are guided
	Demo               // nobody's hands are on a wire
	Replay             // at a speed that who watches chooses
	Judged             // a replay as fast as possible: lines only
)

// Config says what is shown, and where.
type Config struct {
	In       io.Reader
	Out      io.Writer // for people
	Plain    bool      // lines in place of the whole screen
	Page     string    // where the page is served, as [page.Serve] has it; "": nowhere
	Kind     Kind
	Title    string // what is being done
	Name     string // of the session
	Setup    session.Setup
	Verdict  func() analysis.Verdict
	Controls live.Controls
	Short    bool // it ends by itself, perhaps unseen
	Both     bool // the other bank's wire is held too
}

// lingering is how long an answer stays on the whole screen of a session that ends
// by itself; it is printed after that, too.
const lingering = 10 * time.Second

// Views is all that people watch a session on. It is a session.Sink.
type Views struct {
	screen  *term.Screen // or
	lines   *term.View
	columns int // of those
	page    *page.Page
}

// FullScreen reports whether the whole terminal can show a session, and which it is.
func (c Config) FullScreen() (in, out *os.File, ok bool) {
	in, out, ok = term.Fits(c.In, c.Out)
	return in, out, ok && !c.Plain && c.Kind != Judged
}

// Open begins to show a session. What is typed or tapped goes to its controls. Close is due.
func Open(c Config) (*Views, error) {
	if c.Kind == Demo {
		c.Controls = live.Controls{Stop: c.Controls.Stop} // nobody else's hands are on the wire
	}
	v := &Views{}
	var notice *term.Notice
	if c.Page != "" {
		var err error
		if notice, err = v.serve(c); err != nil {
			return nil, err
		}
	}
	if in, out, whole := c.FullScreen(); whole {
		v.screen = term.NewScreen(v.onScreen(c, in, out, notice))
		return v, nil
	}
	style := term.StyleOf(c.Out)
	style.Live = style.Live && c.Kind != Judged
	v.columns = term.Columns(c.Out)
	v.lines = term.NewView(c.Out, style, c.Setup)
	if c.Kind == Replay || c.Kind == Judged {
		v.lines.Over()
	}
	if c.Kind != Record && c.Kind != Test {
		return v, nil
	}
	c.cautions(c.Out, style, 96)
	single := term.Listen(c.In, c.Controls, v.lines.Say)
	switch {
	case single && c.Kind == Test && words.DrivesRear(c.Setup):
		fmt.Fprintln(c.Out, words.DriveKeys)
	case single && c.Kind == Test:
		fmt.Fprintln(c.Out, words.TestKeys)
	case single:
		fmt.Fprintln(c.Out, words.RecordKeys)
	case c.Kind == Test:
		fmt.Fprintln(c.Out, words.TestLines)
	}
	return v, nil
}

// serve opens the page and says where it is.
func (v *Views) serve(c Config) (*term.Notice, error) {
	var err error
	v.page, err = page.Serve(c.Page, page.Config{Title: c.Title, Name: c.Name, Setup: c.Setup, Verdict: c.Verdict, Controls: c.Controls})
	switch {
	case errors.Is(err, page.ErrNoNetwork):
		return nil, advice.On(err, "join the shop's network, or name this machine's address: --page=ADDRESS:PORT")
	case err != nil:
		return nil, advice.On(err, "is the address one of this machine's, and the port free? --page alone takes any free port")
	}
	code, err := page.QR(v.page.URL(), false)
	if err != nil {
		return nil, err
	}
	if v.page.Local() {
		code = nil // no phone can open what only this machine can
	}
	notice := &term.Notice{Address: []string{words.PageAt(!v.page.Local(), c.Controls.Mark != nil), v.page.URL()}, Code: code}
	if _, _, whole := c.FullScreen(); whole {
		fmt.Fprintln(c.Out, "page: "+v.page.URL())
		return notice, nil
	}
	style := term.StyleOf(c.Out)
	if !style.Live {
		notice.Code = nil // nobody scans a log
	}
	notice.Print(c.Out, style)
	return notice, nil
}

// onScreen is what the whole screen needs to know.
func (v *Views) onScreen(c Config, in, out *os.File, notice *term.Notice) term.ScreenConfig {
	style := term.StyleOf(c.Out)
	cfg := term.ScreenConfig{
		In: in, Out: out, Color: style.Color, Title: c.Title, Name: c.Name, Notice: notice,
		Setup: c.Setup, Verdict: c.Verdict, Controls: c.Controls,
	}
	if c.Kind == Test { // read before the first step
		cfg.First = func(columns int) []string {
			var b strings.Builder
			c.cautions(&b, style, columns-2)
			return strings.Split(strings.TrimSpace(b.String()), "\n")
		}
	}
	if v.page != nil {
		cfg.Guests = v.page.Guests
	}
	switch c.Kind {
	case Replay:
		cfg.Keys = words.ReplayScreenKeys
	case Demo:
		cfg.Keys = words.DemoScreenKeys
	case Test:
		cfg.Keys = words.TestScreenKeys
	default:
		cfg.Keys = words.RecordScreenKeys
	}
	if c.Kind == Demo || c.Short {
		cfg.Linger = lingering
	}
	return cfg
}

func (c Config) cautions(w io.Writer, style term.Style, columns int) {
	if c.Both {
		term.IndentTo(w, columns, "  ! ", words.BothWires)
	}
	by := c.Setup.By
	if words.DrivesRear(c.Setup) {
		by = analysis.ByNothing // it is a drive like any other
	}
	WriteCautions(w, style, columns, by)
}

// WriteCautions says what can hurt, in lines of at most so many columns.
func WriteCautions(w io.Writer, style term.Style, columns int, by analysis.By) {
	fmt.Fprintln(w, style.Bold(words.BeforeYouTouch))
	for _, c := range words.Cautions(by) {
		term.IndentTo(w, columns, "  ! ", c)
	}
	fmt.Fprintln(w)
}

// OnScreen reports whether the whole terminal shows the session.
func (v *Views) OnScreen() bool { return v.screen != nil }

// Lined reports whether lines are all that shows the session. They ask for no verdict.
func (v *Views) Lined() bool { return v.screen == nil && v.page == nil }

// Write shows a frame everywhere.
func (v *Views) Write(f session.Frame) error {
	var err error
	if v.screen != nil {
		err = v.screen.Write(f)
	} else {
		err = v.lines.Write(f)
	}
	if v.page != nil {
		err = errors.Join(err, v.page.Write(f))
	}
	return err
}

// Prompt shows what the technician is to do.
func (v *Views) Prompt(p session.Prompt) {
	if v.screen != nil {
		v.screen.Prompt(p)
	} else {
		v.lines.Prompt(p)
	}
	if v.page != nil {
		v.page.Prompt(p)
	}
}

// Say prints lines of their own, indented under an event's time, where there is no whole screen.
func (v *Views) Say(sign, text string) {
	if v.lines == nil {
		return
	}
	var b strings.Builder
	term.IndentTo(&b, v.columns, "            "+sign, text)
	v.lines.Say(strings.TrimSuffix(b.String(), "\n"))
}

// Drive shows what a drive that is led needs now: on the page, which speaks each step, and by the terminal's
// bell; the lines are told by [MapLead].
func (v *Views) Drive(g trimmap.Guidance, turned bool) {
	if v.lines != nil && turned {
		v.lines.Ring()
	}
	if v.page != nil {
		v.page.Drive(g)
	}
}

// Restart forgets what was shown: a replay begins anew.
func (v *Views) Restart(verdict func() analysis.Verdict) {
	if v.screen != nil {
		v.screen.Restart(verdict)
	}
	if v.page != nil {
		v.page.Restart(verdict)
	}
}

// Status shows a replay's speed, whether it stands still, and whether it hurries to
// another place.
func (v *Views) Status(text string, still, hurry bool) {
	if v.screen != nil {
		v.screen.Status(text, still, hurry)
	}
	if v.page != nil {
		v.page.Replays(page.Status{Speed: text, Still: still, Quiet: hurry})
	}
}

// Watched reports whether somebody watches who can go back from the end.
func (v *Views) Watched() bool {
	return v.screen != nil || v.page != nil && v.page.Guests() > 0
}

// Left is closed when nobody watches any more: the screen was left or, where there is
// none, no page has been open for a moment.
func (v *Views) Left(ctx context.Context) <-chan struct{} {
	if v.screen != nil {
		return v.screen.Left()
	}
	left := make(chan struct{})
	go func() {
		defer close(left)
		look := time.NewTicker(250 * time.Millisecond)
		defer look.Stop()
		// A page that is loaded anew, or has lost its line, comes back within a moment.
		for alone := 0; v.page != nil && alone < 12; alone++ {
			if v.page.Guests() > 0 {
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
func (v *Views) Over(ctx context.Context) {
	if v.screen != nil {
		v.screen.Close(ctx)
	}
	term.Restore()
}

// Close ends all showing, however the session ended. It may be called again.
func (v *Views) Close(context.Context) {
	if v.screen != nil {
		v.screen.Kill()
	}
	if v.page != nil {
		v.page.Close()
	}
	term.Restore()
}
