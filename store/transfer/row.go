package transfer

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// Row is a line of the long table, which long CSV and Parquet share. Kind says what it
// is and which fields count:
//
//	session   the beginning of a session; Text describes it as JSON
//	visit     a visit that has no session in the file; Text is it as JSON
//	exchange  Request, Expect, Sent, Outcome, Raw: the truth of a recorded session
//	row       a line of values that was recorded elsewhere
//	sample    a value of the exchange or row above: Name, Value, Unit, Sent
//	mark      what the technician did: Name; Text of a note
//	event     what the watcher saw: Name, and Text as JSON
//	verdict   Name is the conclusion, and Text the whole as JSON
//
// For tables of values, sample is all that one needs. To read a session back,
// samples of exchanges, events and the verdict are left aside: they are made again.
type Row struct {
	Session string
	Seq     int64         // of the record
	At      time.Duration // since the session began, whole microseconds
	Sent    time.Duration // of exchange and sample: the car measured between Sent and At
	Kind    string
	Name    string
	Value   float64
	Unit    string
	Request string // hexadecimal
	Expect  int
	Outcome string
	Raw     []byte
	Text    string
}

// head gives the row that describes a session, or a visit alone.
func head(m store.Meta, put func(*Row) error) error {
	if IsVisitAlone(m) {
		text, err := json.Marshal(m.Visit)
		if err != nil {
			return err
		}
		return put(&Row{Seq: -1, Kind: "visit", Text: string(text)})
	}
	text, err := Describe(m)
	if err != nil {
		return err
	}
	return put(&Row{Session: m.ID, Seq: -1, Kind: "session", Text: text})
}

// Rows gives a session to put, row by row. A row is put's until it returns.
func Rows(ctx context.Context, s Session, put func(*Row) error) error {
	m := s.Meta
	if err := head(m, put); err != nil || IsVisitAlone(m) {
		return err
	}
	seq := int64(-1)
	for l, err := range s.Lines {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
		rec := l.Record
		seq = rec.Seq
		r := Row{Session: m.ID, Seq: rec.Seq, At: rec.At}
		switch {
		case rec.Mark != nil:
			r.Kind, r.Name, r.Text = "mark", string(rec.Mark.Kind), rec.Mark.Text
		case rec.Exchange != nil:
			x := rec.Exchange
			r.Kind, r.Sent = "exchange", rec.Sent
			r.Request, r.Expect, r.Outcome, r.Raw = x.Request.Hex(), x.Request.Expect, x.Outcome.String(), x.Raw
		default:
			r.Kind = "row"
		}
		if err := put(&r); err != nil {
			return err
		}
		value := func(name, unit string, v float64, sent, at time.Duration) error {
			return put(&Row{Session: m.ID, Seq: rec.Seq, At: at, Sent: sent, Kind: "sample", Name: name, Value: v, Unit: unit})
		}
		if rec.Row != nil {
			for i, name := range rec.Row.Names {
				unit := ""
				if g := decode.ByName(name); g != nil {
					unit = g.Unit
				}
				if err := value(name, unit, rec.Row.Values[i], rec.At, rec.At); err != nil {
					return err
				}
			}
			continue
		}
		for _, x := range l.Samples {
			if x.Missing {
				continue
			}
			if err := value(x.Signal.Name, x.Signal.Unit, x.Value, x.Sent, x.Received); err != nil {
				return err
			}
		}
	}
	for _, e := range s.Judgement.Events {
		var j struct {
			T    float64 `json:"t"`
			Name string  `json:"event"`
		}
		if err := json.Unmarshal(e, &j); err != nil {
			return err
		}
		at := time.Duration(math.Round(j.T*1e6)) * time.Microsecond
		if err := put(&Row{Session: m.ID, Seq: seq, At: at, Kind: "event", Name: j.Name, Text: string(e)}); err != nil {
			return err
		}
	}
	if v := s.Judgement.Verdict; v != nil {
		return put(&Row{Session: m.ID, Seq: seq, At: m.Duration, Kind: "verdict", Name: s.Judgement.Conclusion, Text: string(v)})
	}
	return nil
}

// Limits on what is read of one session.
const (
	maxTime   = 366 * 24 * time.Hour
	maxText   = 64 << 10
	maxValues = 256 // in a row
)

// Assembler makes sessions of the rows of a long table: a [Reader] but for Close. Read
// gives the next row, which is the assembler's until the next call, or io.EOF.
type Assembler struct {
	Read func() (*Row, error)

	ahead *Row // read, not used yet
	meta  store.Meta
	last  obd.Record
	first bool // no record was given yet
	err   error
}

func (a *Assembler) row() (*Row, error) {
	if r := a.ahead; r != nil {
		a.ahead = nil
		return r, nil
	}
	if a.err != nil {
		return nil, a.err
	}
	r, err := a.Read()
	if err == nil {
		err = r.check()
	}
	if err != nil {
		a.err = err
		return nil, err
	}
	return r, nil
}

