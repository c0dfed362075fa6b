package term

import (
	"os"
	"sync"

	"golang.org/x/sys/unix"
)

var saved struct {
	sync.Mutex
	fd   int
	mode *unix.Termios
}

// singleKeys lets a terminal hand over each key at once and show none. Ctrl-C
// stays a signal. False when f is no terminal.
func singleKeys(f *os.File) bool {
	saved.Lock()
	defer saved.Unlock()
	fd := int(f.Fd())
	mode, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil || saved.mode != nil {
		return false
	}
	keys := *mode
	keys.Lflag &^= unix.ICANON | unix.ECHO
	keys.Cc[unix.VMIN], keys.Cc[unix.VTIME] = 1, 0
	if unix.IoctlSetTermios(fd, unix.TCSETS, &keys) != nil {
		return false
	}
	saved.fd, saved.mode = fd, mode
	return true
}

// Restore gives a terminal back whose single keys counted. It may be called at any time.
func Restore() {
	saved.Lock()
	defer saved.Unlock()
	if saved.mode != nil {
		_ = unix.IoctlSetTermios(saved.fd, unix.TCSETS, saved.mode)
		saved.mode = nil
	}
}
