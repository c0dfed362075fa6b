package session

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/analysis"
	"pushback/decode"
	"pushback/obd"
)

// A judge that is told which exchanges are alike finds in them what one does that is not told, whatever was learned in between.
func TestAlike(t *testing.T) {
	requests := [][]byte{{0x14}, {0x14, 0x14}, {0x24}, {0x4F}, {0x13}, {0x1D}, {0}, {6, 0x0C}}
	replies := [][]byte{{0x41, 0x14, 0x5A, 0x80}, {0x41, 0x14, 0x12, 0xFF}, {0x41, 0x24, 0x80, 0, 0x40, 0}, {0x41, 0x4F, 2, 8, 128, 40}, {0x41, 0x4F, 4, 8, 32, 0},
		{0x41, 0x13, 3}, {0x41, 0x13, 0}, {0x41, 0x1D, 0x31}, {0x41, 0, 0xBE, 0x1F, 0xA8, 0x13}, {0x41, 6, 0x85, 0x0C, 0x10, 0}, {0x41, 6, 0x85, 0x70, 0x0C, 0x10, 0}}
	setup, err := NewSetup("B1S1", string(analysis.ByWire), obd.Format{})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 2))
	with, without := NewJudge(setup), NewJudge(setup)
	again := 0
	for i := range 20_000 {
		// Of each of two computers an answer or none: 0. Numbers that share a place in what is remembered come too.
		q, a, b := r.IntN(len(requests)), r.IntN(len(replies)), r.IntN(3)*r.IntN(len(replies)+1)/2
		at := time.Duration(i) * time.Millisecond
		x := obd.Exchange{Request: obd.Request{Service: 1, Data: requests[q]}, Replies: []obd.Reply{{From: 0x7E8, Data: replies[a]}}}
		if b > 0 {
			x.Replies = append(x.Replies, obd.Reply{From: 0x7E9, Data: replies[b-1]})
		}
		want := without.Decode(obd.Record{Sent: at, At: at + 1, Exchange: &x}, nil)
		x.Alike = 1 + obd.Alike((q*len(replies)+a)*(len(replies)+1)+b)*obd.Alike(len(alike{})/64)
		if a := &alikeOf(with)[x.Alike%obd.Alike(len(alike{}))]; a.number == x.Alike && a.learned == with.decoder.Learned() {
			again++
		}
		if got := with.Decode(obd.Record{Sent: at, At: at + 1, Exchange: &x}, []decode.Sample{{}})[1:]; !cmp.Equal(got, want) && len(got)+len(want) > 0 {
			t.Fatalf("%d: %+v: %v, want %v", i, x, got, want)
		}
	}
	if again < 100 {
		t.Errorf("only %d were remembered: nothing is tested here", again)
	}
}

func alikeOf(j *Judge) *alike {
	if j.alike == nil {
		return new(alike)
	}
	return j.alike
}
