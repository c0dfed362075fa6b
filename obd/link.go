package obd

import (
	"context"
	"io"
	"time"
)

// Link is a line to an adapter. A net.Conn is one already.
//
// Read returns at least one byte, or an error. When the read deadline passes it
// returns an error that is os.ErrDeadlineExceeded; when the device is gone, one
// that is [ErrLinkLost]. Close frees a blocked Read. One goroutine reads and
// writes; Close may come from any.
type Link interface {
	io.ReadWriteCloser
	SetReadDeadline(t time.Time) error
}

// BaudSetter is a [Link] whose speed can be changed while it is open.
type BaudSetter interface {
	Baud() int // bit/s
	SetBaud(baud int) error
}

// Clock tells the time and waits. Times are monotonic where the system has such a
// clock. A simulated car brings a clock of its own, so that tests run faster than
// life.
type Clock interface {
	Now() time.Time
	// Sleep waits for d, or until ctx is done and then returns its error.
	Sleep(ctx context.Context, d time.Duration) error
}

// SystemClock is the clock of the machine.
type SystemClock struct{}

// Now returns time.Now.
func (SystemClock) Now() time.Time { return time.Now() }

// Sleep waits for d or for ctx.
func (SystemClock) Sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
