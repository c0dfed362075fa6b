package obd

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

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
	link    Link
	clock   Clock
	opts    AdapterOptions
	origin  time.Time
	about   Identity
	headers bool   // ATH1 was accepted
	format  Format // of the bus in use
	way
	noEcho    bool          // the adapter has no echo to check a request by
	echoed    bool          // the last command was
	unheard   int           // checked requests in a row of which no character came back
	repeats   repeat        // whether a lone return repeats the last request
	last      string        // the request that a lone return repeats; "" unknown
	outOfSync bool          // the line may not be at the prompt
	pace      time.Duration // to leave between a prompt and what is sent next
	prompted  time.Time     // the last prompt came
	speeds    speeds
	heard     []Heard // where nobody answered, in the search
	kept      string  // the protocol number that the adapter had of its own, where it was overwritten
	buf       [512]byte
}

// way is how requests are sent.
type way struct {
	counts  bool    // they may carry the number of replies to wait for
	framing framing // who makes them CAN frames
}

// NewAdapter returns an Adapter on l whose times begin now.
func NewAdapter(l Link, c Clock, opts AdapterOptions) *Adapter {
	return &Adapter{link: l, clock: c, opts: opts, origin: c.Now(), outOfSync: true}
}

// SetOrigin sets the moment that the times of exchanges count from.
func (a *Adapter) SetOrigin(t time.Time) { a.origin = t }

// SetLink goes on over a new line after the old one was lost; Start must follow.
func (a *Adapter) SetLink(l Link) {
	a.link.Close()
	a.link = l
	a.outOfSync = true
}

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
// [Adapter.Sends] tells. So it gets none in the words of J1979-2: 22F414 that loses its first
// character controls an output.
//
// A request for which the car's dialect has no words is not sent: [NoData].
func (a *Adapter) Exchange(ctx context.Context, req Request) (Record, error) {
	x := Record{Exchange: &Exchange{Request: req}}
	switch req.Service {
	case 0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x09, 0x0A, readCodes:
	default:
		return x, fmt.Errorf("ask %s: %w", req.Hex(), ErrNotRead)
	}
	text, ok := a.format.Dialect.Words(req)
	if !ok {
		x.Sent = a.now()
		x.Outcome, x.At = NoData, x.Sent
		return x, nil
	}
	text = a.line(text)
	if a.counts && !a.noEcho && 0 < req.Expect && req.Expect < 10 {
		// 01101 without its first digit resets a computer, 01002 has it wait for a program. The header of
		// J1850 is for J1979 alone (from memory).
		with, j1850 := text+string(rune('0'+req.Expect)), a.format.Bus == VPW || a.format.Bus == PWM
		if j1850 || a.framing == framed || !Strays(with, false) || Strays(text, false) {
			text = with
		}
	}
	x.Sent = a.now()
	err := a.exchange(ctx, &x, text)
	x.At = max(x.At, x.Sent)
	switch {
	case err == nil:
		return x, nil
	case errors.Is(err, errSilent):
		x.Outcome, x.At = TimedOut, a.now()
		return x, nil
	case errors.Is(err, ErrLinkLost):
		x.Outcome, x.At = LinkLost, a.now()
		return x, fmt.Errorf("ask %s: %w", req.Hex(), err)
	}
	return x, err
}

func (a *Adapter) exchange(ctx context.Context, x *Record, text string) error {
	if err := a.resync(ctx); err != nil {
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
		*x = Record{Exchange: &Exchange{Request: x.Request}, Sent: a.now()}
		if err := a.resync(ctx); err != nil {
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

// listen sends the request, or repeats the last one where text is empty, and reads the
// reply that x waits for.
func (a *Adapter) listen(ctx context.Context, x *Record, text string) error {
	repeated := a.last
	a.last = ""
	raw, sent, at, err := a.send(ctx, text, a.timeout(), starting)
	x.Raw = raw
	x.Sent = sent.Sub(a.origin).Truncate(time.Microsecond)
	x.At = at.Sub(a.origin).Truncate(time.Microsecond)
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
		a.outOfSync = true
	case text == "":
		a.last = repeated
	default:
		a.last = text
	}
	return nil
}

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
		if err := a.resync(ctx); err != nil {
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
