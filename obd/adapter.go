package obd

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"
)

// ErrNotRead refuses a request that is not one of the services that only read: 04
// erases codes and learned values, 08 moves parts of the car.
var ErrNotRead = errors.New("request does more than read")

// AdapterOptions are settings of an [Adapter]; the zero value is good.
type AdapterOptions struct {
	// Timeout is how long to wait for the prompt after a request; 0 means 3 s, or
	// 8 s on buses that may have to be started again within a request.
	Timeout time.Duration
	// Trying is told each step of a bus search; BusUnknown is the adapter's own.
	Trying func(Bus)
}

// Adapter is the dialogue with one adapter: a command ended by a carriage return,
// an answer ended by the prompt '>'. One goroutine uses it.
type Adapter struct {
	link    Link
	clock   Clock
	opts    AdapterOptions
	origin  time.Time
	about   Identity
	headers bool   // ATH1 was accepted
	format  Format // of the bus in use
	counts  bool   // a request may carry the number of replies to wait for
	mute    bool   // the adapter has no echo to check a request by
	doubt   bool   // the line may not be at the prompt
	buf     [512]byte
}

// NewAdapter returns an Adapter on l whose times begin now.
func NewAdapter(l Link, c Clock, opts AdapterOptions) *Adapter {
	return &Adapter{link: l, clock: c, opts: opts, origin: c.Now(), doubt: true}
}

// SetOrigin sets the moment that the times of exchanges count from.
func (a *Adapter) SetOrigin(t time.Time) { a.origin = t }

// SetLink goes on over a new line after the old one was lost; Start must follow.
func (a *Adapter) SetLink(l Link) {
	a.link.Close()
	a.link = l
	a.doubt = true
}

// errSilent means that no prompt came in time.
var errSilent = errors.New("no prompt in time")

// maxPrint bounds what one answer may hold: the longest that J1979 knows, 4095 bytes of
// some computers in hexadecimal, fits well.
const maxPrint = 64 << 10

// slice is how often a long wait looks at its context.
const slice = 100 * time.Millisecond

// Exchange asks one request. How it went is in its Outcome; the error is
// [ErrLinkLost] (the Exchange then tells so too), the context's, or [ErrNotRead].
//
// Received is when the last character of the reply came, whole microseconds like
// Sent. After any doubt the next Exchange first brings the line back to the
// prompt.
//
// A request whose text ends in something that would clear codes if the adapter
// lost its beginning ("0104") is sent without its return, compared with its echo
// and only then finished. Where the adapter has no echo it is not sent at all, and
// the outcome is NoData.
func (a *Adapter) Exchange(ctx context.Context, req Request) (Exchange, error) {
	x := Exchange{Request: req}
	switch req.Service {
	case 0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x09, 0x0A:
	default:
		return x, fmt.Errorf("ask %s: %w", req.Hex(), ErrNotRead)
	}
	x.Sent = a.now()
	err := a.settle(ctx)
	if err == nil {
		text := req.Hex()
		if a.counts && 0 < req.Expect && req.Expect < 10 {
			text += string(rune('0' + req.Expect))
		}
		if Risky(text) {
			err = a.askChecked(ctx, &x, text)
		} else {
			x.Sent = a.now()
			if err = a.write(text + "\r"); err == nil {
				err = a.listen(ctx, &x)
			}
		}
	}
	x.Received = max(x.Received, x.Sent)
	switch {
	case err == nil:
		return x, nil
	case errors.Is(err, errSilent):
		x.Outcome, x.Received = TimedOut, a.now()
		return x, nil
	case errors.Is(err, ErrLinkLost):
		x.Outcome, x.Received = LinkLost, a.now()
		return x, fmt.Errorf("ask %s: %w", req.Hex(), err)
	}
	return x, err
}

// Risky tells whether a request's text would become a request of service 04 (clear
// codes) if an adapter lost characters at its beginning.
func Risky(text string) bool {
	text = strings.ReplaceAll(text, " ", "")
	return len(text) > 1 && strings.Contains(text[1:], "04")
}

// listen reads the reply that x waits for.
func (a *Adapter) listen(ctx context.Context, x *Exchange) error {
	raw, at, err := a.prompt(ctx, a.timeout())
	x.Raw = raw
	x.Received = at.Sub(a.origin).Truncate(time.Microsecond)
	if err != nil {
		return err
	}
	x.Replies, x.Outcome = Parse(raw, a.format, x.Request)
	switch {
	case x.Outcome == Garbled, x.Outcome == AdapterReset, len(bytes.Trim(raw, "\x00\r\n ")) == 0:
		a.doubt = true
	}
	return nil
}

// askChecked sends a risky request in two steps, with the echo between them.
func (a *Adapter) askChecked(ctx context.Context, x *Exchange, text string) error {
	if !a.mute {
		answer, err := a.command(ctx, "ATE1", second)
		if err != nil {
			return err
		}
		if !strings.Contains(answer, "OK") {
			a.noEcho()
		}
	}
	x.Sent = a.now()
	if a.mute {
		x.Outcome = NoData
		return nil
	}
	if err := a.write(text); err != nil {
		return err
	}
	echo, err := a.hear(ctx, len(text))
	if err != nil {
		return err
	}
	if echo != text {
		if echo == "" {
			a.noEcho()
		}
		x.Outcome, x.Raw = Garbled, []byte(echo)
		if err := a.spoil(ctx); err != nil {
			return err
		}
	} else {
		x.Sent = a.now()
		if err := a.write("\r"); err != nil {
			return err
		}
		if err := a.listen(ctx, x); err != nil {
			return err
		}
	}
	if _, err := a.command(ctx, "ATE0", second); err != nil && !errors.Is(err, errSilent) {
		return err
	}
	return nil
}

