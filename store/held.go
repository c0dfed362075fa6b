package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// held is what the second names of an open database's files have after the first.
const held = "-held"

// tails are what SQLite puts after a database's name; the file itself comes last.
var tails = []string{"-wal", "-shm", ""}

func rescuedName(path string) string {
	return path + time.Now().Format(".rescued-20060102-150405.000")
}

// setAside looks whether the database that stood at path was replaced while somebody had it
// open, and if so takes away what belongs to that one. It returns the rescued database, or
// nothing.
func setAside(_ context.Context, path string) (string, error) {
	defer lockFolder(filepath.Dir(path))()
	old, err := os.Lstat(path + held)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	} else if err != nil {
		return "", err
	}
	if now, err := os.Stat(path); err == nil && os.SameFile(old, now) {
		return "", nil
	}
	to := rescuedName(path)
	for _, tail := range tails {
		old, err := os.Lstat(path + held + tail)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if now, nerr := os.Lstat(path + tail); tail != "" && err == nil && nerr == nil && os.SameFile(old, now) {
			err = os.Remove(path + tail)
		}
		if err == nil {
			err = os.Rename(path+held+tail, to+tail)
		}
		if err != nil {
			return "", fmt.Errorf("set aside what belongs to the file that stood there before: %w", err)
		}
	}
	return to, nil
}

// hold gives the open files their second names. Where there is no such thing the database
// is held by being open alone.
func (s *Store) hold() error {
	defer lockFolder(filepath.Dir(s.real))()
	now, err := os.Stat(s.real)
	if err != nil || !os.SameFile(now, s.file) {
		return errors.Join(ErrReplaced, err)
	}
	s.seen = now
	s.wal, _ = os.Lstat(s.real + "-wal")
	s.shm, _ = os.Lstat(s.real + "-shm")
	for _, tail := range tails {
		name := s.real + held + tail
		there, err := os.Lstat(s.real + tail)
		if err != nil {
			continue
		}
		if old, err := os.Lstat(name); err == nil && os.SameFile(old, there) {
			continue
		} else if err == nil && tail != "" { // of a program that was killed
			os.Remove(name)
		}
		_ = os.Link(s.real+tail, name)
	}
	return nil
}

// letGo takes the second names away when nobody has the database open any more.
func (s *Store) letGo() {
	defer lockFolder(filepath.Dir(s.real))()
	if _, err := os.Lstat(s.real + "-wal"); !errors.Is(err, fs.ErrNotExist) {
		return // somebody has it open, or will find in it what is not in the database yet
	}
	for _, tail := range tails {
		os.Remove(s.real + held + tail)
	}
}

// dropLog takes away the old file's -wal and -shm that stand beside the new file, unless
// they are the new one's: then they are other files, or were written by another.
func (s *Store) dropLog() {
	defer lockFolder(filepath.Dir(s.real))()
	if s.head != "" && logHead(s.real) != s.head {
		return
	}
	for _, f := range []struct {
		tail string
		ours fs.FileInfo
	}{{"-wal", s.wal}, {"-shm", s.shm}} {
		for _, name := range []string{s.real + f.tail, s.real + held + f.tail} {
			if now, err := os.Lstat(name); err == nil && f.ours != nil && os.SameFile(now, f.ours) {
				os.Remove(name)
			}
		}
	}
}

// noteLog notes that the -wal as it is now is the open database's.
func (s *Store) noteLog() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.file != nil && s.fate == stays {
		s.head = logHead(s.real)
	}
}

// logHead is the header of a -wal, which no two runs through it share.
func logHead(path string) string {
	f, err := os.Open(path + "-wal") // no lock of SQLite's is on it that closing would drop
	if err != nil {
		return ""
	}
	defer f.Close()
	var head [32]byte
	n, _ := f.ReadAt(head[:], 0)
	return string(head[:n])
}

// rescued finds the name under which another program set the open file aside.
func (s *Store) rescued() string {
	names, _ := filepath.Glob(filepath.Join(filepath.Dir(globbed(s.real)), "*.rescued-*"))
	for _, name := range names {
		if fi, err := os.Lstat(name); err == nil && os.SameFile(fi, s.file) {
			return name
		}
	}
	return ""
}

// globbed is a path as [filepath.Glob] finds it and nothing else.
func globbed(path string) string {
	if filepath.Separator == '\\' { // there is no way to quote there
		return path
	}
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}
