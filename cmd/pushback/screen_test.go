//go:build unix

package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"pushback/analysis"
	"pushback/cmd/internal/simrun"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/views"
	"pushback/obd"
	"pushback/obd/simcar"
)

// storedTest makes a database with one guided test of a sound car, done in simulated
// time.
func storedTest(t *testing.T) (db string) {
	t.Helper()
	db = filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)
	a, _, errOut := testApp(t, db)
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	if err := guidedRun(t, a, car, obd.BusUnknown, false); err != nil {
		t.Fatal(err, errOut)
	}
	return db
}

// A replay on the whole screen, in a real terminal: it shows how fast it goes, obeys
// the keys, and leaves the verdict on the shell's screen.
func TestReplayInTmux(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a terminal")
	}
	if _, err := exec.LookPath("tmux"); err != nil {
		t.Skip("no tmux here: install it to test the screen in a real terminal (Debian: apt-get install tmux)")
	}
	t.Parallel()
	db := storedTest(t)
	dir := t.TempDir()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "pushback")
	if err := os.Symlink(self, program); err != nil {
		t.Fatal(err)
	}
	socket := filepath.Join(dir, "tmux")
	tmux := func(args ...string) string {
		t.Helper()
		out, err := exec.Command("tmux", append([]string{"-u", "-S", socket}, args...)...).CombinedOutput()
		if err != nil {
			t.Fatalf("tmux %v: %v: %s", args, err, out)
		}
		return string(out)
	}
	shows := func(want string) {
		t.Helper()
		re := regexp.MustCompile(want)
		var got string
		for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			if got = tmux("capture-pane", "-p", "-S", "-100"); re.MatchString(got) {
				return
			}
		}
		t.Fatalf("never shows %s:\n%s", want, got)
	}
	tmux("-f", "/dev/null", "new-session", "-d", "-x", "80", "-y", "24", "-e", "LC_ALL=C.UTF-8", "-e", "NO_COLOR=1",
		program+" replay last --speed 2 --db "+db+"; echo status $?; sleep 60")
	t.Cleanup(func() { _ = exec.Command("tmux", "-S", socket, "kill-server").Run() })

	shows(`pushback replay .* 2×`)
	tmux("send-keys", "Right")
	tmux("send-keys", "Right")
	shows(`0:2\d\n`)
	tmux("send-keys", "Home")
	shows(`0:0\d\n`)
	tmux("send-keys", "+")
	shows(` 5×`)
	tmux("send-keys", ".")
	shows(`ready for the test`)
	tmux("send-keys", ".")
	shows(`open input reads`)
	tmux("send-keys", ".") // the step starts
	shows(`0:[12]\d  ?▼ lean step starts`)
	tmux("send-keys", "Space")
	for range 12 {
		tmux("send-keys", "Right")
	}
	shows(`correct bank responds +PASSED`)
	tmux("send-keys", "Left") // back into it from the end
	shows(`trim bank 1`)
	tmux("send-keys", "q")
	// Judged as far as it was shown, which is as far as the clock had come.
	shows(`(?s)ECM reads the wire +PASSED.*status (0|11)\n`)
}

// What can hurt is read at one look on the smallest terminal that shows all.
func TestCautionsFitOneScreen(t *testing.T) {
	for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture} {
		var b strings.Builder
		views.WriteCautions(&b, term.Style{}, 78, by)
		if n := strings.Count(strings.TrimSpace(b.String()), "\n") + 1; n > 24-2 {
			t.Errorf("by %s: %d lines", by, n)
		}
	}
}