const second = time.Second

func (a *Adapter) noEcho() {
	a.mute = true
	a.quirk("no echo: requests that end in 04… are not sent")
}

// hear reads n characters of echo, or what came of them within half a second.
func (a *Adapter) hear(ctx context.Context, n int) (string, error) {
	var got []byte
	end := a.clock.Now().Add(second / 2)
	for len(got) < n {
		b, err := a.read(ctx, end)
		if errors.Is(err, errSilent) {
			break
		}
		if err != nil {
			return "", err
		}
		got = append(got, bytes.Trim(b, "\x00\r\n >")...)
	}
	return string(got), nil
}

// spoil makes what stands in the adapter's line unusable before ending it: what
// is left of a request may mean something else. An X belongs to no request.
func (a *Adapter) spoil(ctx context.Context) error {
	for range 8 {
		if err := a.write("X"); err != nil {
			return err
		}
		if b, err := a.read(ctx, a.clock.Now().Add(slice)); err == nil && bytes.ContainsRune(b, 'X') {
			break
		} else if err != nil && !errors.Is(err, errSilent) {
			return err
		}
	}
	if err := a.write("\r"); err != nil {
		return err
	}
	a.doubt = true
	_, _, err := a.prompt(ctx, second)
	if errors.Is(err, errSilent) {
		err = nil // the next command settles the line
	}
	return err
}

// timeout is how long a request may take.
func (a *Adapter) timeout() time.Duration {
	switch {
	case a.opts.Timeout > 0:
		return a.opts.Timeout
	case a.format.Bus == ISO9141 || a.format.Bus == ISO14230Slow || a.format.Bus == ISO14230Fast:
		return 8 * second
	}
	return 3 * second
}

func (a *Adapter) now() time.Duration {
	return a.clock.Now().Sub(a.origin).Truncate(time.Microsecond)
}

// command sends one command to the adapter itself and returns its answer, lines
// joined by line feeds, without echo.
func (a *Adapter) command(ctx context.Context, text string, wait time.Duration) (string, error) {
	if err := a.settle(ctx); err != nil {
		return "", err
	}
	if err := a.write(text + "\r"); err != nil {
		return "", err
	}
	raw, _, err := a.prompt(ctx, wait)
	if err != nil {
		return "", err
	}
	var lines []string
	for line := range bytes.FieldsFuncSeq(raw, func(r rune) bool { return r == '\r' || r == '\n' }) {
		if t := clean(line); t != "" && (len(lines) > 0 || !strings.EqualFold(t, text)) {
			lines = append(lines, t)
		}
	}
	return strings.Join(lines, "\n"), nil
}

// settle brings the line to the prompt when that is in doubt. A lone return will
// not do: adapters repeat their last command on it. AT alone does nothing, stops
// what is going on, and together with remains in the adapter's line it is no
// request.
func (a *Adapter) settle(ctx context.Context) error {
	if !a.doubt {
		return ctx.Err()
	}
	for range 3 {
		if err := a.write("AT\r"); err != nil {
			return err
		}
		if _, _, err := a.prompt(ctx, second); errors.Is(err, errSilent) {
			continue
		} else if err != nil {
			return err
		}
		if err := a.hush(ctx); err == nil {
			a.doubt = false
			return nil
		} else if !errors.Is(err, errSilent) {
			return err
		}
	}
	return errSilent
}

// hush reads until nothing has come for a while: late answers, second prompts.
func (a *Adapter) hush(ctx context.Context) error {
	for end := a.clock.Now().Add(2 * second); a.clock.Now().Before(end); {
		if _, err := a.read(ctx, a.clock.Now().Add(slice)); errors.Is(err, errSilent) {
			return nil
		} else if err != nil {
			return err
		}
	}
	return errSilent
}

// prompt reads up to the prompt. at is when the last printable character before it
// came. Without a prompt the error is errSilent and the line in doubt.
func (a *Adapter) prompt(ctx context.Context, wait time.Duration) (raw []byte, at time.Time, err error) {
	end := a.clock.Now().Add(wait)
	for {
		b, err := a.read(ctx, end)
		now := a.clock.Now()
		if err != nil {
			a.doubt = true
			return raw, now, err
		}
		before, after, found := bytes.Cut(b, []byte(">"))
		if len(bytes.Trim(before, "\x00\r\n ")) > 0 || at.IsZero() {
			at = now
		}
		raw = append(raw, before...)
		if found {
			if len(bytes.Trim(after, "\x00\r\n ")) > 0 {
				a.doubt = true
			}
			return raw, at, nil
		}
		if len(raw) > maxPrint {
			a.doubt = true
			return raw, now, errSilent
		}
	}
}

// read returns what has come, waiting for it until end; the bytes are good until
// the next read. Its errors are errSilent, the context's, and ErrLinkLost.
func (a *Adapter) read(ctx context.Context, end time.Time) ([]byte, error) {
	for {
		now := a.clock.Now()
		if err := ctx.Err(); err != nil {
			a.doubt = true
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
