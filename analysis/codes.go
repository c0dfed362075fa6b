package analysis

import (
	"slices"
	"time"
)

// CodeWatch knows the trouble codes that were there before the test. The zero value has read none.
type CodeWatch struct {
	seen    [3]bool // services 03, 07, 0A were read once
	known   [3][]string
	SetHere []string // codes that appeared during the session
}

func codeKind(service byte) int {
	switch service {
	case 0x03:
		return 0
	case 0x07:
		return 1
	}
	return 2
}

// Take takes the trouble codes of one reading of service 03 (stored), 07 (pending) or 0A
// (permanent) from all computers together, and returns the events that tell of new ones. The
// first reading of each is what was there before the test.
func (c *CodeWatch) Take(at time.Duration, service byte, codes []string) (out []Event) {
	k := codeKind(service)
	for _, code := range codes {
		if slices.Contains(c.known[k], code) {
			continue
		}
		c.known[k] = append(c.known[k], code)
		if !c.seen[k] {
			continue
		}
		if !slices.Contains(c.SetHere, code) {
			c.SetHere = append(c.SetHere, code)
		}
		out = append(out, Event{T: at.Seconds(), Name: CodeSet, Code: code, Pending: k == 1})
	}
	c.seen[k] = true
	return out
}

// Codes takes the trouble codes of one reading; see [CodeWatch.Take].
func (w *Watcher) Codes(at time.Duration, service byte, codes []string) []Event {
	w.now = max(w.now, at.Seconds())
	w.events = append(w.events[:0], w.codes.Take(at, service, codes)...)
	return w.events
}
