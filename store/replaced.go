package store

import (
	"errors"
	"fmt"
	"os"
	"time"
)

// checkFile returns ErrReplaced when the path no longer leads to the file that was
// opened: what is written then goes where nobody finds it.
func (s *Store) checkFile() error {
	if s.file == nil {
		return nil
	}
	now, err := os.Stat(s.path)
	if err != nil || !os.SameFile(s.file, now) {
		return ErrReplaced
	}
	return nil
}

// RescuedError tells where the content of a database is that was replaced or deleted
// while it was being written. It is ErrReplaced.
type RescuedError struct {
	Path string // of a new database with all that was committed
}

func (e *RescuedError) Error() string {
	return fmt.Sprintf("%v; all of it is in %s", ErrReplaced, e.Path)
}
func (e *RescuedError) Unwrap() error { return ErrReplaced }

// rescue writes what the open file holds, which has no name any more, beside where it
// was, and says so by an error.
func (s *Store) rescue() error {
	path := s.path + time.Now().Format(".rescued-20060102-150405.000")
	// Made here, so that only its owner can read it; SQLite takes an empty file.
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err == nil {
		err = f.Close()
	}
	if err == nil {
		_, err = s.w.Exec(`vacuum into ?`, path)
	}
	if err != nil {
		return errors.Join(ErrReplaced, err)
	}
	return &RescuedError{Path: path}
}
