package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/mattn/go-sqlite3"

	"pushback/obd"
)

// Reader yields the records of a stored session in order of Seq; it holds at most
// readAhead of them. Not for concurrent use.
type Reader struct {
	meta   Meta
	conn   *sql.Conn
	rows   driver.Rows // of conn, used only within its Raw
	values []driver.Value
	last   int64        // seq of the record before
	ahead  []obd.Record // read, not yet given; next is ahead[given]
	given  int
	err    error // sticky; given after what is ahead

	// Of the rows before: most say the same again.
	request  string
	parsed   obd.Request
	names    string
	nameList []string
	replies  map[string][]obd.Reply // by request and raw text
	key      []byte

	// Memory that the next records are cut from: a piece for each would cost more time than
	// to read them.
	exchanges []obd.Exchange
	lists     []obd.Reply
	bytes     []byte
}

const (
	readAhead   = 64
	mostReplies = 4096 // that are remembered, of raw texts up to longestRaw bytes
	longestRaw  = 128
)

// recordQuery leaves out what nearly all records say: an exchange, whose time is when its
// reply came, and that it went well. What is not fetched costs no time.
const recordQuery = `select seq, at_us, nullif(kind, 'exchange'), request, expect, sent_us, nullif(received_us, at_us), nullif(coalesce(outcome, '?'), 'ok'), raw,
	coalesce(mark, names), coalesce(text, vals) from record where session = ? order by seq`

// Records reads the session that ref means, by the rules of [Store.Find]. The
// reader sees the session as it is now, also while it is being written.
func (s *Store) Records(ctx context.Context, ref string) (*Reader, error) {
	n, m, err := s.find(ctx, ref)
	if err != nil {
		return nil, err
	}
	r := &Reader{meta: m}
	if r.conn, err = s.r.Conn(ctx); err != nil {
		return nil, wrap("read session "+m.ID, err)
	}
	// The driver itself, since database/sql converts each value once more. Its
	// statement does not end with ctx: Next minds the context that it is given.
	err = r.conn.Raw(func(c any) (err error) {
		r.rows, err = c.(*sqlite3.SQLiteConn).Query(recordQuery, []driver.Value{n})
		return err
	})
	if err != nil {
		r.conn.Close()
		return nil, wrap("read session "+m.ID, err)
	}
	r.last = -1
	r.replies = make(map[string][]obd.Reply)
	r.values = make([]driver.Value, len(r.rows.Columns()))
	return r, nil
}

// Meta describes the session.
func (r *Reader) Meta() Meta { return r.meta }

// Next returns the next record, io.EOF after the last. The replies are found
// again in the raw text; the outcome is the one that was recorded. The record
// belongs to the caller.
func (r *Reader) Next(ctx context.Context) (obd.Record, error) {
	if err := ctx.Err(); err != nil {
		return obd.Record{}, err
	}
	if r.given == len(r.ahead) {
		if r.err == nil {
			r.err = r.fill()
		}
		if r.given == len(r.ahead) {
			return obd.Record{}, r.err
		}
	}
	rec := r.ahead[r.given]
	r.ahead[r.given] = obd.Record{}
	r.given++
	return rec, nil
}

// fill reads ahead. An error may come with records that stand before it.
func (r *Reader) fill() error {
	r.ahead, r.given = r.ahead[:0], 0
	err := r.conn.Raw(func(any) error {
		for len(r.ahead) < readAhead {
			if err := r.rows.Next(r.values); err != nil {
				return err
			}
			rec, err := r.record()
			if err == nil && rec.Seq <= r.last { // a tree that leads to a page twice has no end
				err = fmt.Errorf("it follows record %d", r.last)
			}
			if err != nil {
				return fmt.Errorf("record %d: %w: %w", rec.Seq, ErrDamaged, err)
			}
			r.last = rec.Seq
			r.ahead = append(r.ahead, rec)
		}
		return nil
	})
	if err == io.EOF {
		return err
	}
	return wrap("read session "+r.meta.ID, err)
}

// record makes a record of r.values.
func (r *Reader) record() (obd.Record, error) {
	rec := obd.Record{Seq: r.int(0), At: r.time(1)}
	var err error
	switch kind := r.text(2); kind {
	case "":
		rec.Exchange, err = r.exchange(rec.At)
	case "mark":
		rec.Mark = &obd.Mark{Kind: obd.MarkKind(r.text(9)), Text: r.text(10)}
	case "row":
		rec.Row, err = r.row(r.text(9), r.text(10))
	default:
		err = fmt.Errorf("kind %q", kind)
	}
	return rec, err
}

