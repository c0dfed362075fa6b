// Package tcplink opens a line to an adapter that is reached over the network.
package tcplink

import (
	"context"
	"errors"
	"net"
	"os"
	"sync/atomic"
	"time"

	"pushback/obd"
)

// wait is how long a connection may take.
const wait = 5 * time.Second

// link makes the errors of a connection those of a Link.
type link struct {
	net.Conn
	addr   string
	closed atomic.Bool
}

// Dial connects to an adapter at host:port. The error is a [*obd.LinkError]; it is
// [obd.ErrNoAdapter] when nobody listens there.
func Dial(ctx context.Context, addr string) (obd.Link, error) {
	d := net.Dialer{Timeout: wait}
	c, err := d.DialContext(ctx, "tcp", addr)
	if err != nil {
		if ctx.Err() == nil {
			err = errors.Join(obd.ErrNoAdapter, err)
		}
		return nil, &obd.LinkError{Op: "open", Port: addr, Err: err}
	}
	return &link{Conn: c, addr: addr}, nil
}

func (l *link) Read(p []byte) (int, error) {
	n, err := l.Conn.Read(p)
	if n > 0 {
		return n, nil
	}
	return 0, l.explain("read", err)
}

func (l *link) Write(p []byte) (int, error) {
	if err := l.Conn.SetWriteDeadline(time.Now().Add(wait)); err != nil {
		return 0, l.explain("write", err)
	}
	n, err := l.Conn.Write(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = errors.New("the adapter takes nothing")
	}
	return n, l.explain("write", err)
}

func (l *link) Close() error {
	if l.closed.Swap(true) {
		return nil
	}
	return l.Conn.Close()
}

// explain tells a passed deadline and our own Close from a lost line.
func (l *link) explain(op string, err error) error {
	if err == nil || op == "read" && errors.Is(err, os.ErrDeadlineExceeded) {
		return err
	}
	if l.closed.Load() {
		err = net.ErrClosed
	} else {
		err = errors.Join(obd.ErrLinkLost, err)
	}
	return &obd.LinkError{Op: op, Port: l.addr, Err: err}
}
