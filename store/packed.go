package store

/*
#include <stdint.h>
#include <string.h>

// Of SQLite's interface, which its driver links in: sqlite3.h keeps it as it is for good (https://sqlite.org/c3ref/funclist.html).
typedef struct sqlite3 sqlite3;
typedef struct sqlite3_context sqlite3_context;
typedef struct sqlite3_value sqlite3_value;
typedef struct sqlite3_str sqlite3_str;
int sqlite3_auto_extension(void (*)(void));
int sqlite3_create_function_v2(sqlite3 *, const char *, int, int, void *, void (*)(sqlite3_context *, int, sqlite3_value **),
	void (*)(sqlite3_context *, int, sqlite3_value **), void (*)(sqlite3_context *), void (*)(void *));
sqlite3 *sqlite3_context_db_handle(sqlite3_context *);
void *sqlite3_aggregate_context(sqlite3_context *, int);
int sqlite3_value_type(sqlite3_value *);
int sqlite3_value_bytes(sqlite3_value *);
int64_t sqlite3_value_int64(sqlite3_value *);
const void *sqlite3_value_blob(sqlite3_value *);
const unsigned char *sqlite3_value_text(sqlite3_value *);
sqlite3_str *sqlite3_str_new(sqlite3 *);
void sqlite3_str_append(sqlite3_str *, const char *, int);
int sqlite3_str_errcode(sqlite3_str *);
int sqlite3_str_length(sqlite3_str *);
char *sqlite3_str_finish(sqlite3_str *);
void sqlite3_result_blob(sqlite3_context *, const void *, int, void (*)(void *));
void sqlite3_free(void *);

enum { utf8 = 1, direct = 0x80000, integer = 1, text = 3, blob = 4 };

typedef struct { sqlite3_str *out; int64_t first, next; int unlike; } packing;

static int says(sqlite3_value *v, const char *word, int n) {
	return sqlite3_value_type(v) == text && sqlite3_value_bytes(v) == n && memcmp(sqlite3_value_text(v), word, n) == 0;
}

// packed_step takes seq, outcome, sent_us, at_us, expect, request and raw of one record. Only exchanges have an outcome.
static void packed_step(sqlite3_context *c, int n, sqlite3_value **v) {
	packing *p = sqlite3_aggregate_context(c, sizeof *p);
	if (!p || p->unlike) return;
	int64_t seq = sqlite3_value_int64(v[0]);
	int alike = says(v[1], "ok", 2) && sqlite3_value_type(v[5]) == text && sqlite3_value_type(v[6]) == blob;
	for (int i = 2; i <= 4; i++) alike = alike && sqlite3_value_type(v[i]) == integer;
	if (!p->out) {
		p->out = sqlite3_str_new(sqlite3_context_db_handle(c));
		p->first = seq;
	} else alike = alike && seq == p->next;
	if (!alike || seq == INT64_MAX) { p->unlike = 1; return; }
	p->next = seq + 1;
	int asked = sqlite3_value_bytes(v[5]), came = sqlite3_value_bytes(v[6]);
	int64_t head[4] = {sqlite3_value_int64(v[2]), sqlite3_value_int64(v[3]), sqlite3_value_int64(v[4]), (int64_t)asked << 32 | came};
	sqlite3_str_append(p->out, (const char *)head, sizeof head);
	sqlite3_str_append(p->out, (const char *)sqlite3_value_text(v[5]), asked);
	sqlite3_str_append(p->out, sqlite3_value_blob(v[6]), came);
}

// packed_final ends the exchanges with the first one's seq and what the next one's would be.
static void packed_final(sqlite3_context *c) {
	packing *p = sqlite3_aggregate_context(c, 0);
	if (!p || !p->out) return;
	sqlite3_str_append(p->out, (const char *)&p->first, sizeof p->first);
	sqlite3_str_append(p->out, (const char *)&p->next, sizeof p->next);
	int n = sqlite3_str_length(p->out), failed = p->unlike || sqlite3_str_errcode(p->out);
	char *s = sqlite3_str_finish(p->out);
	if (failed) sqlite3_free(s);
	else sqlite3_result_blob(c, s, n, sqlite3_free);
}

static int packed_into(sqlite3 *db, char **err, const void *api) {
	return sqlite3_create_function_v2(db, "packed", 7, utf8 | direct, 0, 0, packed_step, packed_final, 0);
}

static int packed_everywhere(void) { return sqlite3_auto_extension((void (*)(void))packed_into); }
*/
import "C"

import (
	"context"
	"encoding/binary"
	"io"
	"time"

	"pushback/obd"
)

// Each connection that is opened from here on has the function packed; no schema may call it.
func init() {
	if C.packed_everywhere() != 0 {
		panic("store: SQLite does not take a function")
	}
}

// packQuery hands over some records after a seq in one piece, since to hand over rows one by one takes longer than to
// read them: null where they are not all exchanges that went well, in order and without holes between them, as nearly all are. Those come
// by [lineQuery].
const packQuery = `select packed(seq, outcome, sent_us, at_us, expect, request, raw)
	from record where session = ?1 and seq between ?2 and ?2 + ?3 - 1`

// alikeFrom is the next pack of exchanges that went well; false: not all of its records are such, or something failed that
// will fail again.
func (r *Reader) alikeFrom(ctx context.Context, from int64) (p pack, ok bool) {
	const tail = 16 // bytes
	err := r.alike.QueryRowContext(ctx, r.n, from, alike).Scan(&r.room)
	end := len(r.room) - tail
	if err != nil || end <= 0 {
		return p, false
	}
	first, next := numberAt(r.room, end), numberAt(r.room, end+8)
	p.alike, p.from, p.count = r.room[:end], first, int(next-first) // there may be a hole before the first
	p.next = from + alike
	return p, true
}

func numberAt(b []byte, i int) int64 { return int64(binary.NativeEndian.Uint64(b[i:])) }

// room takes a copy of bytes, or of none, where it has taken others before.
type room []byte

// Scan is sql.Scanner's.
func (r *room) Scan(from any) error {
	b, _ := from.([]byte)
	*r = append((*r)[:0], b...)
	return nil
}

// head is how many bytes stand before a packed exchange's texts: sent, at, expect, and the lengths of both.
const head = 32

// unpack makes a record, which has its seq, of the next packed exchange.
func (r *Reader) unpack(rec *obd.Record) (err error) {
	b := r.now.alike
	if len(b) < head {
		return io.ErrUnexpectedEOF
	}
	lengths := numberAt(b, 24)
	request, raw := int(lengths>>32), int(uint32(lengths))
	if len(b)-head-request < raw {
		return io.ErrUnexpectedEOF
	}
	text := b[head:]
	r.now.alike = text[request+raw:]
	rec.Sent, rec.At = time.Duration(numberAt(b, 0))*time.Microsecond, time.Duration(numberAt(b, 8))*time.Microsecond
	rec.Exchange, err = r.exchange(text[:request], int(numberAt(b, 16)), obd.OK, text[request:request+raw])
	return err
}
