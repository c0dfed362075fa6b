package decode

import (
	"fmt"
)

// Codes returns the trouble codes in one computer's reply to service 03 (stored),
// 07 (pending) or 0A (permanent), in its order: "P0171".
//
// data begins with the reply's service byte. On CAN a count byte and that many
// codes follow; on other buses codes alone, filled up with zeros. Replies of J1979-2 hold codes
// of three bytes (see [LongCode]). The error wraps
// [ErrShort], [ErrLong], [ErrForeign] or [ErrRefused]. Formats by ISO 15031-5 and
// 15031-6 (SAE J2012), from memory.
func Codes(service byte, can bool, data []byte) ([]string, error) {
	if err := matches([]byte{service}, data); err != nil {
		return nil, err
	}
	if data[0] == ofCodes {
		return secondCodes(service, data)
	}
	body := data[1:]
	if can {
		if len(body) == 0 {
			return nil, fmt.Errorf("read codes from %X: %w", data, ErrShort)
		}
		n := 2 * int(body[0])
		body = body[1:]
		if len(body) < n {
			return nil, fmt.Errorf("read codes from %X: %w", data, ErrShort)
		}
		for _, b := range body[n:] { // some computers fill up their frame
			if b != 0 {
				return nil, fmt.Errorf("read codes from %X: %w", data, ErrLong)
			}
		}
		body = body[:n]
	}
	if len(body)%2 != 0 {
		return nil, fmt.Errorf("read codes from %X: half a code: %w", data, ErrShort)
	}
	var out []string
	for ; len(body) > 0; body = body[2:] {
		if code := uint16(body[0])<<8 | uint16(body[1]); code != 0 {
			out = append(out, Code(code))
		}
	}
	return out, nil
}

// Code writes the two bytes of a trouble code as letter, digit and three
// hexadecimal digits (ISO 15031-6).
func Code(b uint16) string { return fmt.Sprintf("%c%04X", "PCBU"[b>>14], b&0x3FFF) }
