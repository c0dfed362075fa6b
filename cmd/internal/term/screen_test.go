//go:build unix

package term

import (
	"bytes"
	"compress/gzip"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"
	"unicode/utf8"

	tea "charm.land/bubbletea/v2"
	"github.com/creack/pty"
	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/sessiontest"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/obd/simcar"
)

var (
	update = flag.Bool("update", false, "rewrite the expected screens")
	record = flag.Bool("record", false, "record the sessions that the screens show anew, from today's simulated cars")
)

// As a program in a terminal of its own, this test binary shows a scene and waits.
const sceneVar, diaryVar = "PUSHBACK_TEST_SCENE", "PUSHBACK_TEST_DIARY"

func TestMain(m *testing.M) {
	if name := os.Getenv(sceneVar); name != "" {
		actScene(name, os.Getenv(diaryVar))
		return
	}
	goleak.VerifyTestMain(m)
}

// A scene is a moment of a guided test on a simulated car.
type scene struct {
	car  string
	stop func(sessiontest.Moment) bool
}

var scenes = map[string]scene{
	"baseline": {"healthy", sessiontest.Stage(session.StageBaseline, "", 10*time.Second)},
	"go":       {"healthy", sessiontest.Stage(session.StageForce, analysis.Lean, time.Second)},
	"hold":     {"healthy", sessiontest.Stage(session.StageHold, analysis.Lean, 9*time.Second)},
	"release":  {"healthy", sessiontest.Stage(session.StageRelease, analysis.Rich, 2*time.Second)},
	"answer":   {"healthy", sessiontest.Stage(session.StageAnswer, analysis.Lean, 3*time.Second)},
	"over":     {"healthy", nil},
	"dead":     {"sensor-dead-middle", nil},
	"silent":   {"trim-frozen", sessiontest.Event(analysis.LoopSilent)},
}

func (s scene) file() string { return filepath.Join("testdata", s.car+".capture.gz") }