func (r *Reader) exchange(at time.Duration) (*obd.Exchange, error) {
	if len(r.exchanges) == 0 {
		r.exchanges = make([]obd.Exchange, readAhead)
	}
	x := &r.exchanges[0]
	r.exchanges = r.exchanges[1:]
	x.Sent, x.Received = r.time(5), at
	if r.values[6] != nil {
		x.Received = r.time(6)
	}
	x.Raw, _ = r.values[8].([]byte)
	var err error
	if q := r.text(3); q != r.request || q == "" {
		if r.parsed, err = obd.ParseRequest(q); err != nil {
			return nil, err
		}
		r.request = q
	}
	x.Request = obd.Request{Service: r.parsed.Service, Data: r.copied(r.parsed.Data), Expect: int(r.int(4))}
	if o := r.text(7); o != "" {
		if x.Outcome, err = ParseOutcome(o); err != nil {
			return nil, err
		}
	}
	x.Replies = r.found(x)
	return x, nil
}

// found is Replies, which says the same of the same text: a session says a lot again.
func (r *Reader) found(x *obd.Exchange) []obd.Reply {
	if x.Outcome != obd.OK || len(x.Raw) > longestRaw {
		return Replies(x, r.meta.Format)
	}
	r.key = append(append(append(r.key[:0], r.request...), ' '), x.Raw...)
	known, ok := r.replies[string(r.key)]
	if !ok {
		if len(r.replies) == mostReplies {
			clear(r.replies)
		}
		known = Replies(x, r.meta.Format)
		r.replies[string(r.key)] = known
	}
	if known == nil {
		return nil
	}
	if len(known) > len(r.lists) {
		r.lists = make([]obd.Reply, max(readAhead, len(known)))
	}
	own := r.lists[:len(known):len(known)]
	r.lists = r.lists[len(known):]
	for i, k := range known { // the record is the caller's
		own[i] = obd.Reply{From: k.From, Data: r.copied(k.Data)}
	}
	return own
}

// copied is a copy of b; nil stays nil.
func (r *Reader) copied(b []byte) []byte {
	if b == nil {
		return nil
	}
	if len(b) > len(r.bytes) {
		r.bytes = make([]byte, max(4096, len(b)))
	}
	n := copy(r.bytes, b)
	out := r.bytes[:n:n]
	r.bytes = r.bytes[n:]
	return out
}

// A null reads as zero.
func (r *Reader) int(i int) int64          { v, _ := r.values[i].(int64); return v }
func (r *Reader) text(i int) string        { v, _ := r.values[i].(string); return v }
func (r *Reader) time(i int) time.Duration { return time.Duration(r.int(i)) * time.Microsecond }

func (r *Reader) row(names, vals string) (*obd.Row, error) {
	if names != r.names {
		r.names, r.nameList = names, strings.Fields(names)
	}
	row := &obd.Row{}
	if len(r.nameList) == 0 {
		return row, nil
	}
	row.Names = append(make([]string, 0, len(r.nameList)), r.nameList...)
	row.Values = make([]float64, 0, len(r.nameList))
	for f := range strings.FieldsSeq(vals) {
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
	if r.rows == nil {
		return nil
	}
	err := r.conn.Raw(func(any) error { return r.rows.Close() })
	r.rows, r.ahead, r.given, r.err = nil, nil, 0, ErrClosed
	return errors.Join(err, r.conn.Close())
}

// outcomes maps the stored words back; the words are those of obd.Outcome.String.
var outcomes = func() map[string]obd.Outcome {
	m := make(map[string]obd.Outcome)
	for o := obd.OK; o.String() != "unknown"; o++ {
		m[o.String()] = o
	}
	return m
}()

// ParseOutcome is the inverse of [obd.Outcome.String].
func ParseOutcome(s string) (obd.Outcome, error) {
	o, ok := outcomes[s]
	if !ok {
		return 0, fmt.Errorf("outcome %q", s)
	}
	return o, nil
}

// Replies finds in the raw text of a recorded exchange what the vehicle answered, by
// the same function as live. Only these outcomes come with replies; the raw text of
// others is not whole or not to be believed.
func Replies(x *obd.Exchange, f obd.Format) []obd.Reply {
	if x.Outcome != obd.OK && x.Outcome != obd.Refused {
		return nil
	}
	found, _ := obd.Parse(x.Raw, f, x.Request)
	return found
}
