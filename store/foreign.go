package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// OpenForeign opens a database file of another person's for reading. The file is
// distrusted: it may hold what a database of pushback's holds and nothing else, so
// nothing in it is run; it is looked through for damage; it is never written, and
// nothing is left beside it. The schema may be an older one: sessions, records, pairs and
// judgements have looked the same since the first. Errors: as of [Open].
func OpenForeign(ctx context.Context, path string) (*Store, error) {
	s, err := openForeign(ctx, path, true)
	return s, wrap("open database "+path, err)
}

// OpenToRead is [Open] for who only wants to read: a database that cannot be written, on a
// medium or in a folder of somebody else's, is opened as it is. Who writes to it then meets
// ErrReadOnly.
func OpenToRead(ctx context.Context, path string) (*Store, error) {
	s, err := Open(ctx, path)
	if !errors.Is(err, ErrReadOnly) {
		return s, err
	}
	if s, err := openForeign(ctx, path, false); err == nil {
		return s, nil
	}
	return nil, err
}

func openForeign(ctx context.Context, path string, thorough bool) (_ *Store, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return nil, err
	}
	fi, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !fi.Mode().IsRegular() {
		return nil, fmt.Errorf("%w: it is no regular file", ErrNotOurs)
	}
	params := []string{"mode=ro", "_query_only=on"}
	if fi, err := os.Stat(path + "-wal"); err != nil || fi.Size() == 0 {
		params = append(params, "immutable=1") // nobody has it open, and no file is made beside it
	}
	r := connect(path, params...)
	defer func() {
		if err != nil {
			r.Close()
		}
	}()
	v, err := version(ctx, r)
	if err != nil {
		return nil, err
	}
	if v == 0 {
		return nil, fmt.Errorf("%w: it is empty", ErrNotOurs)
	}
	if err := checkSchema(ctx, r, v, thorough); err != nil {
		return nil, err
	}
	damage := "ok"
	if thorough {
		if err := r.QueryRowContext(ctx, "pragma quick_check(1)").Scan(&damage); err != nil {
			return nil, err
		}
	}
	if damage != "ok" {
		return nil, fmt.Errorf("%w: %.200s", ErrDamaged, damage)
	}
	refused := connectTo(func() (string, error) { return "", ErrReadOnly })
	return &Store{path: path, older: v, r: r, w: refused}, nil
}

// Pack makes one plain file of the database, to be given away: nothing that was
// removed is left in it, and no other file belongs to it. The store is closed by it.
func (s *Store) Pack(ctx context.Context) error {
	err := s.r.Close()
	if err == nil {
		s.r, err = sql.Open("sqlite3", ":memory:") // for Close
	}
	if err == nil {
		_, err = s.w.ExecContext(ctx, "vacuum; pragma journal_mode = delete")
	}
	return wrap("pack database", errors.Join(err, s.Close()))
}