// The recordings still play to their end, and are made anew where that is asked for.
func TestRecordings(t *testing.T) {
	for _, car := range []string{"healthy", "sensor-dead-middle", "trim-frozen"} {
		s := scene{car: car}
		if *record {
			var b bytes.Buffer
			z, _ := gzip.NewWriterLevel(&b, gzip.BestCompression)
			sessiontest.Record(t, z, car, 4*time.Second)
			z.Close()
			if err := os.WriteFile(s.file(), b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		var end *live.State
		s.play(t, func(v func() analysis.Verdict) sessiontest.Show {
			end = live.NewState(sessiontest.B1S1, v)
			return state{end}
		})
		c, err := simcar.Find(car)
		if err != nil {
			t.Fatal(err)
		}
		if end.Verdict == nil || string(end.Verdict.Conclusion) != c.Expect {
			t.Errorf("%s ends as %+v, want %s", car, end.Verdict, c.Expect)
		}
	}
}

// play runs a scene into a view.
func (s scene) play(tb testing.TB, show func(verdict func() analysis.Verdict) sessiontest.Show) {
	b, err := os.ReadFile(s.file())
	if err != nil {
		tb.Fatal(err)
	}
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		tb.Fatal(err)
	}
	p := sessiontest.Recorded(tb, z)
	p.Until(show(p.Verdict), s.stop)
}

// actScene is the other program: it draws, and writes down what keys do.
func actScene(name, diary string) {
	note := func(format string, args ...any) {
		f, err := os.OpenFile(diary, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
		if err == nil {
			fmt.Fprintf(f, format+"\n", args...)
			f.Close()
		}
	}
	in, out, ok := Fits(os.Stdin, os.Stdout)
	if !ok {
		fmt.Println("no screen here")
		return
	}
	var screen *Screen
	scenes[name].play(panicker{}, func(verdict func() analysis.Verdict) sessiontest.Show {
		screen = NewScreen(ScreenConfig{In: in, Out: out, Color: StyleOf(out).Color, Title: "test  B1S1 by wire  iso9141", Name: "k3f9w2",
			Keys: words.TestScreenKeys, Setup: sessiontest.B1S1, Verdict: verdict,
			Controls: live.Controls{
				Mark: func(m obd.Mark) { note("%s %s", m.Kind, m.Text) }, Stop: func() { note("stop") },
				Enter: func() { note("enter") }, Skip: func() { note("skip") }, Again: func() { note("again") },
			}})
		return screen
	})
	screen.Status("", true, false) // nothing more comes, and that is no fault
	note("ready")
	screen.Close(context.Background())
	note("closed")
	fmt.Println("back on the shell's screen")
	time.Sleep(time.Minute)
}

// panicker is a testing.TB of the other program.
type panicker struct{ testing.TB }

func (panicker) Helper()           {}
func (panicker) Fatal(args ...any) { panic(fmt.Sprint(args...)) }

// terminal is a real one: tmux, on a server of its own.
type terminal struct {
	t      *testing.T
	socket string
	diary  string
}

func newTerminal(t *testing.T, scene string, w, h int, env ...string) *terminal {
	t.Helper()
	if testing.Short() {
		t.Skip("starts a terminal")
	}
	if _, err := exec.LookPath("tmux"); err != nil {
		t.Skip("no tmux here: install it to test the screen in a real terminal (Debian: apt-get install tmux)")
	}
	dir := t.TempDir()
	term := &terminal{t: t, socket: filepath.Join(dir, "tmux"), diary: filepath.Join(dir, "diary")}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	command := fmt.Sprintf("env -u NO_COLOR %s=%s %s=%s TERM=tmux-256color COLORTERM=truecolor %s %s",
		sceneVar, scene, diaryVar, term.diary, strings.Join(env, " "), self)
	term.tmux("-f", "/dev/null", "new-session", "-d", "-x", fmt.Sprint(w), "-y", fmt.Sprint(h), "-e", "LC_ALL=C.UTF-8", command)
	t.Cleanup(func() { _ = exec.Command("tmux", "-u", "-S", term.socket, "kill-server").Run() })
	term.wrote("ready")
	return term
}

func (x *terminal) tmux(args ...string) string {
	x.t.Helper()
	out, err := exec.Command("tmux", append([]string{"-u", "-S", x.socket}, args...)...).CombinedOutput()
	if err != nil {
		x.t.Fatalf("tmux %v: %v: %s", args, err, out)
	}
	return string(out)
}

// wrote waits until the other program has written down a line.
func (x *terminal) wrote(line string) {
	x.t.Helper()
	var b []byte
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		b, _ = os.ReadFile(x.diary)
		if strings.Contains("\n"+string(b), "\n"+line+"\n") {
			return
		}
	}
	x.t.Fatalf("%q was never written down:\n%s\non the screen:\n%s", line, b, x.tmux("capture-pane", "-p"))
}

// shows waits for a screen to be as expected.
func (x *terminal) shows(golden string, flags ...string) {
	x.t.Helper()
	path := filepath.Join("testdata", golden)
	capture := func() string {
		lines := strings.Split(runs(x.tmux(append([]string{"capture-pane", "-p"}, flags...)...)), "\n")
		for i := range lines {
			lines[i] = strings.TrimRight(lines[i], " ")
		}
		return strings.TrimRight(strings.Join(lines, "\n"), "\n") + "\n"
	}
	if *update {
		time.Sleep(700 * time.Millisecond)
		if err := os.WriteFile(path, []byte(capture()), 0o644); err != nil {
			x.t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		x.t.Fatal(err)
	}
	var got string
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if got = capture(); got == string(want) {
			return
		}
	}
	x.t.Errorf("%s (-want +got; -update rewrites it):\n%s", golden, cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got, "\n")))
}

