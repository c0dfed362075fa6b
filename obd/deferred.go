package obd

import (
	"slices"
	"time"
)

// deferredMost is how long an answer may take after it was put off: P2*, 5 s by ISO 14229-2.
const deferredMost = 5 * time.Second

// later tells the negative codes which say that the answer follows (78) or is to be asked for again
// (21, busy), by ISO 14229-1 and ISO 15031-5.
func later(negative []byte) bool { return negative[2] == 0x78 || negative[2] == 0x21 }

// Pending tells whether nobody has answered and a computer has put its answer off: ask again.
// Where another one has answered that is left at that, for some put off for ever what is not theirs.
func (x *Exchange) Pending() bool {
	return x.Outcome == Refused && slices.ContainsFunc(x.Replies, func(r Reply) bool {
		return len(r.Data) == 3 && r.Data[0] == 0x7F && later(r.Data)
	})
}

// Deferred follows an answer that a computer has put off. The frame that does so (7F … 78) uses
// up the count of replies, and most adapters stop listening before the answer comes. That then
// shows under the next request, which is therefore the same one again, without a count. The zero
// value is ready; give it every exchange in order.
type Deferred struct {
	request string
	since   time.Duration
}

// Again tells whether the request of x is to be made again for its answer, for 5 s at the
// most. Of an answer that has come nobody knows which of the requests it answers: its Sent
// is set back to that of the first.
func (d *Deferred) Again(x *Record) bool {
	if d.request == "" && !x.Pending() { // nearly all
		return false
	}
	hex := x.Request.Hex()
	switch {
	case d.request != hex:
		d.request = ""
		if x.Pending() {
			d.request, d.since = hex, x.Sent
		}
	case (x.Pending() || x.Outcome == NoData) && x.At-d.since < deferredMost:
	default:
		d.request = ""
		if x.Outcome == OK {
			x.Sent = d.since
		}
	}
	return d.request != ""
}
