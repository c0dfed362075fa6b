package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/store"
)

// reportOf writes a report and returns it as a page and as JSON told it.
func reportOf(t testing.TB, db string, args ...string) (string, written) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "report")
	out, status := command(t, append([]string{"report", "--json", "--db", db, "--out", file}, args...)...)
	if status != statusDone {
		t.Fatalf("status %d", status)
	}
	var w written
	if err := json.Unmarshal([]byte(out), &w); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if sum := fmt.Sprintf("%x", sha256.Sum256(data)); sum != w.SHA256 || w.File != file {
		t.Errorf("%+v, but the file has %s", w, sum)
	}
	return string(data), w
}

// A report says what `show` says of the session: each proof's state and reason, each
// event, the next steps; which codes the test set; and whose records it is of.
func TestReportSaysTheVerdict(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	for _, car := range []string{"healthy", "sensor-dead-low", "monitor-trips", "wire-open-computer-side", "v-engine"} {
		t.Run(car, func(t *testing.T) {
			t.Parallel()
			db := filepath.Join(t.TempDir(), "p.db")
			a, _, _ := testApp(t, db)
			_ = guidedRun(t, a, simCar(t, car), obd.BusUnknown, false) // the status is the verdict's
			shown, _ := command(t, "show", "last", "--json", "--db", db)
			var s struct {
				Session struct{ ID string }
				Verdict struct {
					Conclusion string
					Proofs     []struct{ State, Why string }
					Next       []string
				}
				Events []json.RawMessage
				Found  foundJSON
			}
			if err := json.Unmarshal([]byte(shown), &s); err != nil {
				t.Fatal(err)
			}
			page, w := reportOf(t, db, "last")
			text := textOfPage(page)
			masked := digits.ReplaceAllString(text, "#")
			has := func(what string) {
				if !strings.Contains(text, what) {
					t.Errorf("no %q", what)
				}
			}
			for _, p := range s.Verdict.Proofs {
				has(p.Why)
			}
			for _, n := range s.Verdict.Next {
				has(n)
			}
			for _, e := range s.Events {
				line, err := storedEvent(e)
				if err != nil {
					t.Fatal(err)
				}
				// The stored numbers are rounded to a thousandth, those of the report are not.
				_, what, _ := strings.Cut(line, " s  ")
				if what = digits.ReplaceAllString(strings.TrimSpace(what), "#"); !strings.Contains(masked, what) {
					t.Errorf("no %q", what)
				}
			}
			has(s.Session.ID)
			has(w.Records[0])
			if n := strings.Count(page, `class="arc `); n != 8 {
				t.Errorf("%d arcs", n)
			}
			byTest := false
			for _, c := range s.Found.Codes {
				has(c.Code)
				byTest = byTest || c.ByTest
			}
			if got := strings.Contains(text, "Set by the test itself"); got != byTest {
				t.Errorf("set by the test: %v, want %v", got, byTest)
			}
			if car == "monitor-trips" && !byTest {
				t.Error("the test set no code: nothing is tested here")
			}
			// The same records give the same hash and, but for its own date, the same report.
			again, w2 := reportOf(t, db, "last")
			if w2.Records[0] != w.Records[0] {
				t.Error("another hash")
			}
			own := regexp.MustCompile(`Judged and written by.*`)
			if own.ReplaceAllString(again, "") != own.ReplaceAllString(page, "") {
				t.Error("another report")
			}
		})
	}
}

var digits = regexp.MustCompile(`[0-9.]+`)

// textOfPage is a page without its elements, on one line.
func textOfPage(page string) string {
	s := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " ")
	return strings.Join(strings.Fields(strings.NewReplacer("&#43;", "+", "&#39;", "'", "&#34;", `"`, "&gt;", ">", "&lt;", "<", "&amp;", "&").Replace(s)), " ")
}

// Every conclusion has words for the owner.
func TestOwnersWords(t *testing.T) {
	for _, car := range simcar.Cars() {
		if car.Expect == "" {
			continue
		}
		if o := words.OwnerText(analysis.Verdict{Conclusion: analysis.Conclusion(car.Expect)}, false); o.Answer == "" || len(o.Next) == 0 {
			t.Errorf("%s: %+v", car.Expect, o)
		}
	}
}

// The report on a repair has both sides, and the comparison's answer.
func TestReportOfRepair(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	db := filepath.Join(t.TempDir(), "p.db")
	var ids [2]string
	for i, name := range []string{"vacuum-leak-large", "healthy"} {
		ids[i] = recordSim(t, db, simcar.Config{Car: simCar(t, name), Bus: obd.ISO9141, Seed: uint64(i + 1), Drive: simcar.Town}, 10*time.Minute)
	}
	page, w := reportOf(t, db, ids[0], ids[1])
	text := textOfPage(page)
	for _, want := range []string{"Yes. Under the same conditions the computer has less to correct than before.", "Before: the whole recording", "After: the whole recording",
		"P0171", compareSessions(t, db, ids[0], ids[1]).Why[1:], "air flow, g/s", w.Records[0], w.Records[1]} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q", want)
		}
	}
	// Both trims against air flow, which come first, and both recordings on the same axes.
	axes := regexp.MustCompile(`(?s)<svg class="gutter"[^>]*>(.*?)</svg>`).FindAllStringSubmatch(page, -1)
	if len(axes) < 4 || axes[0][1] != axes[1][1] || axes[2][1] != axes[3][1] || axes[0][1] == axes[2][1] {
		t.Errorf("%d axes, or those beside each other differ", len(axes))
	}
}