// runs makes one text of all the ways to write the same colours: each line is a row
// of runs, a look in braces before its text.
func runs(capture string) string {
	attr := map[string]bool{}
	fg, bg := "", ""
	var b strings.Builder
	for i, line := range strings.Split(capture, "\n") {
		if i > 0 {
			b.WriteByte('\n')
		}
		var row strings.Builder
		last, plain := "", 0
		for line != "" {
			if seq, ok := strings.CutPrefix(line, "\x1b["); ok {
				var codes string
				codes, line, _ = strings.Cut(seq, "m")
				p := strings.Split(codes, ";")
				for k := 0; k < len(p); k++ {
					switch p[k] {
					case "", "0":
						clear(attr)
						fg, bg = "", ""
					case "1", "7":
						attr[p[k]] = true
					case "22":
						delete(attr, "1")
					case "27":
						delete(attr, "7")
					case "39":
						fg = ""
					case "49":
						bg = ""
					case "38", "48":
						n := k + 3
						if p[k+1] == "2" {
							n = k + 5
						}
						if p[k] == "38" {
							fg = strings.Join(p[k+1:n], ",")
						} else {
							bg = strings.Join(p[k+1:n], ",")
						}
						k = n - 1
					default:
						panic("code " + p[k])
					}
				}
				continue
			}
			r, n := utf8.DecodeRuneInString(line)
			line = line[n:]
			look := ""
			if attr["1"] {
				look += "bold "
			}
			if attr["7"] {
				look += "inverse "
			}
			if fg != "" {
				look += "fg" + fg + " "
			}
			if bg != "" {
				look += "bg" + bg + " "
			}
			if look = strings.TrimSpace(look); r == ' ' && bg == "" && !attr["7"] {
				look = last // a blank has no ink
			}
			if look != last {
				row.WriteString("{" + look + "}")
				last = look
			}
			row.WriteRune(r)
			if r != ' ' || look != "" {
				plain = row.Len()
			}
		}
		text := row.String()
		if last == "" || !attr["7"] && bg == "" {
			text = strings.TrimRight(text[:max(plain, 0)], " ")
		}
		b.WriteString(text)
	}
	return b.String()
}

// Each stage as it stands in a real terminal.
func TestScreensInTmux(t *testing.T) {
	for _, name := range []string{"baseline", "go", "hold", "release", "answer", "over", "dead", "silent"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			newTerminal(t, name, 80, 24, "NO_COLOR=1").shows(name + "-80x24.txt")
		})
	}
}

// A phone's terminal: large letters or, where a word is too long for them, its seconds and the values.
func TestSmallScreensInTmux(t *testing.T) {
	for _, name := range []string{"baseline", "hold", "release", "answer", "dead"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			newTerminal(t, name, 44, 14, "NO_COLOR=1").shows(name + "-44x14.txt")
		})
	}
}

func TestColoursInTmux(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"hold", "release", "dead"} {
		newTerminal(t, name, 80, 24).shows(name+"-80x24-colours.txt", "-e", "-N")
	}
}

func TestNoColourInTmux(t *testing.T) {
	t.Parallel()
	x := newTerminal(t, "hold", 80, 24, "NO_COLOR=1")
	x.shows("hold-80x24.txt")
	if got := x.tmux("capture-pane", "-p", "-e"); strings.Contains(got, "[38") || strings.Contains(got, "[48") || strings.Contains(got, ";3") {
		t.Errorf("colours with NO_COLOR:\n%q", got)
	}
}

func TestDumbTerminalGetsLines(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a terminal")
	}
	t.Parallel()
	if _, err := exec.LookPath("tmux"); err != nil {
		t.Skip("no tmux here: install it to test the screen in a real terminal (Debian: apt-get install tmux)")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), sceneVar+"=hold", "TERM=dumb")
	f, err := pty.Start(cmd)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var b bytes.Buffer
	_, _ = b.ReadFrom(f) // ends with an error when the program does
	_ = cmd.Wait()
	if got := strings.TrimSpace(b.String()); got != "no screen here" {
		t.Errorf("on a dumb terminal: %q", got)
	}
}

// The screen follows the terminal's size.
func TestResizeInTmux(t *testing.T) {
	t.Parallel()
	x := newTerminal(t, "hold", 80, 24, "NO_COLOR=1")
	x.shows("hold-80x24.txt")
	for _, size := range [][2]int{{160, 48}, {100, 30}, {60, 16}, {80, 24}} {
		x.tmux("resize-window", "-x", fmt.Sprint(size[0]), "-y", fmt.Sprint(size[1]))
		x.shows(fmt.Sprintf("hold-%dx%d.txt", size[0], size[1]))
	}
}

