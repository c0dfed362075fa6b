package obd

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// serialSpeeds are those to which an adapter's serial line is raised, with the divisor by
// which it makes them of 4 MHz. 17 and 35 make 235 294 and 114 286 Bd, 2.1 and 0.8 % from
// the host's speed; half a bit in the ten of a character would be 5 %.
var serialSpeeds = []struct{ divisor, baud int }{{8, 500_000}, {17, 230_400}, {35, 115_200}}

// speeds are the two between which a serial line was switched; 0: it never was.
type speeds struct {
	usual, raised int
	wrong         bool // what came last was of the other one
}

// raise makes the serial line faster where that is wanted and possible. The adapter says OK at
// the old speed and its name at the new one; unless it then gets a return it goes back
// by itself, so that a try does no harm.
func (a *Adapter) raise(ctx context.Context) error {
	l, ok := a.link.(BaudSetter)
	if !ok || a.about.Text == "" || a.noEcho {
		return nil
	}
	usual := l.Baud()
	if a.speeds.raised > 0 {
		if usual == a.speeds.raised {
			return nil
		}
		usual = a.speeds.usual
	}
	for _, s := range serialSpeeds {
		if s.baud > a.opts.MaxBaud || s.baud < 3*usual/2 {
			continue
		}
		if err := a.resync(ctx); err != nil {
			return err
		}
		// Without its T and R it would be a request.
		if err := a.confirm(ctx, "", "AT"); errors.Is(err, errEcho) || errors.Is(err, errSilent) {
			return nil
		} else if err != nil {
			return err
		}
		if err := a.write(fmt.Sprintf("BRD%02X\r", s.divisor)); err != nil {
			return err
		}
		said, err := a.until(ctx, second/2, "OK\r", ">")
		if err != nil && !errors.Is(err, errSilent) {
			return err
		}
		if !strings.Contains(said, "OK\r") || strings.Contains(said, ">") {
			a.outOfSync = !strings.Contains(said, ">")
			if strings.Contains(said, "?") {
				return nil // it has no such command
			}
			continue
		}
		if err := l.SetBaud(s.baud); err != nil {
			return lost("set speed", err)
		}
		a.speeds = speeds{usual: usual, raised: s.baud}
		said, err = a.until(ctx, second/5, a.about.Text+"\r")
		if err == nil {
			if err = a.write("\r"); err == nil {
				said, err = a.until(ctx, second/5, ">")
			}
			if err == nil && strings.Contains(said, "OK") {
				return nil
			}
		}
		if err != nil && !errors.Is(err, errSilent) {
			return err
		}
		a.outOfSync = true
		if err := l.SetBaud(usual); err != nil {
			return lost("set speed", err)
		}
		if err := a.clock.Sleep(ctx, slice); err != nil { // it goes back after 75 ms
			return err
		}
		a.quirk(fmt.Sprintf("does not hold %d baud", s.baud))
	}
	return nil
}

// until reads until one of the ends has come, within a time.
func (a *Adapter) until(ctx context.Context, wait time.Duration, ends ...string) (string, error) {
	var got []byte
	for end := a.clock.Now().Add(wait); len(got) < maxPrint; {
		b, err := a.read(ctx, end)
		if err != nil {
			return string(got), err
		}
		got = append(got, bytes.ReplaceAll(b, []byte("\x00"), nil)...)
		for _, e := range ends {
			if bytes.Contains(got, []byte(e)) {
				return string(got), nil
			}
		}
	}
	return string(got), errSilent
}

// otherSpeed changes to the other one of the two speeds that the adapter may have.
func (a *Adapter) otherSpeed() error {
	l, ok := a.link.(BaudSetter)
	if !ok || a.speeds.raised == 0 {
		return nil
	}
	to := a.speeds.raised
	if l.Baud() == to {
		to = a.speeds.usual
	}
	if err := l.SetBaud(to); err != nil {
		return lost("set speed", err)
	}
	return nil
}

// reset sends ATZ, after which the adapter is as after power-up, and returns what it then
// says: its name.
func (a *Adapter) reset(ctx context.Context) (string, error) {
	if err := a.resync(ctx); err != nil { // it may find the adapter at the other speed
		return "", err
	}
	l, ok := a.link.(BaudSetter)
	if !ok || a.speeds.raised == 0 || l.Baud() != a.speeds.raised {
		return a.command(ctx, "ATZ", 3*second)
	}
	if err := a.write("ATZ\r"); err != nil {
		return "", err
	}
	if err := a.clock.Sleep(ctx, second/50); err != nil {
		return "", err
	}
	if err := l.SetBaud(a.speeds.usual); err != nil {
		return "", lost("set speed", err)
	}
	raw, _, err := a.prompt(ctx, 3*second, nil)
	return strings.TrimSpace(clean(bytes.TrimPrefix(raw, []byte("ATZ\r")))), err
}
