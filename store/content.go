package store

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"io"

	"pushback/obd"
)

// Content is the running hash of a session's records: what makes two copies of one
// recording the same, wherever they come from. The texts of notes and the reply that
// tells the VIN are left out, so that a redacted copy is the same too.
type Content struct {
	hash hash.Hash
	buf  []byte
	row  recordRow // of the latest record
}

// NewContent returns the hash of no records yet.
func NewContent() Content { return Content{hash: sha256.New()} }

// Add adds the next record. The error says what no session could hold.
func (c *Content) Add(rec obd.Record) error {
	if err := c.row.from(rec); err != nil {
		return fmt.Errorf("record %d: %w", rec.Seq, err)
	}
	c.add(&c.row)
	return nil
}

// Sum is the hash of the records so far, 32 bytes.
func (c *Content) Sum() []byte {
	c.hash.Write(c.buf)
	c.buf = c.buf[:0]
	return c.hash.Sum(nil)
}

// hashed is how many bytes are hashed at once, about: less each time takes longer.
const hashed = 4096

func (c *Content) add(r *recordRow) {
	b := binary.AppendVarint(c.buf, r.at)
	text := func(s string) { b = append(binary.AppendUvarint(b, uint64(len(s))), s...) }
	text(r.kind)
	switch r.kind {
	case "exchange":
		text(r.request)
		b = binary.AppendVarint(binary.AppendVarint(b, r.sent), r.received)
		if !TellsVIN(r.request) {
			text(r.outcome)
			b = append(binary.AppendUvarint(b, uint64(len(r.raw))), r.raw...)
		}
	case "mark":
		text(r.mark)
	case "row":
		text(r.names)
		text(r.vals)
	}
	if len(b) >= hashed {
		c.hash.Write(b)
		b = b[:0]
	}
	c.buf = b
}

// TellsVIN reports whether the replies to a request, in hexadecimal, hold the
// vehicle's identification number: service 09, information type 02.
func TellsVIN(request string) bool { return len(request) >= 4 && request[:4] == "0902" }

// Redact returns a record without what is personal: the words of notes and the
// vehicle's identification number. Samples and events do not change by it.
func Redact(rec obd.Record) obd.Record {
	switch {
	case rec.Mark != nil && rec.Mark.Kind != obd.MarkStep:
		rec.Mark = &obd.Mark{Kind: rec.Mark.Kind}
	case rec.Exchange != nil && TellsVIN(rec.Exchange.Request.Hex()):
		x := *rec.Exchange
		x.Raw, x.Replies, x.Alike = []byte{}, nil, 0
		rec.Exchange = &x
	}
	return rec
}

// Same returns the id of a stored session with this content, judged as the same
// sensor and way of forcing ask; ErrNoSession if there is none.
func (s *Store) Same(ctx context.Context, content []byte, watching, by string) (string, error) {
	id, err := s.same(ctx, content, watching, by)
	return id, wrap("look for the same session", err)
}

func (s *Store) same(ctx context.Context, content []byte, watching, by string) (string, error) {
	rows, err := s.r.QueryContext(ctx, `select id, content is not null from session
		where (content = ? or content is null) and watching = ? and forced_by = ? order by n`, content, watching, by)
	if err != nil {
		return "", err
	}
	var candidates []string
	for rows.Next() {
		var id string
		var known bool
		if err := rows.Scan(&id, &known); err != nil {
			rows.Close()
			return "", err
		}
		if known {
			rows.Close()
			return id, nil
		}
		candidates = append(candidates, id)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return "", err
	}
	// Sessions whose program died before it could say.
	for _, id := range candidates {
		sum, err := s.contentOf(ctx, id)
		if err != nil {
			return "", err
		}
		if string(sum) == string(content) {
			return id, nil
		}
	}
	return "", ErrNoSession
}

func (s *Store) contentOf(ctx context.Context, id string) ([]byte, error) {
	r, err := s.Records(ctx, id)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	c := NewContent()
	for {
		rec, err := r.Next(ctx)
		if err == io.EOF {
			return c.Sum(), nil
		}
		if err != nil {
			return nil, err
		}
		if err := c.Add(rec); err != nil {
			return nil, err
		}
	}
}