// What each key does.
func TestKeysInTmux(t *testing.T) {
	t.Parallel()
	x := newTerminal(t, "hold", 80, 24, "NO_COLOR=1")
	key := func(wrote string, keys ...string) {
		t.Helper()
		x.tmux(append([]string{"send-keys"}, keys...)...)
		x.wrote(wrote)
	}
	key("lean ", "l")
	key("rich ", "r")
	key("release ", "Space")
	key("enter", "Enter")
	key("skip", "s")
	key("again", "b")
	x.tmux("send-keys", "n")
	x.tmux("send-keys", "-l", "hose q off, 2 cm ½")
	x.shows("note-80x24.txt")
	key("note hose q off, 2 cm ½", "Enter")
	// Taking back more than was written leaves the note open.
	x.tmux("send-keys", "n")
	x.tmux("send-keys", "x", "BSpace", "BSpace", "y")
	key("note y", "Enter")
	x.tmux("send-keys", "n")
	x.tmux("send-keys", "Escape")
	x.shows("hold-80x24.txt")
	// The escape arrives in one read with the next key, as it does over a slow line.
	x.tmux("send-keys", "n")
	x.tmux("send-keys", "Escape", "?")
	x.shows("help-80x24.txt")
	x.tmux("send-keys", "x") // any key goes back
	x.shows("hold-80x24.txt")
	x.tmux("send-keys", "p")
	x.shows("paused-80x24.txt")
	x.tmux("send-keys", "p")
	// What is being written is seen in a small window too.
	x.tmux("resize-window", "-x", "60", "-y", "16")
	x.tmux("send-keys", "n")
	x.tmux("send-keys", "-l", "hose q off, 2 cm ½")
	x.shows("note-60x16.txt")
	x.tmux("send-keys", "Escape", "q")
	x.wrote("stop")
}

// The answer stays until a key, and then the shell's own screen is back.
func TestAnswerStaysInTmux(t *testing.T) {
	t.Parallel()
	x := newTerminal(t, "over", 80, 24, "NO_COLOR=1")
	x.tmux("send-keys", "l", "Space", "x") // a hand that was late
	x.shows("over-80x24.txt")
	x.tmux("send-keys", "Enter")
	x.wrote("closed")
	if got := x.tmux("capture-pane", "-p"); !strings.Contains(got, "back on the shell's screen") || strings.Contains(got, "TAP") {
		t.Errorf("after it closed:\n%s", got)
	}
}

// What can hurt is read to its end, however small the window.
func TestFirstWordsByPages(t *testing.T) {
	var want []string
	for i := range 30 {
		want = append(want, fmt.Sprint("line ", i))
	}
	for _, size := range [][2]int{{80, 40}, {80, 32}, {80, 31}, {60, 16}, {20, 2}, {20, 1}} {
		m := &model{screen: &Screen{cfg: ScreenConfig{First: func(int) []string { return want }}}, first: true, w: size[0], h: size[1]}
		var got []string
		for m.first {
			shown := strings.Split(m.draw(), "\n")
			if len(shown) > max(size[1], 3) {
				t.Fatalf("%v: %d rows", size, len(shown))
			}
			got = append(got, shown[:len(shown)-2]...)
			m.press(tea.KeyPressMsg{Code: 'x', Text: "x"})
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%v: %s", size, diff)
		}
	}
}

// The code is whole or not there, and the address always is.
func TestNoticeFits(t *testing.T) {
	n := &Notice{Address: []string{"who can open it", "http://127.0.0.1:37345/ABCDEFGHIJKLMNOPQRSTUVWXYZ/"}, Code: slices.Repeat([]string{strings.Repeat("█", 33)}, 17)}
	for _, tt := range []struct {
		w, h int
		code bool
	}{{80, 24, true}, {60, 16, false}, {30, 24, false}} {
		got := strings.Join(n.lines(tt.w, tt.h, false), "\n")
		if has := strings.Count(got, strings.Repeat("█", 33)) == 17; has != tt.code || !strings.Contains(got, n.Address[1]) || strings.Count(got, "\n") >= tt.h {
			t.Errorf("%d by %d:\n%s", tt.w, tt.h, got)
		}
	}
}

// Nothing reaches outside, and nothing is missing, at any size.
func TestEverySizeFits(t *testing.T) {
	var at []*live.State
	for _, name := range []string{"go", "hold", "release", "over", "dead"} {
		var s *live.State
		scenes[name].play(t, func(v func() analysis.Verdict) sessiontest.Show {
			s = live.NewState(sessiontest.B1S1, v)
			return state{s}
		})
		at = append(at, s)
	}
	for _, s := range at {
		for w := 20; w <= 240; w += 7 {
			for h := 6; h <= 90; h += 5 {
				out := draw(s, look{w: w, h: h, title: "test  B1S1 by wire  can11-500", name: "k3f9w2", keys: words.TestScreenKeys})
				lines := strings.Split(out, "\n")
				if len(lines) != h {
					t.Fatalf("%d×%d: %d lines", w, h, len(lines))
				}
				for _, line := range lines {
					if n := len([]rune(stripped(line))); n > w {
						t.Fatalf("%d×%d: a line of %d: %s", w, h, n, line)
					}
				}
				if w >= leastWidth && h >= leastHeight {
					for _, want := range []string{words.StationSensor, words.StationTap, words.StationComputer, words.StationExhaust, words.StationFuel} {
						if !strings.Contains(out, want) {
							t.Fatalf("%d×%d lacks %s", w, h, want)
						}
					}
				}
			}
		}
	}
}

