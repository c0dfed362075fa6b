// Package seriallink opens a line to an adapter on a serial port: built in, on USB, or
// over Bluetooth as the system offers it; a pseudo-terminal too.
package seriallink

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"sync/atomic"
	"time"

	"go.bug.st/serial"

	"pushback/obd"
)

// link is a serial port as an obd.Link.
type link struct {
	port     serial.Port
	name     string
	baud     int
	deadline time.Time
	closed   atomic.Bool
}

// takes is how long a port may take to accept what is written to it.
const takes = 2 * time.Second

// Open opens the port with 8 data bits, no parity, one stop bit at baud bit/s.
// The error is a [*obd.LinkError] that wraps fs.ErrNotExist, fs.ErrPermission,
// [obd.ErrPortBusy], or what the system said.
func Open(port string, baud int) (obd.Link, error) {
	p, err := serial.Open(port, &serial.Mode{BaudRate: baud})
	if err != nil {
		return nil, &obd.LinkError{Op: "open", Port: port, Err: reason(port, err)}
	}
	return &link{port: p, name: port, baud: baud}, nil
}

// Baud returns the speed in bit/s.
func (l *link) Baud() int { return l.baud }

// SetBaud changes it once all that was written has gone out.
func (l *link) SetBaud(baud int) error {
	if l.closed.Load() {
		return l.explain("set", net.ErrClosed)
	}
	var err error
	if !l.within(func() { err = l.port.Drain() }) {
		err = errors.New("the port takes nothing")
	}
	if err != nil {
		return l.explain("set", err)
	}
	if err := l.port.SetMode(&serial.Mode{BaudRate: baud}); err != nil {
		return l.explain("set", err)
	}
	l.baud = baud
	return nil
}

// reason gives the library's errors the meaning that callers test for.
func reason(port string, err error) error {
	var pe *serial.PortError
	if !errors.As(err, &pe) {
		return err // a plain errno: fs.ErrNotExist and the like
	}
	switch pe.Code() {
	case serial.PortBusy:
		return obd.ErrPortBusy
	case serial.PortNotFound:
		return fs.ErrNotExist
	case serial.PermissionDenied:
		return fs.ErrPermission
	case serial.InvalidSerialPort:
		if _, statErr := os.Stat(port); errors.Is(statErr, fs.ErrNotExist) {
			return fs.ErrNotExist
		}
	}
	return err
}

func (l *link) SetReadDeadline(t time.Time) error {
	if l.closed.Load() {
		return l.explain("read", net.ErrClosed)
	}
	l.deadline = t
	return nil
}

// Read waits for at least one byte. The library reports a passed time-out as
// (0, nil), and a port that was pulled out like one that was closed.
func (l *link) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for {
		if l.closed.Load() {
			return 0, l.explain("read", net.ErrClosed)
		}
		wait := serial.NoTimeout
		if !l.deadline.IsZero() {
			wait = max(0, time.Until(l.deadline))
		}
		if err := l.port.SetReadTimeout(wait); err != nil {
			return 0, l.explain("read", err)
		}
		n, err := l.port.Read(p)
		switch {
		case n > 0:
			return n, nil
		case err != nil:
			return 0, l.explain("read", err)
		case !l.deadline.IsZero() && !time.Now().Before(l.deadline):
			return 0, os.ErrDeadlineExceeded
		}
	}
}

// Write fails when the port takes nothing for 2 s: a plain write would wait for ever.
func (l *link) Write(p []byte) (int, error) {
	if l.closed.Load() {
		return 0, l.explain("write", net.ErrClosed)
	}
	p = bytes.Clone(p)
	var n int
	var err error
	if !l.within(func() { n, err = l.write(p) }) {
		return 0, l.explain("write", errors.New("the port takes nothing"))
	}
	return n, err
}

// within runs what may block in the system, and reports false when it did.
func (l *link) within(do func()) bool {
	done := make(chan struct{})
	go func() {
		defer close(done)
		do()
	}()
	t := time.NewTimer(takes)
	defer t.Stop()
	select {
	case <-done:
		return true
	case <-t.C:
		_ = l.port.ResetOutputBuffer() // frees it
		return false
	}
}

func (l *link) write(p []byte) (int, error) {
	written := 0
	for written < len(p) {
		n, err := l.port.Write(p[written:])
		written += n
		if err != nil {
			return written, l.explain("write", err)
		}
		if n == 0 {
			return written, l.explain("write", errors.New("the port takes nothing"))
		}
	}
	return written, nil
}

func (l *link) Close() error {
	if l.closed.Swap(true) {
		return nil
	}
	return l.port.Close()
}

// explain tells our own Close from a lost line: whatever else fails on an open
// port, the line is gone.
func (l *link) explain(op string, err error) error {
	if l.closed.Load() {
		err = net.ErrClosed
	} else {
		err = fmt.Errorf("%w: %w", obd.ErrLinkLost, err)
	}
	return &obd.LinkError{Op: op, Port: l.name, Err: err}
}
