package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"strings"
)

// object is a line of a database's own list of what it holds.
type object struct{ kind, name, sql string }

// checkSchema sees to it that a file of schema version v holds the tables, views and
// triggers that this program made, word for word: whatever SQLite would run by
// itself, when a row is written or a view is read, is then ours. A person may have
// added tables and views; nothing here touches them. Triggers run by themselves and
// are refused. With strict, for the file of a stranger, so is everything else.
func checkSchema(ctx context.Context, q querier, v int, strict bool) error {
	missing, err := ourObjects(ctx, v)
	if err != nil {
		return err
	}
	missing = maps.Clone(missing)
	there, err := objects(ctx, q)
	if err != nil {
		return err
	}
	for key, o := range there {
		switch ours, ok := missing[key]; {
		case ok && ours.sql != o.sql:
			return fmt.Errorf("%w: its %s %s is not as pushback makes it", ErrNotOurs, o.kind, o.name)
		case !ok && (strict || o.kind == "trigger"):
			return fmt.Errorf("%w: it has a %s %.60q that is not pushback's", ErrNotOurs, o.kind, o.name)
		}
		delete(missing, key)
	}
	for _, o := range missing {
		return fmt.Errorf("%w: it has no %s %s", ErrNotOurs, o.kind, o.name)
	}
	return nil
}

type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

func objects(ctx context.Context, q querier) (map[string]object, error) {
	rows, err := q.QueryContext(ctx, `select type, name, coalesce(sql, '') from sqlite_schema`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := make(map[string]object)
	for rows.Next() {
		var o object
		if err := rows.Scan(&o.kind, &o.name, &o.sql); err != nil {
			return nil, err
		}
		if !ofSQLite(o) {
			all[o.kind+" "+strings.ToLower(o.name)] = o
		}
		if len(all) > 1000 {
			return nil, fmt.Errorf("%w: it has too many tables", ErrNotOurs)
		}
	}
	return all, rows.Err()
}

// ofSQLite reports what SQLite makes by itself: indexes of unique columns, the count of
// autoincrement, statistics of `analyze`. Its shell lets nobody else make such a name, but who
// writes the file by other means may give one to a view or trigger; those are looked at.
func ofSQLite(o object) bool {
	switch o.kind {
	case "index":
		return strings.HasPrefix(o.name, "sqlite_autoindex_") && o.sql == ""
	case "table":
		return (o.name == "sqlite_sequence" || strings.HasPrefix(o.name, "sqlite_stat")) && strings.HasPrefix(o.sql, "CREATE TABLE "+o.name+"(")
	}
	return false
}

// ourObjects is what the migrations up to version v make.
func ourObjects(ctx context.Context, v int) (map[string]object, error) {
	db, err := sql.Open("sqlite3", ":memory:")
	if err != nil {
		return nil, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	for _, m := range migrations[:v] {
		if _, err := db.ExecContext(ctx, m); err != nil {
			return nil, err
		}
	}
	return objects(ctx, db)
}
