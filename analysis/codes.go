package analysis

import (
	"slices"
	"time"
)

// codeWatch knows the trouble codes that were there before the test.
type codeWatch struct {
	seen    [3]bool // services 03, 07, 0A were read once
	known   [3][]string
	setHere []string // codes that appeared during the session
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

// Codes takes the trouble codes of one reading of service 03 (stored), 07
// (pending) or 0A (permanent) from all computers together. The first reading of
// each is what was there before the test.
func (w *Watcher) Codes(at time.Duration, service byte, codes []string) []Event {
	w.events = w.events[:0]
	w.now = max(w.now, at.Seconds())
	c, k := &w.codes, codeKind(service)
	for _, code := range codes {
		if slices.Contains(c.known[k], code) {
			continue
		}
		c.known[k] = append(c.known[k], code)
		if !c.seen[k] {
			continue
		}
		if !slices.Contains(c.setHere, code) {
			c.setHere = append(c.setHere, code)
		}
		w.emit(Event{T: at.Seconds(), Name: CodeSet, Code: code, Pending: k == 1})
	}
	c.seen[k] = true
	return w.events
}
