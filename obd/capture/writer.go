package capture

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"pushback/obd"
)

const header = "pushback capture 1"

// SessionComment begins the comment that describes the session.
const SessionComment = "# session "

// flushEvery bounds what a crash can lose.
const flushEvery = time.Second

// Writer writes a capture. Its methods are for any goroutine. What goes wrong with the
// writing does not disturb the dialogue; Flush tells it.
type Writer struct {
	mu      sync.Mutex
	w       *bufio.Writer
	clock   obd.Clock
	begun   time.Time
	flushed time.Time
	err     error
}

// NewWriter begins a capture on w, with times by c.
func NewWriter(w io.Writer, c obd.Clock) *Writer {
	now := c.Now()
	t := &Writer{w: bufio.NewWriter(w), clock: c, begun: now, flushed: now}
	_, t.err = fmt.Fprintf(t.w, "%s\n# %s\n", header, now.UTC().Format(time.RFC3339))
	return t
}

// Link returns l with all that passes written down. It is an [obd.BaudSetter] if l is.
func (w *Writer) Link(l obd.Link) obd.Link {
	if b, ok := l.(obd.BaudSetter); ok {
		return &baudLink{link{l, w}, b}
	}
	return &link{l, w}
}

// Session notes when the session's time began, the format of its replies, and what
// describes it to whoever reads the capture: one line, "" for nothing.
func (w *Writer) Session(origin time.Time, f obd.Format, about string) {
	if about != "" {
		w.mu.Lock()
		if w.err == nil {
			_, w.err = fmt.Fprintf(w.w, "%s%s\n", SessionComment, about)
		}
		w.mu.Unlock()
	}
	w.line(origin, '=', FormatText(f))
}

// FormatText is what a capture says of a format.
func FormatText(f obd.Format) string {
	text := f.Bus.String()
	if f.Headers {
		text += " headers"
	}
	if f.Padded {
		text += " padded"
	}
	if f.Dialect != obd.J1979 {
		text += " " + f.Dialect.String()
	}
	return text
}

// Mark notes what the technician says.
func (w *Writer) Mark(m obd.Mark) {
	text := string(m.Kind)
	if m.Text != "" {
		text += fmt.Sprintf(" %q", m.Text)
	}
	w.line(w.clock.Now(), '!', text)
}

// Flush writes out what is held back and returns the first error of all the writing.
func (w *Writer) Flush() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.w.Flush(); w.err == nil {
		w.err = err
	}
	return w.err
}

func (w *Writer) line(at time.Time, sign byte, text string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.err != nil {
		return
	}
	if _, w.err = fmt.Fprintf(w.w, "%.9f %c %s\n", at.Sub(w.begun).Seconds(), sign, text); w.err != nil {
		return
	}
	if now := w.clock.Now(); now.Sub(w.flushed) >= flushEvery {
		w.flushed, w.err = now, w.w.Flush()
	}
}

type link struct {
	obd.Link
	w *Writer
}

type baudLink struct {
	link
	obd.BaudSetter
}

func (l *link) Write(p []byte) (int, error) {
	l.w.line(l.w.clock.Now(), '>', fmt.Sprintf("%q", p))
	n, err := l.Link.Write(p)
	l.failed(err)
	return n, err
}

func (l *link) Read(p []byte) (int, error) {
	n, err := l.Link.Read(p)
	if n > 0 {
		l.w.line(l.w.clock.Now(), '<', fmt.Sprintf("%q", p[:n]))
	}
	l.failed(err)
	return n, err
}

func (l *link) failed(err error) {
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		l.w.line(l.w.clock.Now(), 'x', fmt.Sprintf("%q", err.Error()))
	}
}