// A replay to a page and no terminal: the address is printed, the page can be opened
// with it alone, it makes no marks but paces the replay, also back from its end, and it
// ends when nobody watches any more.
func TestReplayToPage(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	db := storedTest(t)
	said, saying := io.Pipe()
	var errOut bytes.Buffer
	ended := make(chan int)
	go func() {
		ended <- run(context.Background(), []string{"replay", "last", "--page", "--speed", "50", "--db", db}, strings.NewReader(""), saying, &errOut)
		saying.Close()
	}()
	lines := bufio.NewScanner(said)
	url := ""
	for url == "" && lines.Scan() {
		if text := strings.TrimSpace(lines.Text()); strings.HasPrefix(text, "http://127.0.0.1:") {
			url = text
		}
	}
	if url == "" {
		t.Fatal("no address was printed")
	}
	rest := make(chan string)
	go func() {
		b, _ := io.ReadAll(said)
		rest <- string(b)
	}()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	resp, err := client.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := io.ReadAll(resp.Body)
	resp.Body.Close()
	if resp.StatusCode != 200 || !bytes.Contains(b, []byte(`data-arc="input"`)) {
		t.Errorf("the page: status %d\n%s", resp.StatusCode, b)
	}
	act := func(body string) int {
		t.Helper()
		r, err := http.NewRequest("POST", url+"do", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Origin", url[:strings.Index(url[7:], "/")+7])
		r.Header.Set("Content-Type", "application/json")
		resp, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		return resp.StatusCode
	}
	if status := act(`{"do":"lean"}`); status != http.StatusBadRequest {
		t.Errorf("a mark in a replay: status %d", status)
	}
	watching, err := client.Get(url + "events")
	if err != nil {
		t.Fatal(err)
	}
	defer watching.Body.Close()
	told := bufio.NewScanner(watching.Body)
	told.Buffer(nil, 4<<20)
	until := func(want string) {
		t.Helper()
		for told.Scan() {
			if strings.Contains(told.Text(), want) {
				return
			}
		}
		t.Fatalf("the page is never told %s", want)
	}
	until(`"big":"LOOP PROVEN"`)
	for _, tt := range []struct{ do, told string }{
		{`{"do":"seek","to":30}`, `"whole":true`}, // back from the end
		{`{"do":"pause"}`, `"still":true`},
		{`{"do":"slower"}`, `"speed":"10×"`},
		{`{"do":"step"}`, `"still":true`}, // at the next event
		{`{"do":"seek","to":1000}`, `"big":"LOOP PROVEN"`},
	} {
		if status := act(tt.do); status != http.StatusNoContent {
			t.Errorf("%s: status %d", tt.do, status)
		}
		until(tt.told)
	}
	watching.Body.Close()
	if status := <-ended; status != statusDone {
		t.Errorf("status %d\n%s", status, &errOut)
	}
	if text := <-rest; !strings.Contains(text, "LOOP PROVEN") {
		t.Errorf("no verdict:\n%s", text)
	}
	if _, err := client.Get(url); err == nil {
		t.Error("the page is still served after the end")
	}
}

// A tap on the page is a mark of the session, and a stranger's is none.
func TestRecordToPage(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	t.Parallel()
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simcar.New(simcar.Config{Car: car, Bus: obd.CAN11at500, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	port, stop, err := simrun.Serve(context.Background(), sim, "")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	db := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)
	said, saying := io.Pipe()
	ended := make(chan int)
	go func() {
		ended <- run(context.Background(), []string{"record", "--port", port, "--page=127.0.0.1:0", "--for", "4s", "--db", db},
			strings.NewReader(""), saying, io.Discard)
		saying.Close()
	}()
	lines := bufio.NewScanner(said)
	url := ""
	for url == "" && lines.Scan() {
		if text := strings.TrimSpace(lines.Text()); strings.HasPrefix(text, "http://") {
			url = text
		}
	}
	rest := make(chan string)
	go func() {
		var b strings.Builder
		for lines.Scan() {
			b.WriteString(lines.Text() + "\n")
		}
		rest <- b.String()
	}()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	for _, tap := range []struct {
		origin, body string
		want         int
	}{{"http://other.example", `{"do":"note","text":"stranger"}`, 403}, {"", `{"do":"note","text":"tapped"}`, 204}, {"", `{"do":"lean"}`, 204}} {
		if tap.origin == "" {
			tap.origin = url[:strings.Index(url[7:], "/")+7]
		}
		r, err := http.NewRequest("POST", url+"do", strings.NewReader(tap.body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Origin", tap.origin)
		r.Header.Set("Content-Type", "application/json")
		resp, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != tap.want {
			t.Errorf("%s from %s: status %d, want %d", tap.body, tap.origin, resp.StatusCode, tap.want)
		}
	}
	<-ended
	text := <-rest
	for _, want := range []string{"you: note: tapped", "you: ▼ lean connected"} {
		if !strings.Contains(text, want) {
			t.Errorf("the session has no %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "stranger") {
		t.Errorf("a stranger made a mark:\n%s", text)
	}
}
