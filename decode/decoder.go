package decode

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"
)

// What is wrong with a reply. The errors of this package wrap one of these.
var (
	ErrShort   = errors.New("reply is too short")
	ErrLong    = errors.New("reply is too long")
	ErrForeign = errors.New("reply does not belong to the request")
	ErrRefused = errors.New("computer refuses the request")
	// ErrUnknownLength ends the splitting of a reply with several PIDs: what follows
	// a PID of unknown length cannot be told apart.
	ErrUnknownLength = errors.New("reply holds a PID of unknown length")
)

// Decoder turns the replies of one vehicle into samples. The zero value is ready.
// It learns from the replies themselves which PIDs each computer supports, which
// computer is the engine's, and which oxygen sensor each PID means. Not for
// concurrent use.
type Decoder struct {
	computers []computer // by address
	engine    int        // index in computers + 1; 0 while not known
	learned   int        // how often something was
}

// computer is what is known of one control unit.
type computer struct {
	addr      uint32
	supported [8]uint32        // PIDs 32·i+1 … 32·i+32, the first in the highest bit
	seen      uint8            // bit i: supported[i] was read
	present   [2]byte          // sensors present: PID 13, PID 1D; 0 while not read
	scales    [fullScales]byte // declared by PIDs 4F and 50; 0: the usual one
}

func (c *computer) supports(pid byte) bool {
	if pid%0x20 == 0 && c.seen&(1<<(pid/0x20)) != 0 { // a bitmap that was read, announced or not
		return true
	}
	if pid == 0 {
		return false
	}
	return c.supported[(pid-1)/32]<<((pid-1)%32)&(1<<31) != 0
}

// Reply decodes one reply of service 01 and appends its samples to out.
//
// from is the computer's address, 0 where headers are off; request is the service
// byte and the PIDs asked for; data the reply, its service byte first, in the words of J1979
// (41 0C …) or of J1979-2 (62 F4 0C …). Samples come
// from the engine's computer only, once that is known, and from any before. A PID
// that the engine's computer leaves out of a reply to several gives Missing samples.
// Sensor PIDs 16 to 1B, 26 to 2B and 36 to 3B give samples only after PID 13 or 1D.
// Bitmaps (00, 20, …), layouts (13, 1D) and scales (4F, 50) are learned and give none; a
// scale holds for what is decoded after it. Replies to other services give no samples and no
// error.
//
// A reply that does not fit its request gives no sample and an error that wraps
// [ErrShort], [ErrLong], [ErrForeign] or [ErrRefused]. With [ErrUnknownLength] the
// samples before that PID are good.
func (d *Decoder) Reply(from uint32, request, data []byte, sent, received time.Duration, out []Sample) ([]Sample, error) {
	if err := matches(request, data); err != nil {
		return out, err
	}
	if request[0] != 1 {
		d.computer(from)
		return out, nil
	}
	var before computer
	if i, ok := d.find(from); ok {
		before = d.computers[i]
	}
	var parts [maxParts]part
	ids := identifiers{} // J1979 names a PID by itself
	if data[0] == byID {
		ids.page = page(request[0])
	}
	n, err := before.split(&parts, request[1:], data[1:], ids)
	if err != nil && !errors.Is(err, ErrUnknownLength) {
		return out, err
	}
	c := d.computer(from)
	for _, p := range parts[:n] {
		d.learn(&d.computers[c], p.pid, p.data)
	}
	if d.engine != 0 && d.engine != c+1 {
		return out, nil
	}
	for _, p := range parts[:n] {
		out = d.computers[c].samples(p.pid, p.data, sent, received, out)
	}
	if err == nil && d.engine != 0 && from != 0 {
		for _, pid := range request[1:] {
			if !slices.ContainsFunc(parts[:n], func(p part) bool { return p.pid == pid }) {
				out = d.computers[c].missing(pid, sent, received, out)
			}
		}
	}
	return out, err
}

// Learned counts what the replies have told about the car: while it stays, the same replies give the same samples.
func (d *Decoder) Learned() int { return d.learned }

// Missing appends, marked Missing, the samples that a reply to the request would
// have brought.
func (d *Decoder) Missing(request []byte, sent, received time.Duration, out []Sample) []Sample {
	if len(request) == 0 || request[0] != 1 {
		return out
	}
	for i, pid := range request[1:] {
		if slices.Contains(request[1:1+i], pid) { // asked for twice, against damage
			continue
		}
		out = d.known().missing(pid, sent, received, out)
	}
	return out
}

// Supports reports whether the engine's computer says that it supports the PID of
// service 01; while that computer is not known, whether any does.
func (d *Decoder) Supports(pid byte) bool {
	if d.engine != 0 {
		return d.computers[d.engine-1].supports(pid)
	}
	return d.AnySupports(pid)
}

// SupportedBy reports whether the computer at addr says that it supports the PID of service
// 01. Without headers all computers are one, at 0.
func (d *Decoder) SupportedBy(addr uint32, pid byte) bool {
	i, ok := d.find(addr)
	return ok && d.computers[i].supports(pid)
}

