package page

import (
	"fmt"
	"net"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pushback/analysis"
	"pushback/cmd/internal/chrometest"
	"pushback/cmd/internal/session"
	"pushback/cmd/internal/session/sessiontest"
	"pushback/obd"
)

var sizes = []struct {
	name string
	w, h int64
}{{"phone", 390, 844}, {"phone-small", 360, 640}, {"phone-lying", 844, 390}, {"tablet", 768, 1024}, {"tablet-lying", 1180, 820}}

// Nothing of the page may be cut off or fall outside, at any size, in any stage.
func TestPageAtEverySize(t *testing.T) {
	ctx := chrometest.Start(t)
	themes := []string{"night"}
	if os.Getenv(chrometest.Shots) != "" {
		themes = []string{"night", "sun"}
	}
	for _, stage := range []struct {
		name string
		car  string
		stop func(sessiontest.Moment) bool
	}{
		{"hold", "healthy", sessiontest.Stage(session.StageHold, analysis.Lean, 9*time.Second)},
		{"release", "healthy", sessiontest.Stage(session.StageRelease, analysis.Rich, 2*time.Second)},
		{"over", "healthy", nil},
		{"dead", "sensor-dead-middle", nil},
	} {
		play := sessiontest.Guided(t, stage.car, 3*time.Second)
		p := serve(t, Config{Title: "test B1S1 by wire", Name: "k3f9w2", Sensor: "B1S1", Verdict: play.Verdict, Hands: (&diary{}).hands()})
		play.Until(p, stage.stop)
		chrometest.Do(t, ctx, chromedp.Navigate(p.URL()))
		chrometest.Until(t, ctx, `view !== null`)
		for _, size := range sizes {
			for _, theme := range themes {
				chrometest.Do(t, ctx, chromedp.EmulateViewport(size.w, size.h))
				chrometest.Do(t, ctx, chromedp.Sleep(100*time.Millisecond))
				chrometest.Eval[bool](t, ctx, `theme("`+theme+`"), build(), draw(), fit(), true`)
				chrometest.Do(t, ctx, chromedp.Sleep(150*time.Millisecond))
				chrometest.Shoot(t, ctx, stage.name+"-"+size.name+"-"+theme)
				// A capital is 10 mm high on a phone held upright (160 px an inch), so that it
				// reads from two metres: 1/200 of the distance, the FAA's rule.
				if mm := chrometest.Eval[float64](t, ctx, `ruler.measureText("H").actualBoundingBoxAscent / 100 * parseFloat($("big").style.fontSize) * 25.4 / 160`); mm < 10 && size.name != "phone-lying" && size.name != "phone-small" {
					t.Errorf("%s, %s: capitals of %.1f mm", stage.name, size.name, mm)
				}
				if out := chrometest.Eval[[]string](t, ctx, outside); len(out) > 0 {
					t.Errorf("%s, %s: outside the screen: %v", stage.name, size.name, out)
				}
			}
		}
	}
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
	p := serve(t, Config{Title: "record", Name: "k3f9w2", Sensor: "B1S1", Verdict: noVerdict, Hands: d.hands()})
	_ = p.Write(volts(time.Second, 0.3))
	chrometest.Do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `document.querySelectorAll("#buttons button").length === 3`)
	names := chrometest.Eval[[]string](t, ctx, `[...document.querySelectorAll("#buttons button")].map(b => b.textContent)`)
	if got, want := strings.Join(names, "|"), "▼ LEAN IS ON|▲ RICH IS ON|MARK"; got != want {
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
	chrometest.Until(t, ctx, `document.querySelector("#buttons .main").textContent === "RELEASED"`)
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
	p := serveOn(net, Config{Sensor: "B1S1", Verdict: noVerdict})
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
	p := serve(t, Config{Sensor: "B1S1", Verdict: play.Verdict})
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

// The tone that says 'let go' goes on until it is done.
func TestAlarm(t *testing.T) {
	ctx := chrometest.Start(t)
	p := serve(t, Config{Sensor: "B1S1", Verdict: noVerdict})
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
	p := serve(t, Config{Sensor: "B1S1", Verdict: noVerdict})
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
	p := serve(t, Config{Sensor: "B1S1", Verdict: play.Verdict, Hands: (&diary{}).hands()})
	play.Until(p, sessiontest.Stage(session.StageHold, analysis.Lean, 5*time.Second))
	chrometest.Do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(p.URL()))
	chrometest.Until(t, ctx, `view !== null`)
	if got := chrometest.Eval[string](t, ctx, `$("spoken").textContent`); got != "HOLD LEAN" {
		t.Errorf("spoken: %q, want the step without its countdown", got)
	}
	if got := chrometest.Eval[[]string](t, ctx, `[...document.querySelectorAll("[data-arc] title")].map(e => e.textContent)`); !slices.Contains(got, "held lean, it adds fuel: proven") {
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
	chrometest.Eval[bool](t, ctx, `document.documentElement.style.fontSize = "200%", fit(), size(), true`)
	chrometest.Do(t, ctx, chromedp.Sleep(200*time.Millisecond))
	chrometest.Shoot(t, ctx, "text-200")
	if wide := chrometest.Eval[[]string](t, ctx, `[...document.querySelectorAll("#big div, #say, #values .digits, #buttons button, header button")].filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent)`); len(wide) > 0 {
		t.Errorf("cut off with letters of 200 %%: %v", wide)
	}
	if over := chrometest.Eval[bool](t, ctx, `document.querySelector("footer").getBoundingClientRect().top < document.querySelector("#ring").getBoundingClientRect().bottom - 1 ||
		$("values").getBoundingClientRect().top < $("step").getBoundingClientRect().bottom - 1`); over {
		t.Error("things lie over each other with letters of 200 %")
	}
	if low := chrometest.Eval[bool](t, ctx, `[...document.querySelectorAll("#buttons button")].every(e => e.getBoundingClientRect().bottom + scrollY <= document.documentElement.scrollHeight + 1)`); !low {
		t.Error("a button cannot be scrolled to")
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
// to look at; it passes or fails nothing.
func BenchmarkEventToBrowser(b *testing.B) {
	ctx := chrometest.Start(b)
	p := serve(b, Config{Sensor: "B1S1", Verdict: noVerdict})
	if err := chromedp.Do(ctx, chromedp.Navigate(p.URL())); err != nil {
		b.Fatal(err)
	}
	const install = `new MutationObserver(() => { const t = performance.timeOrigin + performance.now();
	  requestAnimationFrame(() => { window.shown = [$("last").textContent, t, performance.timeOrigin + performance.now()]; }); }).observe($("last"), { childList: true, characterData: true, subtree: true }), true`
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
