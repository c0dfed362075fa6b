package obd_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"pushback/obd"
	"pushback/obd/simcar"
)

func simulated(t *testing.T, cfg simcar.Config, named ...string) *simcar.Sim {
	t.Helper()
	car, err := simcar.Find(append(named, "healthy")[0])
	if err != nil {
		t.Fatal(err)
	}
	cfg.Car = car
	s, err := simcar.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// deafAt is a line that carries nothing to the adapter at one speed: the adapter takes
// the speed, the wiring does not.
type deafAt struct {
	obd.Link
	baud int
}

func (l deafAt) Baud() int           { return l.Link.(obd.BaudSetter).Baud() }
func (l deafAt) SetBaud(b int) error { return l.Link.(obd.BaudSetter).SetBaud(b) }
func (l deafAt) Write(p []byte) (int, error) {
	if l.Baud() == l.baud {
		return len(p), nil
	}
	return l.Link.Write(p)
}

// TestSpeedRaised: the serial speed is raised as far as wanted and possible, is put back
// on Close, and does no harm where it fails.
func TestSpeedRaised(t *testing.T) {
	for _, c := range []struct {
		name            string
		adapter, wanted int
		deaf, want      int
		quirk           string
	}{
		{"not wanted", 500_000, 0, 0, 38400, ""},
		{"refused", 0, 500_000, 0, 38400, ""},
		{"taken", 500_000, 500_000, 0, 500_000, ""},
		{"wanted less", 500_000, 115_200, 0, 115_200, ""},
		{"not held", 500_000, 500_000, 500_000, 230_400, "does not hold 500000 baud"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := simulated(t, simcar.Config{Baud: 38400, MaxBaud: c.adapter})
			l := deafAt{s.Link(), c.deaf}
			a := obd.NewAdapter(l, s.Clock(), obd.AdapterOptions{MaxBaud: c.wanted})
			id, err := a.Start(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if l.Baud() != c.want || c.quirk != "" && !slices.Contains(id.Quirks, c.quirk) {
				t.Errorf("%d baud, quirks %q", l.Baud(), id.Quirks)
			}
			if _, err := a.FindBus(t.Context(), obd.BusUnknown); err != nil {
				t.Fatal(err)
			}
			x, err := a.Exchange(t.Context(), request(t, "0114"))
			if err != nil || x.Outcome != obd.OK {
				t.Fatalf("%+v, %v", x, err)
			}
			if err := a.Close(t.Context()); err != nil {
				t.Fatal(err)
			}
			// Another program finds the adapter at its usual speed, as after power-up.
			next := s.Link()
			if err := next.(obd.BaudSetter).SetBaud(38400); err != nil {
				t.Fatal(err)
			}
			if _, err := next.Write([]byte("ATI\r")); err != nil {
				t.Fatal(err)
			}
			var got []byte
			for {
				buf := make([]byte, 64)
				if err := next.SetReadDeadline(s.Clock().Now().Add(time.Second)); err != nil {
					t.Fatal(err)
				}
				n, err := next.Read(buf)
				if errors.Is(err, os.ErrDeadlineExceeded) {
					break
				}
				got = append(got, buf[:n]...)
			}
			if !bytes.Contains(got, []byte("ATI\rsimulated")) {
				t.Errorf("afterwards it prints %q", got)
			}
		})
	}
}

// TestSpeedLost: an adapter that starts anew in the middle is back at its usual speed, and
// is found there.
func TestSpeedLost(t *testing.T) {
	s := simulated(t, simcar.Config{Baud: 38400, MaxBaud: 500_000})
	a := obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{MaxBaud: 500_000})
	if _, err := a.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := a.FindBus(t.Context(), obd.BusUnknown); err != nil {
		t.Fatal(err)
	}
	known := a.Known()
	s.Restart()
	if x, err := a.Exchange(t.Context(), request(t, "0114")); err != nil || x.Outcome == obd.OK {
		t.Fatalf("%+v, %v", x, err)
	}
	began := s.Now()
	if err := a.Again(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := a.Use(t.Context(), known); err != nil {
		t.Fatal(err)
	}
	x, err := a.Exchange(t.Context(), request(t, "0114"))
	if err != nil || x.Outcome != obd.OK {
		t.Fatalf("%+v, %v", x, err)
	}
	if took := s.Now() - began; took > 2*time.Second {
		t.Errorf("back after %v", took)
	}
}

// cancelling is a clock that ends a context at a time.
type cancelling struct {
	obd.Clock
	at     time.Time
	cancel context.CancelFunc
}

func (c *cancelling) Now() time.Time {
	now := c.Clock.Now()
	if c.cancel != nil && !now.Before(c.at) {
		c.cancel()
	}
	return now
}

// TestInterrupted: an adapter that is left in the middle of a request is as after power-up
// within the second that a program has for it.
func TestInterrupted(t *testing.T) {
	step := 7 * time.Millisecond
	if testing.Short() {
		step *= 7
	}
	for _, tt := range []struct {
		car         string
		bus         obd.Bus
		ask, answer string // in vain where the adapter searches a bus by 0100
	}{
		{"healthy", obd.CAN11at500, "0105", "\r41 05 82 \r"}, {"healthy", obd.ISO9141, "0105", "\r41 05 82 \r"}, {"healthy", obd.VPW, "0105", "\r41 05 82 \r"},
		{"obd-on-uds", obd.CAN11at500, "22F405", "\rUNABLE TO CONNECT\r"},
	} {
		for after := time.Duration(0); after < 160*time.Millisecond; after += step {
			s := simulated(t, simcar.Config{Bus: tt.bus, Baud: 38400, MaxBaud: 500_000}, tt.car)
			c := &cancelling{Clock: s.Clock()}
			a := obd.NewAdapter(s.Link(), c, obd.AdapterOptions{MaxBaud: 500_000})
			if _, err := a.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
			if _, err := a.FindBus(t.Context(), tt.bus); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(t.Context())
			c.at, c.cancel = c.Clock.Now().Add(after), cancel
			for ctx.Err() == nil {
				if _, err := a.Exchange(ctx, request(t, "0114")); err != nil && !errors.Is(err, context.Canceled) {
					t.Fatal(err)
				}
			}
			closing, done := context.WithCancel(t.Context())
			c.at, c.cancel = c.Clock.Now().Add(time.Second), done
			if err := a.Close(closing); err != nil {
				t.Fatal(err)
			}
			if err := s.Clock().Sleep(t.Context(), 2*time.Second); err != nil {
				t.Fatal(err)
			}
			l := s.Link()
			if err := l.(obd.BaudSetter).SetBaud(38400); err != nil {
				t.Fatal(err)
			}
			read := func() (got []byte) {
				for {
					buf := make([]byte, 64)
					if err := l.SetReadDeadline(s.Clock().Now().Add(20 * time.Second)); err != nil {
						t.Fatal(err)
					}
					n, err := l.Read(buf)
					if err != nil {
						return got
					}
					got = append(got, buf[:n]...)
				}
			}
			read()
			if _, err := l.Write([]byte(tt.ask + "\r")); err != nil {
				t.Fatal(err)
			}
			// Echo on, spaces on, headers off, bus to be searched.
			if got := read(); !bytes.HasPrefix(got, []byte(tt.ask+"\rSEARCHING...")) || !bytes.Contains(got, []byte(tt.answer)) {
				t.Errorf("%s on %v, interrupted after %v: then it prints %q", tt.car, tt.bus, after, got)
			}
		}
	}
}

// TestOwnProtocol: an adapter that can only keep a bus for good gets its own one back.
func TestOwnProtocol(t *testing.T) {
	var refuse []string
	for b := range 10 {
		refuse = append(refuse, fmt.Sprintf("TP%d", b))
	}
	for _, own := range []string{"5", "A0", "A3"} {
		s := simulated(t, simcar.Config{Bus: obd.CAN11at500, Refuse: refuse})
		tell := func(command string) string {
			t.Helper()
			l := s.Link()
			if _, err := l.Write([]byte(command + "\r")); err != nil {
				t.Fatal(err)
			}
			var got []byte
			for {
				buf := make([]byte, 64)
				if err := l.SetReadDeadline(s.Clock().Now().Add(time.Second)); err != nil {
					t.Fatal(err)
				}
				n, err := l.Read(buf)
				if err != nil {
					return string(got)
				}
				got = append(got, buf[:n]...)
			}
		}
		tell("ATSP" + own)
		a := obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{})
		if _, err := a.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		if _, err := a.FindBus(t.Context(), obd.CAN11at500); err != nil {
			t.Fatal(err)
		}
		if err := a.Close(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := tell("ATDPN"); got != "ATDPN\r"+own+"\r\r>" {
			t.Errorf("it had %s, afterwards it says %q", own, got)
		}
	}
}
