// Package obdtest helps to test what talks to an adapter: a scripted adapter on a
// clock of its own, the playback of a recorded dialogue, and a suite that every
// [obd.Link] must pass.
package obdtest

import (
	"bytes"
	"context"
	"net"
	"os"
	"strings"
	"sync"
	"time"

	"pushback/obd"
)

// Fake is an adapter that answers by a function. It is both the Link and the
// Clock: reading lets its time pass, so that nothing waits in earnest.
type Fake struct {
	// Answer returns what the adapter prints for a line (without its return), and
	// after what time. The prompt is part of the text. ATE0 and ATE1 also switch
	// the echo that the Fake makes.
	Answer func(line string) (text string, after time.Duration)
	// Damage, if set, sees each byte on its way to the adapter and may change or swallow it.
	Damage func(b byte) (byte, bool)
	// Deaf suppresses the echo whatever the adapter says.
	Deaf bool

	// EchoLines makes it echo whole lines, when their return has come.
	EchoLines bool
	// Slow is for how long after a prompt the adapter loses what it is sent.
	Slow time.Duration

	Lines []string // all lines received, for checks

	mu     sync.Mutex
	now    time.Time
	line   []byte
	echo   bool
	output []print
	until  time.Time // read deadline
	closed bool
	lost   bool
	ready  time.Time // the last prompt went out
}

type print struct {
	at   time.Time
	text []byte
}

// NewFake returns a Fake with echo on, as adapters start.
func NewFake(answer func(line string) (string, time.Duration)) *Fake {
	return &Fake{Answer: answer, echo: true, now: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)}
}

// Now returns the Fake's time.
func (f *Fake) Now() time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.now
}

// Sleep lets d pass at once.
func (f *Fake) Sleep(ctx context.Context, d time.Duration) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now = f.now.Add(max(0, d))
	return ctx.Err()
}

// Unplug makes the line fail from now on.
func (f *Fake) Unplug() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.lost = true
}

// Plug opens the line again after Unplug or Close: the adapter as after power-up.
func (f *Fake) Plug() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.lost, f.closed, f.echo, f.line, f.output = false, false, true, nil, nil
}

// Print makes the adapter print text unasked, after a time.
func (f *Fake) Print(text string, after time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.print(text, after)
}

func (f *Fake) print(text string, after time.Duration) {
	if text != "" {
		f.output = append(f.output, print{f.now.Add(after), []byte(text)})
	}
}

func (f *Fake) fails() error {
	switch {
	case f.closed:
		return net.ErrClosed
	case f.lost:
		return &obd.LinkError{Op: "use", Port: "fake", Err: obd.ErrLinkLost}
	}
	return nil
}

// Write takes bytes for the adapter; a return ends a line.
func (f *Fake) Write(p []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.fails(); err != nil {
		return 0, err
	}
	for _, b := range p {
		if f.now.Before(f.ready.Add(f.Slow)) {
			continue
		}
		if f.Damage != nil {
			var keep bool
			if b, keep = f.Damage(b); !keep {
				continue
			}
		}
		if f.echo && !f.Deaf && !f.EchoLines {
			f.print(string(b), 0)
		}
		if b != '\r' {
			f.line = append(f.line, b)
			continue
		}
		if f.echo && !f.Deaf && f.EchoLines {
			f.print(string(f.line)+"\r", 0)
		}
		line := string(bytes.TrimSpace(f.line))
		f.line = f.line[:0]
		f.Lines = append(f.Lines, line)
		text, after := f.Answer(line)
		if strings.Contains(text, "OK") {
			switch line {
			case "ATE0":
				f.echo = false
			case "ATE1":
				f.echo = true
			}
		}
		if line == "ATZ" {
			f.echo = true
		}
		f.print(text, after)
	}
	return len(p), nil
}

// Read returns what is printed next, letting time pass up to the deadline.
func (f *Fake) Read(p []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.fails(); err != nil {
		return 0, err
	}
	if len(f.output) == 0 || !f.until.IsZero() && f.output[0].at.After(f.until) {
		if f.now.Before(f.until) {
			f.now = f.until
		}
		return 0, os.ErrDeadlineExceeded
	}
	o := &f.output[0]
	if f.now.Before(o.at) {
		f.now = o.at
	}
	n := copy(p, o.text)
	if bytes.IndexByte(p[:n], '>') >= 0 {
		f.ready = f.now
	}
	if o.text = o.text[n:]; len(o.text) == 0 {
		f.output = f.output[1:]
	}
	return n, nil
}

// SetReadDeadline sets when Read gives up.
func (f *Fake) SetReadDeadline(t time.Time) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.until = t
	return f.fails()
}

// Close closes the line.
func (f *Fake) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.closed = true
	return nil
}
