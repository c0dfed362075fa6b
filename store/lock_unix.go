//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package store

import (
	"os"
	"syscall"
)

// lockFolder keeps other pushbacks from renaming files in a folder at the same time; what
// it returns ends that. Where a folder cannot be locked, nobody is kept.
func lockFolder(path string) func() {
	d, err := os.Open(path)
	if err != nil {
		return func() {}
	}
	for syscall.Flock(int(d.Fd()), syscall.LOCK_EX) == syscall.EINTR {
	}
	return func() { d.Close() }
}
