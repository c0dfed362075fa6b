// Package smallfile reads files that somebody else may have put there.
package smallfile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
)

// ErrNotSmall is a file that is longer than wanted, or none that has a length: a pipe or a
// device, which might never end.
var ErrNotSmall = errors.New("it is not an ordinary file of this size")

// Read reads an ordinary file of at most so many bytes, and never waits for a writer.
func Read(path string, most int64) ([]byte, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil {
		return nil, err
	} else if !info.Mode().IsRegular() || info.Size() > most {
		return nil, fmt.Errorf("read %s: %w: at most %d kB", path, ErrNotSmall, most>>10)
	}
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(data)) > most {
		err = fmt.Errorf("read %s: %w: at most %d kB", path, ErrNotSmall, most>>10)
	}
	return data, err
}
