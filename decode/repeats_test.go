package decode

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A decoder that has heard a reply before gives what one gives that remembers nothing, whatever was learned in between.
func TestRepeats(t *testing.T) {
	requests := [][]byte{{1, 0x14}, {1, 0x14, 0x14}, {1, 0x24}, {1, 0x4F}, {1, 0x13}, {1, 0x1D}, {1, 0}, {1, 6, 0x0C}}
	replies := [][]byte{{0x41, 0x14, 0x5A, 0x80}, {0x41, 0x14, 0x12, 0xFF}, {0x41, 0x24, 0x80, 0, 0x40, 0}, {0x41, 0x4F, 2, 8, 128, 40}, {0x41, 0x4F, 4, 8, 32, 0},
		{0x41, 0x13, 3}, {0x41, 0x13, 0}, {0x41, 0x1D, 0x31}, {0x41, 0, 0xBE, 0x1F, 0xA8, 0x13}, {0x41, 6, 0x85, 0x0C, 0x10, 0}, {0x41, 6, 0x85, 0x70, 0x0C, 0x10, 0}}
	r := rand.New(rand.NewPCG(1, 2))
	var with, without Decoder
	for i := range 20_000 {
		from := uint32(0x7E8 + r.IntN(2)*r.IntN(2))
		request, reply := requests[r.IntN(len(requests))], replies[r.IntN(len(replies))]
		at := time.Duration(i) * time.Millisecond
		got, err := with.Reply(from, request, reply, at, at+1, nil)
		without.forget()
		want, wantErr := without.Reply(from, request, reply, at, at+1, nil)
		if (err == nil) != (wantErr == nil) || !cmp.Equal(got, want) {
			t.Fatalf("%d: %X to %X: %v, %v, want %v, %v", i, reply, request, got, err, want, wantErr)
		}
	}
}
