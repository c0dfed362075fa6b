package page

import (
	"fmt"
	"net"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/session"
	"pushback/cmd/internal/chrometest"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/sessiontest"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/obd"
)

var sizes = []struct {
	name string
	w, h int64
	far  bool // it looks another way when nobody touches it
}{{"phone", 390, 844, false}, {"phone-small", 360, 640, true}, {"phone-lying", 844, 390, true}, {"phone-small-lying", 640, 360, true},
	{"tablet", 768, 1024, false}, {"tablet-lying", 1180, 820, false}, {"laptop", 1280, 800, false}}

// At any size, in any stage, by day and night, near and far: the step reads from two
// metres, and nothing is cut off or falls outside.
func TestPageAtEverySize(t *testing.T) {
	ctx := chrometest.Start(t)
	themes := []string{"night"}
	if os.Getenv(chrometest.Shots) != "" {
		themes = []string{"night", "sun"}
	}
	for _, stage := range []struct {
		name  string
		car   string
		apart time.Duration // of readings
		stop  func(sessiontest.Moment) bool
	}{
		{"go", "healthy", 50 * time.Millisecond, sessiontest.Stage(session.StageForce, analysis.Rich, time.Second)},
		{"hold", "healthy", 50 * time.Millisecond, sessiontest.Stage(session.StageHold, analysis.Lean, 9*time.Second)},
		{"hold-slow", "healthy", 400 * time.Millisecond, sessiontest.Stage(session.StageHold, analysis.Rich, 9*time.Second)},
		{"release", "healthy", 50 * time.Millisecond, sessiontest.Stage(session.StageRelease, analysis.Rich, 2*time.Second)},
		{"over", "healthy", 50 * time.Millisecond, nil},
		{"dead", "sensor-dead-middle", 50 * time.Millisecond, nil},
		{"both", "v-engine", 50 * time.Millisecond, sessiontest.Stage(session.StageHold, analysis.Rich, 9*time.Second)},
		{"both-over", "v-engine", 50 * time.Millisecond, nil},
	} {
		play := sessiontest.Guided(t, stage.car, 3*time.Second)
		if strings.HasPrefix(stage.name, "both") {
			play = sessiontest.GuidedBoth(t, stage.car, 3*time.Second)
		}
		p := serve(t, Config{Title: "test B1S1 by wire", Name: "k3f9w2", Setup: sessiontest.B1S1, Verdict: play.Verdict, Controls: (&diary{}).controls()})
		play.Until(&thin{Page: p, apart: stage.apart, last: -time.Hour}, stage.stop)
		p.Replays(Status{Still: true}) // nothing more comes, and that is no fault
		chrometest.Do(t, ctx, chromedp.Navigate(p.URL()))
		chrometest.Until(t, ctx, `view !== null`)
		for _, size := range sizes {
			for _, theme := range themes {
				chrometest.Do(t, ctx, chromedp.EmulateViewport(size.w, size.h))
				for _, near := range []bool{true, false} {
					if !near && !size.far {
						continue
					}
					name := stage.name + "-" + size.name + "-" + theme
					if !near {
						name += "-far"
					}
					chrometest.Eval[bool](t, ctx, fmt.Sprintf(`theme(%q), document.body.classList.toggle("far", %v), document.body.classList.toggle("sounding", %[2]v), build(), draw(), fit(), `+settled, theme, !near))
					chrometest.Shoot(t, ctx, name)
					if mm := chrometest.Eval[float64](t, ctx, capital); mm < 10 {
						t.Errorf("%s: capitals of %.1f mm", name, mm)
					}
					if out := chrometest.Eval[[]string](t, ctx, outside); len(out) > 0 {
						t.Errorf("%s: outside the screen: %v", name, out)
					}
				}
			}
		}
	}
}

// capital is the height of a capital of the step in mm. It must be 10 to read from
// two metres: 1/200 of the distance, the FAA's rule. A phone has 160 px an inch or
// fewer, a tablet or laptop fewer still.
const capital = `ruler.measureText("H").actualBoundingBoxAscent / 100 * parseFloat(getComputedStyle($("big")).fontSize) * 25.4 / 160`

