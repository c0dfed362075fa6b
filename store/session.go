package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"github.com/mattn/go-sqlite3"

	"pushback/obd"
)

// Meta describes a session.
type Meta struct {
	ID       string        // six characters; made by Create unless it is given and free
	Started  time.Time     // wall time, with the offset of where it was recorded
	Duration time.Duration // of an unfinished session: up to its last record
	Finished bool          // false: still running, or its program died

	Format   obd.Format
	Adapter  string   // what the adapter calls itself
	Sensors  []string // oxygen sensors of the car: B1S1, B1S2, …
	Watching string   // the sensor that is forced
	By       string   // wire, mixture
	Origin   string   // live, import, simulated
	Label    string
	Vehicle  string // in the technician's words
	Note     string
	VIN      string // personal data: set it only when asked to

	Conclusion string // of the verdict
	Version    string // of the program that recorded

	Before string // the session that was made before the repair, see [Store.Pair]
	After  string // the one made after it

	// The visit that it belongs to, nil for none. To put a session into one its name alone will do.
	Visit *Visit
}

// Filter chooses sessions; the zero value chooses all.
type Filter struct {
	// Somewhere in: the case of A to Z does not matter.
	Text    string // id, label, vehicle or note
	Label   string
	Vehicle string

	Origin     string
	Conclusion string
	Visit      string    // of this name
	Since      time.Time // started at or after
	Before     time.Time // started before
	Limit      int       // 0: no limit
}

// metaColumns are what scanMeta reads; a file of an older schema, read as a stranger's, has
// no dialect and no visits.
func (s *Store) metaColumns() string {
	columns := metaColumns
	if s.older < 3 && s.older > 0 {
		columns = strings.Replace(columns, " dialect,", " 'j1979',", 1)
	}
	if s.older < 4 && s.older > 0 {
		return columns + ", null"
	}
	return columns + ", (select " + visitJSON + " from visit v where v.n = session.visit)"
}

const metaColumns = `n, id, started, coalesce(duration_us, (select at_us from record where record.session = session.n order by seq desc limit 1), 0),
	duration_us is not null, bus, headers, padded, dialect, adapter, sensors, watching, forced_by, origin, label, vehicle, note, vin, conclusion, version,
	coalesce((select b.id from pair join session b on b.n = before_n where after_n = session.n), ''),
	coalesce((select a.id from pair join session a on a.n = after_n where before_n = session.n order by a.n desc limit 1), '')`

func scanMeta(row interface{ Scan(...any) error }) (n int64, m Meta, err error) {
	var started, bus, dialect, sensors string
	var visit sql.NullString
	var us int64
	err = row.Scan(&n, &m.ID, &started, &us, &m.Finished, &bus, &m.Format.Headers, &m.Format.Padded, &dialect, &m.Adapter, &sensors,
		&m.Watching, &m.By, &m.Origin, &m.Label, &m.Vehicle, &m.Note, &m.VIN, &m.Conclusion, &m.Version, &m.Before, &m.After, &visit)
	if err != nil {
		return 0, Meta{}, err
	}
	if m.Started, err = time.Parse(time.RFC3339Nano, started); err != nil {
		return 0, Meta{}, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	m.Duration = time.Duration(us) * time.Microsecond
	if bus != obd.BusUnknown.String() {
		if m.Format.Bus, err = obd.ParseBus(bus); err != nil {
			return 0, Meta{}, fmt.Errorf("%w: %w", ErrDamaged, err)
		}
	}
	if m.Format.Dialect, err = obd.ParseDialect(dialect); err != nil {
		return 0, Meta{}, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	if visit.Valid {
		if m.Visit, err = visitOf(visit.String); err != nil {
			return 0, Meta{}, err
		}
	}
	m.Sensors = strings.Fields(sensors)
	// Words of this program's, but whoever wrote the file may have put anything there.
	for _, word := range []*string{&m.ID, &m.Watching, &m.By, &m.Origin, &m.Conclusion, &m.Version, &m.Adapter, &m.Before, &m.After} {
		*word = visible(*word)
	}
	for i, name := range m.Sensors {
		m.Sensors[i] = visible(name)
	}
	return n, m, nil
}

// visible takes out of a text what a terminal would obey; the ends of an adapter's lines stay,
// and what joins letters and pictures.
func visible(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Cc, unicode.Cf) && !strings.ContainsRune("\n\t\u200c\u200d", r) {
			return -1
		}
		return r
	}, text)
}

