package decode

import (
	"fmt"
	"time"
)

// FreezeCode reads which trouble code stored a freeze frame, from a reply to service 02,
// PID 02 (request 02 02 frame), its service byte first; "" when the frame is empty. The
// error wraps [ErrShort], [ErrLong], [ErrForeign] or [ErrRefused].
func FreezeCode(request, data []byte) (string, error) {
	if err := freeze(request, data); err != nil {
		return "", err
	}
	switch {
	case data[1] != 0x02:
		return "", fmt.Errorf("read freeze frame code from %X: %w", data, ErrForeign)
	case len(data) < 5:
		return "", fmt.Errorf("read freeze frame code from %X: %w", data, ErrShort)
	case len(data) > 5:
		return "", fmt.Errorf("read freeze frame code from %X: %w", data, ErrLong)
	}
	codes, err := Codes(0x03, true, []byte{0x43, 1, data[3], data[4]})
	if err != nil || len(codes) == 0 {
		return "", err
	}
	return codes[0], nil
}

// FreezeFrame decodes one PID of a freeze frame (request 02 PID frame), whose formulas are
// those of service 01. from is the computer's address. The samples carry no time.
func (d *Decoder) FreezeFrame(from uint32, request, data []byte) ([]Sample, error) {
	if err := freeze(request, data); err != nil {
		return nil, err
	}
	c := *d.known()
	if i, ok := d.find(from); ok {
		c = d.computers[i]
	}
	pid, body := data[1], data[3:]
	if n := c.length(pid); n == 0 || len(body) < n {
		return nil, fmt.Errorf("read freeze frame from %X: %w", data, ErrShort)
	} else if len(body) > n+1 { // a trim may have a second bank's byte
		return nil, fmt.Errorf("read freeze frame from %X: %w", data, ErrLong)
	}
	return c.samples(pid, body, 0, time.Duration(0), nil), nil
}

// freeze checks that a reply belongs to a request of service 02.
func freeze(request, data []byte) error {
	if err := matches(request, data); err != nil {
		return err
	}
	switch {
	case len(data) < 4:
		return fmt.Errorf("read freeze frame from %X: %w", data, ErrShort)
	case len(request) != 3 || request[0] != 2 || data[1] != request[1] || data[2] != request[2]:
		return fmt.Errorf("read freeze frame from %X: %w", data, ErrForeign)
	}
	return nil
}
