package obd

import (
	"encoding/hex"
	"fmt"
	"slices"
)

// Dialect is the set of services by which a vehicle is asked.
//
// A [Request] is always in the words of SAE J1979: 010C asks for the engine's speed in any
// car. What goes over the line, and what comes back, is the dialect's: 22F40C and 62F40C….
// Replies stay as they came; package decode reads both.
type Dialect uint8

const (
	J1979   Dialect = iota // SAE J1979 (ISO 15031-5): services 01 to 0A
	J1979v2                // SAE J1979-2 (OBDonUDS): services 22, 19 and 14 of ISO 14229-1, on CAN only
)

var dialectNames = [...]string{"j1979", "j1979-2"}

// String returns the name as JSON has it: "j1979", "j1979-2".
func (d Dialect) String() string {
	if int(d) < len(dialectNames) {
		return dialectNames[d]
	}
	return "unknown"
}

// ParseDialect is the inverse of String; "" is [J1979].
func ParseDialect(name string) (Dialect, error) {
	for i, n := range dialectNames {
		if n == name || name == "" {
			return Dialect(i), nil
		}
	}
	return J1979, fmt.Errorf("dialect %q is not one of %v", name, dialectNames)
}

// MarshalText writes the name.
func (d Dialect) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads the name.
func (d *Dialect) UnmarshalText(text []byte) (err error) {
	*d, err = ParseDialect(string(text))
	return err
}

// MostPIDs is how many PIDs one request may hold on CAN. J1979 says six (from memory).
// J1979-2 allows six too, but a request to all computers is one frame (ISO 14229-1), which
// three identifiers of two bytes fill.
func (d Dialect) MostPIDs() int {
	if d == J1979v2 {
		return 3
	}
	return 6
}

// IDBytes is how many bytes name a PID in a reply.
func (d Dialect) IDBytes() int {
	if d == J1979v2 {
		return 2
	}
	return 1
}

// The data identifiers of J1979-2 by the J1979 service that they stand for: its parameter is
// the second byte (ISO 14229-1, table C.1).
var identifiers = map[byte]byte{0x01: 0xF4, 0x06: 0xF6, 0x09: 0xF8}

// What the services of J1979-2 ask for. Trouble codes come by a mask of their status: bit 3
// confirmed, bit 2 pending (ISO 14229-1), of the emission group 33 and its classes (the
// severity FF, any, as some testers ask: 041E as the end of a line would be a message).
const (
	readByID      byte = 0x22
	readCodes     byte = 0x19
	clearCodes    byte = 0x14
	emissionGroup byte = 0x33
	severity      byte = 0xFF

	codesByMask    byte = 0x42
	permanentCodes byte = 0x55
	groupReadiness byte = 0x56
	snapshot       byte = 0x04

	confirmed byte = 0x08
	pending   byte = 0x04
)

// Words returns what goes over the line for a request, in capital hexadecimal, and false
// where the dialect has no words for it.
//
// Beside J1979's requests J1979-2 has two of its own, which are the same here and there:
// 19 04, code, record (freeze frame) and 19 56 33, group (readiness).
func (d Dialect) Words(r Request) (string, bool) {
	if d == J1979 {
		return r.Hex(), r.Service != readCodes
	}
	out := Request{Service: readByID}
	if bare := r.Service == 0x03 || r.Service == 0x07 || r.Service == 0x0A || r.Service == 0x04; bare && len(r.Data) > 0 {
		return "", false
	}
	switch r.Service {
	case 0x01, 0x06, 0x09:
		if n := len(r.Data); n == 0 || n > d.MostPIDs() || n > 1 && r.Service != 0x01 {
			return "", false
		}
		for _, id := range r.Data {
			out.Data = append(out.Data, identifiers[r.Service], id)
		}
	case 0x03:
		out = Request{Service: readCodes, Data: []byte{codesByMask, emissionGroup, confirmed, severity}}
	case 0x07:
		out = Request{Service: readCodes, Data: []byte{codesByMask, emissionGroup, pending, severity}}
	case 0x0A:
		out = Request{Service: readCodes, Data: []byte{permanentCodes, emissionGroup}}
	case 0x04:
		out = Request{Service: clearCodes, Data: []byte{0xFF, 0xFF, emissionGroup}}
	case readCodes:
		if len(r.Data) == 0 || r.Data[0] != snapshot && r.Data[0] != groupReadiness {
			return "", false
		}
		if out = r; cut(frame(out.Hex())) { // P0211-01 has the reset of a computer in it
			return "", false
		}
	default:
		return "", false
	}
	return out.Hex(), true
}

