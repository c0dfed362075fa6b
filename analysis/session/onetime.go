package session

import (
	"slices"

	"pushback/decode"
	"pushback/obd"
)

// Querier takes requests that are made once, between the readings.
type Querier interface {
	Ask(requests ...obd.Request)
	Asked() int // still to come
}

// OneTimeQueries is a sink that has the computers asked, once, what they measured themselves: the
// watched sensor's tests (service 05, on CAN 06 with heaters and fuel system), off CAN the
// maker's own tests (06), permanent codes, and the freeze frame of a stored code. The replies are records like any other;
// [Findings] reads them.
type OneTimeQueries struct {
	querier Querier
	judge   *Judge
	began   bool
	frame   bool // the freeze frame was asked for
	makers  int  // the maker's own tests that were asked for
}

// NewOneTimeQueries returns a sink that has q ask the car that j judges.
func NewOneTimeQueries(q Querier, j *Judge) *OneTimeQueries {
	return &OneTimeQueries{querier: q, judge: j}
}

// Done reports whether all was asked.
func (q *OneTimeQueries) Done() bool { return q.began && q.querier.Asked() == 0 }

// What is asked of service 06: oxygen sensors, their heaters, fuel systems.
var monitorsAsked = [][2]byte{{0x01, 0x10}, {0x41, 0x50}, {0x81, 0x84}}

// mostMakers of the maker's own tests are asked for off CAN: each costs readings of a slow bus.
const mostMakers = 16

// framePIDs are those of a freeze frame that tell under what conditions it was.
var framePIDs = []byte{0x03, 0x04, 0x05, 0x06, 0x07, 0x08, 0x09, 0x0B, 0x0C, 0x0D, 0x10, 0x11}

// Write takes one frame and asks what follows from it.
func (q *OneTimeQueries) Write(f Frame) error {
	if f.Last {
		return nil
	}
	if !q.began && len(f.Samples) > 0 {
		q.begin()
	}
	x := f.Record.Exchange
	if x == nil || x.Outcome != obd.OK {
		return nil
	}
	request := x.Request.Bytes()
	for _, r := range x.Replies {
		if !q.judge.decoder.FromEngine(r.From) {
			continue
		}
		q.follow(request, r.Data)
	}
	return nil
}

func (q *OneTimeQueries) begin() {
	q.began = true
	if q.judge.can {
		q.querier.Ask(obd.Request{Service: 0x0A}, obd.Request{Service: 0x06, Data: []byte{0x00}})
		return
	}
	for _, s := range q.judge.decoder.Sensors() {
		if s.ID() == q.judge.setup.Sensor && 0x14 <= s.PID && s.PID <= 0x1B {
			q.querier.Ask(obd.Request{Service: 0x05, Data: []byte{0x00, 1 << (s.PID - 0x14)}})
		}
	}
	q.querier.Ask(obd.Request{Service: 0x06, Data: []byte{0x00}})
}

// follow asks what a reply makes known.
func (q *OneTimeQueries) follow(request, data []byte) {
	switch {
	case request[0] == 0x03 && !q.frame:
		if codes, err := decode.Codes(0x03, q.judge.can, data); err == nil && len(codes) > 0 {
			q.frame = true
			q.querier.Ask(obd.Request{Service: 0x02, Data: []byte{0x02, 0x00}})
		}
	case request[0] == 0x02 && len(request) == 3 && request[1] == 0x02:
		if code, err := decode.FreezeCode(request, data); err == nil && code != "" {
			q.querier.Ask(obd.Request{Service: 0x02, Data: []byte{0x00, 0x00}})
		}
	case len(request) < 2 || request[1]%0x20 != 0 || !slices.Contains([]byte{2, 5, 6}, request[0]):
	default:
		ids, err := decode.SupportedTests(request, data)
		if err != nil {
			return
		}
		for _, id := range ids {
			q.one(request, id)
		}
	}
}

// one asks for one id that a bit map names.
func (q *OneTimeQueries) one(request []byte, id byte) {
	switch request[0] {
	case 0x02:
		if slices.Contains(framePIDs, id) {
			q.querier.Ask(obd.Request{Service: 0x02, Data: []byte{id, 0x00}})
		}
	case 0x05:
		if id <= 0x0A {
			q.querier.Ask(obd.Request{Service: 0x05, Data: []byte{id, request[2]}})
		}
	case 0x06:
		wanted := id%0x20 == 0 && (id <= 0x80 || !q.judge.can) // the next map
		if !wanted && !q.judge.can && q.makers < mostMakers {
			q.makers++
			wanted = true
		}
		for _, r := range monitorsAsked {
			wanted = wanted || q.judge.can && r[0] <= id && id <= r[1]
		}
		if wanted {
			q.querier.Ask(obd.Request{Service: 0x06, Data: []byte{id}})
		}
	}
}
