package dossier

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd"
)

// Bundles have all samples, events and marks in the order in which they came, and each that is more than samples at its own time.
func TestBundlesKeepOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	var given, taken []any
	told := func(to *[]any, f session.Frame) {
		for _, s := range f.Samples {
			*to = append(*to, s.Value)
		}
		for _, e := range f.Events {
			*to = append(*to, f.Record.At, e.T)
		}
		if f.Record.Mark != nil || f.Last || f.Record.Exchange != nil && f.Record.Exchange.Outcome != obd.OK {
			*to = append(*to, f.Record.At)
		}
	}
	calls := 0
	var b bundler
	b.take = func(f bundle) {
		for _, one := range f.all {
			told(&taken, one)
			calls++
		}
	}
	const n = 20_000
	for i := range n {
		f := session.Frame{Record: obd.Record{Seq: int64(i), At: time.Duration(i) * time.Millisecond}, Last: i == n-1}
		for range r.IntN(4) {
			f.Samples = append(f.Samples, decode.Sample{Value: r.Float64()})
		}
		switch r.IntN(40) {
		case 0:
			f.Record.Mark = &obd.Mark{Kind: obd.MarkLean}
		case 1:
			f.Record.Exchange = &obd.Exchange{Outcome: obd.LinkLost}
		case 2:
			f.Record.Exchange, f.Events = &obd.Exchange{}, []analysis.Event{{T: float64(i)}}
		default:
			f.Record.Exchange = &obd.Exchange{}
		}
		told(&given, f)
		b.add(&f)
	}
	b.end()
	if diff := cmp.Diff(given, taken); diff != "" {
		t.Errorf("given and taken differ: %.2000s", diff)
	}
	if calls > n/3 {
		t.Errorf("%d frames for %d records: none were joined", calls, n)
	}
}
