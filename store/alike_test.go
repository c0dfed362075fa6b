package store

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/obd"
)

// Exchanges with one number asked and were told the same, and each has the replies that its own text holds, also where a session says
// more different things than are remembered.
func TestAlike(t *testing.T) {
	s := openTest(t, newPath(t))
	w := create(t, s, meta)
	r := rand.New(rand.NewPCG(3, 1))
	for i := range 3 * mostAnswer {
		said := r.IntN(2 * mostAnswer)
		if i%3 == 0 {
			said %= 100 // these say the same again
		}
		rec := exchange(int64(i), time.Duration(i+30)*time.Millisecond, fmt.Sprintf("41 14 %02X %02X", said>>8, said&0xFF))
		rec.Exchange.Request.Data[0] -= byte(r.IntN(2))
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	first, again := map[obd.Alike]*obd.Exchange{}, 0
	for _, rec := range readAll(t, s, w.ID()) {
		x := rec.Exchange
		if want := Replies(x, meta.Format); !cmp.Equal(x.Replies, want) {
			t.Fatalf("record %d: %q holds %v, not %v", rec.Seq, x.Raw, want, x.Replies)
		}
		switch one := first[x.Alike]; {
		case x.Alike == 0:
		case one == nil:
			first[x.Alike] = x
		case !bytes.Equal(one.Raw, x.Raw) || one.Request.Hex() != x.Request.Hex() || one.Outcome != x.Outcome:
			t.Fatalf("record %d: %+v is not like %+v", rec.Seq, x, one)
		default:
			again++
		}
	}
	if len(first) <= mostAnswer || again < mostAnswer/2 {
		t.Errorf("%d numbers, and %d came again: nothing is tested here", len(first), again)
	}
}
