package term

import (
	"context"
	"io"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	tea "charm.land/bubbletea/v2"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/words"
)

// ScreenConfig is what a Screen needs beside the session.
type ScreenConfig struct {
	In, Out  *os.File // a terminal
	Color    bool
	Title    string // what is being done: "test B1S1 by wire"
	Name     string // of the session
	Keys     string // the keys that count, in words
	Setup    session.Setup
	Verdict  func() analysis.Verdict // the judge's
	Controls live.Controls
	First    func(columns int) []string // shown before all else, until a key is pressed: what can hurt; nil: nothing
	Notice   *Notice                    // shown next, until a key is pressed or the first guest comes: the page's address
	Guests   func() int                 // how many watch the page; the notice goes when the first comes
	Linger   time.Duration              // how long the answer stays without a key; 0: until a key
}

// A Screen shows a session on the whole terminal. It is a session.Sink and never
// holds the session up: what cannot be drawn in time is drawn the next time.
type Screen struct {
	cfg     ScreenConfig
	program *tea.Program
	dirty   chan struct{} // holds one: something is to be drawn
	closed  chan struct{} // the program has ended
	quit    context.CancelFunc
	bells   chan int

	mu     sync.Mutex
	state  *live.State
	wrote  time.Time // when the last frame came
	status string    // of a replay: its speed
	still  bool      // a replay stands still: silence is no fault
	quiet  bool      // a replay hurries to another place: no bells on the way
	alarm  time.Duration
}

// NewScreen takes the terminal over. Close gives it back.
func NewScreen(cfg ScreenConfig) *Screen {
	s := &Screen{cfg: cfg, dirty: make(chan struct{}, 1), closed: make(chan struct{}), bells: make(chan int, 8),
		state: live.NewState(cfg.Setup, cfg.Verdict), wrote: time.Now()}
	s.state.Replay = cfg.Controls.Play != nil
	s.program = tea.NewProgram(&model{screen: s, first: cfg.First != nil, notice: cfg.Notice != nil},
		tea.WithInput(cfg.In), tea.WithOutput(cfg.Out), tea.WithoutSignalHandler())
	ctx, cancel := context.WithCancel(context.Background())
	s.quit = cancel
	go func() {
		defer close(s.closed)
		_, _ = s.program.Run() // a terminal that went away shows nothing more; the session goes on
	}()
	go s.feed(ctx)
	return s
}

// feed tells the program to draw, at most once in 16 ms, and rings.
func (s *Screen) feed(ctx context.Context) {
	for {
		select {
		case <-s.dirty:
			s.program.Send(redraw{})
			pause(ctx, 16*time.Millisecond)
		case n := <-s.bells:
			for i := range n {
				if i > 0 {
					pause(ctx, 200*time.Millisecond)
				}
				s.program.Send(tea.RawMsg{Msg: "\a"})
			}
		case <-s.closed:
			return
		case <-ctx.Done():
			return
		}
	}
}

func pause(ctx context.Context, d time.Duration) {
	select {
	case <-time.After(d):
	case <-ctx.Done():
	}
}

// Write shows a frame.
func (s *Screen) Write(f session.Frame) error {
	s.mu.Lock()
	s.wrote = time.Now()
	_ = s.state.Write(f)
	bells := 0
	for _, e := range f.Events {
		bells = max(bells, words.Bells(e))
	}
	if words.Overheld(s.state) && s.state.Now-s.alarm >= time.Second {
		s.alarm, bells = s.state.Now, max(bells, 1)
	}
	if s.quiet {
		bells = 0
	}
	if f.Last {
		bells = words.BellsVerdict
	}
	s.mu.Unlock()
	s.ring(bells)
	s.poke()
	return nil
}

// ring rings n times; when bells are waiting already, not at all.
func (s *Screen) ring(n int) {
	if n == 0 {
		return
	}
	select {
	case s.bells <- n:
	default:
	}
}

func (s *Screen) poke() {
	select {
	case s.dirty <- struct{}{}:
	default:
	}
}

// Prompt shows what the technician is to do.
func (s *Screen) Prompt(p session.Prompt) {
	s.mu.Lock()
	s.state.Told(p)
	s.mu.Unlock()
	s.poke()
}

