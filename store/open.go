package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"github.com/mattn/go-sqlite3"
)

// applicationID marks the file as ours in the SQLite header: "Pshb".
const applicationID = 0x50736862

//go:embed schema/*.sql
var schemaFiles embed.FS

// migrations holds what leads from schema version i to i+1.
var migrations = readMigrations()

func readMigrations() []string {
	names, err := fs.Glob(schemaFiles, "schema/*.sql") // in order of name
	if err != nil {
		panic(err)
	}
	var m []string
	for _, n := range names {
		b, err := schemaFiles.ReadFile(n)
		if err != nil {
			panic(err)
		}
		m = append(m, string(b))
	}
	return m
}

// busyTimeout is how long to wait for another program before ErrLocked.
var busyTimeout = 5 * time.Second

// Store is an open database. Its methods may be called from any goroutine.
type Store struct {
	path  string
	older int         // schema of a file that is only read, as it is; 0: the newest
	file  fs.FileInfo // of what was opened
	w     *sql.DB     // one connection: all writing goes through it
	r     *sql.DB     // readers, which never wait for the writer
}

// DefaultPath returns pushback/pushback.db under the user's data folder:
// $XDG_DATA_HOME or ~/.local/share, %LocalAppData% on Windows,
// ~/Library/Application Support on macOS.
func DefaultPath() (string, error) {
	dir, err := dataFolder(runtime.GOOS, os.Getenv, os.UserHomeDir)
	if err != nil {
		return "", fmt.Errorf("find the user's data folder: %w", err)
	}
	return filepath.Join(dir, "pushback", "pushback.db"), nil
}

func dataFolder(goos string, env func(string) string, home func() (string, error)) (string, error) {
	under := func(elem ...string) (string, error) {
		h, err := home()
		return filepath.Join(append([]string{h}, elem...)...), err
	}
	switch goos {
	case "windows":
		if d := env("LocalAppData"); d != "" {
			return d, nil
		}
		return under("AppData", "Local")
	case "darwin", "ios":
		return under("Library", "Application Support")
	}
	// The XDG base directory specification: a relative path is to be ignored.
	if d := env("XDG_DATA_HOME"); filepath.IsAbs(d) {
		return d, nil
	}
	return under(".local", "share")
}

// Open opens the database at path. A file that is not there is created, readable
// by its owner only, and so are its folders; an older schema is brought up to
// date. A file that is not ours is left as it is. Errors: ErrNotOurs,
// ErrNewerSchema, ErrLocked, ErrReadOnly, ErrDiskFull, ErrDamaged.
func Open(ctx context.Context, path string) (*Store, error) {
	s, err := open(ctx, path)
	if err != nil {
		return nil, wrap("open database "+path, err)
	}
	return s, nil
}

func open(ctx context.Context, path string) (*Store, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if err := prepareFile(path); err != nil {
		return nil, err
	}
	// Nothing is written before the file is known to be ours.
	v, err := look(ctx, path, "mode=ro")
	if needsRecovery(err) {
		v, err = look(ctx, path, "mode=rw")
	}
	if err != nil {
		return nil, err
	}

	s := &Store{path: path}
	if s.file, err = os.Stat(path); err != nil {
		return nil, err
	}
	s.w = connect(path, "mode=rw", "_txlock=immediate", "_synchronous=FULL")
	s.w.SetMaxOpenConns(1)
	if err := s.setUp(ctx, v); err != nil {
		s.w.Close()
		return nil, err
	}
	s.r = connect(path, "mode=rw", "_query_only=on") // a read-only handle could not make the WAL's index
	return s, nil
}

// look returns the schema version of a file that is ours in all that it would run.
func look(ctx context.Context, path string, params ...string) (int, error) {
	db := connect(path, params...)
	defer db.Close()
	v, err := version(ctx, db)
	if err != nil || v == 0 {
		return v, err
	}
	return v, checkSchema(ctx, db, v, false)
}

// needsRecovery reports that a reader met what a killed program left half done.
// SQLite undoes it as soon as it may write, in a file of whomever.
func needsRecovery(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && (e.Code == sqlite3.ErrReadonly || e.Code == sqlite3.ErrCantOpen)
}

// making guards prepareFile: to close a file drops the locks that SQLite holds on it
// anywhere in the process (https://www.sqlite.org/howtocorrupt.html, 2.2), so a file
// is opened outside SQLite only before anybody can have it open.
var making sync.Mutex