// AnySupports reports whether any computer says that it supports the PID of service 01.
func (d *Decoder) AnySupports(pid byte) bool {
	return slices.ContainsFunc(d.computers, func(c computer) bool { return c.supports(pid) })
}

// Computers returns the addresses of the computers that answered, lowest first.
func (d *Decoder) Computers() []uint32 {
	out := make([]uint32, len(d.computers))
	for i, c := range d.computers {
		out[i] = c.addr
	}
	return out
}

// Engine returns the address of the engine's computer: the lowest one that supports
// fuel status, trim or oxygen sensors (PIDs 03, 06, 13, 14, 1D). 0 while it is not
// known, and where headers are off.
func (d *Decoder) Engine() uint32 {
	if d.engine == 0 {
		return 0
	}
	return d.computers[d.engine-1].addr
}

// FromEngine reports whether a reply from this address is the engine's computer's, or may be
// as far as is known.
func (d *Decoder) FromEngine(from uint32) bool {
	engine := d.Engine()
	return engine == 0 || from == 0 || from == engine
}

// known returns the computer to judge by: the engine's, or the only one, or one of
// which nothing is known.
func (d *Decoder) known() *computer {
	switch {
	case d.engine != 0:
		return &d.computers[d.engine-1]
	case len(d.computers) == 1:
		return &d.computers[0]
	}
	return &computer{}
}

// find returns where the computer at addr is, or belongs.
func (d *Decoder) find(addr uint32) (int, bool) {
	if len(d.computers) > 0 && d.computers[0].addr == addr { // most cars have one
		return 0, true
	}
	return slices.BinarySearchFunc(d.computers, addr, func(c computer, a uint32) int { return cmp.Compare(c.addr, a) })
}

// computer returns the index of the computer at addr, adding it when it is new.
func (d *Decoder) computer(addr uint32) int {
	i, ok := d.find(addr)
	if !ok {
		d.learned++
		d.computers = slices.Insert(d.computers, i, computer{addr: addr})
		d.choose()
	}
	return i
}

// choose finds the engine's computer again.
func (d *Decoder) choose() {
	d.engine = 0
	for i := range d.computers {
		c := &d.computers[i]
		if c.supports(0x03) || c.supports(0x06) || c.supports(0x13) || c.supports(0x14) || c.supports(0x1D) {
			d.engine = i + 1
			return
		}
	}
}

// learn takes from one PID of a reply what it says about the vehicle.
func (d *Decoder) learn(c *computer, pid byte, data []byte) {
	if pid%0x20 == 0 || pid == 0x13 || pid == 0x1D || pid == 0x4F || pid == 0x50 {
		d.learned++
	}
	switch {
	case pid%0x20 == 0:
		m := binary.BigEndian.Uint32(data)
		if c.addr == 0 { // without headers all computers are one
			m |= c.supported[pid/0x20]
		}
		c.supported[pid/0x20] = m
		c.seen |= 1 << (pid / 0x20)
		d.choose()
	case pid == 0x13:
		c.present[0] = data[0]
	case pid == 0x1D:
		c.present[1] = data[0]
	case pid == 0x4F, pid == 0x50:
		for i, d := range declarations {
			if d.pid == pid {
				c.scales[i] = data[d.at]
			}
		}
	}
}

// samples appends the samples of one PID with its data.
func (c *computer) samples(pid byte, data []byte, sent, received time.Duration, out []Sample) []Sample {
	for i := 0; ; i++ {
		l := c.spec(pid, i)
		if l == nil || l.at+l.size > len(data) { // the second bank of a trim is optional
			return out
		}
		s := Sample{Signal: &l.Signal, Sent: sent, Received: received}
		if raw := l.raw(data); l.absent(raw, data) {
			s.Missing = true
		} else {
			s.Value = l.value(raw, c.scales[l.declared])
		}
		out = append(out, s)
	}
}

// missing appends the samples that the PID would have brought.
func (c *computer) missing(pid byte, sent, received time.Duration, out []Sample) []Sample {
	n := c.length(pid)
	for i := 0; ; i++ {
		l := c.spec(pid, i)
		if l == nil || l.at+l.size > n {
			return out
		}
		out = append(out, Sample{Signal: &l.Signal, Sent: sent, Received: received, Missing: true})
	}
}

// matches checks that the reply answers the request's service, in the words of J1979 or in those
// of J1979-2.
func matches(request, data []byte) error {
	cause := ErrForeign
	switch {
	case len(data) == 0:
		cause = ErrShort
	case len(request) == 0:
	case data[0] == 0x7F && len(data) >= 2 && (data[1] == request[0] || data[1] == secondService(request[0])):
		cause = ErrRefused
	case data[0] == byID && len(data) < 3:
		cause = ErrShort
	case data[0] == byID && (page(request[0]) == 0 || data[1] != page(request[0])):
	case data[0] == request[0]|0x40:
		return nil
	case data[0] == secondService(request[0])|0x40 && data[0] != 0x40:
		return nil
	}
	return fmt.Errorf("match reply %X to request %X: %w", data, request, cause)
}
