package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/mattn/go-sqlite3"
)

// Visit is one car's stay in the shop, from the complaint to the car handed back. All texts
// are a person's.
type Visit struct {
	Name      string       `json:"name"`
	Vehicle   string       `json:"vehicle,omitempty"`
	Complaint string       `json:"complaint,omitempty"`
	Odometer  string       `json:"odometer,omitempty"`
	Order     string       `json:"order,omitempty"` // plate or order number
	Opened    time.Time    `json:"opened"`
	Closed    time.Time    `json:"closed,omitzero"` // zero: the car is still there
	Done      []VisitEntry `json:"done,omitempty"`  // in the order in which it was written down
}

// VisitEntry is what was done, and when.
type VisitEntry struct {
	At   time.Time `json:"at"`
	Text string    `json:"text"`
}

// VisitFilter chooses visits; the zero value chooses all.
type VisitFilter struct {
	Text  string // somewhere in name, vehicle, complaint or order; the case of A to Z does not matter
	Open  bool   // only those that are not closed
	Limit int    // 0: no limit
}

// ErrNoVisit and ErrVisitExists are what a name of a visit can be wrong by.
var (
	ErrNoVisit     = errors.New("no such visit")
	ErrVisitExists = errors.New("a visit of this name is there already")
)

// Limits of a visit, so that none is longer than a page.
const (
	visitName = 60
	visitDone = 1000 // entries
	visitText = 4000 // letters of any text
)

// Each changes every text that a person wrote.
func (v *Visit) Each(f func(string) string) {
	for _, text := range []*string{&v.Name, &v.Vehicle, &v.Complaint, &v.Odometer, &v.Order} {
		*text = f(*text)
	}
	for i := range v.Done {
		v.Done[i].Text = f(v.Done[i].Text)
	}
}

// Texts are those of what was done.
func (v *Visit) Texts() (out []string) {
	for _, e := range v.Done {
		out = append(out, e.Text)
	}
	return out
}

func (v *Visit) check() error {
	v.Name = strings.Join(strings.Fields(v.Name), " ")
	switch {
	case v.Name == "" || strings.EqualFold(v.Name, "last"):
		return fmt.Errorf("%q is no name of a visit", v.Name)
	case len(v.Name) > visitName:
		return fmt.Errorf("the name of a visit has at most %d letters", visitName)
	case v.Opened.IsZero():
		return errors.New("a visit begins at some time")
	case len(v.Done) > visitDone:
		return fmt.Errorf("a visit has at most %d entries", visitDone)
	}
	longest := 0
	v.Each(func(text string) string { longest = max(longest, len(text)); return text })
	if longest > visitText {
		return fmt.Errorf("a text of a visit has at most %d letters", visitText)
	}
	return nil
}

// visitJSON is a visit of table v as Visit is written in JSON.
const visitJSON = `json_object('name', v.name, 'vehicle', v.vehicle, 'complaint', v.complaint, 'odometer', v.odometer, 'order', v.order_no,
	'opened', v.opened, 'closed', v.closed,
	'done', json((select json_group_array(json_object('at', e.at, 'text', e.text) order by e.line) from visit_entry e where e.visit = v.n)))`

func visitOf(text string) (*Visit, error) {
	v := new(Visit)
	if err := json.Unmarshal([]byte(text), v); err != nil {
		return nil, fmt.Errorf("%w: a visit: %w", ErrDamaged, err)
	}
	v.Name = visible(v.Name)
	if len(v.Done) == 0 {
		v.Done = nil
	}
	return v, nil
}

// NewVisit opens a visit. Errors: ErrVisitExists.
func (s *Store) NewVisit(ctx context.Context, v Visit) error {
	what := fmt.Sprintf("open visit %q", v.Name)
	tx, err := s.w.BeginTx(ctx, nil)
	if err != nil {
		return wrap(what, err)
	}
	defer tx.Rollback()
	if err := insertVisit(ctx, tx, &v); err != nil {
		return wrap(what, err)
	}
	return wrap(what, tx.Commit())
}