// state is a live.State as a view.
type state struct{ *live.State }

func (s state) Prompt(p session.Prompt) { s.Told(p) }

// stripped is a line without its colours.
func stripped(s string) string {
	var b strings.Builder
	for {
		before, after, found := strings.Cut(s, "\x1b[")
		b.WriteString(before)
		if !found {
			return b.String()
		}
		_, s, _ = strings.Cut(after, "m")
	}
}

// Every headline can be written in letters of ours and fits 80 columns.
func TestHeadlinesFit(t *testing.T) {
	var all []string
	for _, c := range everyConclusion {
		s := live.NewState(sessiontest.B1S1, nil)
		s.Verdict = &analysis.Verdict{Conclusion: c}
		all = append(all, words.Big(s).Text)
	}
	for _, stage := range []session.Stage{session.StageReady, session.StageBaseline, session.StageForce, session.StageHold,
		session.StageRelease, session.StageAnswer, session.StageDone} {
		for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
			s := live.NewState(sessiontest.B1S1, nil)
			s.Prompt = &session.Prompt{Stage: stage, Side: side, Until: 28 * time.Second, Why: []reason.Reason{reason.Told.Of("cold")}}
			all = append(all, words.Big(s).Text)
		}
	}
	all = append(all, words.NoDataBig(9999*time.Second), "LINE LOST", "LOOKING", "READY")
	for _, text := range all {
		if text == "" {
			t.Error("a headline is empty")
		}
		for _, r := range text {
			if r != ' ' && letters[r] == "" {
				t.Errorf("%q: no letter for %c", text, r)
			}
		}
		if n := len(dots(letters, 7, text)[0]); n > leastWidth-2 {
			t.Errorf("%q takes %d columns", text, n)
		}
	}
}

// What stands on one line fits it.
func TestLinesFit(t *testing.T) {
	all := []string{words.TestScreenKeys, words.RecordScreenKeys, words.ReplayScreenKeys, words.DemoScreenKeys, words.NoteKeys, words.NoticeGoes, words.Stopping}
	for _, stage := range []session.Stage{session.StageReady, session.StageBaseline, session.StageForce} {
		for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
			for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture} {
				s := live.NewState(session.Setup{Sensor: sessiontest.B1S1.Sensor, By: by}, nil)
				s.Prompt = &session.Prompt{Stage: stage, Side: side}
				text := words.Caution(s)
				if text == "" {
					t.Errorf("%s %s: no caution", stage, side)
				}
				if n := len(wrap("! "+text, leastWidth-2)); n > 3 {
					t.Errorf("%s %s: the caution takes %d lines", stage, side, n)
				}
			}
		}
	}
	for _, text := range all {
		if n := len([]rune(text)); n > leastWidth-2 {
			t.Errorf("%d columns: %s", n, text)
		}
	}
}

// A view that cannot draw in time does not hold the session up, nor does one whose
// terminal takes nothing.
func TestStalledTerminal(t *testing.T) {
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer master.Close() // nobody reads it
	defer slave.Close()
	_ = pty.Setsize(slave, &pty.Winsize{Rows: 48, Cols: 160})
	t.Setenv("TERM", "xterm-256color")
	in, out, ok := Fits(slave, slave)
	if !ok {
		t.Fatal("a pseudo-terminal is no terminal")
	}
	done := make(chan struct{})
	var screen *Screen
	go func() {
		defer close(done)
		scenes["over"].play(panicker{}, func(v func() analysis.Verdict) sessiontest.Show {
			screen = NewScreen(ScreenConfig{In: in, Out: out, Color: true, Setup: sessiontest.B1S1, Verdict: v})
			return screen
		})
	}()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatal("the session waits for the terminal")
	}
	go func() { // the terminal is taken up again
		b := make([]byte, 64<<10)
		for {
			if _, err := master.Read(b); err != nil {
				return
			}
		}
	}()
	screen.Kill()
}

