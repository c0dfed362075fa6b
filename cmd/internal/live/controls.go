package live

import (
	"strings"
	"time"

	"pushback/obd"
)

// Controls is what people can do while they watch a session, from whatever they do it
// with: a line, a key, the whole screen, the page. A nil field cannot be done.
type Controls struct {
	Mark  func(obd.Mark)
	Stop  func()
	Enter func() // the guided test's 'done'
	Skip  func()
	Again func()
	Play  *Playback // of a replay
}

// Playback is what people can do with a replay.
type Playback struct {
	Pause, Step, Slow, Faster func()
	Seek                      func(to time.Duration) // a session time; beyond an end is that end
	SeekBy                    func(by time.Duration)
	End                       time.Duration // of the session
}

// Note marks what the technician says, if that can be done and it says anything. It
// reports whether it was.
func (c Controls) Note(text string) bool {
	text = strings.TrimSpace(text)
	return text != "" && c.Say(obd.Mark{Kind: obd.MarkNote, Text: text})
}

// Say makes a mark, if that can be done, and reports whether it was.
func (c Controls) Say(m obd.Mark) bool {
	if c.Mark != nil {
		c.Mark(m)
	}
	return c.Mark != nil
}

// Key does what a key asks for that means the same wherever it is typed: l, r, space, enter, s, b.
// Other keys do nothing.
func (c Controls) Key(name string) {
	switch name {
	case "l":
		c.Say(obd.Mark{Kind: obd.MarkLean})
	case "r":
		c.Say(obd.Mark{Kind: obd.MarkRich})
	case "space":
		c.Say(obd.Mark{Kind: obd.MarkRelease})
	case "enter":
		Do(c.Enter)
	case "s":
		Do(c.Skip)
	case "b":
		Do(c.Again)
	}
}

// Do does one of the functions of c, if it can be done, and reports whether it was.
func Do(f func()) bool {
	if f != nil {
		f()
	}
	return f != nil
}
