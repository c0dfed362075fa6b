package obdtest

import (
	"errors"
	"io"
	"os"
	"testing"
	"time"

	"pushback/obd"
)

// Ends are the two ends of a line under test.
type Ends struct {
	Link   obd.Link
	Peer   io.ReadWriter // the adapter's end
	Unplug func()        // takes the adapter away; nil if that cannot be done
}

// Conformance checks what [obd.Link] promises. open makes a fresh line each time
// and cleans up by t.Cleanup.
func Conformance(t *testing.T, open func(t *testing.T) Ends) {
	const soon, long = 30 * time.Millisecond, 5 * time.Second
	write := func(t *testing.T, w io.Writer, text string) {
		t.Helper()
		if n, err := w.Write([]byte(text)); n != len(text) || err != nil {
			t.Fatalf("write: %d, %v", n, err)
		}
	}
	deadline := func(t *testing.T, l obd.Link, d time.Duration) {
		t.Helper()
		if err := l.SetReadDeadline(time.Now().Add(d)); err != nil {
			t.Fatalf("set deadline: %v", err)
		}
	}

	t.Run("bytes go both ways unchanged", func(t *testing.T) {
		e := open(t)
		write(t, e.Link, "0114\r")
		buf := make([]byte, 5)
		if _, err := io.ReadFull(e.Peer, buf); err != nil || string(buf) != "0114\r" {
			t.Fatalf("the adapter received %q, %v", buf, err)
		}
		want := "\x00\r\n>\x11\x13\x03\x04\x1a~"
		write(t, e.Peer, want)
		deadline(t, e.Link, long)
		got := make([]byte, len(want))
		if _, err := io.ReadFull(e.Link, got); err != nil || string(got) != want {
			t.Fatalf("received %q, %v; want %q", got, err, want)
		}
	})
	t.Run("a small buffer loses nothing", func(t *testing.T) {
		e := open(t)
		write(t, e.Peer, "41145A80\r>")
		deadline(t, e.Link, long)
		var got []byte
		for len(got) < 10 {
			var b [1]byte
			n, err := e.Link.Read(b[:])
			if n != 1 || err != nil {
				t.Fatalf("read: %d, %v", n, err)
			}
			got = append(got, b[0])
		}
		if string(got) != "41145A80\r>" {
			t.Fatalf("received %q", got)
		}
	})
	t.Run("a passed deadline is an error of its own and harms nothing", func(t *testing.T) {
		e := open(t)
		for range 3 {
			began := time.Now()
			deadline(t, e.Link, soon)
			n, err := e.Link.Read(make([]byte, 8))
			if n != 0 || !errors.Is(err, os.ErrDeadlineExceeded) {
				t.Fatalf("read: %d, %v", n, err)
			}
			if waited := time.Since(began); waited < soon-5*time.Millisecond {
				t.Fatalf("gave up after %v of %v", waited, soon)
			}
		}
		write(t, e.Peer, ">")
		deadline(t, e.Link, long)
		var b [8]byte
		if n, err := e.Link.Read(b[:]); n != 1 || b[0] != '>' || err != nil {
			t.Fatalf("read after a deadline: %q, %v", b[:n], err)
		}
	})
	t.Run("Close frees a blocked Read", func(t *testing.T) {
		e := open(t)
		deadline(t, e.Link, long)
		done := make(chan error, 1)
		go func() {
			_, err := e.Link.Read(make([]byte, 8))
			done <- err
		}()
		time.Sleep(soon) // the Read must be blocked; no clock can tell
		if err := e.Link.Close(); err != nil {
			t.Fatalf("close: %v", err)
		}
		select {
		case err := <-done:
			if err == nil || errors.Is(err, obd.ErrLinkLost) || errors.Is(err, os.ErrDeadlineExceeded) {
				t.Fatalf("the freed Read says %v", err)
			}
		case <-time.After(long):
			t.Fatal("the Read stays blocked")
		}
	})
	t.Run("a closed line refuses", func(t *testing.T) {
		e := open(t)
		if err := e.Link.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := e.Link.Write([]byte("X")); err == nil || errors.Is(err, obd.ErrLinkLost) {
			t.Fatalf("write: %v", err)
		}
		if _, err := e.Link.Read(make([]byte, 1)); err == nil || errors.Is(err, obd.ErrLinkLost) {
			t.Fatalf("read: %v", err)
		}
		if err := e.Link.Close(); err != nil {
			t.Fatalf("second close: %v", err)
		}
	})
	t.Run("a lost line says so", func(t *testing.T) {
		e := open(t)
		if e.Unplug == nil {
			t.Skip("this line cannot be unplugged")
		}
		e.Unplug()
		deadline(t, e.Link, long)
		if _, err := e.Link.Read(make([]byte, 8)); !errors.Is(err, obd.ErrLinkLost) {
			t.Fatalf("read: %v", err)
		}
		var err error
		for range 20 { // a network notices at the second write or later
			if _, err = e.Link.Write([]byte("0114\r")); err != nil {
				break
			}
			time.Sleep(soon)
		}
		if !errors.Is(err, obd.ErrLinkLost) {
			t.Fatalf("write: %v", err)
		}
	})
}
