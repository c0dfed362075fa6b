package obdtest

import (
	"testing"
	"time"
)

// Step is one line sent to the adapter and what it printed on it.
type Step struct {
	Send  string // without the return
	Print string // with the prompt
	After time.Duration
}

// Playback returns a Fake that plays a recorded dialogue and checks each line
// that it is sent. The test fails on a wrong line, and at its end when steps are
// left.
func Playback(t testing.TB, steps ...Step) *Fake {
	t.Helper()
	next := 0
	f := NewFake(func(line string) (string, time.Duration) {
		if next == len(steps) {
			t.Errorf("line %q was sent after the end of the dialogue", line)
			return "?\r\r>", 0
		}
		s := steps[next]
		next++
		if line != s.Send {
			t.Errorf("line %d is %q, the dialogue has %q", next, line, s.Send)
		}
		return s.Print, s.After
	})
	t.Cleanup(func() {
		if next < len(steps) {
			t.Errorf("the dialogue was left before %q", steps[next].Send)
		}
	})
	return f
}
