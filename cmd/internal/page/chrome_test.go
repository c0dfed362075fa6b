package page

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pushback/analysis"
	"pushback/cmd/internal/session"
	"pushback/cmd/internal/session/sessiontest"
)

// chrome starts a browser of its own, or skips the test.
func chrome(t *testing.T) context.Context {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no Chromium here: install it to test the page in a browser (Debian: apt-get install chromium)")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.DisableGPU, chromedp.NoSandbox,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-background-networking", true),
		chromedp.UserDataDir(t.TempDir()))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

func eval[T any](t *testing.T, ctx context.Context, js string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js))
	if err != nil {
		t.Fatalf("%s: %v", js, err)
	}
	return v
}

// until waits for the browser to make an expression true.
func until(t *testing.T, ctx context.Context, js string) {
	t.Helper()
	if _, err := chromedp.Run(ctx, chromedp.Poll[bool](js, chromedp.WithPollingTimeout(10*time.Second))); err != nil {
		t.Fatalf("never true: %s (%v)", js, err)
	}
}

// shoot keeps a picture for people where PUSHBACK_SHOTS names a folder.
func shoot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("PUSHBACK_SHOTS"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

var sizes = []struct {
	name string
	w, h int64
}{{"phone", 390, 844}, {"phone-lying", 844, 390}, {"tablet", 768, 1024}, {"tablet-lying", 1180, 820}}

// Nothing of the page may be cut off or fall outside, at any size, in any stage.
func TestPageAtEverySize(t *testing.T) {
	ctx := chrome(t)
	for _, stage := range []struct {
		name string
		stop func(sessiontest.Moment) bool
	}{
		{"hold", sessiontest.Stage(session.StageHold, analysis.Lean, 9*time.Second)},
		{"release", sessiontest.Stage(session.StageRelease, analysis.Rich, 2*time.Second)},
		{"over", nil},
	} {
		play := sessiontest.Guided(t, "healthy", 3*time.Second)
		p := serve(t, Config{Title: "test B1S1 by wire", Name: "k3f9w2", Sensor: "B1S1", Verdict: play.Verdict, Hands: allHands()})
		play.Until(p, stage.stop)
		do(t, ctx, chromedp.Navigate(p.URL()))
		until(t, ctx, `view !== null`)
		for _, size := range sizes {
			for _, theme := range []string{"night", "sun"} {
				do(t, ctx, chromedp.EmulateViewport(size.w, size.h))
				do(t, ctx, chromedp.Sleep(100*time.Millisecond))
				eval[bool](t, ctx, `theme("`+theme+`"), build(), draw(), fit(), true`)
				do(t, ctx, chromedp.Sleep(150*time.Millisecond))
				shoot(t, ctx, stage.name+"-"+size.name+"-"+theme)
				if out := eval[[]string](t, ctx, outside); len(out) > 0 {
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