func (r *Row) check() error {
	switch {
	case r.At < 0 || r.At > maxTime || r.At%time.Microsecond != 0:
		return fmt.Errorf("time %v is not within a year of the beginning", r.At)
	case r.Sent < -time.Hour || r.Sent > r.At && (r.Kind == "exchange" || r.Kind == "sample") || r.Sent%time.Microsecond != 0:
		return fmt.Errorf("sent at %v, received at %v", r.Sent, r.At)
	case len(r.Text) > maxText && r.Kind != "verdict" || len(r.Raw) > maxText:
		return errors.New("a text is too long")
	case len(r.Name) > 64 || len(r.Session) > 64 || len(r.Request) > 64:
		return errors.New("a name is too long")
	}
	return nil
}

// Session skips what is left of the session before and describes the next.
func (a *Assembler) Session(ctx context.Context) (store.Meta, error) {
	for {
		if err := ctx.Err(); err != nil {
			return store.Meta{}, err
		}
		r, err := a.row()
		if err != nil {
			return store.Meta{}, err
		}
		if r.Kind == "visit" {
			a.first, a.meta = true, store.Meta{Visit: new(store.Visit)}
			if err := json.Unmarshal([]byte(r.Text), a.meta.Visit); err != nil {
				a.err = fmt.Errorf("read a visit: %w", err)
			} else if a.meta.Visit.Opened.IsZero() {
				a.err = errors.New("read a visit: it has no time")
			}
			return a.meta, a.err
		}
		if r.Kind != "session" {
			if a.meta.ID == "" && !a.first {
				return store.Meta{}, errors.New("the table does not begin with a row that describes a session")
			}
			continue
		}
		a.first = true
		if a.meta, err = Described(r.Text); err != nil {
			a.err = fmt.Errorf("session %.20q: %w", r.Session, err)
			return store.Meta{}, a.err
		}
		if a.meta.ID = r.Session; IsVisitAlone(a.meta) {
			a.err = errors.New("a session of a visit has no name")
		}
		return a.meta, a.err
	}
}

// Next returns the next record of the session.
func (a *Assembler) Next(ctx context.Context) (obd.Record, error) {
	if err := ctx.Err(); err != nil {
		return obd.Record{}, err
	}
	for {
		r, err := a.row()
		if err != nil {
			return obd.Record{}, err
		}
		if r.Kind == "session" || r.Kind == "visit" {
			a.ahead = r
			return obd.Record{}, io.EOF
		}
		rec := obd.Record{Seq: r.Seq, At: r.At}
		switch r.Kind {
		case "exchange":
			rec.Sent = r.Sent
			x := &obd.Exchange{Raw: append([]byte{}, r.Raw...)}
			if x.Request, err = obd.ParseRequest(r.Request); err != nil {
				return a.fail(fmt.Errorf("request %.20q: %w", r.Request, err))
			}
			x.Request.Expect = r.Expect
			if x.Outcome, err = store.ParseOutcome(r.Outcome); err != nil {
				return a.fail(err)
			}
			x.Replies = store.Replies(x, a.meta.Format)
			rec.Exchange = x
		case "mark":
			switch k := obd.MarkKind(r.Name); k {
			case obd.MarkLean, obd.MarkRich, obd.MarkRelease, obd.MarkOpen, obd.MarkStep, obd.MarkNote, obd.MarkStop:
				rec.Mark = &obd.Mark{Kind: k, Text: r.Text}
			default:
				return a.fail(fmt.Errorf("mark %.20q", r.Name))
			}
		case "row":
			if rec.Row, err = a.values(r.Seq); err != nil {
				return a.fail(err)
			}
		case "sample", "event", "verdict":
			continue
		default:
			return a.fail(fmt.Errorf("kind %.20q", r.Kind))
		}
		if a.first {
			a.first, a.last = false, obd.Record{Seq: -1}
		}
		if rec.Seq <= a.last.Seq || rec.At < a.last.At {
			return a.fail(fmt.Errorf("record %d at %v does not follow record %d at %v", rec.Seq, rec.At, a.last.Seq, a.last.At))
		}
		a.last = rec
		return rec, nil
	}
}

func (a *Assembler) fail(err error) (obd.Record, error) {
	a.err, a.ahead = err, nil
	return obd.Record{}, err
}

// values collects the samples of a row.
func (a *Assembler) values(seq int64) (*obd.Row, error) {
	row := &obd.Row{}
	for {
		r, err := a.row()
		if err == io.EOF {
			return row, nil
		}
		if err != nil {
			return nil, err
		}
		if r.Kind != "sample" || r.Seq != seq {
			a.ahead = r
			return row, nil
		}
		switch {
		case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
			return nil, fmt.Errorf("%.20q is %v", r.Name, r.Value)
		case len(row.Names) == maxValues:
			return nil, fmt.Errorf("record %d has more than %d values", seq, maxValues)
		case r.Name == "" || strings.ContainsAny(r.Name, " \t\r\n"):
			return nil, fmt.Errorf("%.20q is no signal's name", r.Name)
		}
		row.Names = append(row.Names, r.Name)
		row.Values = append(row.Values, r.Value)
	}
}
