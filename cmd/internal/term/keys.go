package term

import (
	"slices"
	"time"
	"unicode"

	tea "charm.land/bubbletea/v2"

	"pushback/cmd/internal/live"
)

func printable(r rune) rune {
	if r < ' ' || r == 0x7f {
		return -1
	}
	return r
}

// longest is the most that a note holds, in bytes.
const longest = 200

// write adds to the note what still fits.
func (m *model) write(text string) {
	if len(*m.note)+len(text) <= longest {
		*m.note += text
	}
}

// key obeys a key. An escape that arrives in one read with the next key looks like
// that key with Alt: it is taken as the two that it was.
func (m *model) key(k tea.KeyPressMsg) tea.Cmd {
	if !k.Mod.Contains(tea.ModAlt) {
		return m.press(k)
	}
	if cmd := m.press(tea.KeyPressMsg{Code: tea.KeyEscape}); cmd != nil {
		return cmd
	}
	k.Mod &^= tea.ModAlt
	if k.Mod&^tea.ModShift == 0 && unicode.IsPrint(k.Code) {
		k.Text = string(k.Code)
	}
	return m.press(k)
}

func (m *model) press(k tea.KeyPressMsg) tea.Cmd {
	if m.note != nil {
		m.typed(k)
		return nil
	}
	if m.first || m.notice || m.help {
		if m.first {
			m.turn()
		} else {
			m.notice, m.help = false, false
		}
		if k.String() != "q" && k.String() != "ctrl+c" {
			return nil
		}
	}
	m.screen.mu.Lock()
	over := m.screen.state.Verdict != nil
	m.screen.mu.Unlock()
	if over {
		switch k.String() {
		case "enter", "q", "esc", "ctrl+c":
			return tea.Quit
		}
		switch k.String() {
		case "down", "j", "pgdown":
			m.scroll++
		case "up", "k", "pgup":
			m.scroll = max(0, m.scroll-1)
		}
		if m.screen.cfg.Controls.Play == nil {
			return nil // the answer stays: a hand on its way to another key must not take it off
		}
	}
	if play := m.screen.cfg.Controls.Play; play != nil && replayed(*play, k.String()) {
		return nil
	}
	return m.obey(k.String())
}

// obey does what a key of a session asks for.
func (m *model) obey(key string) tea.Cmd {
	c := m.screen.cfg.Controls
	switch key {
	case "q", "ctrl+c":
		if m.asked && key == "ctrl+c" {
			return tea.Quit // the second time: out of here, whatever is still being asked
		}
		m.asked = true
		live.Do(c.Stop)
	case "n":
		if c.Mark != nil {
			m.note = new(string)
		}
	case "p":
		m.freeze()
	case "a":
		m.notice, m.asking = m.screen.cfg.Notice != nil, true
	case "?", "h":
		m.help = true
	default:
		c.Key(key)
	}
	return nil
}

// replayed does what a key of a replay asks for, and reports whether it was one.
func replayed(p live.Playback, key string) bool {
	switch key {
	case "space", "p":
		return live.Do(p.Pause)
	case ".":
		return live.Do(p.Step)
	case "-":
		return live.Do(p.Slow)
	case "+", "=":
		return live.Do(p.Faster)
	case "left":
		p.SeekBy(-10 * time.Second)
	case "right":
		p.SeekBy(10 * time.Second)
	case "home":
		p.Seek(0)
	default:
		return false
	}
	return true
}

// typed is a key while a note is written.
func (m *model) typed(k tea.KeyPressMsg) {
	switch k.String() {
	case "enter":
		m.screen.cfg.Controls.Note(*m.note)
		m.note = nil
	case "esc", "ctrl+c":
		m.note = nil
	case "backspace":
		if r := []rune(*m.note); len(r) > 0 {
			*m.note = string(r[:len(r)-1])
		}
	default:
		m.write(k.Text)
	}
}

// page is what of the first words fits the screen now, and whether more is to come.
func (m *model) page() (lines []string, more bool) {
	all := m.screen.cfg.First(m.w)
	lines = all[min(m.read, len(all)):]
	if rows := max(m.h-2, 1); len(lines)+2 > m.h && len(lines) > rows {
		return lines[:rows], true
	}
	return lines, false
}

// turn goes on to the next page of the first words, or past them.
func (m *model) turn() {
	lines, more := m.page()
	m.read += len(lines)
	m.first = more
}

// freeze holds the picture while the session goes on, or lets it go.
func (m *model) freeze() {
	if m.frozen != nil {
		m.frozen = nil
		return
	}
	m.screen.mu.Lock()
	defer m.screen.mu.Unlock()
	c := *m.screen.state
	c.VTrace, c.TTrace = slices.Clone(c.VTrace), slices.Clone(c.TTrace)
	c.Holds, c.Ticks = slices.Clone(c.Holds), slices.Clone(c.Ticks)
	m.frozen = &c
}