func insertVisit(ctx context.Context, tx *sql.Tx, v *Visit) error {
	if err := v.check(); err != nil {
		return err
	}
	res, err := tx.ExecContext(ctx, `insert into visit (name, vehicle, complaint, odometer, order_no, opened, closed) values (?, ?, ?, ?, ?, ?, ?)`, v.fields()...)
	var e sqlite3.Error
	if errors.As(err, &e) && e.ExtendedCode == sqlite3.ErrConstraintUnique {
		return ErrVisitExists
	} else if err != nil {
		return err
	}
	n, err := res.LastInsertId()
	if err != nil {
		return err
	}
	return writeDone(ctx, tx, n, v.Done)
}

func (v *Visit) fields() []any {
	var closed any
	if !v.Closed.IsZero() {
		closed = v.Closed.Format(time.RFC3339Nano)
	}
	return []any{v.Name, v.Vehicle, v.Complaint, v.Odometer, v.Order, v.Opened.Format(time.RFC3339Nano), closed}
}

func writeDone(ctx context.Context, tx *sql.Tx, n int64, done []VisitEntry) error {
	if _, err := tx.ExecContext(ctx, `delete from visit_entry where visit = ?`, n); err != nil {
		return err
	}
	for i, e := range done {
		if _, err := tx.ExecContext(ctx, `insert into visit_entry (visit, line, at, text) values (?, ?, ?, ?)`, n, i, e.At.Format(time.RFC3339Nano), e.Text); err != nil {
			return err
		}
	}
	return nil
}

// Visit returns the visit of a name, or with "last" the one opened last. Errors: ErrNoVisit.
// Its sessions are those that [Store.List] finds with [Filter].Visit.
func (s *Store) Visit(ctx context.Context, name string) (Visit, error) {
	_, v, err := findVisit(ctx, s.r, name)
	return v, wrap(fmt.Sprintf("find visit %q", name), err)
}

// VisitSessions returns a visit with its sessions, in order of time. Errors: ErrNoVisit.
func (s *Store) VisitSessions(ctx context.Context, name string) (Visit, []Meta, error) {
	v, err := s.Visit(ctx, name)
	if err != nil {
		return v, nil, err
	}
	list, err := s.List(ctx, Filter{Visit: v.Name})
	slices.SortStableFunc(list, func(x, y Meta) int { return x.Started.Compare(y.Started) })
	return v, list, err
}

func findVisit(ctx context.Context, q interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
}, name string) (n int64, v Visit, err error) {
	where := `v.name = ?1`
	if strings.EqualFold(name, "last") {
		where = `?1 = ?1 order by v.n desc limit 1`
	}
	var text string
	err = q.QueryRowContext(ctx, `select v.n, `+visitJSON+` from visit v where `+where, strings.Join(strings.Fields(name), " ")).Scan(&n, &text)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, v, ErrNoVisit
	} else if err != nil {
		return 0, v, err
	}
	found, err := visitOf(text)
	if err != nil {
		return 0, v, err
	}
	return n, *found, nil
}

// Visits returns the visits that f chooses, the one made last first.
func (s *Store) Visits(ctx context.Context, f VisitFilter) ([]Visit, error) {
	limit := -1
	if f.Limit > 0 {
		limit = f.Limit
	}
	rows, err := s.r.QueryContext(ctx, `select `+visitJSON+` from visit v
		where (?1 = '' or v.name || char(10) || v.vehicle || char(10) || v.complaint || char(10) || v.order_no like ?1 escape '\') and (not ?2 or v.closed is null)
		order by v.n desc limit ?3`, likeText(f.Text), f.Open, limit)
	if err != nil {
		return nil, wrap("list visits", err)
	}
	defer rows.Close()
	var list []Visit
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, wrap("list visits", err)
		}
		v, err := visitOf(text)
		if err != nil {
			return nil, wrap("list visits", err)
		}
		list = append(list, *v)
	}
	return list, wrap("list visits", rows.Err())
}

// VisitsBeside returns the visits to which none of these sessions belongs, the one made last first. A file of a schema that
// had no visits has none.
func (s *Store) VisitsBeside(ctx context.Context, sessions []Meta) ([]Visit, error) {
	if s.older < 4 && s.older > 0 {
		return nil, nil
	}
	taken := make(map[string]bool)
	for _, m := range sessions {
		if m.Visit != nil {
			taken[m.Visit.Name] = true
		}
	}
	list, err := s.Visits(ctx, VisitFilter{})
	return slices.DeleteFunc(list, func(v Visit) bool { return taken[v.Name] }), err
}