// Whatever the step or the answer is, it reads from two metres on a small phone.
func TestEveryHeadlineIsLarge(t *testing.T) {
	ctx := chrometest.Start(t)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict, Controls: (&diary{}).controls()})
	chrometest.Do(t, ctx, chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	ready, cold := true, false
	states := []*live.State{{}, {Ready: &ready}, {Ready: &cold, Reasons: []hazard.Advice{{Do: "coolant 20 °C, below 60 °C"}, {Do: "open loop"}}}, {Lost: true},
		{Forcing: live.Forcing{Phase: live.Held, Side: analysis.Lean}, Readings: live.Readings{Now: 12 * time.Second}},
		{Forcing: live.Forcing{Phase: live.Held, Side: analysis.Rich}, Readings: live.Readings{Now: 27 * time.Second}}, {Forcing: live.Forcing{Phase: live.Released}}}
	for _, stage := range []session.Stage{session.StageReady, session.StageBaseline, session.StageForce, session.StageHold, session.StageRelease, session.StageAnswer, session.StageDone} {
		for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture} {
			for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
				states = append(states, &live.State{Setup: session.Setup{By: by}, Prompt: &session.Prompt{Stage: stage, Side: side, Until: 25 * time.Second}})
			}
		}
	}
	for _, c := range []analysis.Conclusion{analysis.LoopProven, analysis.PartlyProven, analysis.InputDead, analysis.NoCommand, analysis.NoDelivery, analysis.SensorDead,
		analysis.SensorSlow, analysis.WrongBank, analysis.ConclusionNotReady, analysis.ConclusionUnclear, analysis.NothingForced} {
		states = append(states, &live.State{Verdict: &analysis.Verdict{Conclusion: c}})
	}
	for _, size := range [][2]int64{{360, 640}, {640, 360}} {
		chrometest.Do(t, ctx, chromedp.EmulateViewport(size[0], size[1]))
		for _, s := range states {
			m := encode(message{Now: 1, View: encodeAny(viewOf(s, p.cfg.Controls, Status{}))})
			chrometest.Eval[bool](t, ctx, fmt.Sprintf(`take(%s), %s`, m, settled))
			if mm := chrometest.Eval[float64](t, ctx, capital); mm < 10 {
				t.Errorf("%v: %s: capitals of %.1f mm", size, words.Big(s).Text, mm)
			}
			if out := chrometest.Eval[[]string](t, ctx, outside); len(out) > 0 {
				t.Errorf("%v: %s: outside the screen: %v", size, words.Big(s).Text, out)
			}
		}
	}
}

// settled waits until the browser has laid out and drawn.
const settled = `new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(() => done(true), 20))))`

// thin shows fewer readings: those of a slow bus, at least so far apart.
type thin struct {
	*Page
	apart, last time.Duration
}

func (t *thin) Write(f session.Frame) error {
	if f.Record.At-t.last >= t.apart {
		t.last = f.Record.At
	} else {
		f.Samples = nil
	}
	return t.Page.Write(f)
}

// outside lists what does not lie wholly on the screen.
const outside = `[...document.querySelectorAll("#big div, #say, #values .digits, #buttons button, #ring svg, #charts > div")].filter(e => {
  const r = e.getBoundingClientRect();
  return r.width && (r.left < -1 || r.top < -1 || r.right > innerWidth + 1 || r.bottom > innerHeight + 1);
}).map(e => (e.id || e.className || e.tagName) + " " + e.textContent.slice(0, 20))`

// line is a network that can go away: a listener whose connections can be cut.
type line struct {
	net.Listener
	mu    sync.Mutex
	cut   bool
	conns []net.Conn
}

func (l *line) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		l.mu.Lock()
		if l.cut {
			c.Close()
			l.mu.Unlock()
			continue
		}
		l.conns = append(l.conns, c)
		l.mu.Unlock()
		return c, nil
	}
}

func (l *line) set(cut bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut = cut
	if cut {
		for _, c := range l.conns {
			c.Close()
		}
		l.conns = nil
	}
}