// fields lists what a person or the session itself may set, in the order of metaSet.
func (m Meta) fields() []any {
	var visit any
	if m.Visit != nil {
		visit = m.Visit.Name
	}
	return []any{m.Started.Format(time.RFC3339Nano), m.Origin, m.Version, m.Adapter, m.Format.Bus.String(), m.Format.Headers, m.Format.Padded, m.Format.Dialect.String(),
		strings.Join(m.Sensors, " "), m.Watching, m.By, m.Label, m.Vehicle, m.Note, m.VIN, m.Conclusion, visit}
}

const (
	metaInsert = `insert into session (id, started, origin, version, adapter, bus, headers, padded, dialect, sensors, watching, forced_by,
		label, vehicle, note, vin, conclusion, visit) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, (select n from visit where name = ?))`
	metaUpdate = `update session set started = ?, origin = ?, version = ?, adapter = ?, bus = ?, headers = ?, padded = ?, dialect = ?, sensors = ?,
		watching = ?, forced_by = ?, label = ?, vehicle = ?, note = ?, vin = ?, conclusion = ?, visit = (select n from visit where name = ?) where n = ?`
)

// idAlphabet has no vowels, so that no words arise, and none of a pair that is
// easily mistaken for each other.
const idAlphabet = "34678bcdfghjkmnpqrtvwx"

func newID() string {
	id := make([]byte, 0, 6)
	var b [1]byte
	for len(id) < cap(id) {
		rand.Read(b[:]) // never fails
		if k := int(b[0]); k < 256/len(idAlphabet)*len(idAlphabet) {
			id = append(id, idAlphabet[k%len(idAlphabet)])
		}
	}
	return string(id)
}

// isID reports whether s has the form of an id.
func isID(s string) bool { return len(s) == 6 && strings.Trim(s, idAlphabet) == "" }

// insertSession makes a session, with the id that it has if that is free, otherwise
// with a new one.
func (s *Store) insertSession(ctx context.Context, m *Meta, id func() string) (n int64, err error) {
	if m.Visit, err = s.meet(ctx, m.Visit); err != nil {
		return 0, err
	}
	for i := range 100 {
		if i > 0 || !isID(m.ID) {
			m.ID = id()
		}
		res, err := s.w.ExecContext(ctx, metaInsert, append([]any{m.ID}, m.fields()...)...)
		if err == nil {
			return res.LastInsertId()
		}
		var e sqlite3.Error
		if !errors.As(err, &e) || e.ExtendedCode != sqlite3.ErrConstraintUnique {
			return 0, err
		}
	}
	return 0, errors.New("no free id")
}

// Find returns the session that ref means: its id, a beginning of it that no
// other session shares, or "last" for the one made last. Errors: ErrNoSession,
// and ErrAmbiguous as an [*AmbiguousError].
func (s *Store) Find(ctx context.Context, ref string) (Meta, error) {
	_, m, err := s.find(ctx, ref)
	return m, err
}

func (s *Store) find(ctx context.Context, ref string) (int64, Meta, error) {
	what := fmt.Sprintf("find session %q", ref)
	key := strings.ToLower(strings.TrimSpace(ref))
	if key == "last" {
		n, m, err := scanMeta(s.r.QueryRowContext(ctx, `select `+s.metaColumns()+` from session order by n desc limit 1`))
		if errors.Is(err, sql.ErrNoRows) {
			err = ErrNoSession
		}
		return n, m, wrap(what, err)
	}
	if strings.Trim(key, idAlphabet) != "" || key == "" {
		return 0, Meta{}, wrap(what, ErrNoSession)
	}
	// The letter z comes after every letter of an id.
	rows, err := s.r.QueryContext(ctx, `select `+s.metaColumns()+` from session where id >= ? and id < ? order by n desc limit 10`, key, key+"z")
	if err != nil {
		return 0, Meta{}, wrap(what, err)
	}
	defer rows.Close()
	var found Meta
	var at int64
	var ids []string
	for rows.Next() {
		n, m, err := scanMeta(rows)
		if err != nil {
			return 0, Meta{}, wrap(what, err)
		}
		at, found = n, m
		ids = append(ids, m.ID)
	}
	if err := rows.Err(); err != nil {
		return 0, Meta{}, wrap(what, err)
	}
	switch len(ids) {
	case 0:
		return 0, Meta{}, wrap(what, ErrNoSession)
	case 1:
		return at, found, nil
	}
	return 0, Meta{}, &AmbiguousError{Ref: ref, IDs: ids}
}

