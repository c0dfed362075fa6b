package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/mattn/go-sqlite3"
)

// whereabouts minds that a database may be replaced or deleted under a program that has it
// open: by a folder that synchronises, by a restored backup. SQLite keeps what was
// committed last in a second file, PATH-wal, which it finds by name, so the old file's would
// be written into the new one by whoever opens that next
// (https://www.sqlite.org/howtocorrupt.html, 1.4 and 4).
//
// Renamed over or deleted: the old files live on under a second name each, PATH-held,
// PATH-held-wal and PATH-held-shm, hard links that stand as long as the database is open.
// Whoever notices first, the program that has them open or one that opens the new file,
// takes PATH-wal and PATH-shm away and gives the held files the name of a rescued
// database; the program goes on writing into that.
//
// Copied over, so that the same file holds something else: what SQLite knows of the file
// is void. It is neither written nor closed from then on, since closing would write too; a
// recording goes on in its side file, by whose name one who opens the file knows to wait.
//
// On Windows an open file cannot be renamed over or deleted; copied over it can be. A file
// system without hard links (FAT) has only what the open program does. If the copying
// begins in the very milliseconds in which SQLite brings the -wal into the file, the copy
// is a mixture of both, and has to be made again.
type whereabouts struct {
	mu    sync.Mutex
	real  string      // the path with symbolic links resolved, by which SQLite names its files
	file  fs.FileInfo // of what was opened; nil: nobody minds
	wal   fs.FileInfo
	shm   fs.FileInfo
	head  string      // of the -wal after the last commit
	seen  fs.FileInfo // size and time at which it was last known to be itself
	known landmark
	fate  fate
	away  string // where the rescued database is
	side  string // the side file of a recording
}

// fate is what has become of the open file.
type fate uint8

const (
	stays    fate = iota
	aside         // it has another name, and can be written
	nameless      // it can be written, but nobody will find it
	copied        // over: it holds another's content
)

// landmark is what the open database must hold even without its -wal. The zero landmark is nothing.
type landmark struct {
	made int64  // how many sessions were ever made; never sinks
	id   string // of a session, empty: none
	n    int64  // its number, which no other session of the database gets; 0: not known
	next int64  // above the seq of a record that it has; 0: of none
	must bool   // the session cannot have been removed
}

// RescuedError tells where the content of a database is that was replaced or deleted
// while it was being written. It is ErrReplaced.
type RescuedError struct {
	Path string // of a database with all that was committed, or the recording at least
}

func (e *RescuedError) Error() string {
	return fmt.Sprintf("%v; what is there now was left as it is, and the recording is in %s", ErrReplaced, e.Path)
}
func (e *RescuedError) Unwrap() error { return ErrReplaced }

// check finds out what has become of the open file.
func (s *Store) check() fate {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.file == nil || s.fate != stays {
		return s.fate
	}
	now, err := os.Stat(s.real)
	switch {
	case err != nil && !errors.Is(err, fs.ErrNotExist): // nobody knows
	case err != nil || !os.SameFile(s.file, now):
		to, err := setAside(context.Background(), s.real)
		if to == "" {
			to = s.rescued() // another program was faster
		}
		if fi, lerr := os.Lstat(to); err == nil && to != "" && lerr == nil && os.SameFile(fi, s.file) {
			s.fate, s.away = aside, to
		} else {
			s.dropLog()
			s.fate = nameless
		}
	case now.Size() == s.seen.Size() && now.ModTime().Equal(s.seen.ModTime()):
	case s.isItself(): // somebody brought the -wal into it
	default:
		s.dropLog()
		s.fate = copied
	}
	if s.fate != stays && s.side != "" {
		_ = makePrivate(s.side + apart) // nobody need wait for this program
	}
	return s.fate
}

// settle is how long a file must have lain still before it is said to be another's, and
// patience how long that is waited for.
const (
	settle   = time.Second
	patience = 30 * time.Second
)

