package parquet

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"time"

	"github.com/parquet-go/parquet-go"

	"pushback/decode"
	"pushback/obd"
	"pushback/store"
	"pushback/store/transfer"
)

// Format is Parquet.
var Format = transfer.Format{
	Name: "parquet", Extension: ".parquet", About: "typed columns for analysis of many sessions; loses nothing",
	Write: Write,
	Is:    func(head []byte) bool { return bytes.HasPrefix(head, []byte("PAR1")) },
	Open:  func(_ context.Context, path string) (transfer.Reader, error) { return Open(path) },
}

// row is a line of the file: the columns in this order. What describes the session is
// in each line, which costs next to nothing and saves every query a join.
type row struct {
	Session    string    `parquet:"session,dict,zstd"`
	Started    time.Time `parquet:"started,timestamp(microsecond),dict,zstd"`
	Vehicle    string    `parquet:"vehicle,dict,zstd"`
	Label      string    `parquet:"label,dict,zstd"`
	Conclusion string    `parquet:"conclusion,dict,zstd"`
	Seq        int64     `parquet:"seq,delta,zstd"`
	TUS        int64     `parquet:"t_us,delta,zstd"`
	SentUS     int64     `parquet:"sent_us,delta,zstd"` // t_us where nothing was sent
	Kind       string    `parquet:"kind,dict,zstd"`
	Name       *string   `parquet:"name,optional,dict,zstd"`
	Value      *float64  `parquet:"value,optional,dict,zstd"`
	Unit       *string   `parquet:"unit,optional,dict,zstd"`
	Request    *string   `parquet:"request,optional,dict,zstd"`
	Expect     *int32    `parquet:"expect,optional,dict,zstd"`
	Outcome    *string   `parquet:"outcome,optional,dict,zstd"`
	Raw        []byte    `parquet:"raw,optional,zstd"`
	Text       *string   `parquet:"text,optional,zstd"`
}

// groupRows is how many rows are held in memory before they are written.
const groupRows = 1 << 17

