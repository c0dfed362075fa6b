package views

import (
	"fmt"
	"io"
	"time"

	"pushback/analysis/session"
	"pushback/cmd/internal/term"
)

// Progress shows on a terminal how far long work has come. It is a session.Sink.
type Progress struct {
	w      io.Writer
	live   bool
	whole  time.Duration
	began  time.Time
	drawn  time.Time
	shown  bool
	looked int64 // Seq of the record when the clock was last asked
	doing  string
}

// seldom is how many records pass before the clock is asked again.
const seldom = 1000

// NewProgress shows progress through a session of this length, 0 not known, behind the word for
// what is being done.
func NewProgress(w io.Writer, doing string, whole time.Duration) *Progress {
	return &Progress{w: w, live: term.StyleOf(w).Live, doing: doing, whole: whole, began: time.Now()}
}

// Write says how many records came, when the work has taken longer than a second.
func (p *Progress) Write(f session.Frame) error {
	if f.Last || len(f.Events) > 0 {
		p.Clear()
	}
	if f.Last || !p.live || f.Record.Seq >= p.looked && f.Record.Seq < p.looked+seldom {
		return nil
	}
	p.looked = f.Record.Seq
	now := time.Now()
	if now.Sub(p.began) < time.Second || now.Sub(p.drawn) < 200*time.Millisecond {
		return nil
	}
	p.drawn = now
	if p.whole > 0 {
		fmt.Fprintf(p.w, "\r\x1b[K%s%d records, %.0f %%", p.doing, p.looked, 100*f.Record.At.Seconds()/p.whole.Seconds())
	} else {
		fmt.Fprintf(p.w, "\r\x1b[K%s%d records, %s of the recording", p.doing, p.looked, f.Record.At.Round(time.Second))
	}
	p.shown = true
	return nil
}

// Clear takes it off the terminal.
func (p *Progress) Clear() {
	if p.shown {
		fmt.Fprint(p.w, "\r\x1b[K")
		p.shown = false
	}
}
