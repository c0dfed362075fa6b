package simcar

import (
	"math/rand/v2"
	"slices"
	"time"

	"pushback/obd"
)

// The services of SAE J1979-2 (OBD on UDS), written apart from the client. The standard was
// not at hand: layouts are those of ISO 14229-1 and ISO 27145 as the sister standard for
// electric cars (J1979-3) and traces of such vehicles show them; what is from memory says so.

// udsSpec is how a car that speaks SAE J1979-2 answers.
type udsSpec struct {
	most      int              // data identifiers in one request; for more it answers 7F 22 13
	whole     bool             // one unknown identifier has it refuse the whole request
	noVersion bool             // it does not know F810, as a van that was met does not
	readiness bool             // it keeps F401 (whether petrol cars do is not known)
	second    bool             // a second unit answers, its engine speed unscaled, as was met
	pending   float64          // share of requests that are first answered by 7F xx 78
	late      [2]time.Duration // how long after it the answer follows; at most 5 s (P2*)
	old       bool             // by its own address it says 7F xx 11 to the old services; else it is silent
	permanent []uint16         // codes that clearing does not take away
}

// Dialect is what the car speaks.
func (c Car) Dialect() obd.Dialect {
	if c.uds != nil {
		return obd.J1979v2
	}
	return obd.J1979
}

// mayBeSecond has a quarter of the random cars with a CAN bus speak SAE J1979-2, with habits that were met or are feared. It draws
// by itself, so that cars are what they were before but for that.
func (c *Car) mayBeSecond(seed uint64) {
	r := dice{rand.New(rand.NewPCG(seed, 0x6469616C656374))}
	if c.Bus.CAN() && r.chance(0.25) {
		c.second(r)
	}
}

// second has the car speak SAE J1979-2.
func (c *Car) second(r dice) {
	c.uds = &udsSpec{most: []int{1, 2, 3, 6}[r.IntN(4)], whole: r.chance(0.2), noVersion: r.chance(0.3), readiness: r.chance(0.5), second: r.chance(0.2), old: r.chance(0.3)}
	if r.chance(0.2) {
		c.uds.pending, c.uds.late = 0.01, [2]time.Duration{200 * time.Millisecond, 1500 * time.Millisecond}
	}
}

// RandomSecond is a sound car of RandomSound on CAN that speaks SAE J1979-2.
func RandomSecond(seed uint64) Config {
	cfg := RandomSound(seed)
	cfg.Car.Bus = obd.CAN11at500
	cfg.Car.second(dice{rand.New(rand.NewPCG(seed, 0x7365636F6E64))})
	return cfg
}

// secondNode is the unit that answers engine speed in revolutions where quarters are due.
var secondNode = node{can: 0x7EA, address: 0x59}

// message is one message of a computer and how much later it comes than is usual.
type message struct {
	data []byte
	late time.Duration
}

// More reasons of negative responses (ISO 14229-1).
const (
	unknownSubFunction = 0x12
	wrongLength        = 0x13
	busyRepeat         = 0x21
	conditionsNotMet   = 0x22
	outOfRange         = 0x31
	pendingAnswer      = 0x78
	notInSession       = 0x7F
	notInSession2      = 0x7E
)

// emissions is the functional group of emission-related codes.
const emissions = 0x33

// udsMessages is what a unit answers: a request to all never gets 7F xx 11, 12, 31, 7E or 7F
// (ISO 14229-1), and one in pending begins with 7F xx 78.
func (s *Sim) udsMessages(n *node, functional bool, request []byte) []message {
	c := s.car
	u := c.spec.uds
	if len(request) == 0 || s.now < c.udsBusy && n.engine {
		if n.engine && len(request) > 0 {
			return []message{{data: []byte{negative, request[0], busyRepeat}}}
		}
		return nil
	}
	if request[0] < 0x10 && !u.old {
		return nil
	}
	out := c.uds(n, request)
	if len(out) == 3 && out[0] == negative && functional &&
		slices.Contains([]byte{unknownService, unknownSubFunction, outOfRange, notInSession, notInSession2}, out[2]) {
		return nil
	}
	if out == nil {
		return nil
	}
	if n.engine && u.pending > 0 && s.scatter.Float64() < u.pending {
		wait := u.late[0] + time.Duration(s.scatter.Float64()*float64(u.late[1]-u.late[0]))
		c.udsBusy = s.now + wait
		return []message{{data: []byte{negative, request[0], pendingAnswer}}, {data: out, late: wait}}
	}
	return []message{{data: out}}
}

