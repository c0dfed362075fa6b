package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"pushback/obd"
)

// Reader yields the records of a stored session in order of Seq, one at a time.
// Not for concurrent use.
type Reader struct {
	meta Meta
	rows *sql.Rows
	err  error // sticky

	// The signals of the last row: most rows of a session name the same.
	names    string
	nameList []string
}

// Records reads the session that ref means, by the rules of [Store.Find]. The
// reader sees the session as it is now, also while it is being written.
func (s *Store) Records(ctx context.Context, ref string) (*Reader, error) {
	n, m, err := s.find(ctx, ref)
	if err != nil {
		return nil, err
	}
	// With a context that can end, the driver starts a goroutine a row; Next looks itself.
	rows, err := s.r.QueryContext(context.WithoutCancel(ctx), `select seq, at_us, kind, request, expect, sent_us, received_us, outcome, raw, mark, text, names, vals
		from record where session = ? order by seq`, n)
	if err != nil {
		return nil, wrap("read session "+m.ID, err)
	}
	return &Reader{meta: m, rows: rows}, nil
}

// Meta describes the session.
func (r *Reader) Meta() Meta { return r.meta }

// Next returns the next record, io.EOF after the last. The replies are found
// again in the raw text; the outcome is the one that was recorded. The record
// belongs to the caller.
func (r *Reader) Next(ctx context.Context) (obd.Record, error) {
	if r.err == nil {
		if r.err = ctx.Err(); r.err != nil {
			return obd.Record{}, r.err
		}
		rec, err := r.next()
		if err == nil {
			return rec, nil
		}
		r.err = err
		if err != io.EOF {
			r.err = wrap("read session "+r.meta.ID, err)
		}
	}
	return obd.Record{}, r.err
}

func (r *Reader) next() (obd.Record, error) {
	if !r.rows.Next() {
		if err := r.rows.Err(); err != nil {
			return obd.Record{}, err
		}
		return obd.Record{}, io.EOF
	}
	var (
		rec                     obd.Record
		at                      int64
		expect, sent, received  sql.NullInt64
		kind                    string
		request, outcome, raw   sql.RawBytes
		mark, text, names, vals sql.RawBytes
	)
	if err := r.rows.Scan(&rec.Seq, &at, &kind, &request, &expect, &sent, &received, &outcome, &raw, &mark, &text, &names, &vals); err != nil {
		return obd.Record{}, err
	}
	rec.At = micro(at)
	damaged := func(err error) (obd.Record, error) {
		return obd.Record{}, fmt.Errorf("record %d: %w: %w", rec.Seq, ErrDamaged, err)
	}
	switch kind {
	case "exchange":
		x := &obd.Exchange{Sent: micro(sent.Int64), Received: micro(received.Int64), Raw: append([]byte{}, raw...)}
		var err error
		if x.Request, err = obd.ParseRequest(string(request)); err != nil {
			return damaged(err)
		}
		x.Request.Expect = int(expect.Int64)
		if x.Outcome, err = parseOutcome(string(outcome)); err != nil {
			return damaged(err)
		}
		x.Replies = replies(x, r.meta.Format)
		rec.Exchange = x
	case "mark":
		rec.Mark = &obd.Mark{Kind: obd.MarkKind(mark), Text: string(text)}
	case "row":
		row, err := r.row(names, vals)
		if err != nil {
			return damaged(err)
		}
		rec.Row = row
	default:
		return damaged(fmt.Errorf("kind %q", kind))
	}
	return rec, nil
}

func (r *Reader) row(names, vals []byte) (*obd.Row, error) {
	if string(names) != r.names {
		r.names = string(names)
		r.nameList = strings.Fields(r.names)
	}
	row := &obd.Row{}
	if len(r.nameList) == 0 {
		return row, nil
	}
	row.Names = append(make([]string, 0, len(r.nameList)), r.nameList...)
	row.Values = make([]float64, 0, len(r.nameList))
	for f := range strings.FieldsSeq(string(vals)) {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			return nil, err
		}
		row.Values = append(row.Values, v)
	}
	if len(row.Values) != len(row.Names) {
		return nil, errors.New("names and values do not match")
	}
	return row, nil
}

// Close ends the reading; more than one call does no harm.
func (r *Reader) Close() error {
	if r.err == nil {
		r.err = ErrClosed
	}
	return r.rows.Close()
}

func micro(us int64) time.Duration { return time.Duration(us) * time.Microsecond }

// outcomes maps the stored words back; the words are those of obd.Outcome.String.
var outcomes = func() map[string]obd.Outcome {
	m := make(map[string]obd.Outcome)
	for o := obd.OK; o.String() != "unknown"; o++ {
		m[o.String()] = o
	}
	return m
}()

func parseOutcome(s string) (obd.Outcome, error) {
	o, ok := outcomes[s]
	if !ok {
		return 0, fmt.Errorf("outcome %q", s)
	}
	return o, nil
}

// replies finds what the vehicle answered, by the same function as live. Only these
// outcomes come with replies; the raw text of others is not whole or not to be believed.
func replies(x *obd.Exchange, f obd.Format) []obd.Reply {
	if x.Outcome != obd.OK && x.Outcome != obd.Refused {
		return nil
	}
	found, _ := obd.Parse(x.Raw, f, x.Request)
	return found
}