// A finger, a keyboard and what they do.
func TestButtons(t *testing.T) {
	ctx := chrometest.Start(t)
	wrong := chrometest.Complaints(t, ctx)
	d := &diary{}
	p := serve(t, Config{Title: "record", Name: "k3f9w2", Setup: sessiontest.B1S1, Verdict: noVerdict, Controls: d.controls()})
	_ = p.Write(volts(time.Second, 0.3))
	chrometest.Do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `document.querySelectorAll("#buttons button").length === 3`)
	names := chrometest.Eval[[]string](t, ctx, `[...document.querySelectorAll("#buttons button")].map(b => b.textContent)`)
	if got, want := strings.Join(names, "|"), "▼ LEAN CONNECTED|▲ RICH CONNECTED|MARK"; got != want {
		t.Errorf("buttons %s, want %s", got, want)
	}
	chrometest.Shoot(t, ctx, "record-phone")
	// Big enough for a gloved thumb, or an elbow: no side below 10 mm (160 px an inch).
	if side := chrometest.Eval[float64](t, ctx, `Math.min(...[...document.querySelectorAll("#buttons .main")].flatMap(b => [b.offsetWidth, b.offsetHeight]))`); side*25.4/160 < 10 {
		t.Errorf("a main button measures %.0f px", side)
	}
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#buttons [data-do=lean]`)))
	waitFor(t, func() bool { return d.all() == "lean" })
	_ = p.Write(session.Frame{Record: obd.Record{At: 2 * time.Second, Mark: &obd.Mark{Kind: obd.MarkLean}}})
	chrometest.Until(t, ctx, `document.querySelector("#buttons .main").textContent === "TAP WHEN RELEASED"`)
	// By keyboard alone: Tab to it, Enter.
	chrometest.Eval[bool](t, ctx, `document.querySelector("#buttons .main").focus(), true`)
	chrometest.Do(t, ctx, chromedp.KeyEvent(kb.Enter))
	waitFor(t, func() bool { return d.all() == "lean, release" })
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#buttons [data-do=note]`)))
	waitFor(t, func() bool { return d.all() == "lean, release, note mark from the page" })
	// The sound needs one tap; after it tones are made and the screen stays on.
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#sound`)))
	chrometest.Until(t, ctx, `audio !== null && audio.state === "running" && $("sound").getAttribute("aria-pressed") === "true"`)
	chrometest.Until(t, ctx, `$("sound").textContent.startsWith("sound on")`)
	if got := wrong(); len(got) > 0 {
		t.Errorf("the browser complains: %v", got)
	}
}

