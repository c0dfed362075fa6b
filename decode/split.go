package decode

import (
	"bytes"
	"fmt"
)

// maxParts is the number of PIDs that one request may hold (SAE J1979, CAN only;
// from memory).
const maxParts = 6

// part is one PID of a reply.
type part struct {
	pid  byte
	data []byte
}

// identifiers is how the parameters of a reply are named: by one byte, or by two of which the
// first is the page.
type identifiers struct{ page byte }

// cut returns the PID that rest begins with and what follows it; false where it begins otherwise.
func (n identifiers) cut(rest []byte) (pid byte, after []byte, ok bool) {
	if n.page != 0 {
		if len(rest) < 2 || rest[0] != n.page {
			return 0, nil, false
		}
		rest = rest[1:]
	}
	return rest[0], rest[1:], true
}

// split finds the PIDs in the data of a service 01 reply; asked are those of the
// request. It returns how many it found.
func (c *computer) split(parts *[maxParts]part, asked, data []byte, ids identifiers) (int, error) {
	if len(data) == 0 {
		return 0, fmt.Errorf("split reply: %w", ErrShort)
	}
	if len(asked) == 1 {
		return 1, c.only(&parts[0], asked[0], data, ids)
	}
	n, err := c.several(parts, asked, data, ids, false)
	if err != nil && c.layout() == layoutUnknown {
		// A car with three or four banks gives trims a second byte.
		if m, err := c.several(parts, asked, data, ids, true); err == nil {
			return m, nil
		}
		n, err = c.several(parts, asked, data, ids, false)
	}
	return n, err
}

// only takes a reply to a request for one PID.
func (c *computer) only(p *part, asked byte, data []byte, ids identifiers) error {
	pid, body, ok := ids.cut(data)
	want, got := PIDLength(asked), len(body)
	var cause error
	switch {
	case !ok || pid != asked:
		cause = ErrForeign
	case want == 0 || got == want || got == 2 && TwoBanked(pid):
		*p = part{pid, body}
		return nil
	case got < want:
		cause = ErrShort
	default:
		cause = ErrLong
	}
	return fmt.Errorf("split reply %X to PID %02X: %w", data, asked, cause)
}

// several takes a reply to a request for several PIDs. With pairs, all trims are
// taken to have two bytes.
func (c *computer) several(parts *[maxParts]part, asked, data []byte, ids identifiers, pairs bool) (int, error) {
	var seen [256 / 64]uint64
	n := 0
	for rest := data; len(rest) > 0; {
		pid, body, ok := ids.cut(rest)
		size := c.length(pid)
		if pairs && TwoBanked(pid) {
			size = 2
		}
		var cause error
		switch {
		case !ok || bytes.IndexByte(asked, pid) < 0 || seen[pid/64]&(1<<(pid%64)) != 0:
			cause = ErrForeign
		case n == maxParts:
			cause = ErrLong
		case size == 0:
			cause = ErrUnknownLength
		case len(body) < size:
			cause = ErrShort
		}
		if cause != nil {
			return n, fmt.Errorf("split reply %X at PID %02X: %w", data, pid, cause)
		}
		parts[n] = part{pid, body[:size]}
		seen[pid/64] |= 1 << (pid % 64)
		rest = body[size:]
		n++
	}
	return n, nil
}

// length is PIDLength for this computer: trims have a second byte when PID 1D
// names sensors of bank 3 (trims of bank 1) or 4 (of bank 2).
func (c *computer) length(pid byte) int {
	if TwoBanked(pid) && c.layout() == fourBanks {
		banks := byte(0x30)
		switch pid {
		case 0x08, 0x09, 0x57, 0x58:
			banks = 0xC0
		}
		if c.present[1]&banks != 0 {
			return 2
		}
	}
	return PIDLength(pid)
}
