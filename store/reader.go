package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"pushback/obd"
)

// Reader yields the records of a stored session in order of Seq. It holds one pack of them. Not for concurrent use.
type Reader struct {
	meta  Meta
	n     int64     // of the session
	tx    *sql.Tx   // what stood in the database when reading began
	alike *sql.Stmt // packQuery
	pack  *sql.Stmt // lineQuery
	room  room      // of packs, one after the other
	lined int64     // up to this seq they come as lines
	least int64     // seq that the next record may have
	end   bool      // there can be none
	now   pack
	given int      // of its records
	lines unpacker // of the others, where it has lines
	err   error    // sticky

	// Of the records before: most say the same again.
	said
	names    string
	nameList []string
}

// said is what was asked so far and what came of it.
type said struct {
	asked   map[string]*asked // by request
	latest  *asked
	seed    maphash.Seed
	answers []answer  // each where its hash says or behind there; a nil Exchange: nothing stands there
	known   int       // of them
	numbers obd.Alike // given to answers
}

// asked is a request.
type asked struct {
	text    string
	request obd.Request
}

// answer is an exchange that went well.
type answer struct {
	*obd.Exchange
	to *asked
}

// pack is what SQLite hands over at a time: some records as packed exchanges or as lines.
type pack struct {
	count int
	alike []byte // nil: as lines
	lines string
	from  int64 // seq of the first of alike; they have no holes
	next  int64 // seq from which to read on
	last  bool  // nothing comes after it
	err   error
}

const (
	// packed is how many records a pack of lines holds at the most, alike that of exchanges. The longest raw texts that are
	// recorded, 64 KiB, in hexadecimal, must stay below [longest] together.
	packed     = 256
	alike      = 512
	mostAsked  = 4096  // requests that are remembered
	mostAnswer = 16384 // and raw texts, of up to longestRaw bytes: a power of two
	longestRaw = 128
)

// lineQuery hands over any records as lines, with texts in hexadecimal and null as 0 or nothing:
//
//	seq at_us sent_us expect kind request outcome raw mark|names text|vals
//
// SQLite reads them in order of their key; where it did not, the order of seq would show it.
const lineQuery = `select count(*), group_concat(
		format('%d %d %d %d %s %s %s %s %s %s ', seq, at_us, sent_us, expect, hex(kind), hex(request), hex(outcome),
			hex(raw), hex(coalesce(mark, names)), hex(coalesce(text, vals))), char(10))
	from record where session = ?1 and seq between ?2 and ?2 + ?3 - 1`

// Records reads the session that ref means, by the rules of [Store.Find]. The
// reader sees the session as it is now, also while it is being written.
func (s *Store) Records(ctx context.Context, ref string) (*Reader, error) {
	n, m, err := s.find(ctx, ref)
	if err != nil {
		return nil, err
	}
	r := &Reader{meta: m, n: n,
		said: said{asked: make(map[string]*asked), seed: maphash.MakeSeed(), answers: make([]answer, 2*mostAnswer)}}
	// They do not end with ctx: Next minds the context that it is given.
	lasting := context.WithoutCancel(ctx)
	if r.tx, err = s.r.BeginTx(lasting, nil); err != nil {
		return nil, wrap("read session "+m.ID, err)
	}
	r.alike, err = r.tx.PrepareContext(lasting, packQuery)
	if err == nil {
		r.pack, err = r.tx.PrepareContext(lasting, lineQuery)
	}
	if err != nil {
		return nil, wrap("read session "+m.ID, errors.Join(err, r.tx.Rollback()))
	}
	r.begin(r.packFrom(lasting, math.MinInt64)) // what stands there is what this finds
	return r, nil
}

// Meta describes the session.
func (r *Reader) Meta() Meta { return r.meta }

// Next returns the next record, io.EOF after the last. The replies are found
// again in the raw text; the outcome is the one that was recorded. A record may be kept but
// not changed: what records say alike is the same memory.
func (r *Reader) Next(ctx context.Context) (rec obd.Record, err error) {
	if err := ctx.Err(); err != nil {
		return obd.Record{}, err
	}
	for r.given == r.now.count {
		if r.done(); r.err != nil {
			return obd.Record{}, r.err
		}
		p := r.packFrom(ctx, r.now.next)
		if err := ctx.Err(); err != nil { // nothing is lost by that: another may go on
			return obd.Record{}, err
		}
		r.begin(p)
	}
	if r.err != nil {
		return obd.Record{}, r.err
	}
	if r.now.alike != nil {
		rec.Seq = r.now.from + int64(r.given)
		err = r.unpack(&rec)
	} else {
		rec, err = r.line(&r.lines)
	}
	if err == nil && (rec.Seq < r.least || r.end) { // a tree that leads to a page twice has no end
		err = errors.New("it stands in the wrong place")
	}
	if err != nil {
		r.err = fmt.Errorf("read session %s: record %d: %w: %w", r.meta.ID, rec.Seq, ErrDamaged, err)
		return obd.Record{}, r.err
	}
	r.least, r.end = rec.Seq+1, rec.Seq == math.MaxInt64
	r.given++
	return rec, nil
}

// begin takes a pack, after the one before.
func (r *Reader) begin(p pack) { r.now, r.given, r.lines = p, 0, unpacker{rest: p.lines} }

