package obd

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

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
	if text != "" && !a.noEcho {
		first := text[:serviceDigits]
		whole := a.framing == framed || text[0] != '0' // in the words of J1979-2: each has a neighbour that changes something
		lead := ""
		if whole {
			lead = " " // what comes while the adapter is busy stops it and is lost: not the first digit
		}
		if a.framing == framed { // a frame that a stray return has cut is none
			first = text
		}
		if err := a.confirm(ctx, lead, first); err != nil {
			return nil, sent, a.clock.Now(), err
		}
		text = text[len(first):]
		if text != "" && (whole || Risky(text)) { // a stray return in it would make a request of what follows
			if err := a.confirm(ctx, "", text); err != nil {
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
	if err == nil && text != "" && !a.noEcho {
		var ok bool
		if raw, ok = withoutEcho(raw, text); !ok {
			a.outOfSync = true
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

// confirm sends blanks and the beginning of a request, and waits for its echo. What else stands in
// the adapter's line is then ended by resync, and is no request.
func (a *Adapter) confirm(ctx context.Context, lead, text string) error {
	if err := a.write(lead + text); err != nil {
		return err
	}
	echo, err := a.hear(ctx, len(text))
	if err != nil || echo == text {
		a.unheard = 0
		return err
	}
	a.outOfSync = true
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
		if err := a.resync(ctx); err != nil {
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
		if a.noEcho = echo != "AT"; !a.noEcho {
			if try == 1 {
				a.slower(2 * time.Millisecond)
			}
			return nil
		}
		a.outOfSync = true
	}
	a.quirk("no echo")
	a.pace = max(a.pace, noEchoPace)
	return nil
}

// noEchoPace is the moment that an adapter without echo gets between its prompt and a
// request.
const noEchoPace = 5 * time.Millisecond

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