// TakeVisit takes in a visit as a session brings it, and returns it as it is here then: where it is here already, what was
// done in it is added; where another one has its name, it gets another. One without a time is meant by its name. Errors:
// ErrNoVisit.
func (s *Store) TakeVisit(ctx context.Context, v Visit) (Visit, error) {
	there, err := s.meet(ctx, &v)
	if err != nil {
		return v, wrap(fmt.Sprintf("take in visit %q", v.Name), err)
	}
	return *there, nil
}

// likeText is what `like` takes for a text that is somewhere; empty for none.
func likeText(text string) string {
	if text == "" {
		return ""
	}
	return "%" + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(text) + "%"
}

// EditVisit changes what is kept of a visit: its texts, what was done, when it was closed, and
// its name. Errors: ErrNoVisit, ErrVisitExists.
func (s *Store) EditVisit(ctx context.Context, name string, f func(*Visit)) error {
	return wrap(fmt.Sprintf("edit visit %q", name), s.editVisit(ctx, name, f))
}

func (s *Store) editVisit(ctx context.Context, name string, f func(*Visit)) error {
	tx, err := s.w.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	n, v, err := findVisit(ctx, tx, name)
	if err != nil {
		return err
	}
	f(&v)
	if err := v.check(); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `update visit set name = ?, vehicle = ?, complaint = ?, odometer = ?, order_no = ?, opened = ?, closed = ? where n = ?`,
		append(v.fields(), n)...)
	var e sqlite3.Error
	if errors.As(err, &e) && e.ExtendedCode == sqlite3.ErrConstraintUnique {
		return ErrVisitExists
	} else if err != nil {
		return err
	}
	if err := writeDone(ctx, tx, n, v.Done); err != nil {
		return err
	}
	return tx.Commit()
}

// meet finds the visit that a session is to belong to. One that has a time is of another
// database, or was read here: it is taken in where it is not there, and what was done in it is
// added where it is. Another visit of the same name leaves the name to the one that has it. One
// that has no time is meant by its name. Errors: ErrNoVisit.
func (s *Store) meet(ctx context.Context, v *Visit) (*Visit, error) {
	if v == nil {
		return nil, nil
	}
	if v.Opened.IsZero() {
		_, there, err := findVisit(ctx, s.r, v.Name)
		return &there, err
	}
	tx, err := s.w.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	base := v.Name
	for i := 2; ; i++ {
		n, there, err := findVisit(ctx, tx, v.Name)
		switch {
		case errors.Is(err, ErrNoVisit):
			if err := insertVisit(ctx, tx, v); err != nil {
				return nil, err
			}
			return v, tx.Commit()
		case err != nil:
			return nil, err
		case there.Opened.Equal(v.Opened):
			if there.merge(v) {
				if err := there.check(); err != nil {
					return nil, err
				}
				_, err = tx.ExecContext(ctx, `update visit set closed = ?7 where n = ?8`, append(there.fields(), n)...)
				if err == nil {
					err = writeDone(ctx, tx, n, there.Done)
				}
			}
			if err != nil {
				return nil, err
			}
			return &there, tx.Commit()
		}
		v.Name = fmt.Sprintf("%s (%d)", base, i)
	}
}

// merge adds what was done by another copy of a visit, and its end; it reports whether there
// was any.
func (v *Visit) merge(other *Visit) (changed bool) {
	known := make(map[string]bool)
	key := func(e VisitEntry) string { return e.At.UTC().Format(time.RFC3339Nano) + e.Text }
	for _, e := range v.Done {
		known[key(e)] = true
	}
	for _, e := range other.Done {
		if !known[key(e)] && len(v.Done) < visitDone {
			v.Done = append(v.Done, e)
			changed = true
		}
	}
	if v.Closed.IsZero() && !other.Closed.IsZero() {
		v.Closed, changed = other.Closed, true
	}
	return changed
}
