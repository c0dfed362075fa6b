package session

import (
	"errors"
	"slices"

	"pushback/decode"
	"pushback/obd"
)

// Findings is a sink that keeps what the computers told of themselves: trouble codes,
// monitors, their own test results, a freeze frame. What was read again counts as last
// read. It sees records alone, so a live session and a stored one give the same.
type Findings struct {
	decoder *decode.Decoder
	can     bool

	Codes          map[string][]string // as last read, by state: stored, pending, permanent; a state that was not read is missing
	FirstCodes     map[string][]string // as first read
	CodeReadings   map[string]int      // how often each state was read
	Readiness      *decode.Readiness   // of the engine's computer, as last read
	FirstReadiness *decode.Readiness   // as first read: what is complete since is progress
	Tests          []decode.TestResult // services 05 and 06, in order of first reading
	Freeze         *Freeze             // the first code's
	MoreFreeze     []Freeze            // in J1979-2: those of other codes, and of a code that came again
	BeforeClear    *Findings           // what was known when the codes were cleared (service 04); nil: they were not
}

// Freeze is a freeze frame: the conditions when its code was set.
type Freeze struct {
	Code    string
	Samples []decode.Sample // their times mean nothing
	Latest  bool            // not when it was set first, but when it came last
}

// CodeState names what a service that reads trouble codes tells of them; "" for others.
func CodeState(service byte) string {
	switch service {
	case 0x03:
		return "stored"
	case 0x07:
		return "pending"
	case 0x0A:
		return "permanent"
	}
	return ""
}

// NewFindings returns a sink for the records that j judges.
func NewFindings(j *Judge) *Findings {
	return newFindings(&j.decoder, j.can, nil)
}

func newFindings(d *decode.Decoder, can bool, before *Findings) *Findings {
	return &Findings{decoder: d, can: can, BeforeClear: before,
		Codes: map[string][]string{}, FirstCodes: map[string][]string{}, CodeReadings: map[string]int{}}
}

// Write takes one frame.
func (n *Findings) Write(f Frame) error {
	if f.Record.Exchange != nil {
		n.Take(f.Record.Exchange)
	}
	return nil
}

// Take takes one exchange.
func (n *Findings) Take(x *obd.Exchange) {
	if x.Request.Service == 0x01 && len(x.Request.Data) > 0 && !slices.Contains(x.Request.Data, 0x01) {
		return // nearly all
	}
	if state := CodeState(x.Request.Service); state != "" {
		n.codes(state, x)
		return
	}
	if x.Outcome != obd.OK {
		return
	}
	if x.Request.Service == 0x04 {
		before := *n
		*n = *newFindings(n.decoder, n.can, &before)
		return
	}
	request := x.Request.Bytes()
	for _, r := range x.Replies {
		if !n.decoder.FromEngine(r.From) {
			continue
		}
		n.reply(request, r)
	}
}

// readCodes joins the trouble codes of all computers; false when nothing is known.
func readCodes(x *obd.Exchange, can bool) ([]string, bool) {
	if x.Outcome == obd.NoData {
		// Off CAN a computer without codes may stay silent (SAE J1979 services 03
		// and 07, from memory); on CAN it must answer with a count of none.
		return nil, !can
	}
	if x.Outcome != obd.OK {
		return nil, false
	}
	var codes []string
	for _, r := range x.Replies {
		c, err := decode.Codes(x.Request.Service, can, r.Data)
		if err != nil {
			return nil, false
		}
		codes = append(codes, c...)
	}
	slices.Sort(codes)
	return slices.Compact(codes), true
}

// codes takes one reading of a state; one that tells nothing leaves what was known.
func (n *Findings) codes(state string, x *obd.Exchange) {
	codes, ok := readCodes(x, n.can)
	if !ok {
		return
	}
	if n.CodeReadings[state]++; n.CodeReadings[state] == 1 {
		n.FirstCodes[state] = codes
	}
	n.Codes[state] = codes
}

// reply takes one reply of the engine's computer. One that cannot be decoded tells nothing.
func (n *Findings) reply(request []byte, r obd.Reply) {
	switch request[0] {
	case 0x01:
		if ready, err := decode.ReadReadiness(r.Data); err == nil && !ready.ThisCycle {
			n.ready(ready)
		}
	case 0x02:
		if len(request) == 3 && request[1] == 0x02 {
			if code, err := decode.FreezeCode(request, r.Data); err == nil && code != "" {
				n.Freeze = &Freeze{Code: code}
			}
		} else if n.Freeze != nil {
			if s, err := n.decoder.FreezeFrame(r.From, request, r.Data); err == nil {
				n.Freeze.Samples = append(n.Freeze.Samples, s...)
			}
		}
	case 0x19:
		if code, s, err := n.decoder.Snapshot(r.From, request, r.Data); len(s) > 0 && (err == nil || errors.Is(err, decode.ErrUnknownLength)) {
			n.frozen(Freeze{code, s, request[5] == decode.LatestRecord})
		}
		if ready, err := decode.GroupReadiness(request, r.Data); err == nil {
			n.ready(ready)
		}
	case 0x05:
		if t, err := n.decoder.SensorTests(request, r.Data); err == nil {
			n.test(t)
		}
	case 0x06:
		if !n.can {
			if t, err := decode.PartTest(request, r.Data); err == nil {
				n.test(t)
			}
			return
		}
		if all, err := decode.MonitorTests(request, r.Data); err == nil {
			for _, t := range all {
				n.test(t)
			}
		}
	}
}

// frozen takes a whole freeze frame. The latest of a code that never came again is its first once more.
func (n *Findings) frozen(f Freeze) {
	if n.Freeze == nil || n.Freeze.Code == f.Code && n.Freeze.Latest == f.Latest {
		n.Freeze = &f
		return
	}
	same := func(o Freeze) bool {
		return o.Code == f.Code && slices.EqualFunc(o.Samples, f.Samples, func(a, b decode.Sample) bool {
			return a.Signal == b.Signal && a.Missing == b.Missing && (a.Value == b.Value || a.Missing)
		})
	}
	if same(*n.Freeze) || slices.ContainsFunc(n.MoreFreeze, same) {
		return
	}
	n.MoreFreeze = slices.DeleteFunc(n.MoreFreeze, func(o Freeze) bool { return o.Code == f.Code && o.Latest == f.Latest })
	n.MoreFreeze = append(n.MoreFreeze, f)
}

func (n *Findings) ready(r decode.Readiness) {
	n.Readiness = &r
	if n.FirstReadiness == nil {
		n.FirstReadiness = &r
	}
}

func (n *Findings) test(t decode.TestResult) {
	if i := slices.IndexFunc(n.Tests, t.Same); i >= 0 {
		n.Tests[i] = t
		return
	}
	n.Tests = append(n.Tests, t)
}