// The head: flags win over the file; the VIN only when asked.
func TestReportHead(t *testing.T) {
	home := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", home)
	db := filepath.Join(t.TempDir(), "p.db")
	id := recordSim(t, db, simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500, Seed: 1}, 30*time.Second)
	if page, _ := reportOf(t, db, id); strings.Contains(page, "Technician</dt>") || strings.Contains(page, "Odometer") {
		t.Error("a head that nobody gave")
	}
	if err := os.MkdirAll(filepath.Join(home, "pushback"), 0o700); err != nil {
		t.Fatal(err)
	}
	config := filepath.Join(home, "pushback", "shop.json")
	if err := os.WriteFile(config, []byte(`{"name":"Corner <b>Garage</b>","technician":"A. Nobody"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	page, _ := reportOf(t, db, id, "--technician", "B. Nobody", "--odometer", "12 km", "--complaint", "</style><script>x</script>")
	for _, want := range []string{"Corner &lt;b&gt;Garage&lt;/b&gt;", "B. Nobody", "12 km", "&lt;/style&gt;&lt;script&gt;x"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q", want)
		}
	}
	if strings.Contains(page, "A. Nobody") {
		t.Error("the file wins over the flag")
	}
	var out, errOut bytes.Buffer
	if err := os.WriteFile(config, []byte(`{"nam":"x"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if s := run(t.Context(), []string{"report", id, "--db", db, "--out", filepath.Join(home, "x")}, strings.NewReader(""), &out, &errOut); s != statusFailed || !strings.Contains(errOut.String(), "shop.json") {
		t.Errorf("a wrong file: %d, %s", s, &errOut)
	}
	// Personal data goes in only when asked.
	if err := os.Remove(config); err != nil {
		t.Fatal(err)
	}
	kept, err := store.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	const vin = "1M8GDM9AXKP042788" // a made-up one
	if err := kept.Edit(t.Context(), id, func(m *store.Meta) { m.VIN = vin }); err != nil {
		t.Fatal(err)
	}
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}
	for _, asked := range []bool{false, true} {
		args := []string{id}
		if asked {
			args = append(args, "--with-vin")
		}
		if page, _ := reportOf(t, db, args...); strings.Contains(page, vin) != asked {
			t.Errorf("asked for the VIN: %v, but in the report: %v", asked, !asked)
		}
	}
	// Without a browser there is no PDF, but advice.
	t.Setenv("PATH", home)
	pdf := filepath.Join(home, "x.pdf")
	if s := run(t.Context(), []string{"report", id, "--pdf", "--db", db, "--out", pdf}, strings.NewReader(""), &out, &errOut); s != statusFailed || !strings.Contains(errOut.String(), "install Chromium") {
		t.Errorf("no browser: %d, %s", s, &errOut)
	}
	if left, _ := filepath.Glob(filepath.Join(home, "*pdf*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// A report of eight hours on a fast bus and on a slow one: time, and size beside it.
func BenchmarkReportOfEightHours(b *testing.B) {
	for _, bus := range []obd.Bus{obd.CAN11at500, obd.ISO9141} {
		b.Run(bus.String(), func(b *testing.B) {
			db := filepath.Join(b.TempDir(), "p.db")
			id := recordSim(b, db, simcar.Config{Car: simCar(b, "healthy"), Bus: bus, Seed: 1, Drive: simcar.Town}, 8*time.Hour)
			size, records := 0, ""
			for b.Loop() {
				page, _ := reportOf(b, db, id)
				size, records = len(page), regexp.MustCompile(`[0-9]+ records`).FindString(page)
			}
			b.ReportMetric(float64(size)/1e6, "MB")
			b.Log(records)
		})
	}
}

// Eight hours on a fast bus judged again, and how many times as long that takes as the
// sqlite3 shell to print the rows.
func BenchmarkReplayOfEightHours(b *testing.B) {
	shell, err := exec.LookPath("sqlite3")
	if err != nil {
		b.Skip("needs the sqlite3 shell")
	}
	db := filepath.Join(b.TempDir(), "p.db")
	id := recordSim(b, db, simcar.Config{Car: simCar(b, "healthy"), Bus: obd.CAN11at500, Seed: 1, Drive: simcar.Town}, 8*time.Hour)
	var judging, printing time.Duration
	for b.Loop() {
		start := time.Now()
		if s := run(b.Context(), []string{"replay", id, "--db", db}, strings.NewReader(""), io.Discard, io.Discard); s == statusFailed {
			b.Fatal(s)
		}
		judging += time.Since(start)
		start = time.Now()
		if err := exec.Command(shell, db, "select * from record").Run(); err != nil { // to the null device
			b.Fatal(err)
		}
		printing += time.Since(start)
	}
	b.ReportMetric(judging.Seconds()/float64(b.N), "s/replay")
	b.ReportMetric(judging.Seconds()/printing.Seconds(), "replay/shell")
}
