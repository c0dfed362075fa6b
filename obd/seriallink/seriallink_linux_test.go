package seriallink_test

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"pushback/obd"
	"pushback/obd/obdtest"
	"pushback/obd/seriallink"
)

// line returns the adapter's end of a pseudo-terminal and the port's path.
func line(t *testing.T) (*os.File, string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	// The slave stays open: reading the master fails while nobody has it open.
	t.Cleanup(func() { master.Close(); slave.Close() })
	return master, slave.Name()
}

func TestLink(t *testing.T) {
	obdtest.Conformance(t, func(t *testing.T) obdtest.Ends {
		master, name := line(t)
		l, err := seriallink.Open(name, 115200)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close() })
		return obdtest.Ends{Link: l, Peer: master, Unplug: func() { master.Close() }}
	})
}

func TestOpenErrors(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "notaport")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, path string
		is         error
	}{
		{"missing", filepath.Join(dir, "none"), fs.ErrNotExist},
		{"not a port", file, nil},
	} {
		_, err := seriallink.Open(c.path, 38400)
		var le *obd.LinkError
		if !errors.As(err, &le) || le.Port != c.path || c.is != nil && !errors.Is(err, c.is) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// answerAt makes the adapter's end answer a line only while the port has one of the given speeds:
// at others it is rubbish, as on a real line. A pseudo-terminal itself passes
// bytes at any speed.
func answerAt(t *testing.T, master *os.File, good uint32) {
	go func() {
		var got strings.Builder
		var b [1]byte
		for {
			if _, err := io.ReadFull(master, b[:]); err != nil {
				return
			}
			if b[0] != '\r' {
				got.WriteByte(b[0])
				continue
			}
			tio, err := unix.IoctlGetTermios(int(master.Fd()), unix.TCGETS2)
			switch {
			case err != nil:
				return
			case good != 0 && tio.Ospeed != good:
				io.WriteString(master, "\xf8\x80>\xfe")
			default:
				io.WriteString(master, "?\r\r>")
			}
			got.Reset()
		}
	}()
}

func TestFindBaud(t *testing.T) {
	for _, c := range []struct {
		name  string
		speed uint32
		want  int
	}{
		{"any speed", 0, 115200},
		{"38400 only", 38400, 38400},
		{"500000 only", 500000, 500000},
	} {
		t.Run(c.name, func(t *testing.T) {
			master, name := line(t)
			answerAt(t, master, c.speed)
			l, baud, err := seriallink.FindBaud(t.Context(), name)
			if err != nil || baud != c.want {
				t.Fatalf("found %d, %v; want %d", baud, err, c.want)
			}
			l.Close()
		})
	}
}

func TestFindBaudMissing(t *testing.T) {
	_, _, err := seriallink.FindBaud(t.Context(), filepath.Join(t.TempDir(), "none"))
	if !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
}

// TestWriteToAFullPort: a port that takes nothing is a lost line, not a hang.
func TestWriteToAFullPort(t *testing.T) {
	t.Parallel()
	_, name := line(t)
	l, err := seriallink.Open(name, 115200)
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	for err == nil && time.Since(began) < 10*time.Second {
		_, err = l.Write(make([]byte, 4096)) // nobody reads the other end
	}
	if !errors.Is(err, obd.ErrLinkLost) {
		t.Fatalf("write: %v", err)
	}
	closed := make(chan error, 1)
	go func() { closed <- l.Close() }()
	select {
	case err := <-closed:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(30 * time.Second):
		t.Fatal("Close hangs")
	}
}

// TestSetBaud: the speed changes on the open port.
func TestSetBaud(t *testing.T) {
	master, name := line(t)
	l, err := seriallink.Open(name, 38400)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	s, ok := l.(obd.BaudSetter)
	if !ok || s.Baud() != 38400 {
		t.Fatal("not a BaudSetter at 38400")
	}
	if err := s.SetBaud(500000); err != nil || s.Baud() != 500000 {
		t.Fatalf("%d, %v", s.Baud(), err)
	}
	tio, err := unix.IoctlGetTermios(int(master.Fd()), unix.TCGETS2)
	if err != nil || tio.Cflag&unix.CBAUD != unix.B500000 && tio.Ospeed != 500000 {
		t.Fatalf("%+v, %v", tio, err)
	}
}
