package session

import (
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

	Codes     map[string][]string // by state: stored, pending, permanent; a state that was not read is missing
	Readiness *decode.Readiness   // of the engine's computer
	Began     *decode.Readiness   // the same as first read: what is complete since is progress
	Tests     []decode.TestResult // services 05 and 06, in order of first reading
	Freeze    *Freeze
	Cleared   *Findings // what was known when the codes were cleared (service 04); nil: they were not
}

// Freeze is a freeze frame: the conditions when its code was set.
type Freeze struct {
	Code    string
	Samples []decode.Sample // their times mean nothing
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
	return &Findings{decoder: &j.decoder, can: j.can, Codes: map[string][]string{}}
}

// Write takes one frame.
func (n *Findings) Write(f Frame) error {
	x := f.Record.Exchange
	if x == nil || x.Outcome != obd.OK {
		return nil
	}
	if x.Request.Service == 0x04 {
		before := *n
		*n = Findings{decoder: n.decoder, can: n.can, Codes: map[string][]string{}, Cleared: &before}
		return nil
	}
	if state := CodeState(x.Request.Service); state != "" {
		n.codes(state, x)
		return nil
	}
	if x.Request.Service == 0x01 && len(x.Request.Data) > 0 && !slices.Contains(x.Request.Data, 0x01) {
		return nil // nearly all records
	}
	request := x.Request.Bytes()
	for _, r := range x.Replies {
		if engine := n.decoder.Engine(); engine != 0 && r.From != 0 && r.From != engine {
			continue
		}
		n.reply(request, r)
	}
	return nil
}

// codes joins those of all computers; a reply that cannot be read leaves what was known.
func (n *Findings) codes(state string, x *obd.Exchange) {
	all := []string{}
	for _, r := range x.Replies {
		c, err := decode.Codes(x.Request.Service, n.can, r.Data)
		if err != nil {
			return
		}
		all = append(all, c...)
	}
	slices.Sort(all)
	n.Codes[state] = slices.Compact(all)
}

// reply takes one reply of the engine's computer. One that cannot be decoded tells nothing.
func (n *Findings) reply(request []byte, r obd.Reply) {
	switch request[0] {
	case 0x01:
		if len(r.Data) < 2 || r.Data[1] != 0x01 {
			return
		}
		if ready, err := decode.ReadReadiness(r.Data); err == nil && !ready.ThisCycle {
			n.Readiness = &ready
			if n.Began == nil {
				n.Began = &ready
			}
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

func (n *Findings) test(t decode.TestResult) {
	if i := slices.IndexFunc(n.Tests, t.Same); i >= 0 {
		n.Tests[i] = t
		return
	}
	n.Tests = append(n.Tests, t)
}
