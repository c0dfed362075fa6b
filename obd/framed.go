package obd

import (
	"context"
	"fmt"
	"strings"
)

// In the words of J1979-2 each line has a neighbour that changes something: 22F414 less its first digit is
// 2F414. So the line is the whole CAN frame, its length first and zeros behind (0322F41400000000, ISO 15765-2),
// with the adapter told to make none of its own (ATCAF0). Then no stretch of a line is a message, whatever has cut it: the length
// it begins with is none of a single frame, or is more than follows it.

// framing says who makes a request a CAN frame.
type framing uint8

const (
	plain  framing = iota // the adapter, as after a reset
	framed                // we do
	unsure                // the adapter may have started anew
)

// frameDigits is a CAN frame of eight bytes.
const frameDigits = 16

// frame makes words, of seven bytes at the most, a CAN frame.
func frame(words string) string {
	text := fmt.Sprintf("%02X", len(words)/2) + words
	return text + strings.Repeat("0", frameDigits-len(text))
}

// line returns what goes over the line for words in the dialect in use.
func (a *Adapter) line(words string) string {
	if a.framing == framed {
		return frame(words)
	}
	return words
}

// frames has the adapter make frames by itself, or not, and reports whether it does as it is told.
func (a *Adapter) frames(ctx context.Context, want framing) (bool, error) {
	if a.framing == want {
		return true, nil
	}
	text := "ATCAF1"
	if want == framed {
		text = "ATCAF0"
	}
	answer, err := a.command(ctx, text, second)
	if err != nil {
		a.framing = unsure
		return false, err
	}
	ok := strings.Contains(answer, "OK")
	if ok || want == plain { // one that knows neither cannot be told to leave it
		a.framing = want
	}
	return ok, nil
}