// The screen stays on by the browser's lock; without one by a film that plays on and
// on; and where neither works the page says what to do.
func TestScreenStaysOn(t *testing.T) {
	ctx := chrometest.Start(t)
	wrong := chrometest.Complaints(t, ctx)
	p, err := Serve("lan", Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	lan := err == nil
	if !lan { // then the browser is told that it has no lock
		p, err = Serve("local", Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	open := func(before string) {
		chrometest.Do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(p.URL()))
		chrometest.Until(t, ctx, `view !== null`)
		if !lan {
			chrometest.Eval[bool](t, ctx, `Object.defineProperty(navigator, "wakeLock", { value: undefined }), true`)
		}
		chrometest.Eval[bool](t, ctx, before+`, navigator.wakeLock === undefined`)
		chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#sound`)))
	}
	open(`true`)
	chrometest.Until(t, ctx, `document.body.dataset.screen === "film" && $("sound").textContent === word.film && $("dark").hidden`)
	chrometest.Until(t, ctx, `film.videoWidth > 0 && !film.paused && film.currentTime > .3`)
	if box := chrometest.Eval[bool](t, ctx, `(r => r.width >= innerWidth && r.height >= innerHeight)(film.getBoundingClientRect())`); !box {
		t.Error("the film does not fill the screen: small ones keep no screen on")
	}
	chrometest.Eval[bool](t, ctx, `film.currentTime = 7.8, true`)
	chrometest.Until(t, ctx, `film.currentTime > .2 && film.currentTime < 5 && !film.paused`) // begun anew
	open(`HTMLMediaElement.prototype.play = () => Promise.reject(), true`)
	chrometest.Until(t, ctx, `document.body.dataset.screen === "none" && !$("dark").hidden && $("dark").textContent.includes("auto-lock")`)
	chrometest.Shoot(t, ctx, "no-lock")
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#dark`)))
	chrometest.Until(t, ctx, `$("dark").hidden`)
	if got := wrong(); len(got) > 0 {
		t.Errorf("the browser complains: %v", got)
	}
}

// The browser's own lock, where it grants one: a page of this machine.
func TestScreenLock(t *testing.T) {
	ctx := chrometest.Start(t)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	chrometest.Do(t, ctx, chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#sound`)))
	chrometest.Until(t, ctx, `document.body.dataset.screen === "lock" && lock && !lock.released && $("sound").textContent === word.awake`)
}

// A replay is paced from the page: buttons, slider, keys.
func TestReplayControls(t *testing.T) {
	ctx := chrometest.Start(t)
	wrong := chrometest.Complaints(t, ctx)
	d := &diary{}
	play := sessiontest.Guided(t, "healthy", time.Second)
	p := serve(t, Config{Title: "replay B1S1", Name: "k3f9w2", Setup: sessiontest.B1S1, Verdict: play.Verdict, Controls: live.Controls{Play: d.play(88 * time.Second)}})
	play.Until(p, sessiontest.Stage(session.StageHold, analysis.Lean, 9*time.Second))
	p.Replays(Status{Speed: "2×", Still: true})
	chrometest.Do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null && !$("play").hidden && $("clock").textContent.includes("2×")`)
	at := int(p.state.Now.Seconds())
	for i, name := range []string{"pause", "back", "on", "step", "slower", "faster"} {
		chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#play [data-do=`+name+`]`)))
		waitFor(t, func() bool { return strings.Count(d.all(), ",") == i })
	}
	chrometest.Eval[bool](t, ctx, `$("place").focus(), true`)
	chrometest.Do(t, ctx, chromedp.KeyEvent(kb.Home))
	waitFor(t, func() bool { return strings.HasSuffix(d.all(), "seek 0") })
	want := fmt.Sprintf("pause, seek %d, seek %d, step, slower, faster, seek 0", at-10, at+10)
	if got := d.all(); got != want {
		t.Errorf("did %s\nwant %s", got, want)
	}
	if got := chrometest.Eval[string](t, ctx, `document.querySelector("#play [data-do=pause]").textContent`); got != words.Page.Go {
		t.Errorf("standing still, the button says %q", got)
	}
	if on := chrometest.Eval[bool](t, ctx, `view.alarm`); on {
		t.Error("a replay that stands still sounds the alarm")
	}
	p.Replays(Status{Speed: "2×"})
	chrometest.Until(t, ctx, `document.querySelector("#play [data-do=pause]").textContent === word.stop`)
	for _, size := range sizes {
		chrometest.Do(t, ctx, chromedp.EmulateViewport(size.w, size.h))
		chrometest.Eval[bool](t, ctx, `build(), draw(), fit(), `+settled)
		chrometest.Shoot(t, ctx, "replay-"+size.name)
		if out := chrometest.Eval[[]string](t, ctx, outside); len(out) > 0 {
			t.Errorf("%s: outside the screen: %v", size.name, out)
		}
		if mm := chrometest.Eval[float64](t, ctx, capital); mm < 10 {
			t.Errorf("%s: capitals of %.1f mm", size.name, mm)
		}
	}
	if got := wrong(); len(got) > 0 {
		t.Errorf("the browser complains: %v", got)
	}
}

