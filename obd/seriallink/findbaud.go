package seriallink

import (
	"bytes"
	"context"
	"errors"
	"os"
	"time"

	"pushback/obd"
)

// Rates are the speeds in bit/s that FindBaud tries, the usual ones first.
var Rates = []int{115200, 38400, 9600, 500000, 230400, 57600, 1000000, 2000000, 921600, 19200}

// patience is how long an adapter gets to show its prompt: a whole line at the
// slowest speed takes far less, some Bluetooth lines take this long.
const patience = 300 * time.Millisecond

// FindBaud opens the port at the speed at which an adapter answers, and returns it
// with that speed. The error is that of [Open], the context's, or
// [obd.ErrNoAdapter] in a [*obd.LinkError].
func FindBaud(ctx context.Context, port string) (obd.Link, int, error) {
	for _, baud := range Rates {
		if err := ctx.Err(); err != nil {
			return nil, 0, &obd.LinkError{Op: "search", Port: port, Err: err}
		}
		l, err := Open(port, baud)
		if err != nil {
			var le *obd.LinkError
			if errors.As(err, &le) && known(le.Err) {
				return nil, 0, err
			}
			continue // this machine cannot set this speed
		}
		found, err := prompts(ctx, l)
		if found {
			return l, baud, nil
		}
		l.Close()
		if err != nil {
			return nil, 0, err
		}
	}
	return nil, 0, &obd.LinkError{Op: "search", Port: port, Err: obd.ErrNoAdapter}
}

// known tells errors that no other speed would mend.
func known(err error) bool {
	return errors.Is(err, os.ErrNotExist) || errors.Is(err, os.ErrPermission) || errors.Is(err, obd.ErrPortBusy)
}

// prompts tells whether an adapter shows its prompt in clean text on AT, which
// does nothing. The first try at a wrong speed may have left rubbish in its line, so there
// is a second one.
func prompts(ctx context.Context, l obd.Link) (bool, error) {
	for range 2 {
		if _, err := l.Write([]byte("AT\r")); err != nil {
			return false, err
		}
		var got []byte
		for end := time.Now().Add(patience); ctx.Err() == nil && len(got) < 4096; {
			if err := l.SetReadDeadline(end); err != nil {
				return false, err
			}
			var buf [256]byte
			n, err := l.Read(buf[:])
			if errors.Is(err, os.ErrDeadlineExceeded) {
				break
			}
			if err != nil {
				return false, err
			}
			got = append(got, buf[:n]...)
			if bytes.IndexByte(got, '>') >= 0 {
				if clean(got) {
					return true, nil
				}
				break
			}
		}
	}
	return false, nil
}

// clean tells whether text looks like words of an adapter: a wrong speed shows as
// bytes beyond ASCII.
func clean(text []byte) bool {
	for _, c := range text {
		if c > '~' || c < ' ' && c != '\r' && c != '\n' && c != 0 {
			return false
		}
	}
	return true
}
