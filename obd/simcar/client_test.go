package simcar

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"pushback/obd"
)

// client is the plainest tester: it writes a command and reads up to the prompt.
type client struct {
	t    testing.TB
	sim  *Sim
	link obd.Link
}

func newClient(t testing.TB, cfg Config) *client {
	t.Helper()
	s, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return &client{t: t, sim: s, link: s.Link()}
}

// ask returns what the adapter printed, without the prompt.
func (c *client) ask(command string) string {
	c.t.Helper()
	c.link.Write([]byte(command + "\r"))
	return c.read()
}

func (c *client) read() string {
	c.t.Helper()
	c.link.SetReadDeadline(c.sim.Clock().Now().Add(20 * time.Second))
	var text strings.Builder
	buf := make([]byte, 64)
	for {
		n, err := c.link.Read(buf)
		if err != nil {
			if errors.Is(err, os.ErrDeadlineExceeded) {
				c.t.Fatalf("no prompt in 20 s after %q", text.String())
			}
			c.t.Fatal(err)
		}
		text.Write(buf[:n])
		if s := text.String(); strings.HasSuffix(s, ">") {
			return strings.TrimSuffix(s, ">")
		}
	}
}

// car returns the named car.
func carNamed(t testing.TB, name string) Car {
	t.Helper()
	c, err := Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
