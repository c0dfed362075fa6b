package term

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/words"
	"pushback/obd"
)

// A View shows a session as it runs: events and prompts as lines, and on a
// terminal one line below them that is written over. It is a session.Sink.
type View struct {
	w     io.Writer
	style Style

	mu      sync.Mutex
	state   *live.State
	prompt  session.Prompt
	drawn   time.Duration
	order   dossier.Order
	shown   bool          // a live line is on the screen
	caution string        // of the step before
	warned  time.Duration // when it was last said that a force is held too long
}

// NewView shows a session of this setup.
func NewView(w io.Writer, style Style, setup session.Setup) *View {
	return &View{w: w, style: style, state: live.NewState(setup, nil), drawn: -time.Hour}
}

// Over says that the session is over and only shown again: nobody is told to let go.
func (v *View) Over() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.state.Replay = true
}

// Write shows a frame.
func (v *View) Write(f session.Frame) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	lost := v.state.Lost
	if !v.style.Live {
		f.Samples = nil // values stand in the live line alone
	}
	_ = v.state.Write(f)
	switch {
	case v.state.Lost && !lost:
		v.line(f.Record.At, words.LineGone)
	case lost && !v.state.Lost:
		v.line(f.Record.At, words.LineBack)
	}
	if m := f.Record.Mark; m != nil && m.Kind != obd.MarkStep {
		v.line(f.Record.At, words.You(*m))
	}
	for _, events := range [][]analysis.Event{f.Events, f.Beside} {
		for _, e := range events {
			t := time.Duration(v.order.At(e) * float64(time.Second))
			v.event(t, e)
		}
	}
	if f.Last {
		v.clear()
		return nil
	}
	v.heldTooLong(f.Record.At)
	v.draw(f.Record.At)
	return nil
}

// heldTooLong says each second, and loudly, that a force must end that nobody
// guides. A guide says so by its prompts.
func (v *View) heldTooLong(at time.Duration) {
	if v.state.Prompt != nil || !words.Overheld(v.state) || at-v.warned < time.Second {
		return
	}
	v.warned = at
	v.line(at, v.bell()+v.style.Bold(words.HeldTooLong(at-v.state.Since)))
}

// Prompt shows what the technician is to do.
func (v *View) Prompt(p session.Prompt) {
	v.mu.Lock()
	defer v.mu.Unlock()
	was := v.prompt
	v.prompt = p
	v.state.Told(p)
	p.Back = slices.DeleteFunc(slices.Clone(p.Back), func(b analysis.Proof) bool { return slices.ContainsFunc(was.Back, sameProof(b)) })
	turned := p.More != was.More && p.Stage == session.StageHold || p.Twice && !was.Twice ||
		len(p.Back) > 0 || p.Reason != was.Reason && p.Reason != ""
	reasons := p.Stage == session.StageReady && !slices.EqualFunc(p.Why, was.Why, reason.Reason.Same)
	switch {
	case p.New || turned || reasons:
		if p.Stage == session.StageRelease || p.Drive && p.New {
			fmt.Fprint(v.w, v.bell())
		}
		v.line(p.At, v.style.Bold(words.PromptText(p, v.state.Setup.By)))
		v.cautionFor(p)
	case p.Stage == session.StageRelease && !p.Let:
		fmt.Fprint(v.w, v.bell())
		if !v.style.Live {
			v.line(p.At, words.PromptText(p, v.state.Setup.By))
		}
	}
}

// sameProof finds what was taken back already: it stands in the prompts for some seconds, and here the line above still shows it.
func sameProof(a analysis.Proof) func(analysis.Proof) bool {
	return func(b analysis.Proof) bool { return a.ID == b.ID && a.State == b.State && a.Why.Same(b.Why) }
}

// cautionFor prints what can hurt at a step, unless the step before said the same.
func (v *View) cautionFor(p session.Prompt) {
	text := words.PromptCaution(p, v.state.Setup.By)
	if text != "" && text != v.caution {
		Indent(v.w, "           ! ", text)
	}
	v.caution = text
}

// Say prints a line of its own.
func (v *View) Say(text string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.clear()
	fmt.Fprintln(v.w, text)
}

// Ring rings the bell of a terminal.
func (v *View) Ring() {
	v.mu.Lock()
	defer v.mu.Unlock()
	fmt.Fprint(v.w, v.bell())
}

func (v *View) bell() string {
	if v.style.Live {
		return "\a"
	}
	return ""
}

// event prints an event as a line, in the colour of its side.
func (v *View) event(at time.Duration, e analysis.Event) {
	if v.state.Setup.By == analysis.ByNothing && (e.Name == analysis.Ready || e.Name == analysis.NotReady) {
		return // for a test, which nobody makes
	}
	side := e.Side
	switch e.Name {
	case analysis.ForceBegins, analysis.ForceEnds:
	case analysis.SensorAnswers:
		side = analysis.Side(e.Toward)
	default:
		side = ""
	}
	v.line(at, v.style.Side(side, words.EventText(e)))
}

func (v *View) line(at time.Duration, text string) {
	v.clear()
	IndentTo(v.w, Columns(v.w), fmt.Sprintf("%7.1f s  ", at.Seconds()), text)
}

func (v *View) clear() {
	if v.shown {
		fmt.Fprint(v.w, "\r\x1b[K")
		v.shown = false
	}
}

// draw writes the live line over, at most four times a second: digits that change
// faster cannot be read.
func (v *View) draw(at time.Duration) {
	if !v.style.Live || at-v.drawn < 250*time.Millisecond {
		return
	}
	v.drawn = at
	fmt.Fprint(v.w, "\r\x1b[K"+v.liveLine(at))
	v.shown = true
}

func (v *View) liveLine(at time.Duration) string {
	parts := []string{fmt.Sprintf("%7.1f s", at.Seconds())}
	volts, side := v.state.Volts, v.state.Reads()
	switch {
	case volts.Known && at-volts.At > live.Stale:
		parts = append(parts, words.NoData(at-volts.At))
	case volts.Known:
		parts = append(parts, v.style.Side(side, words.ReadingText(volts.Value, v.state.Wide, 3)+fmt.Sprintf(" %s %-4s", words.Arrow(side), strings.ToUpper(string(side)))))
		if v.state.Trim.Known {
			parts = append(parts, words.TrimShort(v.state.Trim.Value))
		}
		if v.state.RPM.Known {
			parts = append(parts, words.RPM(v.state.RPM.Value))
		}
	}
	if w := words.Step(v.prompt); w != "" {
		parts = append(parts, w)
	}
	return strings.Join(parts, "  ")
}
