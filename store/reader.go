package store

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"pushback/obd"
)

// Reader yields the records of a stored session in order of Seq. SQLite reads ahead in a
// goroutine of its own; a reader holds three packs at the most: one is given, one waits, one
// is being read. Not for concurrent use.
type Reader struct {
	meta  Meta
	n     int64   // of the session
	tx    *sql.Tx // what stood in the database when reading began
	pack  *sql.Stmt
	packs chan pack
	stop  func()       // ends the reading ahead
	least int64        // seq that the next record may have
	end   bool         // there can be none
	ahead []obd.Record // unpacked, not yet given; the next one is ahead[given]
	given int
	err   error // sticky; given after what is ahead

	// Of the rows before: most say the same again.
	request  string
	parsed   obd.Request
	names    string
	nameList []string
	replies  map[string][]obd.Reply // by request and raw text

	// Memory that the next records are cut from: a piece for each would cost more time than
	// to read them.
	exchanges []obd.Exchange
	bytes     []byte
}

// pack is what SQLite hands over at a time: some records as lines.
type pack struct {
	count int
	lines string
	next  int64 // seq from which to read on
	last  bool  // nothing comes after it
	err   error
}

const (
	// packed is how many records a pack holds at the most. The longest raw texts that are
	// recorded, 64 KiB, in hexadecimal, must stay below [longest] together.
	packed      = 256
	mostReplies = 4096 // that are remembered, of raw texts up to longestRaw bytes
	longestRaw  = 128
)

// packQuery packs some records after a seq into one text, since to hand over rows one by one
// takes longer than to read them. The line of an exchange that went well, as nearly all did:
//
//	seq sent_us at_us-sent_us expect length(raw) request raw
//
// That of any other record, with texts in hexadecimal and null as 0 or nothing:
//
//	! seq at_us sent_us received_us expect kind request outcome raw mark|names text|vals
//
// SQLite reads them in order of their key; where it did not, the order of seq would show it. In a
// database of UTF-16, which is none of ours, the lengths do not fit, and it reads as damaged.
const packQuery = `select count(*), group_concat(iif(kind = 'exchange' and outcome = 'ok' and received_us = at_us and sent_us is not null
			and request is not null and raw is not null,
		format('%d %d %d %d %d ', seq, sent_us, at_us - sent_us, expect, length(raw)) || request || ' ' || raw,
		format('! %d %d %d %d %d %s %s %s %s %s %s ', seq, at_us, sent_us, received_us, expect, hex(kind), hex(request), hex(outcome),
			hex(raw), hex(coalesce(mark, names)), hex(coalesce(text, vals)))), char(10))
	from record where session = ?1 and seq between ?2 and ?2 + ?3 - 1`

// Records reads the session that ref means, by the rules of [Store.Find]. The
// reader sees the session as it is now, also while it is being written.
func (s *Store) Records(ctx context.Context, ref string) (*Reader, error) {
	n, m, err := s.find(ctx, ref)
	if err != nil {
		return nil, err
	}
	r := &Reader{meta: m, n: n, packs: make(chan pack, 1), replies: make(map[string][]obd.Reply)}
	// They do not end with ctx: Next minds the context that it is given.
	lasting := context.WithoutCancel(ctx)
	if r.tx, err = s.r.BeginTx(lasting, nil); err != nil {
		return nil, wrap("read session "+m.ID, err)
	}
	if r.pack, err = r.tx.PrepareContext(lasting, packQuery); err != nil {
		return nil, wrap("read session "+m.ID, errors.Join(err, r.tx.Rollback()))
	}
	queries, cancel := context.WithCancel(lasting)
	first := r.packFrom(queries, math.MinInt64) // what stands there is what this finds
	stopped := make(chan struct{})
	r.stop = func() { cancel(); <-stopped }
	go func() {
		defer close(stopped)
		for p := first; !p.last; {
			p = r.packFrom(queries, p.next)
			select {
			case r.packs <- p:
			case <-queries.Done():
				return
			}
		}
	}()
	r.unpack(first)
	return r, nil
}

// Meta describes the session.
func (r *Reader) Meta() Meta { return r.meta }