// done finds out what comes after a pack whose records are all given: after the last an error, io.EOF.
func (r *Reader) done() {
	if r.err != nil {
		return
	}
	switch {
	case r.now.err != nil:
		r.err = wrap("read session "+r.meta.ID, r.now.err)
	case r.lines.rest != "":
		r.err = fmt.Errorf("read session %s: %w: its records are not what they seem", r.meta.ID, ErrDamaged)
	case r.now.last:
		r.err = io.EOF
	}
}

// packFrom is the next pack, whose records have a seq of from and more.
func (r *Reader) packFrom(ctx context.Context, from int64) (p pack) {
	fail := func(err error) pack { return pack{last: true, err: err} }
	for found := false; ; found = true {
		if from >= max(r.lined, 0) && from <= math.MaxInt64-alike {
			if p, ok := r.alikeFrom(ctx, from); ok {
				return p
			}
			r.lined = from + alike
		}
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

// line makes a record of the next line.
func (r *Reader) line(p *unpacker) (rec obd.Record, err error) {
	rec.Seq, rec.At = p.int(), p.time()
	sent, expect := p.time(), int(p.int())
	kind, request, outcome, raw, first, second := p.hex(), p.hex(), p.hex(), p.hex(), p.hex(), p.hex()
	if p.end(); p.err != nil {
		return rec, p.err
	}
	switch string(kind) {
	case "exchange":
		var o obd.Outcome
		if o, err = ParseOutcome(string(outcome)); err == nil {
			rec.Sent = sent
			rec.Exchange, err = r.exchange(request, expect, o, raw)
		}
	case "mark":
		rec.Mark = &obd.Mark{Kind: obd.MarkKind(first), Text: string(second)}
	case "row":
		rec.Row, err = r.row(string(first), string(second))
	default:
		err = fmt.Errorf("kind %q", kind)
	}
	return rec, err
}

// exchange is one that asked this, in hexadecimal, and came to that: the same one where a session says the same again, as it does a lot.
func (r *Reader) exchange(request []byte, expect int, o obd.Outcome, raw []byte) (*obd.Exchange, error) {
	if err := r.ask(request); err != nil {
		return nil, err
	}
	fresh := func() *obd.Exchange {
		one := new(struct { // what is looked at together lies together
			obd.Exchange
			room [48]byte
		})
		x := &one.Exchange
		x.Request, x.Outcome, x.Raw = r.latest.request, o, append(one.room[:0:len(one.room)], raw...)
		x.Request.Expect = expect
		x.Replies = Replies(x, r.meta.Format)
		return x
	}
	if o != obd.OK || len(raw) > longestRaw {
		return fresh(), nil
	}
	if r.known == mostAnswer {
		clear(r.answers)
		r.known = 0
	}
	at := maphash.Bytes(r.seed, raw) % (2 * mostAnswer)
	for r.answers[at].Exchange != nil {
		if x := r.answers[at]; x.to == r.latest && x.Request.Expect == expect && bytes.Equal(x.Raw, raw) {
			return x.Exchange, nil
		}
		at = (at + 1) % (2 * mostAnswer)
	}
	x := fresh()
	r.numbers++
	x.Alike = r.numbers
	r.answers[at] = answer{x, r.latest}
	r.known++
	return x, nil
}

// ask makes the latest request one that asks this.
func (r *Reader) ask(request []byte) error {
	if r.latest != nil && string(request) == r.latest.text {
		return nil
	}
	known := r.asked[string(request)]
	if known == nil {
		text := string(request)
		parsed, err := obd.ParseRequest(text)
		if err != nil {
			return err
		}
		if len(r.asked) == mostAsked {
			r.forget()
		}
		known = &asked{text: text, request: parsed}
		r.asked[text] = known
	}
	r.latest = known
	return nil
}

func (r *Reader) forget() {
	clear(r.asked)
	clear(r.answers)
	r.known = 0
}

// unpacker takes the lines of [lineQuery] apart; err is the first thing that was not as it is there.
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

func (p *unpacker) int() int64 { return p.number(p.word()) }

func (p *unpacker) number(s string) int64 {
	n := int64(0)
	for i := range len(s) {
		d := s[i] - '0'
		if d > 9 || i == 18 { // the usual number is short and has no sign
			n, err := strconv.ParseInt(s, 10, 64)
			if err != nil {
				p.fail(err)
			}
			return n
		}
		n = 10*n + int64(d)
	}
	if s == "" {
		p.fail(io.ErrUnexpectedEOF)
	}
	return n
}

func (p *unpacker) time() time.Duration { return time.Duration(p.int()) * time.Microsecond }

func (p *unpacker) hex() []byte {
	b, err := hex.DecodeString(p.word())
	if err != nil {
		p.fail(err)
	}
	return b
}

// end takes the end of a line.
func (p *unpacker) end() {
	if p.rest != "" && p.rest[0] != '\n' {
		p.fail(errors.New("its line is longer"))
		return
	}
	p.rest = p.rest[min(1, len(p.rest)):]
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
	err := errors.Join(r.alike.Close(), r.pack.Close(), r.tx.Rollback())
	r.tx, r.now, r.given, r.err = nil, pack{}, 0, ErrClosed
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
