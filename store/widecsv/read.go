package widecsv

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"pushback/decode"
	"pushback/obd"
)

// Limits on what is read, so that a wrong file ends soon.
const (
	maxLine    = 64 << 10             // bytes
	maxColumns = 256                  // signals
	maxRows    = 20_000_000           // two days at 100 rows/s are 17 million
	maxTime    = 366 * 24 * time.Hour // wall time in place of seconds since the start is beyond it
)

// Error tells where a table cannot be read, and why.
type Error struct {
	Line   int    // 1 is the header
	Column int    // 1, 2, …; 0: the line as a whole
	Name   string // of the column, if it has one
	Err    error
}

func (e *Error) Error() string {
	s := fmt.Sprintf("line %d", e.Line)
	if e.Column > 0 {
		s += fmt.Sprintf(", column %d", e.Column)
	}
	if e.Name != "" {
		s += " (" + e.Name + ")"
	}
	return s + ": " + e.Err.Error()
}
func (e *Error) Unwrap() error { return e.Err }

// UnknownColumnsError lists the columns whose names are no signal's.
type UnknownColumnsError struct {
	Names   []string
	Nearest []string // for each name the likeliest known one, "" if none is near
}

func (e *UnknownColumnsError) Error() string {
	var b strings.Builder
	b.WriteString("no signal of this name: ")
	for i, n := range e.Names {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%q", n)
		if e.Nearest[i] != "" {
			fmt.Fprintf(&b, " (%s?)", e.Nearest[i])
		}
	}
	return b.String()
}

// Reader reads a wide table line by line: a [obd.Mark] record where the mark
// column says so, then a [obd.Row] record with what the line gives. It is a
// session's Source. Cells may be separated by comma, semicolon or tab; with the
// latter two the decimal mark may be a comma, the same in the whole table. Times
// are rounded to microseconds and may repeat but not go back. The first error
// ends the reading: an [*Error] for what is wrong in the table.
type Reader struct {
	in      *bufio.Reader
	line    int
	rows    int
	mapping Mapping
	start   time.Time // of a clock's time: the first row's
	comma   byte      // separator
	decimal byte      // as met so far; 0: not yet
	columns []column
	last    time.Duration
	seq     int64
	pending *obd.Record // the row of a line whose mark came first
	cells   []string
	err     error // sticky
}

type column struct {
	title  string // in the table
	name   string // of what it holds; "": it is left aside
	unit   string // of the table, if the mapping tells one
	conv   conversion
	signal *decode.Signal // nil for t_s and mark
}

// NewReader reads the header.
func NewReader(r io.Reader) (*Reader, error) { return NewMapped(r, Mapping{}) }

// NewMapped reads the header of a table that another program made. Columns that the
// mapping does not name and that have no standard name are left aside.
func NewMapped(r io.Reader, m Mapping) (*Reader, error) {
	t := &Reader{in: bufio.NewReaderSize(r, maxLine), mapping: m}
	if head, _ := t.in.Peek(4); utf16Order(head) != nil {
		t.in = bufio.NewReaderSize(&fromUTF16{in: t.in, order: utf16Order(head)}, maxLine)
	}
	if err := t.header(); err != nil {
		if err == io.EOF {
			err = &Error{Line: 1, Err: errors.New("the table is empty")}
		}
		return nil, err
	}
	return t, nil
}

// Columns returns the signals of the table in its order.
func (t *Reader) Columns() []*decode.Signal {
	var list []*decode.Signal
	for _, c := range t.columns {
		if c.signal != nil {
			list = append(list, c.signal)
		}
	}
	return list
}

// Next returns the next record; io.EOF after the last.
func (t *Reader) Next(ctx context.Context) (obd.Record, error) {
	if t.err != nil {
		return obd.Record{}, t.err
	}
	if err := ctx.Err(); err != nil {
		return obd.Record{}, err
	}
	if p := t.pending; p != nil {
		t.pending = nil
		return *p, nil
	}
	rec, err := t.next()
	t.err = err
	return rec, err
}

