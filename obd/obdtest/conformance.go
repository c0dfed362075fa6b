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
	for _, promise := range []struct {
		name string
		kept func(*testing.T, Ends)
	}{
		{"bytes go both ways unchanged", bothWays},
		{"a small buffer loses nothing", smallBuffer},
		{"a passed deadline is an error of its own and harms nothing", passedDeadline},
		{"Close frees a blocked Read", closeFrees},
		{"a closed line refuses", closedRefuses},
		{"a lost line says so", lostSays},
	} {
		t.Run(promise.name, func(t *testing.T) { promise.kept(t, open(t)) })
	}
}

const soon, long = 30 * time.Millisecond, 5 * time.Second

func write(t *testing.T, w io.Writer, text string) {
	t.Helper()
	if n, err := w.Write([]byte(text)); n != len(text) || err != nil {
		t.Fatalf("write: %d, %v", n, err)
	}
}

func deadline(t *testing.T, l obd.Link, d time.Duration) {
	t.Helper()
	if err := l.SetReadDeadline(time.Now().Add(d)); err != nil {
		t.Fatalf("set deadline: %v", err)
	}
}

func bothWays(t *testing.T, e Ends) {
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
}

func smallBuffer(t *testing.T, e Ends) {
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
}

func passedDeadline(t *testing.T, e Ends) {
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
}

func closeFrees(t *testing.T, e Ends) {
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
}

func closedRefuses(t *testing.T, e Ends) {
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
}

func lostSays(t *testing.T, e Ends) {
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
}
