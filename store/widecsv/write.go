package widecsv

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strconv"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/store/transfer"
)

// usual is the order of the columns that a reader wants first; the others follow
// in the order of decode.Signals.
var usual = []string{
	"O2S11", "SHRTFT1", "SHRTFT11", "LONGFT1", "O2S12", "O2S21", "SHRTFT2", "SHRTFT21", "LONGFT2", "O2S22",
	"RPM", "LOAD_PCT", "ECT", "FUELSYS1", "FUELSYS2",
}

// Write writes a session as a wide table. It ranges over lines twice: first to
// learn which signals there are. The samples of a record share a row, at the
// record's time; a record without samples makes none. A row that was imported
// comes out as it went in. Marks stand in the row of the next record if that has
// the same time, otherwise in a row of their own; notes are left out.
func Write(w io.Writer, lines iter.Seq2[transfer.Line, error]) error {
	t := table{w: bufio.NewWriter(w), column: make(map[string]int)}
	for l, err := range lines {
		if err != nil {
			return err
		}
		t.learn(l)
	}
	t.header()
	for l, err := range lines {
		if err != nil {
			return err
		}
		if err := t.line(l); err != nil {
			return err
		}
	}
	t.flush()
	return t.w.Flush()
}

// table builds the text; errors of the underlying writer come from Flush.
type table struct {
	w      *bufio.Writer
	names  []string
	column map[string]int
	marks  bool

	// The row in the making.
	open   bool
	at     time.Duration
	mark   obd.MarkKind
	filled []bool
	values []float64
	buf    []byte
}

func (t *table) learn(l transfer.Line) {
	switch {
	case l.Record.Mark != nil:
		t.marks = t.marks || inTable(l.Record.Mark.Kind)
	case l.Record.Row != nil:
		for _, n := range l.Record.Row.Names {
			t.add(n)
		}
	default:
		for _, s := range l.Samples {
			t.add(s.Signal.Name)
		}
	}
}

func (t *table) add(name string) {
	if _, ok := t.column[name]; !ok {
		t.column[name] = len(t.names)
		t.names = append(t.names, name)
	}
}

func inTable(k obd.MarkKind) bool {
	return k == obd.MarkLean || k == obd.MarkRich || k == obd.MarkRelease || k == obd.MarkOpen || k == obd.MarkStep
}

func (t *table) header() {
	rank := make(map[string]int)
	for i, s := range decode.Signals() {
		rank[s.Name] = i
	}
	for i, n := range usual {
		rank[n] = i - len(usual)
	}
	slices.SortFunc(t.names, func(a, b string) int {
		return cmp.Or(cmp.Compare(rank[a], rank[b]), cmp.Compare(a, b))
	})
	for i, n := range t.names {
		t.column[n] = i
	}
	t.filled, t.values = make([]bool, len(t.names)), make([]float64, len(t.names))
	t.w.WriteString(timeColumn)
	if t.marks {
		t.w.WriteString("," + markColumn)
	}
	for _, n := range t.names {
		t.w.WriteString("," + n)
	}
	t.w.WriteByte('\n')
}

func (t *table) line(l transfer.Line) error {
	rec := l.Record
	if rec.Mark != nil {
		if inTable(rec.Mark.Kind) {
			t.flush()
			t.open, t.at, t.mark = true, rec.At, rec.Mark.Kind
			if t.mark == obd.MarkStep {
				t.mark += obd.MarkKind(" " + rec.Mark.Text)
			}
		}
		return nil
	}
	if rec.Row == nil && len(l.Samples) == 0 {
		return nil
	}
	if t.open && (t.at != rec.At || rec.Row != nil && len(rec.Row.Names) == 0) {
		t.flush()
	}
	t.open, t.at = true, rec.At
	if rec.Row != nil {
		for i, n := range rec.Row.Names {
			if err := t.put(rec, n, rec.Row.Values[i]); err != nil {
				return err
			}
		}
	} else {
		for _, s := range l.Samples {
			if s.Missing {
				continue
			}
			if err := t.put(rec, s.Signal.Name, s.Value); err != nil {
				return err
			}
		}
	}
	t.flush()
	return nil
}

// put fills a cell; of two values in one record the first counts.
func (t *table) put(rec obd.Record, name string, v float64) error {
	i, ok := t.column[name]
	if !ok {
		return fmt.Errorf("write record %d: %s was not there at the first pass", rec.Seq, name)
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("write record %d: %s is %v", rec.Seq, name, v)
	}
	if !t.filled[i] {
		t.filled[i], t.values[i] = true, v
	}
	return nil
}

// flush writes the row in the making, if there is one.
func (t *table) flush() {
	if !t.open {
		return
	}
	b := append(t.buf[:0], seconds(t.at)...)
	if t.marks {
		b = append(append(b, ','), t.mark...)
	}
	for i := range t.names {
		b = append(b, ',')
		if t.filled[i] {
			b = appendNumber(b, t.values[i])
		}
	}
	t.w.Write(append(b, '\n'))
	t.buf, t.open, t.mark = b, false, ""
	clear(t.filled)
}

// seconds writes whole microseconds as seconds, without zeros at the end.
func seconds(at time.Duration) string {
	return string(appendNumber(nil, float64(at.Microseconds())/1e6))
}

// appendNumber writes the shortest text that reads back as v.
func appendNumber(b []byte, v float64) []byte {
	if v == 0 {
		v = 0 // no minus zero
	}
	if a := math.Abs(v); a != 0 && (a < 1e-9 || a >= 1e15) {
		return strconv.AppendFloat(b, v, 'e', -1, 64)
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}
