package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"pushback/analysis"
)

// Judgement is what the watcher said of a session, as it was printed.
type Judgement struct {
	Events     []json.RawMessage // one JSON object each
	Verdict    json.RawMessage
	Conclusion string // of the verdict
}

// Events returns the events of a session as they were printed, one JSON object each.
func (s *Store) Events(ctx context.Context, ref string) ([]json.RawMessage, error) {
	j, err := s.Judgement(ctx, ref)
	return j.Events, err
}

// Verdict returns the verdict of a session as it was printed, nil if it has none.
func (s *Store) Verdict(ctx context.Context, ref string) (json.RawMessage, error) {
	j, err := s.Judgement(ctx, ref)
	return j.Verdict, err
}

// Judgement returns the stored judgement of a session; it is empty where there is none.
func (s *Store) Judgement(ctx context.Context, ref string) (Judgement, error) {
	n, m, err := s.find(ctx, ref)
	if err != nil {
		return Judgement{}, err
	}
	what := fmt.Sprintf("read the judgement of session %q", ref)
	rows, err := s.r.QueryContext(ctx, `select line, kind, json from judgement where session = ? order by line`, n)
	if err != nil {
		return Judgement{}, wrap(what, err)
	}
	defer rows.Close()
	j := Judgement{Conclusion: m.Conclusion}
	for last := -1; rows.Next(); {
		var line int
		var kind string
		var text []byte
		if err := rows.Scan(&line, &kind, &text); err != nil {
			return Judgement{}, wrap(what, err)
		}
		if line <= last {
			return Judgement{}, wrap(what, fmt.Errorf("%w: line %d follows line %d", ErrDamaged, line, last))
		}
		last = line
		if !json.Valid(text) { // in JSON every control character of a text is written out
			return Judgement{}, wrap(what, fmt.Errorf("%w: line %d is no JSON", ErrDamaged, line))
		}
		if kind == "verdict" {
			j.Verdict = text
		} else {
			j.Events = append(j.Events, text)
		}
	}
	return j, wrap(what, rows.Err())
}

// Judge keeps a judgement of a session in place of the one that it has, if any, and
// ends it: so a session whose program died gets its verdict. A session that is still
// being recorded will be judged again at its end.
func (s *Store) Judge(ctx context.Context, ref string, at time.Duration, v analysis.Verdict, events []analysis.Event) error {
	n, m, err := s.find(ctx, ref)
	if err != nil {
		return err
	}
	j, err := JudgementOf(v, events)
	if err != nil {
		return wrap("judge session "+m.ID, err)
	}
	return wrap("judge session "+m.ID, s.judge(ctx, n, at, j))
}

// JudgementOf is a judgement as it is kept and printed.
func JudgementOf(v analysis.Verdict, events []analysis.Event) (j Judgement, err error) {
	j.Conclusion = string(v.Conclusion)
	for _, e := range events {
		line, err := json.Marshal(e)
		if err != nil {
			return j, err
		}
		j.Events = append(j.Events, line)
	}
	j.Verdict, err = json.Marshal(v)
	return j, err
}

func (s *Store) judge(ctx context.Context, n int64, at time.Duration, j Judgement) error {
	tx, err := s.w.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if _, err := tx.ExecContext(ctx, `delete from judgement where session = ?`, n); err != nil {
		return err
	}
	line := func(i int, kind string, text json.RawMessage) error {
		_, err := tx.ExecContext(ctx, `insert into judgement (session, line, kind, json) values (?, ?, ?, ?)`, n, i, kind, string(text))
		return err
	}
	for i, e := range j.Events {
		if err := line(i, "event", e); err != nil {
			return err
		}
	}
	if err := line(len(j.Events), "verdict", j.Verdict); err != nil {
		return err
	}
	res, err := tx.ExecContext(ctx, `update session set duration_us = ?, conclusion = ? where n = ?`, at.Microseconds(), j.Conclusion, n)
	if err != nil {
		return err
	}
	if k, err := res.RowsAffected(); err != nil || k == 0 {
		return errors.Join(ErrNoSession, err)
	}
	return tx.Commit()
}
