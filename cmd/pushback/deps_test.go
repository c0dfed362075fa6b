package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// imports is the table of what each room may import of this module. Inner rooms
// never import outer ones; what is under cmd may import all, tests too, but for what is
// drawn to measure the watcher, which must not know it.
var imports = map[string][]string{
	"decode":           {},
	"decode/dissector": {},
	"obd":              {},
	"obd/seriallink":   {"obd"},
	"obd/tcplink":      {"obd"},
	"obd/simcar":       {"obd"},
	"obd/simcar/hands": {"obd/simcar"},
	"obd/obdtest":      {"obd"},
	"obd/capture":      {"obd"},
	"obd/poll":         {"obd", "decode"},
	"analysis":         {"decode", "analysis/hazard", "analysis/limits", "analysis/measure", "analysis/reason", "analysis/recent", "analysis/stats", "analysis/upset"},
	"analysis/reason":  {"analysis/hazard"},
	"analysis/bias":    {"analysis/reason"},
	"analysis/agenda":  {"analysis", "decode"},
	"analysis/compare": {"analysis/reason", "analysis/stats", "analysis/switching", "analysis/trimmap"},
	"analysis/dossier": {"obd", "decode", "analysis", "analysis/agenda", "analysis/compare", "analysis/series", "analysis/session", "analysis/switching",
		"analysis/trimmap", "analysis/limits", "analysis/measure", "analysis/reason"},
	"analysis/hazard":            {"analysis/limits"},
	"analysis/hazard/hazardtest": {"analysis/hazard"},
	"analysis/limits":            {},
	"analysis/scripttest":        {},
	"analysis/measure":           {"analysis/stats", "decode"},
	"analysis/meter":             {"analysis/reason"},
	"analysis/recent":            {},
	"analysis/series":            {},
	"analysis/stats":             {},
	"analysis/upset":             {},
	"analysis/switching":         {"analysis/limits", "analysis/series", "analysis/stats", "decode"},
	"analysis/session":           {"obd", "decode", "analysis", "analysis/hazard", "analysis/limits", "analysis/reason", "analysis/rear", "analysis/wide"},
	"analysis/rear":              {"analysis", "analysis/limits", "analysis/measure", "analysis/reason", "analysis/recent", "decode"},
	"analysis/wide":              {"analysis", "analysis/limits", "analysis/reason", "analysis/recent", "analysis/stats", "decode"},
	"analysis/trimmap":           {"analysis/limits", "analysis/measure", "analysis/reason", "analysis/series", "analysis/stats", "decode"},
	"store":                      {"obd", "decode", "analysis"},
	"store/transfer":             {"obd", "decode", "store"},
	"store/widecsv":              {"obd", "decode", "store", "store/transfer"},
	"store/longcsv":              {"obd", "store", "store/transfer"},
	"store/parquet":              {"obd", "decode", "store", "store/transfer"},
	"store/portable":             {"obd", "store", "store/transfer"},
	"store/rawcapture":           {"obd", "obd/capture", "store", "store/transfer"},

	"cmd/internal/accuracy/truth":      {},
	"cmd/internal/accuracy/fourth":     {"obd", "cmd/internal/accuracy/truth"},
	"cmd/internal/accuracy/heldout":    {"obd", "cmd/internal/accuracy/truth"},
	"cmd/internal/accuracy/third":      {"obd", "cmd/internal/accuracy/truth"},
	"cmd/internal/accuracy/thirdwide":  {"obd", "cmd/internal/accuracy/truth", "cmd/internal/accuracy/third"},
	"cmd/internal/accuracy/unseenwide": {"obd", "cmd/internal/accuracy/truth"},
}

// owners says which rooms may import a library of others'.
var owners = map[string][]string{
	"github.com/spf13/cobra":                           {"cmd/"},
	"github.com/spf13/pflag":                           {"cmd/pushback", "cmd/internal/manual"},
	"github.com/google/licensecheck":                   {"cmd/licences"},
	"github.com/rs/zerolog":                            {"cmd/"},
	"github.com/mattn/go-isatty":                       {"cmd/"},
	"charm.land/bubbletea/v2":                          {"cmd/internal/term"},
	"rsc.io/qr":                                        {"cmd/internal/page"},
	"github.com/creack/pty":                            {"cmd/"},
	"github.com/chromedp/chromedp":                     {"cmd/internal/chrometest"},
	"github.com/chromedp/cdproto/emulation":            {"cmd/internal/chrometest"},
	"github.com/chromedp/cdproto/log":                  {"cmd/internal/chrometest"},
	"github.com/chromedp/cdproto/runtime":              {"cmd/internal/chrometest"},
	"golang.org/x/sys/unix":                            {"cmd/", "obd/seriallink"},
	"github.com/charmbracelet/x/term":                  {"cmd/internal/term"}, // a terminal's width, on each system
	"go.bug.st/serial":                                 {"obd/seriallink"},
	"go.bug.st/serial/enumerator":                      {"obd/seriallink"},
	"github.com/mattn/go-sqlite3":                      {"store"},
	"github.com/parquet-go/parquet-go":                 {"store/parquet"},
	"github.com/parquet-go/parquet-go/encoding/thrift": {"store/parquet"},
	"github.com/parquet-go/parquet-go/format":          {"store/parquet"},
	"github.com/klauspost/compress/zstd":               {"store/parquet"},
}

// testOnly are rooms that only tests may import.
var testOnly = []string{"analysis/scripttest", "decode/dissector", "cmd/internal/chrometest", "cmd/internal/sessiontest"}

func TestImportsPointOneWay(t *testing.T) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "./...")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			t.Fatalf("go list: %s", exit.Stderr)
		}
		t.Fatal(err)
	}
	seen := 0
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		seen++
		room := strings.TrimPrefix(p.ImportPath, "pushback/")
		allowed, known := imports[room]
		outer := strings.HasPrefix(room, "cmd/")
		if !known && !outer {
			t.Errorf("%s is not in the table of imports: add it there, with what it may import", room)
			continue
		}
		for _, i := range p.Imports {
			if ours, ok := strings.CutPrefix(i, "pushback/"); ok {
				if slices.Contains(testOnly, ours) {
					t.Errorf("%s imports %s, which is for tests only", room, ours)
				}
				if (known || !outer) && !slices.Contains(allowed, ours) {
					t.Errorf("%s imports %s; it may import of ours only %v", room, ours, allowed)
				}
				continue
			}
			if first, _, _ := strings.Cut(i, "/"); !strings.Contains(first, ".") {
				continue // the standard library
			}
			rooms, known := owners[i]
			if !known {
				t.Errorf("%s imports %s, which no room owns: add it to the table with a reason", room, i)
				continue
			}
			if !slices.ContainsFunc(rooms, func(r string) bool { return room == r || strings.HasSuffix(r, "/") && strings.HasPrefix(room, r) }) {
				t.Errorf("%s imports %s; only %v may", room, i, rooms)
			}
		}
	}
	if seen < len(imports) {
		t.Errorf("go list named %d packages, the table has %d", seen, len(imports))
	}
}