// Write writes sessions as one Parquet file.
func Write(ctx context.Context, w io.Writer, sessions iter.Seq2[transfer.Session, error]) error {
	units := map[string]string{"t_us": "us", "sent_us": "us"}
	for _, g := range decode.Signals() {
		units[g.Name] = g.Unit
	}
	text, err := json.Marshal(units)
	if err != nil {
		return err
	}
	out := parquet.NewGenericWriter[row](w,
		parquet.KeyValueMetadata("pushback.table", "1"),
		parquet.KeyValueMetadata("pushback.units", string(text)),
		parquet.CreatedBy("pushback", "1", ""),
		parquet.MaxRowsPerRowGroup(groupRows))
	buf := make([]row, 0, 512)
	flush := func() error {
		_, err := out.Write(buf)
		buf = buf[:0]
		return err
	}
	for s, err := range sessions {
		if err != nil {
			return err
		}
		err := transfer.Rows(ctx, s, func(r *transfer.Row) error {
			if buf = append(buf, rowOf(s.Meta, r)); len(buf) == cap(buf) {
				return flush()
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return errors.Join(flush(), out.Close())
}

func rowOf(m store.Meta, r *transfer.Row) row {
	text := func(s string) *string {
		if s == "" {
			return nil
		}
		return &s
	}
	p := row{Session: m.ID, Started: m.Started.UTC(), Vehicle: m.Vehicle, Label: m.Label, Conclusion: m.Conclusion,
		Seq: r.Seq, TUS: r.At.Microseconds(), SentUS: r.At.Microseconds(), Kind: r.Kind, Name: text(r.Name), Text: text(r.Text)}
	switch r.Kind {
	case "sample":
		v := r.Value
		p.SentUS, p.Value, p.Unit = r.Sent.Microseconds(), &v, text(r.Unit)
	case "exchange":
		expect := int32(r.Expect)
		p.SentUS, p.Request, p.Expect, p.Outcome = r.Sent.Microseconds(), text(r.Request), &expect, text(r.Outcome)
		p.Raw = append([]byte{}, r.Raw...)
	}
	return p
}

// ErrNotOurs says that the columns are not those that this package writes.
var ErrNotOurs = errors.New("the Parquet file was not written by pushback")

const maxFile = 16 << 30 // bytes

// Reader reads the sessions of a Parquet file. Errors name the row.
type Reader struct {
	transfer.Assembler
	file  *os.File
	in    *parquet.GenericReader[row]
	rows  []row
	given int
	n     int64
	out   transfer.Row

	concluded string // the column of the last row
}

// Open opens the file at path.
func Open(path string) (_ *Reader, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			f.Close()
		}
	}()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	r := &Reader{file: f}
	err = guard(func() error {
		if info.Size() > maxFile {
			return fmt.Errorf("larger than %d bytes", int64(maxFile))
		}
		if err := checkFooter(f, info.Size()); err != nil {
			return err
		}
		p, err := parquet.OpenFile(f, info.Size(), parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
		if err != nil {
			return err
		}
		if err := checkColumns(p); err != nil {
			return err
		}
		if err := checkPages(f, p, info.Size()); err != nil {
			return err
		}
		r.in = parquet.NewGenericReader[row](p)
		return nil
	})
	if err != nil {
		return nil, err
	}
	r.rows = make([]row, 0, 256)
	r.Read = r.next
	return r, nil
}

// checkColumns refuses a file whose columns are not ours.
func checkColumns(p *parquet.File) error {
	ours := parquet.SchemaOf(row{})
	if want, got := ours.Fields(), p.Schema().Fields(); len(want) != len(got) {
		return ErrNotOurs
	} else {
		for i := range want {
			if want[i].Name() != got[i].Name() || !got[i].Leaf() || want[i].Type().Kind() != got[i].Type().Kind() || want[i].Optional() != got[i].Optional() {
				return fmt.Errorf("%w: column %.40q", ErrNotOurs, got[i].Name())
			}
		}
	}
	return nil
}

// guard turns a panic of the library over a damaged file into an error.
func guard(f func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the Parquet file is damaged: %v", p)
		}
	}()
	return f()
}

// Session goes on to the next session.
func (r *Reader) Session(ctx context.Context) (store.Meta, error) {
	m, err := r.Assembler.Session(ctx)
	if m.Conclusion == "" {
		m.Conclusion = r.concluded // descriptions had none once
	}
	return m, r.named(err)
}

// Next returns the next record of the session.
func (r *Reader) Next(ctx context.Context) (obd.Record, error) {
	rec, err := r.Assembler.Next(ctx)
	return rec, r.named(err)
}

func (r *Reader) named(err error) error {
	if err == nil || err == io.EOF || errors.Is(err, context.Canceled) {
		return err
	}
	return fmt.Errorf("row %d: %w", r.n, err)
}

// Close closes the file.
func (r *Reader) Close() error {
	return errors.Join(guard(r.in.Close), r.file.Close())
}

func (r *Reader) next() (*transfer.Row, error) {
	if r.given == len(r.rows) {
		r.rows, r.given = r.rows[:cap(r.rows)], 0
		clear(r.rows)
		var n int
		err := guard(func() (err error) { n, err = r.in.Read(r.rows); return err })
		r.rows = r.rows[:max(n, 0)]
		if n <= 0 {
			if err == nil {
				err = io.ErrNoProgress
			}
			return nil, err
		}
		if err != nil && err != io.EOF {
			return nil, err
		}
	}
	p := &r.rows[r.given]
	r.given++
	r.n++
	r.concluded = p.Conclusion
	o := &r.out
	*o = transfer.Row{Session: p.Session, Seq: p.Seq, Kind: p.Kind, Raw: p.Raw}
	var err error
	if o.At, err = micros(p.TUS); err != nil {
		return nil, err
	}
	if o.Sent, err = micros(p.SentUS); err != nil {
		return nil, err
	}
	for _, f := range []struct {
		to   *string
		from *string
	}{{&o.Name, p.Name}, {&o.Unit, p.Unit}, {&o.Request, p.Request}, {&o.Outcome, p.Outcome}, {&o.Text, p.Text}} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	if p.Value != nil {
		o.Value = *p.Value
	}
	if p.Expect != nil {
		o.Expect = int(*p.Expect)
	}
	return o, nil
}

func micros(us int64) (time.Duration, error) {
	const most = int64(400 * 24 * time.Hour / time.Microsecond)
	if us < -most || us > most {
		return 0, fmt.Errorf("time %d us is not within a year of the beginning", us)
	}
	return time.Duration(us) * time.Microsecond, nil
}