// List returns the sessions that f chooses, the one made last first.
func (s *Store) List(ctx context.Context, f Filter) ([]Meta, error) {
	where, args := []string{"true"}, []any{}
	add := func(cond string, v ...any) {
		where = append(where, cond)
		args = append(args, v...)
	}
	for _, c := range []struct{ in, text string }{
		{"id || char(10) || label || char(10) || vehicle || char(10) || note", f.Text},
		{"label", f.Label}, {"vehicle", f.Vehicle},
	} {
		if c.text != "" {
			add("("+c.in+`) like ? escape '\'`, likeText(c.text))
		}
	}
	if f.Origin != "" {
		add("origin = ?", f.Origin)
	}
	if f.Visit != "" {
		v, err := s.Visit(ctx, f.Visit)
		if err != nil {
			return nil, err
		}
		add("visit = (select n from visit where name = ?)", v.Name)
	}
	if f.Conclusion != "" {
		add("conclusion = ?", f.Conclusion)
	}
	if !f.Since.IsZero() {
		add("unixepoch(started, 'subsec') >= ?", float64(f.Since.UnixMilli())/1000)
	}
	if !f.Before.IsZero() {
		add("unixepoch(started, 'subsec') < ?", float64(f.Before.UnixMilli())/1000)
	}
	q := `select ` + s.metaColumns() + ` from session where ` + strings.Join(where, " and ") + ` order by n desc`
	if f.Limit > 0 {
		q += fmt.Sprintf(" limit %d", f.Limit)
	}
	rows, err := s.r.QueryContext(ctx, q, args...)
	if err != nil {
		return nil, wrap("list sessions", err)
	}
	defer rows.Close()
	var list []Meta
	last := int64(math.MaxInt64)
	for rows.Next() {
		n, m, err := scanMeta(rows)
		if err == nil && n >= last { // a tree that leads to a page twice has no end
			err = fmt.Errorf("%w: sessions are out of order", ErrDamaged)
		}
		if err != nil {
			return nil, wrap("list sessions", err)
		}
		last = n
		list = append(list, m)
	}
	return list, wrap("list sessions", rows.Err())
}

// Pair notes that two sessions are of the same car before and after a repair. A
// session has at most one before it: the pair it was in as the later one is forgotten.
func (s *Store) Pair(ctx context.Context, before, after string) error {
	b, first, err := s.find(ctx, before)
	if err != nil {
		return err
	}
	a, second, err := s.find(ctx, after)
	if err != nil {
		return err
	}
	if a == b {
		return fmt.Errorf("pair session %s with itself", first.ID)
	}
	_, err = s.w.ExecContext(ctx, `insert or replace into pair (after_n, before_n) values (?, ?)`, a, b)
	return wrap(fmt.Sprintf("pair sessions %s and %s", first.ID, second.ID), err)
}

// Unpair forgets the pairs that the session is in.
func (s *Store) Unpair(ctx context.Context, ref string) error {
	n, m, err := s.find(ctx, ref)
	if err != nil {
		return err
	}
	_, err = s.w.ExecContext(ctx, `delete from pair where after_n = ? or before_n = ?`, n, n)
	return wrap("unpair session "+m.ID, err)
}

// Edit changes the description of the session that ref means, by the rules of
// [Store.Find]. What f does to ID, Duration, Finished, Before and After has no effect.
func (s *Store) Edit(ctx context.Context, ref string, f func(*Meta)) error {
	n, _, err := s.find(ctx, ref)
	if err != nil {
		return err
	}
	return wrap(fmt.Sprintf("edit session %q", ref), s.edit(ctx, n, f))
}

func (s *Store) edit(ctx context.Context, n int64, f func(*Meta)) error {
	tx, err := s.w.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	_, m, err := scanMeta(tx.QueryRowContext(ctx, `select `+s.metaColumns()+` from session where n = ?`, n))
	if errors.Is(err, sql.ErrNoRows) {
		return ErrNoSession
	} else if err != nil {
		return err
	}
	f(&m)
	if m.Visit != nil {
		if _, _, err := findVisit(ctx, tx, m.Visit.Name); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, metaUpdate, append(m.fields(), n)...); err != nil {
		return err
	}
	return tx.Commit()
}

// Remove removes the session that ref means and all that belongs to it.
func (s *Store) Remove(ctx context.Context, ref string) error {
	n, _, err := s.find(ctx, ref)
	if err != nil {
		return err
	}
	_, err = s.w.ExecContext(ctx, `delete from session where n = ?`, n) // the trigger removes the rest
	return wrap(fmt.Sprintf("remove session %q", ref), err)
}
