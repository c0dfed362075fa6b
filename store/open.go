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
	older int     // schema of a file that is only read, as it is; 0: the newest
	w     *sql.DB // one connection: all writing goes through it
	r     *sql.DB // readers, which never wait for the writer
	whereabouts
	rescues []string // see Rescued
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
	s := &Store{path: path}
	if s.real, err = filepath.EvalSymlinks(path); err != nil {
		return nil, err
	}
	for _, clear := range []func(context.Context, string) (string, error){setAside, clearCopied} {
		if err := s.rescuedBy(clear(ctx, s.real)); err != nil {
			return nil, err
		}
	}
	// Nothing is written before the file is known to be ours.
	v, err := look(ctx, s.real, "mode=ro")
	if needsRecovery(err) {
		v, err = look(ctx, s.real, "mode=rw")
	}
	if err != nil {
		return nil, err
	}
	if s.file, err = os.Stat(s.real); err != nil {
		return nil, err
	}
	// When the -wal is brought into the file is decided here: see [Store.checkpoint].
	s.w = connectTo(s.where, "mode=rw", "_txlock=immediate", "_synchronous=FULL")
	s.w.SetMaxOpenConns(1)
	if err := s.begin(ctx, v); err != nil {
		s.w.Close()
		return nil, err
	}
	s.r = connectTo(s.where, "mode=rw", "_query_only=on") // a read-only handle could not make the WAL's index
	return s, nil
}

func (s *Store) begin(ctx context.Context, v int) error {
	if err := s.setUp(ctx, v); err != nil {
		return err
	}
	if err := s.hold(); err != nil {
		return err
	}
	if v < len(migrations) {
		if _, err := s.checkpoint(0, "", -1); err != nil {
			return err
		}
	}
	left, err := s.takeIn(ctx)
	s.rescues = append(s.rescues, left...)
	if err != nil {
		return err
	}
	bare := connect(s.real, "mode=ro", "immutable=1")
	defer bare.Close()
	if there, err := landmarkIn(bare, landmark{}); err == nil { // else another program is bringing a -wal into it
		s.known = there
	}
	return nil
}

func (s *Store) rescuedBy(path string, err error) error {
	if path != "" {
		s.rescues = append(s.rescues, path)
	}
	return err
}

// Rescued lists the databases that Open gave a name of their own: what stood there before it
// was replaced while a program that was killed, or still runs, was writing it.
func (s *Store) Rescued() []string { return s.rescues }

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
	if err := makePrivate(path); errors.Is(err, fs.ErrExist) { // another process was faster
		return nil
	} else if err != nil {
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
	return migrate(ctx, s.w)
}

// migrate brings a database to the newest schema.
func migrate(ctx context.Context, db *sql.DB) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	v, err := version(ctx, tx)
	if err != nil { // not as it was when it was looked at: another process may have been faster
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

// Close closes the database; writers and readers must be closed before. Errors:
// ErrReplaced, as a [*RescuedError] where what was written is elsewhere now.
func (s *Store) Close() error {
	err := s.rescue()
	if s.check() == copied {
		return wrap("close database", err) // SQLite would write into what is there now
	}
	err = errors.Join(err, s.r.Close(), s.w.Close())
	switch {
	case s.file == nil:
	case s.check() == aside: // SQLite left its files, since it looks for the database at its old path
		tidy := connect(s.away, "mode=rw")
		_, terr := tidy.Exec("select 1 from sqlite_schema")
		err = errors.Join(err, terr, tidy.Close())
	default:
		s.letGo()
	}
	return wrap("close database", err)
}

// longest is the longest text, blob or row that is read or written, in bytes.
const longest = 64 << 20

// connector opens connections that distrust the file: a schema made by somebody
// else may not call functions, and cells are checked as pages are read.
type connector struct {
	drv    *sqlite3.SQLiteDriver
	where  func() (string, error)
	params string
}

func (c connector) Connect(context.Context) (driver.Conn, error) {
	path, err := c.where()
	if err != nil {
		return nil, err
	}
	path = filepath.ToSlash(path)
	if !strings.HasPrefix(path, "/") {
		path = "/" + path // C:/…
	}
	u := url.URL{Scheme: "file", Path: path, RawQuery: c.params}
	return c.drv.Open(u.String())
}
func (c connector) Driver() driver.Driver { return c.drv }

func connect(path string, params ...string) *sql.DB {
	return connectTo(func() (string, error) { return path, nil }, params...)
}

func connectTo(where func() (string, error), params ...string) *sql.DB {
	params = append(params, fmt.Sprintf("_busy_timeout=%d", busyTimeout.Milliseconds()))
	return sql.OpenDB(connector{where: where, params: strings.Join(params, "&"), drv: &sqlite3.SQLiteDriver{
		ConnectHook: func(c *sqlite3.SQLiteConn) error {
			c.SetLimit(sqlite3.SQLITE_LIMIT_LENGTH, longest)
			_, err := c.Exec("pragma trusted_schema = off; pragma cell_size_check = on; pragma wal_autocheckpoint = 0", nil)
			return err
		},
	}})
}