// The ring is one stop of the Tab key, arrow keys go round it, and what an arc says is
// there to hear and to see.
func TestRingByKeyboard(t *testing.T) {
	ctx := chrometest.Start(t)
	play := sessiontest.Guided(t, "healthy", time.Second)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict, Controls: (&diary{}).controls()})
	play.Until(p, sessiontest.Stage(session.StageHold, analysis.Lean, 9*time.Second))
	chrometest.Do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	focus := func() string {
		return chrometest.Eval[string](t, ctx, `document.activeElement.dataset.arc || document.activeElement.id`)
	}
	for focus() != "theme" {
		chrometest.Do(t, ctx, chromedp.KeyEvent(kb.Tab))
	}
	chrometest.Do(t, ctx, chromedp.KeyEvent(kb.Tab))
	for _, id := range append(slices.Clone(analysis.ProofOrder[:]), analysis.ProofOrder[0]) {
		if got := focus(); got != string(id) {
			t.Fatalf("at %q, want %s", got, id)
		}
		seen := chrometest.Eval[string](t, ctx, `$("arc").hidden ? "" : $("arc").textContent`)
		heard := chrometest.Eval[string](t, ctx, `document.activeElement.getAttribute("role") + " " + document.activeElement.getAttribute("aria-label")`)
		if !strings.Contains(seen, words.ProofTitles[id]) || !strings.Contains(heard, "img "+words.ProofTitles[id]) {
			t.Errorf("%s: seen %q, heard %q", id, seen, heard)
		}
		if id == analysis.ProofAddsFuel {
			chrometest.Shoot(t, ctx, "ring-focus")
		}
		chrometest.Do(t, ctx, chromedp.KeyEvent(kb.ArrowRight))
	}
	chrometest.Do(t, ctx, chromedp.KeyEvent(kb.Tab))
	if got := chrometest.Eval[string](t, ctx, `document.activeElement.dataset.do + $("arc").hidden`); got != "releasetrue" {
		t.Errorf("Tab leaves the ring for %q", got)
	}
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`[data-arc=adds_fuel] .seal`)))
	chrometest.Until(t, ctx, `!$("arc").hidden && $("arc").textContent.includes("adds fuel")`)
}

// Nobody near: what is for fingers goes, in 8 s, and a tap or a key brings it back.
func TestNearAndFar(t *testing.T) {
	ctx := chrometest.Start(t)
	play := sessiontest.Guided(t, "healthy", time.Second)
	d := &diary{}
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict, Controls: d.controls()})
	play.Until(p, sessiontest.Stage(session.StageHold, analysis.Lean, 9*time.Second))
	const hasten = `(f => { window.setTimeout = (g, ms) => f(g, ms / 20); })(window.setTimeout), near(), true`
	chrometest.Do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`#sound`)))
	const skip, head = `document.querySelector("[data-do=skip]").offsetHeight`, `document.querySelector("header").offsetHeight`
	if chrometest.Eval[int](t, ctx, skip) < 30 || chrometest.Eval[int](t, ctx, head) < 30 {
		t.Error("near, there is nothing to tap")
	}
	chrometest.Eval[bool](t, ctx, hasten)
	chrometest.Until(t, ctx, `document.body.classList.contains("far") && `+skip+` <= 1 && `+head+` <= 1`)
	// The large button is where it was, and one tap on it is enough.
	chrometest.Do(t, ctx, chromedp.Click(chromedp.CSS(`[data-do=release]`)))
	waitFor(t, func() bool { return d.all() == "release" })
	chrometest.Until(t, ctx, `document.body.classList.contains("far")`)
	chrometest.Do(t, ctx, chromedp.KeyEvent(kb.Tab)) // held by the keyboard it stays near
	chrometest.Until(t, ctx, skip+` > 30`)
	chrometest.Do(t, ctx, chromedp.Sleep(600*time.Millisecond))
	if chrometest.Eval[int](t, ctx, skip) < 30 {
		t.Error("a button goes while the keyboard is on it")
	}
}

func waitFor(t *testing.T, is func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !is(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("it never happened")
		}
	}
}