// isItself reports whether the file is the one that was opened. While somebody brings a -wal
// into it, or copies over it, that cannot be told; nor where somebody was killed doing so.
func (s *Store) isItself() bool {
	began := time.Now()
	still, last := began, s.seen
	for {
		now, err := os.Stat(s.real)
		if err != nil {
			return true // a later look will tell
		}
		is := compare(s.real, s.known)
		if now.Size() != last.Size() || !now.ModTime().Equal(last.ModTime()) {
			still, last = time.Now(), now
		}
		if is == same || time.Since(still) >= settle || time.Since(began) > patience {
			s.seen = now
			return is != another
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// likeness is what a file without its -wal says of being the one that is meant.
type likeness uint8

const (
	unsure likeness = iota
	same
	another
)

// compare reads a file without its -wal. SQLite takes no locks for that, and drops none. It
// is another's if it is no database of ours, or one that is sound and lacks what it must
// have; one that is not sound may be ours, half brought up to date.
func compare(path string, known landmark) likeness {
	db := connect(path, "mode=ro", "immutable=1")
	defer db.Close()
	there, err := landmarkIn(db, known)
	var e sqlite3.Error
	switch {
	case err == nil && there.covers(known):
		return same
	case errors.Is(err, ErrNotOurs) || errors.As(err, &e) && e.Code == sqlite3.ErrNotADB:
		return another
	case err != nil && !(errors.As(err, &e) && e.Code == sqlite3.ErrError): // no such table
		return unsure
	}
	var sound string
	if db.QueryRow("pragma quick_check(1)").Scan(&sound) == nil && sound == "ok" {
		return another
	}
	return unsure
}

// landmarkIn reads what a file without its -wal has of known, or its newest session.
func landmarkIn(db *sql.DB, known landmark) (there landmark, err error) {
	var id int64
	if err := db.QueryRow(`select application_id from pragma_application_id`).Scan(&id); err != nil {
		return there, err
	}
	if id == 0 && known.made == 0 && known.id == "" { // all of it may still be in the -wal
		return there, nil
	}
	if id != applicationID {
		return there, ErrNotOurs
	}
	err = db.QueryRow(`select coalesce(max(seq), 0) from sqlite_sequence where name = 'session'`).Scan(&there.made)
	if err != nil {
		return there, err
	}
	var n int64
	err = db.QueryRow(`select n, id from session where id = ?1 or ?1 = '' or n = ?2 order by id = ?1 desc, n desc limit 1`, known.id, known.n).Scan(&n, &there.id)
	if errors.Is(err, sql.ErrNoRows) {
		return there, nil
	} else if err != nil {
		return there, err
	}
	return there, db.QueryRow(`select coalesce(max(seq) + 1, 0) from record where session = ?`, n).Scan(&there.next)
}

// covers reports whether a file that has l may be a later state of one that had known.
func (l landmark) covers(known landmark) bool {
	switch l.id {
	case known.id:
		return l.made >= known.made && l.next >= known.next
	case "": // a session may be removed, but the count does not sink by that
		return l.made >= known.made && !known.must
	}
	return l.made >= known.made && known.id == ""
}

// checkpoint brings the -wal into the database, where that is still itself. After it the
// file without its -wal has the records of session n up to seq, unless somebody reads an
// older state: then not all is.
func (s *Store) checkpoint(n int64, id string, seq int64) (all bool, err error) {
	if f := s.check(); f != stays && f != aside {
		return false, nil
	}
	var busy, log, done int64
	if err := s.w.QueryRow("pragma wal_checkpoint(passive)").Scan(&busy, &log, &done); err != nil {
		return false, err
	}
	if busy != 0 || log != done {
		return false, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.known = landmark{made: max(n, s.known.made), id: id, n: n, next: seq + 1}
	return true, nil
}

// rescue makes a database of its own of an open file that is not at its path any more, and
// says so by an error. Of one that was copied over there is nothing left to rescue.
func (s *Store) rescue() error {
	switch s.check() {
	case aside:
		// Nobody brings its -wal into it at closing: the path leads to another file.
		_, err := s.w.Exec("pragma wal_checkpoint(truncate)")
		return errors.Join(&RescuedError{Path: s.away}, err)
	case nameless:
		if s.away != "" {
			return &RescuedError{Path: s.away}
		}
		path := rescuedName(s.real)
		err := makeFolder(filepath.Dir(path))
		if err == nil {
			err = makePrivate(path) // SQLite takes an empty file
		}
		if err == nil {
			_, err = s.w.Exec(`vacuum into ?`, path)
		}
		if err != nil {
			return errors.Join(ErrReplaced, err)
		}
		s.away = path
		return &RescuedError{Path: path}
	case copied:
		return ErrReplaced
	}
	return s.elsewhere()
}

// Beside makes a rescued database, for who can write once more what s, since it was
// replaced, has not taken.
func (s *Store) Beside(ctx context.Context) (*Store, error) { return Open(ctx, rescuedName(s.real)) }

// elsewhere reports that the path, through a symbolic link, leads to another database now.
func (s *Store) elsewhere() error {
	if s.file == nil || s.path == s.real {
		return nil
	}
	if now, err := os.Stat(s.path); err != nil || !os.SameFile(now, s.file) {
		return &RescuedError{Path: s.real}
	}
	return nil
}

// where is the path by which SQLite may open the file once more.
func (s *Store) where() (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch s.fate {
	case aside:
		return s.away, nil
	case stays:
		return s.real, nil
	}
	return "", ErrReplaced
}

// makePrivate makes a file that only its owner can read.
func makePrivate(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}
