package dossier

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/obd"
)

// records is a source, which ends as err says.
type records struct {
	all []obd.Record
	err error
}

func (r *records) Next(context.Context) (obd.Record, error) {
	if len(r.all) == 0 {
		return obd.Record{}, r.err
	}
	rec := r.all[0]
	r.all = r.all[1:]
	return rec, nil
}

// counted is a hash that counts what it was given.
type counted struct{ n byte }

func (c *counted) Add(obd.Record) error { c.n++; return nil }
func (c *counted) Sum() []byte          { return []byte{c.n} }

func TestCollect(t *testing.T) {
	setup, err := session.NewSetup("B1S1", "wire", obd.Format{})
	if err != nil {
		t.Fatal(err)
	}
	mark := func(at time.Duration, k obd.MarkKind) obd.Record {
		return obd.Record{At: at, Mark: &obd.Mark{Kind: k}}
	}
	row := func(at time.Duration) obd.Record {
		return obd.Record{At: at, Row: &obd.Row{Names: []string{"O2S11", "RPM"}, Values: []float64{0.4, 700}}}
	}
	lost := errors.New("the file is gone")
	for _, tt := range []struct {
		name   string
		src    records
		err    error
		count  int
		forced Forcing
		volts  int
	}{
		{"nothing", records{nil, io.EOF}, nil, 0, NotForced, 0},
		{"readings", records{[]obd.Record{row(0), row(time.Second)}, io.EOF}, nil, 2, NotForced, 2},
		{"said, and not seen", records{[]obd.Record{row(0), mark(time.Second, obd.MarkLean), row(2 * time.Second), mark(3*time.Second, obd.MarkRelease)}, io.EOF}, nil, 4, ForceMarked, 2},
		{"a note is no force", records{[]obd.Record{row(0), mark(time.Second, obd.MarkNote)}, io.EOF}, nil, 2, NotForced, 1},
		{"a source that fails", records{[]obd.Record{row(0)}, lost}, lost, 0, 0, 0},
	} {
		hash := &counted{}
		d, err := Collect(t.Context(), &tt.src, Setup{Setup: setup, Hash: hash, Traces: true, Trims: true})
		if !errors.Is(err, tt.err) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.err)
		}
		if err != nil {
			continue
		}
		if d.Records != tt.count || int(d.Sum[0]) != tt.count || d.Forcing() != tt.forced || d.Trace.Volts.Len() != tt.volts {
			t.Errorf("%s: %d records, %d in the hash, forced %d, %d readings", tt.name, d.Records, d.Sum[0], d.Forcing(), d.Trace.Volts.Len())
		}
		if len(d.Verdict.Proofs) == 0 || tt.forced == NotForced && d.Verdict.Conclusion != analysis.NothingForced {
			t.Errorf("%s: %+v", tt.name, d.Verdict)
		}
	}
}
