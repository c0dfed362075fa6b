package replay

import (
	"context"
	"errors"
	"io"
	"testing"

	"go.uber.org/goleak"

	"pushback/decode"
	"pushback/obd"
)

// counted yields n records, then an error.
type counted struct {
	n, given int
	err      error
}

func (c *counted) Next(ctx context.Context) (obd.Record, error) {
	if err := ctx.Err(); err != nil {
		return obd.Record{}, err
	}
	if c.given == c.n {
		return obd.Record{}, c.err
	}
	c.given++
	return obd.Record{Seq: int64(c.given - 1)}, nil
}

// numbered gives each record none to two samples of its number.
func numbered(rec obd.Record, out []decode.Sample) ([]decode.Sample, error) {
	for range rec.Seq % 3 {
		out = append(out, decode.Sample{Value: float64(rec.Seq)})
	}
	return out, nil
}

// Read ahead, the records are the same, in the same order, and so is what ends them.
func TestReadAhead(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	broken := errors.New("broken")
	for _, end := range []error{io.EOF, broken} {
		for _, n := range []int{0, 1, 511, 512, 513, 5000} {
			r, stop := NewAhead(t.Context(), &counted{n: n, err: end}, numbered)
			for i := range n {
				rec, err := r.Next(t.Context())
				if err != nil || rec.Seq != int64(i) {
					t.Fatalf("%d of %d: %d, %v", i, n, rec.Seq, err)
				}
				if s := r.Samples(); len(s) != i%3 || len(s) > 0 && s[0].Value != float64(i) {
					t.Fatalf("%d of %d: samples %v", i, n, s)
				}
			}
			for range 2 {
				if _, err := r.Next(t.Context()); err != end {
					t.Errorf("after %d: %v, want %v", n, err, end)
				}
			}
			stop()
		}
	}
	// Left in the middle, it ends.
	r, stop := NewAhead(t.Context(), &counted{n: 1 << 30}, numbered)
	if _, err := r.Next(t.Context()); err != nil {
		t.Fatal(err)
	}
	stop()
}
