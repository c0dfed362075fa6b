package obd

import (
	"encoding/hex"
	"time"
)

// Request is one SAE J1979 request: a service and its data bytes.
type Request struct {
	Service byte
	Data    []byte // PIDs, test ids, …; empty for services 03, 04, 07, 0A
	// Expect is the number of replies (lines on the bus) that the adapter may stop
	// waiting after; 0 lets it wait its time-out out.
	Expect int
}

// Bytes returns the service followed by the data, as they go over the bus.
func (r Request) Bytes() []byte { return r.AppendTo(make([]byte, 0, 1+len(r.Data))) }

// AppendTo appends service and data to b.
func (r Request) AppendTo(b []byte) []byte { return append(append(b, r.Service), r.Data...) }

// Hex returns service and data in capital hexadecimal, "0114". It is how requests
// are stored.
func (r Request) Hex() string { return string(AppendHex(make([]byte, 0, 16), &r)) }

// AppendHex appends a request's Hex to b.
func AppendHex(b []byte, r *Request) []byte {
	const digits = "0123456789ABCDEF"
	b = append(b, digits[r.Service>>4], digits[r.Service&15])
	for _, d := range r.Data {
		b = append(b, digits[d>>4], digits[d&15])
	}
	return b
}

// ParseRequest is the inverse of Hex.
func ParseRequest(s string) (Request, error) {
	b, err := hex.DecodeString(s)
	if err != nil {
		return Request{}, err
	}
	if len(b) == 0 {
		return Request{}, hex.ErrLength
	}
	return Request{Service: b[0], Data: b[1:]}, nil
}

// Outcome says how an exchange went. All are data, none is an error.
type Outcome uint8

const (
	OK           Outcome = iota // at least one computer answered the request
	NoData                      // no computer answered
	Refused                     // a negative reply (7F …) and no positive one
	TimedOut                    // the adapter itself stayed silent
	Garbled                     // something came that must not be believed
	BusError                    // the adapter reports trouble on the bus
	AdapterReset                // the adapter restarted
	LinkLost                    // the line to the adapter is gone
)

var outcomeNames = [...]string{
	"ok", "no data", "refused", "timed out", "garbled", "bus error", "adapter reset", "link lost",
}

func (o Outcome) String() string {
	if int(o) < len(outcomeNames) {
		return outcomeNames[o]
	}
	return "unknown"
}

// Reply is what one computer answered, frames joined and headers removed.
type Reply struct {
	// From is the computer's address: the CAN identifier (7E8, 18DAF110) or the
	// source byte of a K-line or J1850 header; 0 where headers are off.
	From uint32
	Data []byte // the reply's service byte (request + 0x40, or 7F) first
}

// Exchange is one request and what came of it. Records that say the same may share one, so who has it from a record does not change it.
type Exchange struct {
	Request Request
	Outcome Outcome
	Raw     []byte // as the adapter printed it, up to the prompt
	Replies []Reply
	Alike   Alike // not recorded
}

// Alike is the number of an exchange that a source gives again wherever a record says the same: what was found in it need not be
// looked for again. 0: it is not known of which.
type Alike uint32

// Equal reports true: which number a source gave is no part of what an exchange says.
func (Alike) Equal(Alike) bool { return true }

// MarkKind is what the technician says or does.
type MarkKind string

const (
	MarkLean    MarkKind = "lean"    // begins to force lean
	MarkRich    MarkKind = "rich"    // begins to force rich
	MarkRelease MarkKind = "release" // lets go
	MarkOpen    MarkKind = "open"    // has opened the sensor's branch, and touches nothing
	MarkStep    MarkKind = "step"    // what a guide asks for now, in Text: a step of the JSON lines
	MarkNote    MarkKind = "note"    // words, in Text
	MarkStop    MarkKind = "stop"    // ends the session
)

// Mark is one line of the technician's.
type Mark struct {
	Kind MarkKind
	Text string // of a note or a step
}

// Row is a line of values recorded elsewhere: imported sessions consist of rows
// in place of exchanges. Names are the standard's short names, values in the
// standard's units.
type Row struct {
	Names  []string
	Values []float64
}

// Record is one entry of a session; exactly one of Exchange, Mark and Row is set. Its times are offsets from the session's
// start; those of an exchange are whole microseconds.
type Record struct {
	Seq  int64         // 0, 1, 2, … within the session
	Sent time.Duration // when the request of an exchange went out
	At   time.Duration // when it was complete: the reply, or the moment of the mark or row
	*Exchange
	Mark *Mark
	Row  *Row
}
