package obd

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"
)

// errSilent means that no prompt came in time.
var errSilent = errors.New("no prompt in time")

// maxPrint bounds what one answer may hold: the longest that J1979 knows, 4095 bytes of
// some computers in hexadecimal, fits well.
const maxPrint = 64 << 10

// slice is how often a long wait looks at its context.
const slice = 100 * time.Millisecond

const second = time.Second

// resync brings the line to the prompt when that is in doubt. A lone return will
// not do: adapters repeat their last command on it. AT alone does nothing, stops
// what is going on, and together with remains in the adapter's line it is no
// request.
func (a *Adapter) resync(ctx context.Context) error {
	if !a.outOfSync {
		return ctx.Err()
	}
	a.last = ""
	odd := 1
	if a.speeds.wrong {
		a.speeds.wrong, odd = false, 0
	}
	for i := range 10 {
		if i%2 == odd {
			if err := a.otherSpeed(); err != nil {
				return err
			}
		}
		if err := a.pause(ctx); err != nil {
			return err
		}
		if err := a.write("AT\r"); err != nil {
			return err
		}
		raw, _, err := a.prompt(ctx, 3*slice, nil)
		if errors.Is(err, errSilent) || unprintable(raw) {
			continue
		} else if err != nil {
			return err
		}
		// Answers come in order: behind a plain one to the first AT there is nothing.
		quiet := slice
		if text := strings.Trim(string(raw), "\x00\r\n "); i == 0 && (text == "AT\r?" || text == "AT\rOK") {
			quiet = slice / 5
		}
		if err := a.drain(ctx, quiet); err == nil {
			a.outOfSync = false
			return nil
		} else if !errors.Is(err, errSilent) {
			return err
		}
	}
	return errSilent
}

// unprintable tells whether there are characters that no adapter prints.
func unprintable(raw []byte) bool {
	return slices.ContainsFunc(raw, func(c byte) bool { return c > '~' })
}

// drain reads until nothing has come for a while: late answers, second prompts.
func (a *Adapter) drain(ctx context.Context, quiet time.Duration) error {
	for end := a.clock.Now().Add(2 * second); a.clock.Now().Before(end); {
		if _, err := a.read(ctx, a.clock.Now().Add(quiet)); errors.Is(err, errSilent) {
			return nil
		} else if err != nil {
			return err
		}
	}
	return errSilent
}

// prompt reads up to the prompt. at is when the last printable character before it
// came. Without a prompt the error is errSilent and the line in doubt.
//
// wait is for the prompt. With more, each character begins the wait anew, up to
// 10 s, and more may lengthen it by what was printed so far.
func (a *Adapter) prompt(ctx context.Context, wait time.Duration, more func([]byte) time.Duration) (raw []byte, at time.Time, err error) {
	begin := a.clock.Now()
	end := begin.Add(wait)
	for {
		b, err := a.read(ctx, end)
		now := a.clock.Now()
		if err != nil {
			a.outOfSync = true
			return raw, now, err
		}
		before, after, found := bytes.Cut(b, []byte(">"))
		if len(bytes.Trim(before, "\x00\r\n ")) > 0 || at.IsZero() {
			at = now
		}
		raw = append(raw, before...)
		if found {
			a.prompted = now
			if len(bytes.Trim(after, "\x00\r\n ")) > 0 {
				a.outOfSync = true
			}
			return raw, at, nil
		}
		if len(raw) > maxPrint {
			a.outOfSync = true
			return raw, now, errSilent
		}
		if a.speeds.raised > 0 && unprintable(b) { // the adapter started anew, at its usual speed
			a.speeds.wrong = true
			more, end = nil, now.Add(slice)
		}
		if more != nil {
			end = now.Add(max(wait, more(raw)))
			if limit := begin.Add(max(wait, 10*second)); limit.Before(end) {
				end = limit
			}
		}
	}
}

// read returns what has come, waiting for it until end; the bytes are good until
// the next read. Its errors are errSilent, the context's, and ErrLinkLost.
func (a *Adapter) read(ctx context.Context, end time.Time) ([]byte, error) {
	for {
		now := a.clock.Now()
		if err := ctx.Err(); err != nil {
			a.outOfSync = true
			return nil, err
		}
		if !now.Before(end) {
			return nil, errSilent
		}
		until := end
		if s := now.Add(slice); s.Before(end) {
			until = s
		}
		if err := a.link.SetReadDeadline(until); err != nil {
			return nil, lost("read", err)
		}
		n, err := a.link.Read(a.buf[:])
		if n > 0 {
			return a.buf[:n], nil
		}
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return nil, lost("read", err)
		}
	}
}

func (a *Adapter) write(text string) error {
	if _, err := a.link.Write([]byte(text)); err != nil {
		return lost("write", err)
	}
	return nil
}

// lost makes any failure of the line an ErrLinkLost.
func lost(op string, err error) error {
	if errors.Is(err, ErrLinkLost) {
		return err
	}
	return fmt.Errorf("%s: %w: %w", op, ErrLinkLost, err)
}