func (t *Reader) header() error {
	for range t.mapping.Skip {
		if _, err := t.in.ReadSlice('\n'); err != nil && err != bufio.ErrBufferFull {
			return err
		}
		t.line++
	}
	line, err := t.readLine()
	if err != nil {
		return err
	}
	for _, sep := range []byte{';', '\t', ','} {
		if t.comma = sep; strings.IndexByte(line, sep) >= 0 {
			break
		}
	}
	if err := t.split(line); err != nil {
		return err
	}
	t.cells = dropEmpty(t.cells, 0)
	if len(t.cells) > maxColumns {
		return &Error{Line: t.line, Err: fmt.Errorf("%d columns, at most %d are read", len(t.cells), maxColumns)}
	}
	if len(t.mapping.Columns) > 0 {
		return t.assigned()
	}
	seen := make(map[string]bool)
	var unknown UnknownColumnsError
	signals, firstUnknown := 0, 0
	for i, name := range t.cells {
		c := column{title: name, name: name, conv: plain, signal: decode.ByName(name)}
		switch {
		case seen[name]:
			return &Error{t.line, i + 1, name, errors.New("a second column of this name")}
		case name == timeColumn, name == markColumn:
			c.signal = nil
		case c.signal != nil:
			signals++
		default:
			unknown.Names = append(unknown.Names, name)
			unknown.Nearest = append(unknown.Nearest, nearest(name))
			if firstUnknown == 0 {
				firstUnknown = i + 1
			}
		}
		seen[name] = true
		t.columns = append(t.columns, c)
	}
	switch {
	case !seen[timeColumn] && len(unknown.Names) > 0:
		return &Error{t.line, 0, "", fmt.Errorf("no column %s; %w", timeColumn, &unknown)}
	case !seen[timeColumn]:
		return &Error{t.line, 0, "", fmt.Errorf("no column %s", timeColumn)}
	case len(unknown.Names) > 0:
		return &Error{t.line, firstUnknown, "", &unknown}
	case signals == 0:
		return &Error{t.line, 0, "", errors.New("no column of a signal")}
	}
	return nil
}

// assigned is the header's end for a table of others.
func (t *Reader) assigned() error {
	if err := t.assign(); err != nil {
		return err
	}
	if !slices.ContainsFunc(t.columns, func(c column) bool { return c.name == timeColumn }) {
		return &Error{t.line, 0, "", fmt.Errorf("no column is mapped to %s; there are %.500q", timeColumn, t.cells)}
	}
	if len(t.Columns()) == 0 {
		return &Error{t.line, 0, "", errors.New("no column of a signal")}
	}
	return nil
}

func (t *Reader) next() (obd.Record, error) {
	line, err := t.readLine()
	if err != nil {
		return obd.Record{}, err
	}
	if t.rows++; t.rows > maxRows {
		return obd.Record{}, t.errorAt(-1, fmt.Errorf("more than %d rows", maxRows))
	}
	if err := t.split(line); err != nil {
		return obd.Record{}, err
	}
	t.cells = dropEmpty(t.cells, len(t.columns))
	if len(t.cells) != len(t.columns) {
		return obd.Record{}, t.errorAt(-1, fmt.Errorf("%d cells under %d columns", len(t.cells), len(t.columns)))
	}

	var at time.Duration
	var mark obd.MarkKind
	var step string
	row := &obd.Row{}
	for i, c := range t.columns {
		cell := t.cells[i]
		switch {
		case c.name == timeColumn:
			if at, err = t.time(c, cell); err != nil {
				return obd.Record{}, t.errorAt(i, err)
			}
		case c.name == markColumn:
			if name, is := strings.CutPrefix(cell, stepCell); is && len(name) <= 40 {
				mark, step = obd.MarkStep, name
				break
			}
			switch k := obd.MarkKind(cell); k {
			case "", obd.MarkLean, obd.MarkRich, obd.MarkRelease, obd.MarkOpen:
				mark = k
			default:
				return obd.Record{}, t.errorAt(i, fmt.Errorf("%.40q is none of lean, rich, release", cell))
			}
		case c.name != "" && cell != "":
			v, there, err := t.value(c, cell)
			if err == nil && !there {
				continue
			}
			if err == nil {
				err = inRange(c.signal, v)
			}
			if err != nil {
				return obd.Record{}, t.errorAt(i, err)
			}
			row.Names = append(row.Names, c.name)
			row.Values = append(row.Values, v)
		}
	}

	if mark == "" {
		return t.record(at, obd.Record{Row: row}), nil
	}
	rec := t.record(at, obd.Record{Mark: &obd.Mark{Kind: mark, Text: step}})
	if len(row.Names) > 0 {
		next := t.record(at, obd.Record{Row: row})
		t.pending = &next
	}
	return rec, nil
}

func (t *Reader) record(at time.Duration, rec obd.Record) obd.Record {
	rec.Seq, rec.At = t.seq, at
	t.seq++
	t.last = at
	return rec
}

func (t *Reader) errorAt(i int, err error) error {
	e := &Error{Line: t.line, Column: i + 1, Err: err}
	if i >= 0 && i < len(t.columns) {
		e.Name = t.columns[i].title
	}
	return e
}

// value is the number in a cell, in the standard's unit.
func (t *Reader) value(c column, cell string) (v float64, there bool, err error) {
	if len(t.mapping.Columns) > 0 {
		return t.foreign(c, cell)
	}
	v, err = t.number(cell)
	return v, true, err
}