// prepareFile makes the file if it is not there.
func prepareFile(path string) error {
	making.Lock()
	defer making.Unlock()
	switch fi, err := os.Stat(path); {
	case err == nil && !fi.Mode().IsRegular():
		return fmt.Errorf("%w: it is no regular file", ErrNotOurs)
	case err == nil:
		return nil
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	if err := makeFolder(filepath.Dir(path)); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) { // another process was faster
		return nil
	} else if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	syncFolder(filepath.Dir(path))
	return nil
}

// makeFolder makes a folder, and those above it, so that they outlast a loss of power.
func makeFolder(path string) error {
	if _, err := os.Stat(path); err == nil {
		return nil
	}
	if up := filepath.Dir(path); up != path {
		if err := makeFolder(up); err != nil {
			return err
		}
	}
	if err := os.Mkdir(path, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	syncFolder(filepath.Dir(path))
	return nil
}

// syncFolder brings a folder's list of names to the disk. Systems that cannot do it
// say so, and need it not.
func syncFolder(path string) {
	if d, err := os.Open(path); err == nil {
		d.Sync()
		d.Close()
	}
}

// version returns the schema version of a file of ours, 0 for an empty one.
func version(ctx context.Context, q interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
}) (v int, err error) {
	var id int64
	var objects int
	err = q.QueryRowContext(ctx, `select application_id, user_version, (select count(*) from sqlite_schema)
		from pragma_application_id, pragma_user_version`).Scan(&id, &v, &objects)
	switch {
	case err != nil:
		return 0, err
	case id == 0 && v == 0 && objects == 0:
		return 0, nil
	case id != applicationID, v < 1:
		return 0, ErrNotOurs
	case v > len(migrations):
		return 0, fmt.Errorf("%w: its schema is %d, this program knows up to %d", ErrNewerSchema, v, len(migrations))
	}
	return v, nil
}

// setUp brings a file that is ours to WAL mode and to the newest schema.
func (s *Store) setUp(ctx context.Context, v int) error {
	// SQLite's busy handler does not cover the change to WAL mode.
	deadline := time.Now().Add(busyTimeout)
	for {
		_, err := s.w.ExecContext(ctx, "pragma journal_mode = wal")
		if err == nil {
			break
		}
		if !errors.Is(kindOf(err), ErrLocked) || time.Now().After(deadline) || ctx.Err() != nil {
			return err
		}
		time.Sleep(5 * time.Millisecond)
	}
	if v == len(migrations) {
		// Shows now, and not in the middle of a session, that the file cannot be written.
		tx, err := s.w.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, fmt.Sprintf("pragma user_version = %d", v))
		return errors.Join(err, tx.Rollback())
	}
	tx, err := s.w.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if v, err = version(ctx, tx); err != nil { // another process may have been faster
		return err
	}
	for ; v < len(migrations); v++ {
		if _, err := tx.ExecContext(ctx, migrations[v]); err != nil {
			return fmt.Errorf("migrate to schema %d: %w", v+1, err)
		}
		if _, err := tx.ExecContext(ctx, fmt.Sprintf("pragma user_version = %d; pragma application_id = %d", v+1, applicationID)); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// Path returns the absolute path of the database.
func (s *Store) Path() string { return s.path }

// Close closes the database; writers and readers must be closed before.
func (s *Store) Close() error {
	return wrap("close database", errors.Join(s.r.Close(), s.w.Close()))
}

// longest is the longest text, blob or row that is read or written, in bytes.
const longest = 64 << 20

// connector opens connections that distrust the file: a schema made by somebody
// else may not call functions, and cells are checked as pages are read.
type connector struct {
	drv *sqlite3.SQLiteDriver
	dsn string
}

func (c connector) Connect(context.Context) (driver.Conn, error) { return c.drv.Open(c.dsn) }
func (c connector) Driver() driver.Driver                        { return c.drv }

func connect(path string, params ...string) *sql.DB {
	path = filepath.ToSlash(path)
	if !strings.HasPrefix(path, "/") {
		path = "/" + path // C:/…
	}
	params = append(params, fmt.Sprintf("_busy_timeout=%d", busyTimeout.Milliseconds()))
	u := url.URL{Scheme: "file", Path: path, RawQuery: strings.Join(params, "&")}
	return sql.OpenDB(connector{dsn: u.String(), drv: &sqlite3.SQLiteDriver{
		ConnectHook: func(c *sqlite3.SQLiteConn) error {
			c.SetLimit(sqlite3.SQLITE_LIMIT_LENGTH, longest)
			_, err := c.Exec("pragma trusted_schema = off; pragma cell_size_check = on", nil)
			return err
		},
	}})
}
