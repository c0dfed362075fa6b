package simcar

import (
	"context"
	"errors"
	"io"
	"time"
)

// beat is how often a served car is moved on while nothing is due.
const beat = 10 * time.Millisecond

// Serve runs the simulation by the machine's clock and talks to one client on rw,
// such as the master side of a pseudo-terminal or a TCP connection. It returns nil
// when the client has gone, the context's error when that is done, or the error of rw.
//
// When ctx is done, a blocked read or write is freed by rw's SetDeadline, or else its
// Close. Simulated time begins with the first Serve and goes on between clients;
// serve one client at a time.
func Serve(ctx context.Context, s *Sim, rw io.ReadWriter) error {
	interruptible(rw)
	s.mu.Lock()
	if s.began.IsZero() {
		s.began = time.Now().Add(-s.now)
	}
	s.adapter.hangUp()
	s.catchUp()
	s.mu.Unlock()

	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	stop := context.AfterFunc(ctx, func() { unblock(rw) })
	defer stop()

	wake := make(chan struct{}, 1)
	finished := make(chan struct{})
	go func() {
		defer close(finished)
		buf := make([]byte, 256)
		for {
			n, err := rw.Read(buf)
			if n > 0 {
				s.mu.Lock()
				s.catchUp()
				s.adapter.write(buf[:n])
				s.mu.Unlock()
				select {
				case wake <- struct{}{}:
				default:
				}
			}
			if err != nil {
				cancel(err)
				return
			}
		}
	}()
	err := s.speak(ctx, rw, wake)
	cancel(err)
	<-finished
	if errors.Is(err, io.EOF) || hungUp(err) {
		return nil
	}
	return err
}

// speak writes what the adapter prints, when it is due, until ctx is done.
func (s *Sim) speak(ctx context.Context, w io.Writer, wake <-chan struct{}) error {
	buf := make([]byte, 256)
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		s.mu.Lock()
		s.catchUp()
		n := s.adapter.take(buf)
		due := s.due()
		s.mu.Unlock()
		if n > 0 {
			if _, err := w.Write(buf[:n]); err != nil {
				if ctx.Err() != nil {
					return context.Cause(ctx)
				}
				return err
			}
			continue
		}
		timer.Reset(min(due, beat))
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-wake:
		case <-timer.C:
		}
	}
}

// due returns how long nothing will happen.
func (s *Sim) due() time.Duration {
	wait := beat
	if at, ok := s.adapter.next(); ok {
		wait = min(wait, at-s.now)
	}
	if len(s.adapter.out) > 0 {
		wait = min(wait, s.adapter.out[0].at-s.now)
	}
	return max(wait, 0)
}

// hangUp forgets a former client's half-sent command and unread text.
func (a *adapter) hangUp() {
	a.in, a.out, a.line = nil, nil, a.line[:0]
	if a.busy {
		a.events = a.events[:0]
		a.busy, a.x, a.returning = false, nil, 0
	}
}

// unblock frees a reader or writer of rw.
func unblock(rw io.ReadWriter) {
	if d, ok := rw.(interface{ SetDeadline(time.Time) error }); ok && d.SetDeadline(time.Unix(1, 0)) == nil {
		return
	}
	if c, ok := rw.(io.Closer); ok {
		c.Close()
	}
}
