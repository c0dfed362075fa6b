//go:build unix

package simcar

import (
	"errors"
	"io"
	"os"
	"syscall"
)

// interruptible makes reads of a file end at its deadline. Opening a pseudo-terminal
// through its Fd leaves it blocking, and then neither deadline nor Close frees a read.
func interruptible(rw io.ReadWriter) {
	f, ok := rw.(*os.File)
	if !ok {
		return
	}
	if c, err := f.SyscallConn(); err == nil {
		c.Control(func(fd uintptr) { syscall.SetNonblock(int(fd), true) })
	}
}

// hungUp reports what a pseudo-terminal's master says when nobody holds the other end.
func hungUp(err error) bool { return errors.Is(err, syscall.EIO) }