// The network goes away and comes back: the page says so, comes back by itself and
// has all that it missed.
func TestOfflineAndReturn(t *testing.T) {
	ctx := chrometest.Start(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	net := &line{Listener: l}
	p := serveOn(net, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	t.Cleanup(p.Close)
	stop := make(chan struct{})
	fed := make(chan int)
	go func() { // ten readings a second, whoever listens
		n := 0
		for tick := time.NewTicker(100 * time.Millisecond); ; n++ {
			select {
			case <-tick.C:
				_ = p.Write(volts(time.Duration(n+1)*100*time.Millisecond, 0.1+float64(n%8)/10))
			case <-stop:
				tick.Stop()
				fed <- n
				return
			}
		}
	}()
	chrometest.Do(t, ctx, chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `traces.v[0].length > 5 && $("stale").hidden`)
	net.set(true)
	chrometest.Until(t, ctx, `$("stale").textContent.startsWith("NO CONNECTION FOR") && document.body.classList.contains("stale")`)
	net.set(false)
	chrometest.Until(t, ctx, `$("stale").hidden && !document.body.classList.contains("stale")`)
	close(stop)
	n := <-fed
	chrometest.Until(t, ctx, fmt.Sprintf(`traces.v[0].length === %d`, n))
	if hole := chrometest.Eval[float64](t, ctx, `Math.max(...traces.v[0].slice(1).map((x, i) => x - traces.v[0][i]))`); hole > 0.15 {
		t.Errorf("a hole of %.1f s is left", hole)
	}
	// Nothing comes any more, but the program is there: another thing, said otherwise.
	chrometest.Until(t, ctx, `$("stale").textContent.startsWith("NO DATA FOR")`)
	p.Close()
	chrometest.Until(t, ctx, `$("stale").textContent === word.ended`)
}

// Two watch, and see the same.
func TestTwoClients(t *testing.T) {
	one := chrometest.Start(t)
	play := sessiontest.Guided(t, "healthy", time.Second)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict})
	chrometest.Do(t, one, chromedp.Navigate(p.URL()))
	two, cancel := chromedp.NewContext(one)
	defer cancel()
	chrometest.Do(t, two, chromedp.Navigate(p.URL()))
	waitFor(t, func() bool { return p.Guests() == 2 })
	play.Until(p, nil)
	const seen = `JSON.stringify([traces, marks, view, $("big").textContent, [...document.querySelectorAll("[data-arc]")].map(g => g.getAttribute("class"))])`
	chrometest.Until(t, one, `view && view.over`)
	chrometest.Until(t, two, `view && view.over`)
	a, b := chrometest.Eval[string](t, one, seen), chrometest.Eval[string](t, two, seen)
	if a != b || !strings.Contains(a, "LOOPPROVEN") {
		t.Errorf("one sees\n%.400s\nthe other\n%.400s", a, b)
	}
	if got := chrometest.Eval[int](t, one, `document.querySelectorAll(".arc.proven").length`); got != len(analysis.ProofOrder) {
		t.Errorf("%d arcs are drawn as proven", got)
	}
}

// A sensor that turns out to be a wide-range one while the page is open gets the arc for its scale there, without a reload, and after one.
func TestScaleArcComes(t *testing.T) {
	ctx := chrometest.Start(t)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	chrometest.Do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	const arcs = `[...document.querySelectorAll("svg.ring [data-arc][role=img]")].length`
	if n := chrometest.Eval[int](t, ctx, arcs); n != len(analysis.ProofOrder) {
		t.Fatalf("%d arcs before", n)
	}
	lambda := decode.Sample{Signal: decode.ByName(decode.SensorID{Bank: 1, Position: 1}.Ratio()), Value: 1}
	if err := p.Write(session.Frame{Record: obd.Record{At: time.Second}, Samples: []decode.Sample{lambda}}); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		chrometest.Until(t, ctx, arcs+` === `+strconv.Itoa(len(analysis.ProofOrder)+1)+` && document.querySelector("[data-arc=sensor_scale]").getAttribute("aria-label") !== null`)
		chrometest.Do(t, ctx, chromedp.Reload())
	}
}

// The tone that says 'let go' goes on until it is done.
func TestAlarm(t *testing.T) {
	ctx := chrometest.Start(t)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	chrometest.Do(t, ctx, chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	_ = p.Write(event(time.Second, analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean}))
	chrometest.Until(t, ctx, `document.body.dataset.tone === "seen" && alarming === null`)
	_ = p.Write(event(2*time.Second, analysis.Event{Name: analysis.LoopAnswers, Side: analysis.Lean, Toward: "add"}))
	chrometest.Until(t, ctx, `document.body.dataset.tone === "adds"`)
	_ = p.Write(volts(27*time.Second, 0.01))
	chrometest.Until(t, ctx, `document.body.dataset.tone === "release" && alarming !== null && $("big").textContent === "RELEASENOW"`)
	_ = p.Write(event(28*time.Second, analysis.Event{Name: analysis.ForceEnds, Side: analysis.Lean}))
	chrometest.Until(t, ctx, `alarming === null && $("big").textContent !== "RELEASENOW"`)
}