// The bell rings by number: it has one pitch only.
func TestBells(t *testing.T) {
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer slave.Close()
	t.Setenv("TERM", "xterm-256color")
	rung, heard := make(chan int), new(atomic.Int64)
	go func() {
		n := 0
		b := make([]byte, 64<<10)
		for {
			k, err := master.Read(b)
			if err != nil {
				rung <- n
				return
			}
			n += bytes.Count(b[:k], []byte("\a"))
			heard.Store(int64(n))
		}
	}()
	_ = pty.Setsize(slave, &pty.Winsize{Rows: 24, Cols: 80})
	s := NewScreen(ScreenConfig{In: slave, Out: slave, Setup: sessiontest.B1S1, Verdict: func() analysis.Verdict { return analysis.Verdict{} }})
	_ = s.Write(session.Frame{Record: obd.Record{At: time.Second}, Events: []analysis.Event{{T: 1, Name: analysis.ForceBegins, Side: analysis.Lean}}})     // once
	_ = s.Write(session.Frame{Record: obd.Record{At: 2 * time.Second}, Events: []analysis.Event{{T: 2, Name: analysis.LoopAnswers, Toward: "cut"}}})       // three times
	_ = s.Write(session.Frame{Record: obd.Record{At: 3 * time.Second}})                                                                                    // not
	_ = s.Write(session.Frame{Record: obd.Record{At: 26500 * time.Millisecond}})                                                                           // held too long: once
	_ = s.Write(session.Frame{Record: obd.Record{At: 27 * time.Second}})                                                                                   // not yet again
	_ = s.Write(session.Frame{Record: obd.Record{At: 28 * time.Second}})                                                                                   // again
	_ = s.Write(session.Frame{Record: obd.Record{At: 29 * time.Second}, Events: []analysis.Event{{T: 29, Name: analysis.ForceEnds, Side: analysis.Lean}}}) // not
	hear := func(n int64) {
		for end := time.Now().Add(60 * time.Second); (len(s.bells) > 0 || heard.Load() < n) && time.Now().Before(end); {
			time.Sleep(10 * time.Millisecond)
		}
	}
	hear(6)
	s.ring(1) // they ring in turn: one too many would be heard before this one
	hear(7)
	s.Kill()
	slave.Close()
	master.Close()
	if n := <-rung; n != 7 {
		t.Errorf("%d bells, want 6 and the one that ends the test", n)
	}
}

// From the deciding reading to the bytes on the terminal, ms. A figure to look at: 10, 18 at
// worst, on 2 cores (-benchtime 50x), of 50 allowed.
func BenchmarkEventToTerminal(b *testing.B) {
	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer slave.Close()
	_ = pty.Setsize(slave, &pty.Winsize{Rows: 24, Cols: 80})
	b.Setenv("TERM", "xterm-256color")
	s := NewScreen(ScreenConfig{In: slave, Out: slave, Color: true, Setup: sessiontest.B1S1, Verdict: func() analysis.Verdict { return analysis.Verdict{} }})
	got := make(chan []byte, 1000)
	go func() {
		for {
			buf := make([]byte, 64<<10)
			n, err := master.Read(buf)
			if err != nil {
				close(got)
				return
			}
			got <- buf[:n]
		}
	}()
	time.Sleep(200 * time.Millisecond)
	var worst, sum time.Duration
	for i := range b.N {
		for len(got) > 0 {
			<-got
		}
		word := fmt.Sprintf("X%dX", i)
		began := time.Now()
		_ = s.Write(session.Frame{Record: obd.Record{At: time.Duration(i) * time.Millisecond, Mark: &obd.Mark{Kind: obd.MarkNote, Text: word}}})
		// The terminal library sends only the cells that change: wait for any of them.
		<-got
		took := time.Since(began)
		worst, sum = max(worst, took), sum+took
		time.Sleep(40 * time.Millisecond)
	}
	b.ReportMetric(float64(sum.Microseconds())/1000/float64(b.N), "ms/mean")
	b.ReportMetric(float64(worst.Microseconds())/1000, "ms/worst")
	s.Kill()
	master.Close()
}

// What one drawing costs.
func BenchmarkDraw(b *testing.B) {
	var s *live.State
	scenes["release"].play(b, func(v func() analysis.Verdict) sessiontest.Show {
		s = live.NewState(sessiontest.B1S1, v)
		return state{s}
	})
	for b.Loop() {
		_ = draw(s, look{w: 160, h: 48, color: true, keys: words.TestScreenKeys})
	}
}
