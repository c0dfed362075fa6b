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

// ErrNotRead refuses a request that is not one of the services that only read: 04
// erases codes and learned values, 08 moves parts of the car.
var ErrNotRead = errors.New("request does more than read")

// AdapterOptions are settings of an [Adapter]; the zero value is good.
type AdapterOptions struct {
	// Timeout is how long the adapter may be silent within a request; 0 means 1.5 s. While it
	// says that it starts the bus it may take 10 s.
	Timeout time.Duration
	// MaxBaud is the serial speed in bit/s up to which Start raises the line's, where line
	// ([BaudSetter]) and adapter take that; 0: it stays. Close puts it back.
	MaxBaud int
	// Trying is told each step of a bus search; BusUnknown is the adapter's own.
	Trying func(Bus)
}

// Adapter is the dialogue with one adapter: a command ended by a carriage return,
// an answer ended by the prompt '>'. One goroutine uses it.
type Adapter struct {
	link     Link
	clock    Clock
	opts     AdapterOptions
	origin   time.Time
	about    Identity
	headers  bool          // ATH1 was accepted
	format   Format        // of the bus in use
	counts   bool          // a request may carry the number of replies to wait for
	mute     bool          // the adapter has no echo to check a request by
	echoed   bool          // the last command was
	unheard  int           // checked requests in a row of which no character came back
	repeats  repeat        // whether a lone return repeats the last request
	last     string        // the request that a lone return repeats; "" unknown
	doubt    bool          // the line may not be at the prompt
	pace     time.Duration // to leave between a prompt and what is sent next
	prompted time.Time     // the last prompt came
	speeds   speeds
	foreign  bool   // what came last was of another speed
	kept     string // the protocol number that the adapter had of its own, where it was overwritten
	buf      [512]byte
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

// repeat says what a lone return does.
type repeat uint8

const (
	untried repeat = iota // nothing known yet: the next chance is a try
	does
	doesNot
)

// Exchange asks one request. How it went is in its Outcome; the error is
// [ErrLinkLost] (the Exchange then tells so too), the context's, or [ErrNotRead].
//
// Sent is when the return that ends the request went out, Received when the last
// character of the reply came; whole microseconds. After any doubt the next
// Exchange first brings the line back to the prompt.
//
// No request may turn into another on its way: an adapter that loses characters
// could make 04 (clear codes) of 0114. So the digits of the service go first, and the
// rest follows only when they have come back as echo; where the rest is [Risky] too,
// its return waits for the echo once more. What is asked again at once is
// repeated by a lone return.
//
// An adapter that does not return single characters cannot be checked so. It gets its
// requests in one piece and a moment after its prompt, and none that is [Risky]:
// [Adapter.Sends] tells.
func (a *Adapter) Exchange(ctx context.Context, req Request) (Exchange, error) {
	x := Exchange{Request: req}
	switch req.Service {
	case 0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x09, 0x0A:
	default:
		return x, fmt.Errorf("ask %s: %w", req.Hex(), ErrNotRead)
	}
	text := req.Hex()
	if a.counts && !a.mute && 0 < req.Expect && req.Expect < 10 {
		text += string(rune('0' + req.Expect))
	}
	x.Sent = a.now()
	err := a.exchange(ctx, &x, text)
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

func (a *Adapter) exchange(ctx context.Context, x *Exchange, text string) error {
	if err := a.settle(ctx); err != nil {
		return err
	}
	if err := a.pause(ctx); err != nil {
		return err
	}
	if text == a.last && a.repeats != doesNot {
		x.Sent = a.now()
		err := a.listen(ctx, x, "")
		if err != nil && !errors.Is(err, errSilent) {
			return err
		}
		good := err == nil && (x.Outcome == OK || x.Outcome == Refused)
		switch {
		case good:
			a.repeats = does
			return nil
		case a.repeats == does:
			return err
		}
		a.repeats = doesNot
		a.quirk("does not repeat a request on a return")
		*x = Exchange{Request: x.Request, Sent: a.now()}
		if err := a.settle(ctx); err != nil {
			return err
		}
		if err := a.pause(ctx); err != nil {
			return err
		}
	}
	if !a.sends(text) && x.Request.Service != 0x04 { // which is meant
		return a.refuse(x)
	}
	return a.listen(ctx, x, text)
}

// Sends tells whether the request may be sent to this adapter at all.
func (a *Adapter) Sends(req Request) bool { return a.sends(req.Hex()) }

func (a *Adapter) sends(text string) bool { return !a.mute || !Risky(text) }

func (a *Adapter) refuse(x *Exchange) error {
	a.quirk("no echo: a request that could turn into another on its way is not sent")
	x.Outcome = NoData
	return nil
}

// Risky tells whether a request's text could become one that changes something in the car, if
// any of its characters were lost: whether some two digits in order name a service that does.
func Risky(text string) bool {
	for i := range text {
		for j := i + 1; j < len(text); j++ {
			if Changes(hexDigit(text[i])<<4|hexDigit(text[j]), (len(text)-j-1)/2) {
				return true
			}
		}
	}
	return false
}

// Changes tells whether a request of this service with so many bytes behind it may change
// something: 04 (clear codes), which takes none, and with at least one 08 (control of
// on-board systems) and what ISO 14229-1 and 14230-3 define beside SAE J1979 (10 session,
// 11 reset, 14 clear, 2F control, 31 routine, 85 codes off, …; 1A, 2A and 3A only read; ranges from
// memory).
func Changes(service, data int) bool {
	switch {
	case service == 0x04:
		return true
	case data == 0 || service&0x0F == 0x0A:
		return false
	}
	return service == 0x08 || 0x10 <= service && service < 0x40 || 0x80 <= service && service < 0x90
}

// listen sends the request, or repeats the last one where text is empty, and reads the
// reply that x waits for.
func (a *Adapter) listen(ctx context.Context, x *Exchange, text string) error {
	repeated := a.last
	a.last = ""
	raw, sent, at, err := a.send(ctx, text, a.timeout(), starting)
	x.Raw = raw
	x.Sent = sent.Sub(a.origin).Truncate(time.Microsecond)
	x.Received = at.Sub(a.origin).Truncate(time.Microsecond)
	if errors.Is(err, errEcho) {
		x.Outcome = Garbled
		return nil
	}
	if err != nil {
		return err
	}
	x.Replies, x.Outcome = Parse(raw, a.format, x.Request)
	switch {
	case x.Outcome == Garbled, x.Outcome == AdapterReset, len(bytes.Trim(raw, "\x00\r\n ")) == 0:
		a.doubt = true
	case text == "":
		a.last = repeated
	default:
		a.last = text
	}
	return nil
}

// errEcho means that the adapter did not hear what it was sent.
var errEcho = errors.New("echo differs")

// errUnheard is errSilent where not even an echo came. Nothing was asked.
var errUnheard = fmt.Errorf("no echo: %w", errSilent)

// serviceDigits is how much of a request must have come back before the rest goes out.
const serviceDigits = 2

// send sends a request, or a lone return where text is empty, and returns what comes up to
// the prompt, without its echo. sent is when the rest of the request went out.
func (a *Adapter) send(ctx context.Context, text string, wait time.Duration, more func([]byte) time.Duration) (raw []byte, sent, at time.Time, err error) {
	sent = a.clock.Now()
	if text != "" && !a.mute {
		if err := a.confirm(ctx, text[:serviceDigits]); err != nil {
			return nil, sent, a.clock.Now(), err
		}
		text = text[serviceDigits:]
		if Risky(text) { // a stray return in it would make a request of what follows
			if err := a.confirm(ctx, text); err != nil {
				return nil, sent, a.clock.Now(), err
			}
			text = ""
		}
		sent = a.clock.Now()
	}
	if err := a.write(text + "\r"); err != nil {
		return nil, sent, a.clock.Now(), err
	}
	raw, at, err = a.prompt(ctx, wait, more)
	if err == nil && text != "" && !a.mute {
		var ok bool
		if raw, ok = withoutEcho(raw, text); !ok {
			a.doubt = true
			err = errEcho
		}
	}
	return raw, sent, at, err
}

// withoutEcho returns what follows text in raw.
func withoutEcho(raw []byte, text string) ([]byte, bool) {
	for i, c := range raw {
		switch {
		case c == text[0]:
			if text = text[1:]; text == "" {
				return raw[i+1:], true
			}
		case !blank(c):
			return raw, false
		}
	}
	return raw, false
}

// confirm sends the beginning of a request and waits for its echo. What else stands in
// the adapter's line is then ended by settle, and is no request.
func (a *Adapter) confirm(ctx context.Context, text string) error {
	if err := a.write(text); err != nil {
		return err
	}
	echo, err := a.hear(ctx, len(text))
	if err != nil || echo == text {
		a.unheard = 0
		return err
	}
	a.doubt = true
	if echo != "" {
		a.unheard = 0
		if strings.HasSuffix(text, echo) {
			a.slower(2 * time.Millisecond)
		}
		return errEcho
	}
	if a.unheard++; a.unheard < 3 {
		return errUnheard
	}
	if err := a.tryEcho(ctx); err != nil {
		return err
	}
	return errUnheard
}

// slower leaves more time between a prompt and what is sent next: some adapters are
// not ready to listen when they say so.
func (a *Adapter) slower(least time.Duration) {
	if a.pace < 64*time.Millisecond {
		a.pace = max(least, 2*a.pace)
		a.quirk("loses what is sent too soon after its prompt")
	}
}

// pause waits until the adapter may be written to.
func (a *Adapter) pause(ctx context.Context) error {
	if a.pace == 0 {
		return nil
	}
	return a.clock.Sleep(ctx, a.prompted.Add(a.pace).Sub(a.clock.Now()))
}

// tryEcho learns whether the adapter returns single characters, and asks it to. An
// adapter that is not ready to listen yet looks like one without echo, so it gets
// time before it is asked again.
func (a *Adapter) tryEcho(ctx context.Context) error {
	a.unheard = 0
	for try := range 3 {
		if err := a.settle(ctx); err != nil {
			return err
		}
		wait := a.pace
		if try > 0 {
			wait = 64 * time.Millisecond
		}
		if err := a.clock.Sleep(ctx, a.prompted.Add(wait).Sub(a.clock.Now())); err != nil {
			return err
		}
		if try == 2 {
			if _, err := a.command(ctx, "ATE1", second); err != nil {
				return err
			}
		}
		if err := a.write("AT"); err != nil {
			return err
		}
		echo, err := a.hear(ctx, 2)
		if err != nil {
			return err
		}
		if err := a.write("\r"); err != nil {
			return err
		}
		if _, _, err := a.prompt(ctx, second, nil); err != nil {
			return err
		}
		if a.mute = echo != "AT"; !a.mute {
			if try == 1 {
				a.slower(2 * time.Millisecond)
			}
			return nil
		}
		a.doubt = true
	}
	a.quirk("no echo")
	a.pace = max(a.pace, mutePace)
	return nil
}

// mutePace is the moment that an adapter without echo gets between its prompt and a
// request.
const mutePace = 5 * time.Millisecond

const second = time.Second

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
		for _, c := range b {
			if !blank(c) {
				got = append(got, c)
			}
		}
	}
	return string(got), nil
}