// The tones carry through a workshop and differ by more than pitch: at most six;
// 500 to 5000 Hz with four or more components from 1 to 4 kHz (human factors design
// standard of the FAA, and NUREG-0700, as quoted in the project's references); each
// with a rhythm of its own, but for the two that go up and down. They are heard:
// rendered, each has energy at its fundamental and in that band.
func TestTones(t *testing.T) {
	ctx := chrometest.Start(t)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	chrometest.Do(t, ctx, chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	tones := chrometest.Eval[map[string][][3]float64](t, ctx, `tones`)
	if len(tones) > 6 {
		t.Errorf("%d tones are too many to know apart", len(tones))
	}
	rhythms := map[string]string{}
	for name, parts := range tones {
		components := map[float64]bool{}
		rhythm := ""
		for _, p := range parts {
			if p[2] < 500 || p[2] > 5000 {
				t.Errorf("%s: %g Hz", name, p[2])
			}
			for f := p[2]; f <= 4000; f += p[2] { // a sawtooth has all harmonics
				if f >= 1000 {
					components[f] = true
				}
			}
			rhythm += fmt.Sprintf("%.2f+%.2f ", p[0], p[1])
		}
		if len(components) < 4 {
			t.Errorf("%s has %d components from 1 to 4 kHz", name, len(components))
		}
		if other := rhythms[rhythm]; other != "" {
			t.Errorf("%s and %s have the same rhythm", name, other)
		}
		rhythms[rhythm] = name
		heard := chrometest.Eval[[2]float64](t, ctx, fmt.Sprintf(rendered, name))
		if heard[0] < 0.02 || heard[1] < 0.005 {
			t.Errorf("%s: amplitude %.4f at its first fundamental, %.4f at the third harmonic", name, heard[0], heard[1])
		}
	}
}

// rendered is the amplitude of the first part of a tone at its fundamental and at the
// third harmonic, by a single-bin Fourier sum.
const rendered = `(async () => {
  const rate = 48000, c = new OfflineAudioContext(1, rate * 2, rate), name = %q, [at, long, hz] = tones[name][0];
  sound(c, name);
  const x = (await c.startRendering()).getChannelData(0), from = Math.round((at + .04) * rate), n = Math.round(.07 * rate);
  return [1, 3].map(k => { let re = 0, im = 0; for (let i = 0; i < n; i++) { const a = 2 * Math.PI * k * hz * i / rate; re += x[from + i] * Math.cos(a); im += x[from + i] * Math.sin(a); } return 2 * Math.hypot(re, im) / n; });
})()`

// For who cannot see it, needs larger letters, or no movement.
func TestAccessible(t *testing.T) {
	ctx := chrometest.Start(t)
	play := sessiontest.Guided(t, "healthy", time.Second)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict, Controls: (&diary{}).controls()})
	play.Until(p, sessiontest.Stage(session.StageHold, analysis.Lean, 5*time.Second))
	chrometest.Do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	if got := chrometest.Eval[string](t, ctx, `$("spoken").textContent`); got != "HOLD LEAN" {
		t.Errorf("spoken: %q, want the step without its countdown", got)
	}
	if got := chrometest.Eval[[]string](t, ctx, `[...document.querySelectorAll("[data-arc] title")].map(e => e.textContent)`); !slices.Contains(got, "adds fuel when driven lean: passed") {
		t.Errorf("arcs say %v", got)
	}
	unnamed := chrometest.Eval[int](t, ctx, `[...document.querySelectorAll("button, [role=img], svg")].filter(e => !(e.textContent.trim() || e.getAttribute("aria-label"))).length`)
	if unnamed > 0 {
		t.Errorf("%d things have no name", unnamed)
	}
	// Contrast of words on their ground: 4.5 to 1 (WCAG 2.1, 1.4.3), and 3 to 1 for the
	// large ones, in both themes.
	for _, theme := range []string{"night", "sun"} {
		chrometest.Eval[bool](t, ctx, `theme("`+theme+`"), true`)
		for name, c := range chrometest.Eval[map[string]float64](t, ctx, contrast) {
			if c < 4.5 {
				t.Errorf("%s: %s has a contrast of %.1f", theme, name, c)
			}
		}
	}
	chrometest.Emulate(t, ctx, "", &emulation.MediaFeature{Name: "prefers-reduced-motion", Value: "reduce"})
	if n := chrometest.Eval[int](t, ctx, `document.getAnimations().length`); n > 0 {
		t.Errorf("%d things move although less motion is asked for", n)
	}
	// Letters twice as large: nothing is cut off at the sides, the rest can be scrolled to.
	for _, size := range sizes[:4] {
		chrometest.Do(t, ctx, chromedp.EmulateViewport(size.w, size.h))
		chrometest.Eval[bool](t, ctx, `document.documentElement.style.fontSize = "200%", fit(), size(), `+settled)
		chrometest.Shoot(t, ctx, "text-200-"+size.name)
		if wide := chrometest.Eval[[]string](t, ctx, `[...document.querySelectorAll("#big div, #say, #values .digits, #buttons button, header button")].filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent)`); len(wide) > 0 {
			t.Errorf("%s: cut off with letters of 200 %%: %v", size.name, wide)
		}
		if over := chrometest.Eval[bool](t, ctx, `document.querySelector("footer").getBoundingClientRect().top < document.querySelector("#ring").getBoundingClientRect().bottom - 1 ||
			innerHeight > innerWidth && $("values").getBoundingClientRect().top < $("step").getBoundingClientRect().bottom - 1`); over {
			t.Errorf("%s: things lie over each other with letters of 200 %%", size.name)
		}
		if low := chrometest.Eval[bool](t, ctx, `[...document.querySelectorAll("#buttons button")].every(e => e.getBoundingClientRect().bottom + scrollY <= document.documentElement.scrollHeight + 1)`); !low {
			t.Errorf("%s: a button cannot be scrolled to", size.name)
		}
	}
}

