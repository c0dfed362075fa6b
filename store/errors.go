package store

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"

	"github.com/mattn/go-sqlite3"
)

// What can be wrong with a database or with a reference into it. Errors of this
// package wrap one of these together with the cause; the text for people is made
// in cmd.
var (
	ErrNotOurs     = errors.New("the file is not a pushback database")
	ErrNewerSchema = errors.New("the database was written by a newer pushback")
	ErrLocked      = errors.New("another program holds the database")
	ErrReadOnly    = errors.New("the database or its folder cannot be written")
	ErrDiskFull    = errors.New("the disk is full")
	ErrDamaged     = errors.New("the database is damaged")
	ErrReplaced    = errors.New("the database was replaced or deleted while it was being written")
	ErrNoSession   = errors.New("no such session")
	ErrAmbiguous   = errors.New("more than one session begins so")
	ErrClosed      = errors.New("the session is already closed")
)

// AmbiguousError lists the sessions that a reference could mean. It is ErrAmbiguous.
type AmbiguousError struct {
	Ref string
	IDs []string // newest first, at most 10
}

func (e *AmbiguousError) Error() string {
	return fmt.Sprintf("find session %q: %v: %s", e.Ref, ErrAmbiguous, strings.Join(e.IDs, ", "))
}
func (e *AmbiguousError) Unwrap() error { return ErrAmbiguous }

// DuplicateError says that another session holds the same recording, see [Writer.Once].
type DuplicateError struct{ ID string }

func (e *DuplicateError) Error() string { return "session " + e.ID + " is the same" }

// wrap says what failed and which of the package's errors it is.
func wrap(what string, err error) error {
	if err == nil {
		return nil
	}
	if kind := kindOf(err); kind != nil {
		return fmt.Errorf("%s: %w: %w", what, kind, err)
	}
	return fmt.Errorf("%s: %w", what, err)
}

func kindOf(err error) error {
	var e sqlite3.Error
	if errors.As(err, &e) {
		switch {
		case e.Code == sqlite3.ErrFull, e.SystemErrno == syscall.ENOSPC:
			return ErrDiskFull
		case e.Code == sqlite3.ErrBusy, e.Code == sqlite3.ErrLocked:
			return ErrLocked
		case e.Code == sqlite3.ErrReadonly, e.Code == sqlite3.ErrPerm, e.Code == sqlite3.ErrCantOpen:
			return ErrReadOnly
		case e.Code == sqlite3.ErrNotADB:
			return ErrNotOurs
		case e.Code == sqlite3.ErrCorrupt, e.Code == sqlite3.ErrTooBig:
			return ErrDamaged
		}
		return nil
	}
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return ErrDiskFull
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return ErrReadOnly
	}
	return nil
}