// blank tells characters that mean nothing in what an adapter prints.
func blank(c byte) bool { return c == 0 || c == '\r' || c == '\n' || c == ' ' }

// timeout is how long the adapter may be silent within a request. Its own time-out
// for the car is 200 ms or less.
func (a *Adapter) timeout() time.Duration {
	if a.opts.Timeout > 0 {
		return a.opts.Timeout
	}
	return 3 * second / 2
}

// starting tells that the adapter is busy starting the bus: 5 baud take 2 s for the
// address alone, and the adapter may try twice.
func starting(raw []byte) time.Duration {
	if bytes.Contains(raw, []byte("BUS INIT")) || bytes.Contains(raw, []byte("SEARCHING")) {
		return 10 * second
	}
	return 0
}

func (a *Adapter) now() time.Duration {
	return a.clock.Now().Sub(a.origin).Truncate(time.Microsecond)
}

// command sends one command to the adapter itself and returns its answer, lines
// joined by line feeds, without echo.
func (a *Adapter) command(ctx context.Context, text string, wait time.Duration) (string, error) {
	for try := 0; ; try++ {
		if err := a.settle(ctx); err != nil {
			return "", err
		}
		if err := a.pause(ctx); err != nil {
			return "", err
		}
		a.last = ""
		if err := a.write(text + "\r"); err != nil {
			return "", err
		}
		raw, _, err := a.prompt(ctx, wait, nil)
		if errors.Is(err, errSilent) && len(raw) == 0 && try < 2 {
			a.slower(20 * time.Millisecond) // not even an echo
			continue
		}
		if err != nil {
			return "", err
		}
		var lines []string
		a.echoed = false
		for line := range bytes.FieldsFuncSeq(raw, func(r rune) bool { return r == '\r' || r == '\n' }) {
			switch t := clean(line); {
			case t == "":
			case len(lines) == 0 && strings.EqualFold(t, text):
				a.echoed = true
			default:
				lines = append(lines, t)
			}
		}
		if try < 6 && len(lines) > 0 && lines[0] != "" && len(lines[0]) < len(text) && strings.HasSuffix(text, lines[0]) {
			a.slower(2 * time.Millisecond) // its echo lacks the beginning
			continue
		}
		return strings.Join(lines, "\n"), nil
	}
}

