package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// A recording is written twice: into the database, and into a database of its own beside
// it, PATH.recording-ID, which is not synchronised and costs next to nothing. The second is
// removed when the first has all, and is what is left of the recording otherwise. An import
// needs none: its file is still there.
//
// While PATH.recording-ID stands the database has session ID even without its -wal. Where it
// has not, somebody copied another over it, and the -wal belongs to what was there before.
// Where that cannot be had, because somebody reads an older state, the name ends in unplaced.
// PATH.recording-ID-apart says that the recorder knows and has taken its -wal away.
const (
	recording = ".recording-"
	unplaced  = "-unplaced"
	apart     = "-apart"
)

func (s *Store) newSide(ctx context.Context, m Meta, placed bool) (*Writer, error) {
	path := s.real + recording + m.ID
	if !placed {
		path += unplaced
	}
	if err := makePrivate(path); err != nil {
		return nil, err
	}
	side := &Store{path: path, whereabouts: whereabouts{real: path}}
	side.w = connect(path, "mode=rw", "_txlock=immediate", "_synchronous=OFF", "_journal_mode=WAL")
	side.w.SetMaxOpenConns(1)
	side.r = side.w
	err := migrate(ctx, side.w)
	if err == nil {
		var w *Writer
		if w, err = side.Create(ctx, m); err == nil {
			s.mu.Lock()
			s.side = path
			s.mu.Unlock()
			return w, nil
		}
	}
	return nil, errors.Join(err, side.Close(), removeDatabase(path))
}

func removeDatabase(path string) error {
	var all []error
	for _, tail := range append([]string{apart}, tails...) {
		if err := os.Remove(path + tail); err != nil && !errors.Is(err, os.ErrNotExist) {
			all = append(all, err)
		}
	}
	return errors.Join(all...)
}

// drop removes the side file: the database has all of it.
func (w *Writer) drop() error {
	if w.side == nil {
		return nil
	}
	side := w.side.s
	return errors.Join(w.side.stop(), w.side.closeStatements(), side.Close(), removeDatabase(side.path))
}

// keep ends the side file as the session would have been ended, gives it the name of a
// rescued database, and says so by an error.
func (w *Writer) keep(judge func(*Writer) error) error {
	side := w.side.s
	err := w.side.end(judge)
	err = errors.Join(err, side.Close())
	to := rescuedName(w.s.real)
	if err == nil {
		err = os.Rename(side.path, to)
		os.Remove(side.path + apart)
	}
	if err != nil {
		return errors.Join(ErrReplaced, fmt.Errorf("what could be kept is in %s: %w", side.path, err))
	}
	return &RescuedError{Path: to}
}

// leave ends the side file as the session would have been ended, and leaves it for the next
// that opens the database.
func (w *Writer) leave(judge func(*Writer) error) error {
	side := w.side.s
	err := errors.Join(w.side.end(judge), side.Close())
	return errors.Join(fmt.Errorf("%w: the recording is in %s, and goes into the database when that is next opened", ErrLocked, side.path), err)
}

// sides lists the side files beside a database, by the id of their session.
func sides(path string) map[string]string {
	found := make(map[string]string)
	names, _ := filepath.Glob(globbed(path) + recording + "*")
	for _, name := range names {
		id := strings.TrimSuffix(name[len(path+recording):], unplaced)
		if isID(id) {
			found[id] = name
		}
	}
	return found
}

// abandoned reports whether nobody writes a side file any more, and makes it one file where it
// is sound.
func abandoned(path string) bool {
	db := connect(path, "mode=rw")
	defer db.Close()
	db.SetMaxOpenConns(1)
	_, err := db.Exec("pragma busy_timeout = 0")
	mode := "delete"
	if err == nil {
		err = db.QueryRow("pragma journal_mode = delete").Scan(&mode)
	}
	if err != nil {
		return kindOf(err) != ErrLocked // it is not synchronised: a loss of power may have damaged it
	}
	return mode == "delete"
}