// Restart forgets the session shown so far: a replay begins anew.
func (s *Screen) Restart(verdict func() analysis.Verdict) {
	s.mu.Lock()
	s.state = live.NewState(s.cfg.Setup, verdict)
	s.state.Replay = s.cfg.Controls.Play != nil
	s.alarm = 0
	s.mu.Unlock()
	s.poke()
}

// Status shows a few words in place of the name, such as a replay's speed; still
// says that nothing is expected to come, quiet that no bell is to ring.
func (s *Screen) Status(text string, still, quiet bool) {
	s.mu.Lock()
	s.status, s.still, s.quiet, s.wrote = text, still, quiet, time.Now()
	s.mu.Unlock()
	s.poke()
}

// Left is closed when the watcher has left the screen.
func (s *Screen) Left() <-chan struct{} { return s.closed }

// Close leaves the answer on the screen until a key is pressed, the linger time is
// over or ctx is done, and gives the terminal back.
func (s *Screen) Close(ctx context.Context) {
	var over <-chan time.Time
	if s.cfg.Linger > 0 {
		t := time.NewTimer(s.cfg.Linger)
		defer t.Stop()
		over = t.C
	}
	select {
	case <-s.closed:
	case <-over:
	case <-ctx.Done():
	}
	s.Kill()
}

// Kill gives the terminal back at once.
func (s *Screen) Kill() {
	s.program.Quit()
	<-s.closed
	s.quit()
}

// model is the screen as the terminal library sees it.
type model struct {
	screen *Screen
	w, h   int
	first  bool
	read   int // lines of it that were read on pages before
	notice bool
	asking bool // for the notice, by a key
	help   bool
	note   *string // being typed
	frozen *live.State
	asked  bool // to stop
	scroll int  // lines of the answer
}

type (
	redraw struct{}
	second time.Time
)

// beat looks again even if nothing comes: silence must show.
func beat() tea.Cmd {
	return tea.Tick(250*time.Millisecond, func(t time.Time) tea.Msg { return second(t) })
}

func (m *model) Init() tea.Cmd { return beat() }

func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case second:
		if g := m.screen.cfg.Guests; m.notice && !m.asking && g != nil && g() > 0 {
			m.notice = false
		}
		return m, beat()
	case tea.PasteMsg:
		if m.note != nil {
			m.write(strings.Map(printable, msg.Content))
		}
	case tea.KeyPressMsg:
		return m, m.key(msg)
	}
	return m, nil
}

func (m *model) View() tea.View {
	v := tea.NewView(m.draw())
	v.AltScreen = true
	return v
}

func (m *model) draw() string {
	if m.w == 0 {
		return ""
	}
	s := m.screen
	if m.first {
		lines, more := m.page()
		key := words.AnyKey
		if more {
			key = words.AnyKeyMore
		}
		return strings.Join(append(slices.Clone(lines), "", " "+key), "\n")
	}
	if m.notice {
		return strings.Join(s.cfg.Notice.lines(m.w, m.h, s.cfg.Color), "\n")
	}
	if m.help {
		return words.ScreenHelp(s.cfg.Controls.Enter != nil, s.cfg.Controls.Play != nil, s.cfg.Notice != nil)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	l := look{w: m.w, h: m.h, color: s.cfg.Color, title: s.cfg.Title, name: s.cfg.Name, keys: s.cfg.Keys, scroll: m.scroll}
	if s.status != "" {
		l.name = s.cfg.Name + "  " + s.status
	}
	state := s.state
	if age := time.Since(s.wrote); age > live.Stale && !s.still {
		l.silent = age
	}
	if m.frozen != nil && state.Verdict == nil {
		state, l.paused = m.frozen, true
	}
	switch {
	case m.note != nil:
		l.foot, l.keys = words.NotePrompt+*m.note+"▏", words.NoteKeys
	case state.Verdict != nil && s.cfg.Controls.Play == nil:
		l.keys = words.OverKeys
	case m.asked:
		l.foot = words.Stopping
	}
	return draw(state, l)
}

// Fits reports whether in and out are a terminal on which a Screen can draw.
func Fits(in io.Reader, out io.Writer) (inFile, outFile *os.File, ok bool) {
	i, iok := in.(*os.File)
	o, ook := out.(*os.File)
	if !iok || !ook || !StyleOf(i).Live || !StyleOf(o).Live {
		return nil, nil, false
	}
	return i, o, true
}