// Next returns the next record, io.EOF after the last. The replies are found
// again in the raw text; the outcome is the one that was recorded. A record may be kept but
// not changed: what records say alike is the same memory.
func (r *Reader) Next(ctx context.Context) (obd.Record, error) {
	if err := ctx.Err(); err != nil {
		return obd.Record{}, err
	}
	for r.given == len(r.ahead) {
		if r.err != nil {
			return obd.Record{}, r.err
		}
		select {
		case p := <-r.packs:
			r.unpack(p)
		case <-ctx.Done(): // nothing is lost by that: another may go on
			return obd.Record{}, ctx.Err()
		}
	}
	rec := r.ahead[r.given]
	r.ahead[r.given] = obd.Record{}
	r.given++
	return rec, nil
}

// unpack makes records of a pack. An error stands after the records before it, and a pack
// that is the last has one: io.EOF.
func (r *Reader) unpack(p pack) {
	r.ahead, r.given = r.ahead[:0], 0
	u := unpacker{rest: p.lines}
	for range p.count {
		rec, err := r.record(&u)
		if err == nil && (rec.Seq < r.least || r.end) { // a tree that leads to a page twice has no end
			err = errors.New("it stands in the wrong place")
		}
		if err != nil {
			r.err = fmt.Errorf("read session %s: record %d: %w: %w", r.meta.ID, rec.Seq, ErrDamaged, err)
			return
		}
		r.least, r.end = rec.Seq+1, rec.Seq == math.MaxInt64
		r.ahead = append(r.ahead, rec)
	}
	switch {
	case p.err != nil:
		r.err = wrap("read session "+r.meta.ID, p.err)
	case u.rest != "":
		r.err = fmt.Errorf("read session %s: %w: its records are not what they seem", r.meta.ID, ErrDamaged)
	case p.last:
		r.err = io.EOF
	}
}

// packFrom is the next pack, whose records have a seq of from and more.
func (r *Reader) packFrom(ctx context.Context, from int64) (p pack) {
	fail := func(err error) pack { return pack{last: true, err: err} }
	for found := false; ; found = true {
		if from >= 0 { // else it is not known where they begin
			var lines sql.NullString
			if err := r.pack.QueryRowContext(ctx, r.n, from, packed).Scan(&p.count, &lines); err != nil {
				return fail(err)
			}
			p.lines, p.next, p.last = lines.String, from+packed, from > math.MaxInt64-packed
			if p.count > 0 || p.last {
				return p
			}
			if found {
				return fail(fmt.Errorf("%w: record %d is there and is not", ErrDamaged, from))
			}
		}
		var first sql.NullInt64 // a session of ours has no holes
		err := r.tx.QueryRowContext(ctx, `select min(seq) from record where session = ? and seq >= ?`, r.n, from).Scan(&first)
		switch {
		case err != nil || !first.Valid:
			return fail(err)
		case first.Int64 < 0:
			return fail(fmt.Errorf("%w: a record has the number %d", ErrDamaged, first.Int64))
		}
		from = first.Int64
	}
}

// record makes a record of the next line.
func (r *Reader) record(p *unpacker) (rec obd.Record, err error) {
	if strings.HasPrefix(p.rest, "! ") {
		p.rest = p.rest[2:]
		return r.other(p)
	}
	rec.Seq = p.int()
	sent := p.time()
	rec.At = sent + p.time()
	expect, length, key := int(p.int()), p.int(), p.rest
	request, raw := p.word(), p.last(length)
	if p.err != nil {
		return rec, p.err
	}
	if rec.Exchange, err = r.exchange(request, expect); err != nil {
		return rec, err
	}
	x := rec.Exchange
	x.Sent, x.Received, x.Raw = sent, rec.At, r.copied(raw)
	x.Replies = r.found(x, key[:len(request)+1+len(raw)])
	return rec, nil
}

