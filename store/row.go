package store

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"pushback/decode"
	"pushback/obd"
)

// batch is a run of records with their samples, in forms that no caller can change.
type batch struct {
	records []recordRow
	samples []sampleRow
}

type recordRow struct {
	seq, at        int64
	kind           string
	request        string
	expect         int
	sent, received int64
	outcome        string
	raw            []byte
	mark, text     string
	names, vals    string
}

type sampleRow struct {
	signal              *decode.Signal
	seq, sent, received int64
	value               float64
	missing             bool
}

// from makes it the row of a record: one for each of millions, most of which ask what the one before asked.
func (row *recordRow) from(rec obd.Record) error {
	request := row.request
	*row = recordRow{seq: rec.Seq, at: rec.At.Microseconds()}
	if rec.At%time.Microsecond != 0 {
		return fmt.Errorf("%d ns is not whole microseconds", rec.At)
	}
	switch {
	case rec.Exchange != nil && rec.Mark == nil && rec.Row == nil:
		x := rec.Exchange
		if rec.Sent%time.Microsecond != 0 {
			return fmt.Errorf("%d ns is not whole microseconds", rec.Sent)
		}
		row.kind = "exchange"
		var room [16]byte
		if hex := obd.AppendHex(room[:0], &x.Request); string(hex) != request {
			request = string(hex)
		}
		row.request, row.expect = request, x.Request.Expect
		row.sent, row.received = rec.Sent.Microseconds(), row.at
		row.outcome = x.Outcome.String()
		row.raw = x.Raw
	case rec.Mark != nil && rec.Exchange == nil && rec.Row == nil:
		row.kind, row.mark, row.text = "mark", string(rec.Mark.Kind), rec.Mark.Text
	case rec.Row != nil && rec.Exchange == nil && rec.Mark == nil:
		row.kind = "row"
		if len(rec.Row.Names) != len(rec.Row.Values) {
			return fmt.Errorf("%d names for %d values", len(rec.Row.Names), len(rec.Row.Values))
		}
		for _, n := range rec.Row.Names {
			if n == "" || strings.ContainsAny(n, " \t\r\n") {
				return fmt.Errorf("%q is no signal name", n)
			}
		}
		row.names = strings.Join(rec.Row.Names, " ")
		var vals []byte
		for i, v := range rec.Row.Values {
			if i > 0 {
				vals = append(vals, ' ')
			}
			vals = strconv.AppendFloat(vals, v, 'g', -1, 64)
		}
		row.vals = string(vals)
	default:
		return errors.New("it must be one of exchange, mark and row")
	}
	return nil
}