// ReadWords is the inverse of Words for both dialects: the request that a line asks for, be it words or a whole CAN frame.
func ReadWords(text string) (Request, error) {
	b, err := hex.DecodeString(text)
	if err != nil {
		return Request{}, err
	}
	if len(b) == 0 {
		return Request{}, hex.ErrLength
	}
	if n := int(b[0]); len(b) == frameDigits/2 && 0 < n && n < len(b) && !slices.ContainsFunc(b[1+n:], func(c byte) bool { return c != 0 }) {
		b = b[1 : 1+n]
	}
	r := Request{Service: b[0], Data: b[1:]}
	if len(b) == 5 && b[0] == readCodes && b[1] == codesByMask {
		r.Data = append(slices.Clone(r.Data[:3]), severity) // older sessions asked by another
	}
	for _, try := range []Request{{Service: 0x03}, {Service: 0x07}, {Service: 0x0A}, {Service: 0x04}} {
		if words, _ := J1979v2.Words(try); words == r.Hex() {
			return try, nil
		}
	}
	r.Data = b[1:]
	if r.Service != readByID || len(r.Data) == 0 || len(r.Data)%2 != 0 {
		return r, nil
	}
	for service, first := range identifiers {
		ids := Request{Service: service}
		for i := 0; i < len(r.Data) && r.Data[i] == first; i += 2 {
			ids.Data = append(ids.Data, r.Data[i+1])
		}
		if words, ok := J1979v2.Words(ids); ok && words == r.Hex() {
			return ids, nil
		}
	}
	return r, nil
}

// cut tells whether some stretch of a frame, up to its end, is a single frame (ISO 15765-2) of a message that a unit [Takes].
func cut(frame string) bool {
	for i := 2; i < len(frame); i++ {
		b, _ := hex.DecodeString(frame[i : i+(len(frame)-i)&^1])
		b = append(b, make([]byte, 8-len(b))...) // as an adapter may fill it up
		if n := int(b[0]); 0 < n && n < 8 && Takes(b[1:1+n], true) {
			return true
		}
	}
	return false
}

// answers2 tells whether data is a positive reply to req in the words of J1979-2.
func answers2(data []byte, req Request) bool {
	if len(data) == 0 || data[0] != readByID+0x40 && data[0] != readCodes+0x40 && data[0] != clearCodes+0x40 {
		return false
	}
	starts := func(want ...byte) bool { return len(data) >= len(want) && string(data[:len(want)]) == string(want) }
	switch req.Service {
	case 0x01, 0x06, 0x09:
		for _, id := range req.Data {
			if starts(readByID+0x40, identifiers[req.Service], id) {
				return true
			}
		}
	case 0x03:
		return starts(readCodes+0x40, codesByMask, emissionGroup) && allHave(data, confirmed)
	case 0x07:
		return starts(readCodes+0x40, codesByMask, emissionGroup) && allHave(data, pending)
	case 0x0A:
		return starts(readCodes+0x40, permanentCodes, emissionGroup)
	case 0x04:
		return len(data) == 1 && data[0] == clearCodes+0x40
	case readCodes:
		// A snapshot repeats the code but not the record; readiness tells its group last.
		switch {
		case len(req.Data) >= 4 && req.Data[0] == snapshot:
			return starts(append([]byte{readCodes + 0x40}, req.Data[:4]...)...)
		case len(req.Data) == 3:
			return starts(readCodes+0x40, req.Data[0], req.Data[1]) && len(data) >= 6 && data[5] == req.Data[2]
		}
	}
	return false
}

// allHave tells whether the status of every code in a reply to 19 42 has the bit that was
// asked for: the reply itself does not tell, and a late one to another mask must not pass.
func allHave(data []byte, bit byte) bool {
	const head, each = 6, 5
	for i := head; i+each <= len(data); i += each {
		if data[i+each-1]&bit == 0 {
			return false
		}
	}
	return true
}

// refuses tells whether data is a negative reply to the request in either dialect.
func refuses(data []byte, req Request) bool {
	if len(data) != 3 || data[0] != 0x7F {
		return false
	}
	if data[1] == req.Service {
		return true
	}
	words, ok := J1979v2.Words(req)
	return ok && data[1] == byte(hexDigit(words[0])<<4|hexDigit(words[1]))
}