// clearCopied looks whether another database was copied over the one at path while somebody
// recorded into that. One who still does clears up himself, and is waited for; what one who was
// killed has left is cleared up here. It returns where the recording is.
func clearCopied(ctx context.Context, path string) (string, error) {
	for id, side := range sides(path) {
		must := landmark{id: id, must: true}
		for began := time.Now(); !strings.HasSuffix(side, unplaced) && compare(path, must) != same; time.Sleep(20 * time.Millisecond) {
			_, gone := os.Lstat(side)
			_, knows := os.Lstat(side + apart)
			if gone != nil || knows == nil {
				break
			}
			if time.Since(began) < settle {
				continue // it may be being copied, or brought up to date
			}
			if abandoned(side) {
				if compare(path, must) == another {
					return takeAway(path, side)
				}
				break
			}
			if err := ctx.Err(); err != nil || time.Since(began) > 2*patience {
				return "", errors.Join(fmt.Errorf("%w: it was copied over while somebody records into it", ErrLocked), err)
			}
		}
	}
	return "", nil
}

// takeAway removes the -wal that belongs to what was copied over, and gives the side file the
// name of a rescued database.
func takeAway(path, side string) (string, error) {
	defer lockFolder(filepath.Dir(path))()
	to := rescuedName(path)
	if err := os.Rename(side, to); err != nil {
		return "", err
	}
	for _, name := range []string{path + "-wal", path + "-shm", path + held + "-wal", path + held + "-shm", path + held} {
		if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("take away what belongs to the file that stood there before: %w", err)
		}
	}
	return to, nil
}

// takeIn takes what programs that were killed have left in side files: what the database has
// not of it goes into it. It returns side files that belong to no session of it.
func (s *Store) takeIn(ctx context.Context) (left []string, err error) {
	for id, side := range sides(s.real) {
		if !abandoned(side) {
			continue
		}
		err := s.takeInFrom(ctx, id, side, math.MaxInt64)
		switch k := kindOf(err); {
		case k == ErrLocked || k == ErrReadOnly || k == ErrDiskFull:
			continue // the next may take it in
		case errors.Is(err, sql.ErrNoRows):
			to := rescuedName(s.real)
			if err = os.Rename(side, to); err == nil {
				os.Remove(side + apart)
				left = append(left, to)
			}
		default: // it is taken in, or damaged, and the database has what was committed
			err = removeDatabase(side)
		}
		if err != nil {
			return left, err
		}
	}
	return left, nil
}

// takeInFrom takes in what a side file has of a session beyond what the database has, up to
// the record upto, and how it ended.
func (s *Store) takeInFrom(ctx context.Context, id, side string, upto int64) error {
	conn, err := s.w.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, `attach ? as side`, side); err != nil {
		return err
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), `detach side`)
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var n, from int64
	if err := tx.QueryRowContext(ctx, `select n, coalesce((select max(seq) from record where session = n), -1) from session where id = ?`, id).
		Scan(&n, &from); err != nil {
		return err
	}
	const columns = `seq, at_us, kind, request, expect, sent_us, received_us, outcome, raw, mark, text, names, vals`
	ended := ` where id = ?3 and (select duration_us is null from session where n = ?1) and
		exists (select 1 from side.session where id = ?3 and duration_us is not null)`
	for _, q := range []string{
		`insert into record (session, ` + columns + `) select ?1, ` + columns + ` from side.record where seq > ?2 and seq <= ?4 order by seq`,
		`insert or ignore into signal (name, unit, what) select name, unit, what from side.signal`,
		`insert or ignore into sample (session, signal, received_us, seq, sent_us, value)
			select ?1, here.id, x.received_us, x.seq, x.sent_us, x.value
			from side.sample x join side.signal there on there.id = x.signal join signal here on here.name = there.name where x.seq > ?2 and x.seq <= ?4`,
		`update session set vin = (select vin from side.session where id = ?3) where n = ?1 and vin = ''`,
		`insert or ignore into judgement (session, line, kind, json) select ?1, line, kind, json from side.judgement
			where exists (select 1 from session` + ended + `)`,
		`insert or ignore into tally (session, signal, readings, missing, low, mean, high)
			select ?1, here.id, readings, missing, low, mean, high
			from side.tally y join side.signal there on there.id = y.signal join signal here on here.name = there.name`,
		`update session set (duration_us, conclusion, content, records, marks, failed) =
			(select duration_us, conclusion, content, records, marks, failed from side.session where id = ?3)` + ended,
	} {
		if _, err := tx.ExecContext(ctx, q, n, from, id, upto); err != nil {
			return err
		}
	}
	return tx.Commit()
}
