package decode

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"time"
)

// Replies of SAE J1979-2 (OBDonUDS), whose requests stand for those of J1979: service 22 with
// F4, F6 or F8 and a PID, monitor or infotype (ISO 14229-1, table C.1), service 19 for codes.
const (
	byID    byte = 0x62
	ofCodes byte = 0x59
	cleared byte = 0x54
)

// secondService returns the service of J1979-2 that stands for one of J1979, 0 for none.
func secondService(service byte) byte {
	switch service {
	case 0x01, 0x06, 0x09:
		return 0x22
	case 0x03, 0x07, 0x0A, 0x19:
		return 0x19
	case 0x04:
		return 0x14
	}
	return 0
}

// page is the first byte of the identifiers that stand for a service's parameters.
func page(service byte) byte {
	switch service {
	case 0x01:
		return 0xF4
	case 0x06:
		return 0xF6
	case 0x09:
		return 0xF8
	}
	return 0
}

// plain writes a reply to one identifier, which matches, as J1979 does: 62 F4 0C … as 41 0C …;
// one that is so already it returns as it is.
func plain(service byte, data []byte) []byte {
	if data[0] != byID {
		return data
	}
	return append([]byte{service | 0x40}, data[2:]...)
}

// CodeStatus is a trouble code of three bytes with its status (ISO 14229-1, annex D).
type CodeStatus struct {
	Code   string
	Status byte
}

// The bits of a status.
const (
	StatusPending    byte = 0x04
	StatusConfirmed  byte = 0x08
	StatusNotRun     byte = 0x10 // not completed since the codes were cleared
	StatusNotRunHere byte = 0x40 // nor in this driving cycle
)

// LongCode writes a code of three bytes: as [Code], and behind a hyphen the third byte, what is
// wrong with the circuit, unless it is 00 (SAE J2012-DA): "P0131-11".
func LongCode(b uint32) string {
	text := Code(uint16(b >> 8))
	if b&0xFF != 0 {
		text += fmt.Sprintf("-%02X", b&0xFF)
	}
	return text
}

// codeFormat is that of SAE J2012-DA with three bytes; no other one is read.
const codeFormat = 0x04

// codeList reads codes with their status from a reply of service 19, from byte at on; each
// has so many bytes before it, and the format stands in the byte before at or, in a reply of
// readiness, two before.
func codeList(data []byte, format, at, before int) ([]CodeStatus, error) {
	each := before + 4
	switch {
	case len(data) < at:
		return nil, fmt.Errorf("read codes from %X: %w", data, ErrShort)
	case data[format] != codeFormat:
		return nil, fmt.Errorf("read codes from %X: format %02X: %w", data, data[format], ErrForeign)
	case (len(data)-at)%each != 0:
		return nil, fmt.Errorf("read codes from %X: part of a code: %w", data, ErrShort)
	}
	var out []CodeStatus
	for b := data[at:]; len(b) > 0; b = b[each:] {
		out = append(out, CodeStatus{LongCode(binary.BigEndian.Uint32(b[before:]) >> 8), b[each-1]})
	}
	return out, nil
}

// secondCodes reads what stands for services 03, 07 and 0A: 59 42 33, two availabilities, format
// and five bytes a code (severity, code, status), or 59 55 33, one availability, format and
// four bytes a code. A code whose status is not what was asked for makes the reply a foreign
// one: the reply itself does not tell.
func secondCodes(service byte, data []byte) ([]string, error) {
	var all []CodeStatus
	var err error
	want := byte(0)
	switch {
	case service == 0x0A && bytes.HasPrefix(data, []byte{ofCodes, 0x55, 0x33}):
		all, err = codeList(data, 4, 5, 0)
	case service != 0x0A && bytes.HasPrefix(data, []byte{ofCodes, 0x42, 0x33}):
		all, err = codeList(data, 5, 6, 1)
		want = StatusConfirmed
		if service == 0x07 {
			want = StatusPending
		}
	default:
		err = fmt.Errorf("read codes from %X: %w", data, ErrForeign)
	}
	if err != nil {
		return nil, err
	}
	var out []string
	for _, c := range all {
		if c.Status&want != want {
			return nil, fmt.Errorf("read codes from %X: status %02X of %s: %w", data, c.Status, c.Code, ErrForeign)
		}
		out = append(out, c.Code)
	}
	return out, nil
}

