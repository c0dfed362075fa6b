package decode

import (
	"bytes"
	"fmt"
)

// VIN joins one computer's replies to service 09 infotype 02 into the vehicle's
// identification number of 17 characters.
//
// On CAN there is one reply, 49 02 01 and the text. On other buses there are five
// of four bytes, 49 02 and a number from 1 to 5; the first is filled up with zeros
// in front. They may come in any order and twice. J1979-2 has one reply, 62 F8 02 and the text,
// without a number before it. The error wraps [ErrShort],
// [ErrLong] or [ErrForeign]. Formats by ISO 15031-5, from memory.
func VIN(replies ...[]byte) (string, error) {
	var text [4 * 5]byte
	var have byte
	for _, r := range replies {
		if err := matches([]byte{9}, r); err != nil {
			return "", err
		}
		switch {
		case len(r) < 3:
			return "", fmt.Errorf("read VIN from %X: %w", r, ErrShort)
		case r[0] == byID:
			if r[2] != 2 {
				return "", fmt.Errorf("read VIN from %X: %w", r, ErrForeign)
			}
			return checkVIN(r[3:])
		case r[1] != 2:
			return "", fmt.Errorf("read VIN from %X: %w", r, ErrForeign)
		case len(r) == 3+4 && 1 <= r[2] && r[2] <= 5:
			copy(text[4*(r[2]-1):], r[3:])
			have |= 1 << (r[2] - 1)
		case r[2] == 1:
			return checkVIN(r[3:])
		default:
			return "", fmt.Errorf("read VIN from %X: %w", r, ErrLong)
		}
	}
	if have != 1<<5-1 {
		return "", fmt.Errorf("read VIN: messages missing: %w", ErrShort)
	}
	return checkVIN(text[:])
}

// checkVIN takes the padding off. A VIN has digits and capital letters other than
// I, O and Q (ISO 3779).
func checkVIN(b []byte) (string, error) {
	b = bytes.Trim(b, "\x00")
	if len(b) < 17 {
		return "", fmt.Errorf("read VIN from %q: %w", b, ErrShort)
	}
	if len(b) > 17 {
		return "", fmt.Errorf("read VIN from %q: %w", b, ErrLong)
	}
	for _, c := range b {
		if ('0' > c || c > '9') && ('A' > c || c > 'Z') || c == 'I' || c == 'O' || c == 'Q' {
			return "", fmt.Errorf("read VIN from %q: character %q: %w", b, c, ErrForeign)
		}
	}
	return string(b), nil
}
