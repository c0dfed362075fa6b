// Package chrometest runs a real browser for the tests of what is shown in one. Only
// tests import it.
package chrometest

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Start starts a browser of the test's own, or skips the test where there is none, or with -short.
func Start(t testing.TB) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("starts a browser")
	}
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no Chromium here: install it to test in a browser (Debian: apt-get install chromium)")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.DisableGPU, chromedp.NoSandbox,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-background-networking", true),
		chromedp.UserDataDir(t.TempDir()))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

// Do runs steps in the browser.
func Do(t testing.TB, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

// Eval returns the value of an expression in the page, of a promise what it comes to.
func Eval[T any](t testing.TB, ctx context.Context, js string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", js, err)
	}
	return v
}

// Until waits for the page to make an expression true.
func Until(t testing.TB, ctx context.Context, js string) {
	t.Helper()
	if _, err := chromedp.Run(ctx, chromedp.Poll[bool](js, chromedp.WithPollingTimeout(30*time.Second))); err != nil {
		t.Fatalf("never true: %s (%v)", js, err)
	}
}

// Emulate has the page see a medium ("print", "" for the screen) and a media feature.
func Emulate(t testing.TB, ctx context.Context, medium string, features ...*emulation.MediaFeature) {
	t.Helper()
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: medium, Features: features}); err != nil {
		t.Fatal(err)
	}
}

// Shots names the environment variable of the folder that Shoot writes to.
const Shots = "PUSHBACK_SHOTS"

// Shoot keeps a picture for people where Shots names a folder.
func Shoot(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv(Shots)
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}

// Complaints gathers what the browser reports as wrong from here on: errors of
// scripts, and what the page's policy forbids.
func Complaints(t testing.TB, ctx context.Context) func() []string {
	t.Helper()
	var mu sync.Mutex
	var all []string
	err := chromedp.Listen(ctx, func(e any) {
		mu.Lock()
		defer mu.Unlock()
		switch e := e.(type) {
		case *runtime.EventExceptionThrown:
			all = append(all, e.ExceptionDetails.Text)
		case *cdplog.EventEntryAdded:
			if e.Entry.Source == cdplog.EntrySourceSecurity || e.Entry.Source == cdplog.EntrySourceJavascript || strings.Contains(e.Entry.Text, "Content Security") {
				all = append(all, e.Entry.Text)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return func() []string { mu.Lock(); defer mu.Unlock(); return all }
}