func (t *Reader) time(c column, cell string) (time.Duration, error) {
	if cell == "" {
		return 0, errors.New("no time")
	}
	var s float64
	var err error
	if c.conv.clock {
		s, err = t.clock(cell)
	} else if s, err = t.number(cell); err == nil {
		s = c.conv.of(s)
	}
	switch {
	case err != nil:
		return 0, err
	case s < 0:
		return 0, fmt.Errorf("%s s is before the start", cell)
	case s > maxTime.Seconds():
		return 0, fmt.Errorf("%s s is beyond a year: the column counts seconds since the recording began", cell)
	}
	at := time.Duration(math.Round(s*1e6)) * time.Microsecond
	if at < t.last {
		return 0, fmt.Errorf("%s s is before the row above (%s s)", cell, seconds(t.last))
	}
	return at, nil
}

// number reads a plain decimal number.
func (t *Reader) number(cell string) (float64, error) {
	bad := func() (float64, error) { return 0, fmt.Errorf("%.40q is not a number", cell) }
	digits := false
	for i := 0; i < len(cell); i++ { // keeps out what ParseFloat takes beyond that: NaN, Inf, 0x1p3, 1_000
		switch c := cell[i]; {
		case c >= '0' && c <= '9':
			digits = true
		case c == '.' || c == ',':
			if c == ',' && t.comma == ',' {
				return 0, fmt.Errorf("%.40q: a decimal comma in a table separated by commas", cell)
			}
			if t.decimal == 0 {
				t.decimal = c
			} else if t.decimal != c {
				return 0, fmt.Errorf("%.40q: the table has the decimal mark %q above", cell, t.decimal)
			}
		case c == '+' || c == '-' || c == 'e' || c == 'E':
		default:
			return bad()
		}
	}
	if !digits {
		return bad()
	}
	plain := cell
	if t.decimal == ',' {
		plain = strings.Replace(cell, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsInf(v, 0) {
		return bad()
	}
	if v == 0 {
		v = 0 // no minus zero
	}
	return v, nil
}

// inRange refuses what the signal's scaling cannot express, with one count of
// tolerance for a recorder that rounds.
func inRange(s *decode.Signal, v float64) error {
	tolerance := s.Resolution * (1 + 1e-9)
	if s.Min == s.Max || v >= s.Min-tolerance && v <= s.Max+tolerance {
		return nil
	}
	return fmt.Errorf("%v %s is outside %v to %v", v, s.Unit, s.Min, s.Max)
}

// readLine returns the next line that is not blank, without its end.
func (t *Reader) readLine() (string, error) {
	for {
		t.line++
		b, err := t.in.ReadSlice('\n')
		switch {
		case err == bufio.ErrBufferFull:
			return "", &Error{Line: t.line, Err: fmt.Errorf("longer than %d bytes", maxLine)}
		case err != nil && err != io.EOF:
			return "", err
		case err == io.EOF && len(b) == 0:
			return "", io.EOF
		}
		if t.line == 1 {
			b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
		}
		b = bytes.TrimRight(b, "\r\n")
		if len(bytes.TrimSpace(b)) == 0 {
			continue
		}
		text, ok := string(b), utf8.Valid(b) && bytes.IndexByte(b, 0) < 0
		if !ok {
			text, ok = fromWindows1252(b)
		}
		if !ok {
			return "", &Error{Line: t.line, Err: errors.New("this is not text")}
		}
		return text, nil
	}
}

// split fills t.cells. A quoted cell may hold separators and doubled quotes, but no
// line end.
func (t *Reader) split(line string) error {
	t.cells = t.cells[:0]
	for {
		cell, rest, more := line, "", false
		if trimmed := strings.TrimLeft(line, " "); strings.HasPrefix(trimmed, `"`) {
			var b strings.Builder
			s := trimmed[1:]
			for {
				i := strings.IndexByte(s, '"')
				if i < 0 {
					return t.errorAt(len(t.cells), errors.New("a quote is not closed on this line"))
				}
				b.WriteString(s[:i])
				if s = s[i+1:]; !strings.HasPrefix(s, `"`) {
					break
				}
				b.WriteByte('"')
				s = s[1:]
			}
			cell = b.String()
			after := ""
			if after, rest, more = strings.Cut(s, string(t.comma)); strings.TrimSpace(after) != "" {
				return t.errorAt(len(t.cells), errors.New("text after the closing quote"))
			}
		} else {
			cell, rest, more = strings.Cut(line, string(t.comma))
		}
		t.cells = append(t.cells, strings.TrimSpace(cell))
		if !more {
			return nil
		}
		line = rest
	}
}

// dropEmpty cuts the empty cells beyond the nth, which spreadsheets leave at the
// end of lines.
func dropEmpty(cells []string, n int) []string {
	for len(cells) > n && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// stepCell begins a mark that is what a guide asked for.
const stepCell = string(obd.MarkStep) + " "
