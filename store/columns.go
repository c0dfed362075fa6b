package store

import (
	"context"
	"database/sql"
	"strconv"
	"strings"
	"time"

	"pushback/obd"
)

// columns are exchanges that went well, as nearly all do: each text one value of all of them, with commas between.
type columns struct{ sent, took, expect, request, raw string }

// columnQuery hands over some records after a seq, a text a column, since to hand over rows one by one takes longer than to
// read them. It holds where all of them are exchanges that went well, in order and without holes, which the counts and
// lengths tell: else they come by [lineQuery].
const columnQuery = `select count(*), count(*) filter (where kind = 'exchange' and outcome = 'ok' and received_us = at_us and request is not null),
		sum(length(raw)), group_concat(seq - ?2), group_concat(sent_us), group_concat(at_us - sent_us), group_concat(expect),
		group_concat(request), group_concat(raw)
	from record where session = ?1 and seq between ?2 and ?2 + ?3 - 1`

// columnsFrom is the next pack as columns; false: not all of its records are such, or something failed that will fail again.
func (r *Reader) columnsFrom(ctx context.Context, from int64) (p pack, ok bool) {
	var well int
	var length sql.NullInt64
	var seqs, sent, took, expect, request, raw sql.NullString
	if err := r.alike.QueryRowContext(ctx, r.n, from, alike).Scan(&p.count, &well, &length, &seqs, &sent, &took, &expect, &request, &raw); err != nil {
		return p, false
	}
	c := &columns{sent.String, took.String, expect.String, request.String, raw.String}
	p.columns, p.from, p.next = c, from, from+alike
	commas := p.count - 1
	ok = p.count > 0 && p.count <= alike && well == p.count && seqs.String == inOrder(p.count) && int64(len(c.raw)) == length.Int64+int64(commas)
	for _, column := range []string{c.sent, c.took, c.expect, c.request, c.raw} {
		ok = ok && strings.Count(column, ",") == commas
	}
	return p, ok
}

// inOrder is 0,1,2,… of n numbers.
func inOrder(n int) string { return numbers.text[:numbers.ends[n]] }

var numbers = func() (x struct {
	text string
	ends [alike + 1]int
}) {
	for i := range alike {
		if i > 0 {
			x.text += ","
		}
		x.text += strconv.Itoa(i)
		x.ends[i+1] = len(x.text)
	}
	return x
}()

// column makes a record of the next values of columns.
func (r *Reader) column(c *columns, seq int64) (rec obd.Record, err error) {
	rec.Seq = seq
	u := unpacker{}
	sent, took := u.number(cut(&c.sent)), u.number(cut(&c.took))
	expect, request, raw := u.number(cut(&c.expect)), cut(&c.request), cut(&c.raw)
	if u.err != nil {
		return rec, u.err
	}
	x, err := r.exchange(request, int(expect))
	if err != nil {
		return rec, err
	}
	x.Sent = time.Duration(sent) * time.Microsecond
	rec.At = x.Sent + time.Duration(took)*time.Microsecond
	x.Received, rec.Exchange = rec.At, x
	r.went(x, raw)
	return rec, nil
}

// cut takes what stands before a comma, and the comma.
func cut(column *string) string {
	s := *column
	i := strings.IndexByte(s, ',')
	if i < 0 {
		*column = ""
		return s
	}
	*column = s[i+1:]
	return s[:i]
}