// uds answers one request by the unit's own address.
func (c *car) uds(n *node, request []byte) []byte {
	service, data := request[0], request[1:]
	out, why := []byte(nil), byte(unknownService)
	switch service {
	case 0x10: // session control: the default one and an extended one
		switch {
		case len(data) != 1:
			why = wrongLength
		case data[0]&0x7F != 1 && data[0]&0x7F != 3:
			why = unknownSubFunction
		default:
			out = []byte{0x50, data[0] & 0x7F, 0x00, 0x32, 0x01, 0xF4} // P2 50 ms, P2* 5 s
		}
	case 0x14:
		out, why = c.udsClear(n, data)
	case 0x19:
		out, why = c.udsCodes(n, data)
	case 0x22:
		out, why = c.udsRead(n, data)
	case 0x3E: // tester present
		switch {
		case len(data) != 1:
			why = wrongLength
		case data[0]&0x7F != 0:
			why = unknownSubFunction
		default:
			out = []byte{0x7E, 0x00}
		}
	}
	if out == nil {
		return []byte{negative, service, why}
	}
	// Bit 7 of a sub-function asks for no positive answer.
	if slices.Contains([]byte{0x10, 0x19, 0x3E}, service) && data[0]&0x80 != 0 {
		return nil
	}
	return out
}

// udsClear is service 14: the emission-related codes or all. A running engine forbids it
// (from memory).
func (c *car) udsClear(n *node, data []byte) ([]byte, byte) {
	switch {
	case len(data) != 3:
		return nil, wrongLength
	case data[0] != 0xFF || data[1] != 0xFF || data[2] != emissions && data[2] != 0xFF:
		return nil, outOfRange
	case n.engine && c.computer.data.rpm > 0:
		return nil, conditionsNotMet
	case n.engine:
		c.computer.clearCodes()
	}
	return []byte{0x54}, 0
}

// udsRead is service 22.
func (c *car) udsRead(n *node, data []byte) ([]byte, byte) {
	u := c.spec.uds
	if len(data) == 0 || len(data)%2 != 0 || len(data) > 2*u.most {
		return nil, wrongLength
	}
	out := []byte{0x62}
	for d := range slices.Chunk(data, 2) {
		v := c.identifier(n, d[0], d[1])
		if v == nil && u.whole {
			return nil, outOfRange
		}
		if v != nil {
			out = append(append(out, d...), v...)
		}
	}
	if len(out) == 1 {
		return nil, outOfRange
	}
	return out, 0
}

// identifier returns the data of a data identifier, nil where the unit has none: F4xx as
// service 01, F5xx the PIDs from 100 on, F6xx the monitors' results, F8xx information
// (ISO 14229-1, table C.1).
func (c *car) identifier(n *node, page, id byte) []byte {
	switch page {
	case 0xF4:
		switch {
		case id == 0x01 && !c.spec.uds.readiness:
			return nil
		case id == 0x0C && n == &secondNode:
			return two(c.computer.data.rpm)
		case id == 0x00 && !c.spec.uds.readiness:
			m := c.bitMap(n, 0)
			m[0] &^= 0x80
			return m
		case c.tells(n, id):
			return c.encode(n, id, &c.computer.data)
		}
	case 0xF6:
		if n.engine {
			return c.udsResults(id)
		}
	case 0xF8:
		if n.engine || id == 0x10 {
			return c.udsInfo(id)
		}
	}
	return nil
}

// udsResults are the records of service 06 without the monitor's number, which the
// identifier has (from memory).
func (c *car) udsResults(monitor byte) []byte {
	whole := c.service06(monitor)
	if whole == nil || monitor%0x20 == 0 {
		return slices.Clip(whole)[min(2, len(whole)):]
	}
	var out []byte
	for record := range slices.Chunk(whole[1:], 9) {
		out = append(out, record[1:]...)
	}
	return out
}

// udsInfo is vehicle information. The VIN has no count before it, unlike in service 09.
func (c *car) udsInfo(id byte) []byte {
	has := []byte{0x02, 0x04, 0x06, 0x0A}
	if !c.spec.uds.noVersion {
		has = append(has, 0x10)
	}
	fixed := func(text string, n int) []byte { return append([]byte(text), make([]byte, n-len(text))...) }
	switch {
	case id == 0x00:
		bits := make([]byte, 4)
		for _, d := range has {
			bits[(d-1)/8] |= 0x80 >> ((d - 1) % 8)
		}
		return bits
	case !slices.Contains(has, id):
		return nil
	case id == 0x02:
		return []byte(vin)
	case id == 0x04:
		return fixed("SIMULATED-CAL-1", 16)
	case id == 0x06:
		return []byte{0x53, 0x49, 0x4D, 0x31}
	case id == 0x0A:
		return fixed("ECM\x00-EngineControl", 20)
	}
	return []byte{0x01} // F810: the protocol's version
}

// Status bits of a code (ISO 14229-1), and what this computer keeps of them.
const (
	statusStored       = 0xA8 // lamp, failed since cleared, confirmed
	statusPending      = 0x27 // failed, this cycle, pending, since cleared
	statusNotCompleted = 0x50 // since cleared, and this cycle
	statusAvailable    = 0xFF
	severityClass      = 0x22 // maintenance only, class 1
	severityAvailable  = 0xE2
	codeFormat         = 0x04 // SAE J2012-DA, three bytes
)

