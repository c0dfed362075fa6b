package transfer

import (
	"bufio"
	"errors"
	"io"
	"os"
	"path/filepath"
)

// ToFile makes the file at path of what write writes, readable by its owner only, and
// whole or not at all: an older file of the name stays as it is until then.
func ToFile(path string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".pushback-*") // made with mode 0600
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	w := bufio.NewWriterSize(f, 1<<16)
	if err := errors.Join(write(w), w.Flush(), f.Sync()); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