// other makes a record of a line in which anything may stand.
func (r *Reader) other(p *unpacker) (rec obd.Record, err error) {
	rec.Seq, rec.At = p.int(), p.time()
	sent, received, expect := p.time(), p.time(), int(p.int())
	kind, request, outcome, raw, first, second := p.hex(), p.hex(), p.hex(), p.hex(), p.hex(), p.hex()
	if p.last(0); p.err != nil {
		return rec, p.err
	}
	switch kind {
	case "exchange":
		if rec.Exchange, err = r.exchange(request, expect); err != nil {
			return rec, err
		}
		x := rec.Exchange
		x.Sent, x.Received, x.Raw = sent, received, []byte(raw)
		if x.Outcome, err = ParseOutcome(outcome); err != nil {
			return rec, err
		}
		x.Replies = Replies(x, r.meta.Format)
	case "mark":
		rec.Mark = &obd.Mark{Kind: obd.MarkKind(first), Text: second}
	case "row":
		rec.Row, err = r.row(first, second)
	default:
		err = fmt.Errorf("kind %q", kind)
	}
	return rec, err
}

// exchange makes an exchange that asked this, in hexadecimal.
func (r *Reader) exchange(request string, expect int) (*obd.Exchange, error) {
	if request != r.request || request == "" {
		q := strings.Clone(request) // it outlives its text
		var err error
		if r.parsed, err = obd.ParseRequest(q); err != nil {
			return nil, err
		}
		r.request = q
	}
	if len(r.exchanges) == 0 {
		r.exchanges = make([]obd.Exchange, packed)
	}
	x := &r.exchanges[0]
	r.exchanges = r.exchanges[1:]
	x.Request = r.parsed
	x.Request.Expect = expect
	return x, nil
}

// unpacker takes the lines of [packQuery] apart; err is the first thing that was not as it is there.
type unpacker struct {
	rest string
	err  error
}

func (p *unpacker) fail(err error) {
	if p.err == nil {
		p.err = err
	}
}

// word takes what stands before a space, and the space.
func (p *unpacker) word() string {
	w, rest, ok := strings.Cut(p.rest, " ")
	if !ok {
		p.fail(io.ErrUnexpectedEOF)
		return ""
	}
	p.rest = rest
	return w
}

func (p *unpacker) int() int64 {
	n := int64(0)
	for i := 0; i < len(p.rest) && i < 18; i++ { // the usual number is short and has no sign
		switch d := p.rest[i]; {
		case d == ' ' && i > 0:
			p.rest = p.rest[i+1:]
			return n
		case d < '0' || d > '9':
			i = len(p.rest)
		default:
			n = 10*n + int64(d-'0')
		}
	}
	n, err := strconv.ParseInt(p.word(), 10, 64)
	if err != nil {
		p.fail(err)
	}
	return n
}

func (p *unpacker) time() time.Duration { return time.Duration(p.int()) * time.Microsecond }

func (p *unpacker) hex() string {
	b, err := hex.DecodeString(p.word())
	if err != nil {
		p.fail(err)
	}
	return string(b)
}

// last takes the last n bytes of a line, and its end.
func (p *unpacker) last(n int64) string {
	if n < 0 || n > int64(len(p.rest)) || n < int64(len(p.rest)) && p.rest[n] != '\n' {
		p.fail(errors.New("its raw text has another length"))
		return ""
	}
	w := p.rest[:n]
	p.rest = p.rest[min(int(n)+1, len(p.rest)):]
	return w
}

// found is Replies of what went well, by request and raw text: a session says a lot again.
func (r *Reader) found(x *obd.Exchange, key string) []obd.Reply {
	if len(x.Raw) > longestRaw {
		return Replies(x, r.meta.Format)
	}
	known, ok := r.replies[key]
	if !ok {
		if len(r.replies) == mostReplies {
			clear(r.replies)
		}
		known = Replies(x, r.meta.Format)
		r.replies[strings.Clone(key)] = known
	}
	return known
}

// copied is a copy of s.
func (r *Reader) copied(s string) []byte {
	if len(s) > len(r.bytes) {
		r.bytes = make([]byte, max(4096, len(s)))
	}
	n := copy(r.bytes, s)
	out := r.bytes[:n:n]
	r.bytes = r.bytes[n:]
	return out
}

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
	if r.tx == nil {
		return nil
	}
	r.stop()
	err := errors.Join(r.pack.Close(), r.tx.Rollback())
	r.tx, r.ahead, r.given, r.err = nil, nil, 0, ErrClosed
	return err
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
