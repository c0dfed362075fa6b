// Package longcsv reads and writes sessions as a long CSV table: one value, exchange,
// mark or event a line, as [transfer.Row] describes them.
//
//	session,seq,t_s,sent_s,kind,name,value,unit,request,expect,outcome,raw,text
//	b7kqrt,12,1.204,1.183,exchange,,,,0114,1,ok,7E8 04 41 14 5A 80 00 00 00 \r\r,
//	b7kqrt,12,1.204,1.183,sample,O2S11,0.45,V,,,,,
//
// Nothing is lost: what the adapter printed is in raw, with the escapes of Go strings. A text that
// a spreadsheet would take for a formula has an apostrophe before it, which the reader takes off.
package longcsv

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"pushback/obd"
	"pushback/store"
	"pushback/store/transfer"
)

var header = []string{"session", "seq", "t_s", "sent_s", "kind", "name", "value", "unit", "request", "expect", "outcome", "raw", "text"}

// Format is the long table.
var Format = transfer.Format{
	Name: "long-csv", Extension: ".csv", About: "one value a line, with the raw exchanges; loses nothing",
	Write: Write,
	Is:    func(head []byte) bool { return bytes.HasPrefix(head, []byte(strings.Join(header[:5], ","))) },
	Open: func(_ context.Context, path string) (transfer.Reader, error) {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		r, err := NewReader(f)
		if err != nil {
			f.Close()
			return nil, err
		}
		r.file = f
		return r, nil
	},
}

// Write writes sessions.
func Write(ctx context.Context, w io.Writer, sessions iter.Seq2[transfer.Session, error]) error {
	out := csv.NewWriter(w)
	if err := out.Write(header); err != nil {
		return err
	}
	line := make([]string, len(header))
	for s, err := range sessions {
		if err != nil {
			return err
		}
		err := transfer.Rows(ctx, s, func(r *transfer.Row) error {
			clear(line)
			line[0], line[1], line[2], line[4], line[5], line[12] = r.Session, strconv.FormatInt(r.Seq, 10), seconds(r.At), r.Kind, r.Name, defused(r.Text)
			switch r.Kind {
			case "sample":
				line[3], line[6], line[7] = seconds(r.Sent), strconv.FormatFloat(r.Value, 'g', -1, 64), r.Unit
			case "exchange":
				raw := strconv.QuoteToASCII(string(r.Raw))
				line[3], line[8], line[9], line[10], line[11] = seconds(r.Sent), r.Request, strconv.Itoa(r.Expect), r.Outcome, raw[1:len(raw)-1]
			}
			return out.Write(line)
		})
		if err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// formula are the beginnings of a cell that spreadsheets work out; the apostrophe is among them so
// that a text which has one keeps it.
const formula = "=+-@\t\r'"

func defused(text string) string {
	if text != "" && strings.IndexByte(formula, text[0]) >= 0 {
		return "'" + text
	}
	return text
}

func fused(text string) string {
	if len(text) > 1 && text[0] == '\'' && strings.IndexByte(formula, text[1]) >= 0 {
		return text[1:]
	}
	return text
}

func seconds(at time.Duration) string {
	return strconv.FormatFloat(float64(at.Microseconds())/1e6, 'f', -1, 64)
}

// Reader reads a long table. Errors name the line.
type Reader struct {
	transfer.Assembler
	in      *csv.Reader
	bound   *bounded
	columns [13]int // of header, in the file
	file    io.Closer
	row     transfer.Row
}

// maxLine is how long one line may be, in bytes.
const maxLine = 1 << 20

// bounded ends a file in which one line is too long.
type bounded struct {
	r    io.Reader
	read int64
	most int64
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.read > b.most {
		return 0, fmt.Errorf("a line is longer than %d bytes", maxLine)
	}
	n, err := b.r.Read(p)
	b.read += int64(n)
	return n, err
}

// NewReader reads the header. Columns may stand in any order; others are left aside.
func NewReader(r io.Reader) (*Reader, error) {
	t := &Reader{bound: &bounded{r: r}}
	t.in = csv.NewReader(bufio.NewReader(t.bound))
	t.in.ReuseRecord = true
	names, err := t.line()
	if err == io.EOF {
		err = errors.New("the table is empty")
	}
	if err != nil {
		return nil, err
	}
	for i, h := range header {
		if t.columns[i] = slices.Index(names, h); t.columns[i] < 0 {
			return nil, fmt.Errorf("line 1: no column %s", h)
		}
	}
	t.Read = t.next
	return t, nil
}

// Session goes on to the next session.
func (t *Reader) Session(ctx context.Context) (store.Meta, error) {
	m, err := t.Assembler.Session(ctx)
	return m, t.named(err)
}

// Next returns the next record of the session.
func (t *Reader) Next(ctx context.Context) (obd.Record, error) {
	rec, err := t.Assembler.Next(ctx)
	return rec, t.named(err)
}

// named adds the line to an error that does not tell it.
func (t *Reader) named(err error) error {
	if err == nil || err == io.EOF || strings.HasPrefix(err.Error(), "line ") || errors.Is(err, context.Canceled) {
		return err
	}
	at, _ := t.in.FieldPos(0)
	return fmt.Errorf("line %d: %w", at, err)
}

func (t *Reader) line() ([]string, error) {
	t.bound.most = t.in.InputOffset() + maxLine + 8192
	line, err := t.in.Read()
	if e := new(csv.ParseError); errors.As(err, &e) {
		return nil, fmt.Errorf("line %d, column %d: %w", e.Line, e.Column, e.Err)
	}
	return line, err
}

// Close closes the file.
func (t *Reader) Close() error { return t.file.Close() }

func (t *Reader) next() (*transfer.Row, error) {
	line, err := t.line()
	if err != nil {
		return nil, err
	}
	cell := func(i int) string { return line[t.columns[i]] }
	r := &t.row
	*r = transfer.Row{Session: strings.Clone(cell(0)), Kind: cell(4), Name: strings.Clone(cell(5)), Unit: cell(7), Request: cell(8), Outcome: cell(10), Text: strings.Clone(fused(cell(12)))}
	wrong := func(i int, err error) (*transfer.Row, error) {
		at, _ := t.in.FieldPos(t.columns[i])
		return nil, fmt.Errorf("line %d (%s): %w", at, header[i], err)
	}
	if r.Seq, err = strconv.ParseInt(cell(1), 10, 64); err != nil {
		return wrong(1, fmt.Errorf("%.40q is not a whole number", cell(1)))
	}
	if r.At, err = duration(cell(2)); err != nil {
		return wrong(2, err)
	}
	if s := cell(3); s != "" {
		if r.Sent, err = duration(s); err != nil {
			return wrong(3, err)
		}
	}
	if s := cell(6); s != "" {
		if r.Value, err = strconv.ParseFloat(s, 64); err != nil {
			return wrong(6, fmt.Errorf("%.40q is not a number", s))
		}
	}
	if s := cell(9); s != "" {
		if r.Expect, err = strconv.Atoi(s); err != nil {
			return wrong(9, fmt.Errorf("%.40q is not a whole number", s))
		}
	}
	if s := cell(11); s != "" {
		raw, err := strconv.Unquote(`"` + s + `"`)
		if err != nil {
			return wrong(11, fmt.Errorf("%.40q has wrong escapes", s))
		}
		r.Raw = []byte(raw)
	}
	return r, nil
}

func duration(s string) (time.Duration, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > 1e9 {
		return 0, fmt.Errorf("%.40q is not a time in seconds", s)
	}
	return time.Duration(math.Round(v*1e6)) * time.Microsecond, nil
}