// failureType is the third byte of a code: what is wrong with the circuit (SAE J2012-DA;
// 11 and 12, short to ground and to battery, from memory).
func failureType(code uint16) byte {
	switch code {
	case 0x0131, 0x0151:
		return 0x11
	case 0x0132, 0x0152:
		return 0x12
	}
	return 0x00
}

// udsCode is a code with its status.
type udsCode struct {
	code   uint16
	status byte
}

func (d udsCode) bytes() []byte {
	return []byte{byte(d.code >> 8), byte(d.code), failureType(d.code), d.status}
}

// known lists a unit's codes, stored ones first.
func (c *car) known(n *node) (all []udsCode) {
	if !n.engine {
		return nil
	}
	for _, code := range c.computer.stored {
		all = append(all, udsCode{code, statusStored})
	}
	for _, code := range c.computer.pending {
		all = append(all, udsCode{code, statusPending})
	}
	return all
}

// componentCodes are those whose readiness group 01, the components, tells; which codes a
// maker puts there is its own affair.
var componentCodes = []uint16{0x0101, 0x0116, 0x0122}

// udsCodes is service 19: 42 codes by status and severity, 55 permanent ones, 56 readiness by
// group, 04 a freeze frame.
func (c *car) udsCodes(n *node, data []byte) ([]byte, byte) {
	if len(data) == 0 {
		return nil, wrongLength
	}
	length, ok := map[byte]int{0x42: 4, 0x55: 2, 0x56: 3, 0x04: 5}[data[0]&0x7F]
	switch {
	case !ok:
		return nil, unknownSubFunction
	case len(data) != length:
		return nil, wrongLength
	case length < 5 && data[1] != emissions:
		return nil, outOfRange
	}
	out := []byte{0x59, data[0] & 0x7F}
	switch out[1] {
	case 0x42:
		out = append(out, emissions, statusAvailable, severityAvailable, codeFormat)
		for _, d := range c.known(n) {
			if d.status&data[2] != 0 && severityClass&data[3] != 0 {
				out = append(append(out, severityClass), d.bytes()...)
			}
		}
	case 0x55:
		out = append(out, emissions, statusAvailable, codeFormat)
		if n.engine {
			for _, code := range c.spec.uds.permanent {
				out = append(out, udsCode{code, statusStored}.bytes()...)
			}
		}
	case 0x56:
		if data[2] != 0x01 || !n.engine {
			return nil, outOfRange
		}
		out = append(out, emissions, statusAvailable, codeFormat, data[2])
		status := byte(0)
		if _, _, open := c.computer.monitors(); open != 0 {
			status = statusNotCompleted
		}
		for _, code := range componentCodes {
			out = append(out, udsCode{code, status}.bytes()...)
		}
	case 0x04:
		return c.udsFreeze(n, data)
	}
	return out, 0
}

// udsFreeze is a freeze frame: code, status, record, how many identifiers, and these with
// their data. This computer keeps each code's in record 00; F0, the renewed one, is equal.
func (c *car) udsFreeze(n *node, data []byte) ([]byte, byte) {
	code := uint16(data[1])<<8 | uint16(data[2])
	i := slices.IndexFunc(c.known(n), func(d udsCode) bool { return d.code == code && failureType(code) == data[3] })
	if i < 0 || data[4] != 0x00 && data[4] != 0xF0 {
		return nil, outOfRange
	}
	out := append([]byte{0x59, 0x04}, c.known(n)[i].bytes()...)
	f := c.computer.frozenFor(code)
	if f == nil {
		return out, 0
	}
	out = append(out, data[4], byte(len(frozenPIDs)))
	for _, p := range frozenPIDs {
		out = append(append(out, 0xF4, p), c.encode(n, p, &f.data)...)
	}
	return out, 0
}

// there reports whether a bus is the car's and something on it answers; a search asks by
// service 01 and so finds no car of SAE J1979-2.
func (a *adapter) there(b obd.Bus, searching bool) bool {
	c := &a.s.cfg.Car
	return !a.s.cfg.KeyOff && !a.storm && b == a.s.bus && !(searching && (c.uds != nil || c.mute || c.heavyDuty))
}

// acknowledged reports whether the bus is a CAN bus of that speed, so that its nodes acknowledge what is
// sent, though none takes an identifier of that length for its own.
func (a *adapter) acknowledged(b obd.Bus) bool {
	fast := func(b obd.Bus) bool { return b == obd.CAN11at500 || b == obd.CAN29at500 }
	if a.s.cfg.Car.otherCAN && fast(b) {
		return !a.s.cfg.KeyOff
	}
	return a.s.bus.CAN() && fast(b) == fast(a.s.bus) && !a.s.cfg.KeyOff && !a.storm
}