// settle brings the line to the prompt when that is in doubt. A lone return will
// not do: adapters repeat their last command on it. AT alone does nothing, stops
// what is going on, and together with remains in the adapter's line it is no
// request.
func (a *Adapter) settle(ctx context.Context) error {
	if !a.doubt {
		return ctx.Err()
	}
	a.last = ""
	odd := 1
	if a.foreign {
		a.foreign, odd = false, 0
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
		if errors.Is(err, errSilent) || foreign(raw) {
			continue
		} else if err != nil {
			return err
		}
		// Answers come in order: behind a plain one to the first AT there is nothing.
		quiet := slice
		if text := strings.Trim(string(raw), "\x00\r\n "); i == 0 && (text == "AT\r?" || text == "AT\rOK") {
			quiet = slice / 5
		}
		if err := a.hush(ctx, quiet); err == nil {
			a.doubt = false
			return nil
		} else if !errors.Is(err, errSilent) {
			return err
		}
	}
	return errSilent
}

// foreign tells whether there are characters that no adapter prints.
func foreign(raw []byte) bool {
	return slices.ContainsFunc(raw, func(c byte) bool { return c > '~' })
}

// hush reads until nothing has come for a while: late answers, second prompts.
func (a *Adapter) hush(ctx context.Context, quiet time.Duration) error {
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
			a.doubt = true
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
				a.doubt = true
			}
			return raw, at, nil
		}
		if len(raw) > maxPrint {
			a.doubt = true
			return raw, now, errSilent
		}
		if a.speeds.raised > 0 && foreign(b) { // the adapter started anew, at its usual speed
			a.foreign = true
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