// Records of a freeze frame: as the code was first set, and as it came last (from a fault memory's code; ISO 14229-1 leaves
// the numbers to the maker).
const (
	FirstRecord  = 0x00
	LatestRecord = 0xF0
)

// mostFrozen is of how many codes the freeze frames are read: each costs readings.
const mostFrozen = 5

// SnapshotRequests returns the requests, 19 04 with code and record, for the freeze frames of the stored codes, five at the
// most, in a reply to service 03, the first records before the latest; none where the reply is of J1979 or has no code.
func SnapshotRequests(service byte, data []byte) (all [][]byte) {
	const head, each = 6, 5
	if service != 0x03 || !bytes.HasPrefix(data, []byte{ofCodes, 0x42}) {
		return nil
	}
	for _, record := range []byte{FirstRecord, LatestRecord} {
		for i := head; i+each <= len(data) && i < head+mostFrozen*each; i += each {
			all = append(all, append(append([]byte{0x19, 0x04}, data[i+1:i+4]...), record))
		}
	}
	return all
}

// ReadGroup reads a reply to 19 56 33, group: the codes of a readiness group, each with its status;
// those with [StatusNotRun] are not ready. Group 01 is the comprehensive components; which
// numbers the others have stands in SAE J1979-DA, which was not at hand. The error wraps
// [ErrShort], [ErrForeign] or [ErrRefused].
func ReadGroup(request, data []byte) ([]CodeStatus, error) {
	if err := matches(request, data); err != nil {
		return nil, err
	}
	switch {
	case len(request) != 4 || request[1] != 0x56 || !bytes.HasPrefix(data[1:], request[1:3]):
		return nil, fmt.Errorf("read readiness from %X: %w", data, ErrForeign)
	case len(data) < 6:
		return nil, fmt.Errorf("read readiness from %X: %w", data, ErrShort)
	case data[5] != request[3]:
		return nil, fmt.Errorf("read readiness from %X: %w", data, ErrForeign)
	}
	return codeList(data, 4, 6, 0)
}

// Snapshot reads a freeze frame, a reply to 19 04, code, record: which code stored it, and the
// samples of its identifiers F4xx, without times. A code without a frame gives none. An identifier
// of unknown length ends the reading with [ErrUnknownLength], and the samples before it are good;
// the error else wraps [ErrShort], [ErrLong], [ErrForeign] or [ErrRefused]. from is the
// computer's address.
func (d *Decoder) Snapshot(from uint32, request, data []byte) (code string, out []Sample, err error) {
	if err := matches(request, data); err != nil {
		return "", nil, err
	}
	if len(request) != 6 || request[1] != 0x04 || !bytes.HasPrefix(data[1:], request[1:5]) {
		return "", nil, fmt.Errorf("read snapshot from %X: %w", data, ErrForeign)
	}
	code = LongCode(binary.BigEndian.Uint32(data[1:]) & 0xFFFFFF)
	switch {
	case len(data) < 6:
		return "", nil, fmt.Errorf("read snapshot from %X: %w", data, ErrShort)
	case len(data) == 6:
		return code, nil, nil
	case len(data) < 8:
		return "", nil, fmt.Errorf("read snapshot from %X: %w", data, ErrShort)
	}
	c := *d.known()
	if i, ok := d.find(from); ok {
		c = d.computers[i]
	}
	rest := data[8:]
	for range data[7] {
		var size int
		switch {
		case len(rest) < 2:
			return "", nil, fmt.Errorf("read snapshot from %X: %w", data, ErrShort)
		case rest[0] == page(0x01):
			size = c.length(rest[1])
		}
		switch {
		case size == 0:
			return code, out, fmt.Errorf("read snapshot from %X at %X: %w", data, rest[:2], ErrUnknownLength)
		case len(rest) < 2+size:
			return "", nil, fmt.Errorf("read snapshot from %X: %w", data, ErrShort)
		}
		out = c.samples(rest[1], rest[2:2+size], 0, time.Duration(0), out)
		rest = rest[2+size:]
	}
	if len(rest) > 0 { // another record was not asked for
		return "", nil, fmt.Errorf("read snapshot from %X: %w", data, ErrLong)
	}
	return code, out, nil
}