// contrast is that of each colour that words have against what is behind them.
const contrast = `(() => {
  const rgb = c => { const e = document.createElement("i"); e.style.color = c; document.body.append(e); const v = getComputedStyle(e).color.match(/[\d.]+/g).map(Number); e.remove(); return v; };
  const lum = c => { const [r, g, b] = rgb(c).map(v => v / 255).map(v => v <= .03928 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4); return .2126 * r + .7152 * g + .0722 * b; };
  const ratio = (a, b) => { const [x, y] = [lum(a), lum(b)].sort((p, q) => q - p); return (x + .05) / (y + .05); };
  const out = {};
  for (const n of ["--ink", "--quiet", "--lean", "--rich", "--good", "--bad", "--doubt"]) out[n] = ratio(css(n), css("--paper"));
  out["on lean"] = ratio(css("--on-side"), css("--lean"));
  out["on rich"] = ratio("#000", "#e69f00");
  return out;
})()`

// From the deciding reading to the screen of a browser on this machine, ms. A figure
// to look at; it passes or fails nothing: 13, 23 at worst, on 2 cores (-benchtime 50x), of
// 50 allowed.
func BenchmarkEventToBrowser(b *testing.B) {
	ctx := chrometest.Start(b)
	p := serve(b, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	if err := chromedp.Do(ctx, chromedp.Navigate(p.URL())); err != nil {
		b.Fatal(err)
	}
	const install = `new MutationObserver(() => { const t = performance.timeOrigin + performance.now();
	  requestAnimationFrame(() => { window.shown = [$("last").textContent.replaceAll("\u00a0", " "), t, performance.timeOrigin + performance.now()]; }); }).observe($("last"), { childList: true, characterData: true, subtree: true }), true`
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool](install)); err != nil {
		b.Fatal(err)
	}
	var all []float64
	for i := range b.N {
		at := time.Duration(i+1) * time.Second
		_ = p.Write(event(at-time.Millisecond, analysis.Event{Name: analysis.ForceEnds, Side: analysis.Lean}))
		time.Sleep(30 * time.Millisecond)
		began := time.Now()
		_ = p.Write(event(at, analysis.Event{Name: analysis.SwitchingResumes, After: float64(i)}))
		want := fmt.Sprintf("%.1f s after", float64(i))
		shown, err := chromedp.Run(ctx, chromedp.Poll[[]any](fmt.Sprintf(`window.shown && window.shown[0].includes(%q) && window.shown`, want)))
		if err != nil {
			b.Fatal(err)
		}
		all = append(all, shown[2].(float64)-float64(began.UnixNano())/1e6)
	}
	slices.Sort(all)
	b.ReportMetric(all[len(all)/2], "ms/median")
	b.ReportMetric(all[len(all)-1], "ms/worst")
}
