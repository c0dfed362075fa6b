//go:build linux

package main

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"pushback/cmd/internal/simrun"
	"pushback/obd/simcar"
)

const root = "../.."

// shownIn lists the commands that a document shows: lines of its fenced blocks and spans
// between backquotes that begin with a program of ours or with one that builds it.
// Comments are cut off.
func shownIn(t *testing.T, file string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, file))
	if err != nil {
		t.Fatal(err)
	}
	ours := regexp.MustCompile(`^(\./bin/pushback|pushback|make|go) \S`)
	var shown []string
	fenced := false
	for _, l := range strings.Split(string(text), "\n") {
		candidates := []string{l}
		if strings.HasPrefix(l, "```") {
			fenced = !fenced
			continue
		}
		if !fenced {
			candidates = nil
			for i, span := range strings.Split(l, "`") {
				if i%2 == 1 {
					candidates = append(candidates, span)
				}
			}
		}
		for _, c := range candidates {
			c, _, _ = strings.Cut(c, " #")
			c = strings.TrimRight(c, " ")
			if ours.MatchString(c) {
				shown = append(shown, c)
			}
		}
	}
	slices.Sort(shown)
	return slices.Compact(shown)
}

// TestReadme runs every command that README.md shows, as it is shown there;
// testdata/readme says what comes of it. A command that is new in the README, and one
// that is no longer there, fails.
func TestReadme(t *testing.T) {
	if testing.Short() {
		t.Skip("runs whole tests in real time")
	}
	t.Parallel()
	shown := shownIn(t, "README.md")
	if len(shown) < 20 {
		t.Fatalf("only %d commands were found: %q", len(shown), shown)
	}
	top, err := filepath.Abs(root)
	if err != nil {
		t.Fatal(err)
	}
	var run sync.Map // the scripts run at the same time
	found := func(ts *testscript.TestScript, args []string) {
		if len(args) < 2 || !slices.Contains(shown, args[1]) {
			ts.Fatalf("README.md does not show %q", args)
		}
		run.Store(args[1], true)
	}
	t.Run("run", func(t *testing.T) {
		testscript.Run(t, testscript.Params{
			Dir: "testdata/readme",
			Setup: func(e *testscript.Env) error {
				e.Setenv("XDG_DATA_HOME", e.WorkDir+"/data")
				e.Setenv("NO_COLOR", "1")
				e.Setenv("ROOT", top)
				// What building needs.
				for _, name := range []string{"HOME", "GOCACHE", "GOMODCACHE", "GOPATH", "GOPROXY", "GOFLAGS"} {
					e.Setenv(name, os.Getenv(name))
				}
				return nil
			},
			Cmds: map[string]func(*testscript.TestScript, bool, []string){
				"car":    serveCar,
				"status": scriptStatus,
				// shown STATUS COMMAND [further flags]
				"shown": func(ts *testscript.TestScript, neg bool, args []string) {
					found(ts, args)
					scriptStatus(ts, neg, append([]string{args[0]}, append(asTyped(ts, args[1]), args[2:]...)...))
				},
				// interrupted STATUS COMMAND: Ctrl-C after three seconds
				"interrupted": func(ts *testscript.TestScript, neg bool, args []string) {
					found(ts, args)
					timeout := []string{args[0], "timeout", "--preserve-status", "--signal=INT", "3s"}
					scriptStatus(ts, neg, append(timeout, asTyped(ts, args[1])...))
				},
			},
		})
	})
	for _, c := range shown {
		if _, ok := run.Load(c); !ok {
			t.Errorf("README.md shows %q, and nothing in testdata/readme runs it", c)
		}
	}
}

// serveCar serves a simulated car for the rest of a script and names its port $PORT.
func serveCar(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: car NAME")
	}
	car, err := simcar.Find(args[0])
	ts.Check(err)
	sim, err := simcar.New(simcar.Config{Car: car, Seed: 1})
	ts.Check(err)
	port, stop, err := simrun.Serve(context.Background(), sim, "")
	ts.Check(err)
	ts.Defer(stop)
	ts.Setenv("PORT", port)
}

// asTyped puts in what the reader of a command puts in: a port, a file, sessions.
//
// Of make it asks only what it would do: doing it would run this test again.
func asTyped(ts *testscript.TestScript, command string) []string {
	words := strings.Fields(command)
	for i, w := range words {
		switch w {
		case "./bin/pushback":
			words[i] = "pushback"
		case "/dev/ttyUSB0":
			words[i] = ts.Getenv("PORT")
		case "SESSION", "BEFORE", "AFTER":
			words[i] = "last"
			if id, err := os.ReadFile(ts.MkAbs("before")); w == "BEFORE" && err == nil {
				words[i] = strings.TrimSpace(string(id))
			}
		case "FILE.csv":
			words[i] = "recording.csv"
		}
	}
	// The shell's work.
	if last := len(words) - 1; strings.Contains(words[last], "*") {
		files, err := filepath.Glob(ts.MkAbs(words[last]))
		ts.Check(err)
		words = append(words[:last], files...)
	}
	switch words[0] {
	case "make":
		words = append([]string{"make", "-n", "-C", ts.Getenv("ROOT")}, words[1:]...)
	case "go":
		words = append([]string{"go", words[1], "-C", ts.Getenv("ROOT")}, words[2:]...)
	}
	return words
}

// TestDevelopersCommands holds the commands that contributors are shown to what there is:
// targets, tests and flags. They take from a minute to hours, so they are not run.
func TestDevelopersCommands(t *testing.T) {
	makefile, err := os.ReadFile(filepath.Join(root, "Makefile"))
	if err != nil {
		t.Fatal(err)
	}
	shown := append(shownIn(t, "DEVELOPERS.md"), shownIn(t, "cmd/internal/accuracy/README.md")...)
	if len(shown) < 10 {
		t.Fatalf("only %d commands were found: %q", len(shown), shown)
	}
	for _, c := range shown {
		words := strings.Fields(strings.ReplaceAll(c, "'", ""))
		if words[0] == "make" {
			if !regexp.MustCompile(`(?m)^([\w-]+ )*` + regexp.QuoteMeta(words[1]) + `( [\w-]+)*:`).Match(makefile) {
				t.Errorf("%s: the Makefile has no such target", c)
			}
			continue
		}
		if words[0] != "go" {
			t.Errorf("%s: only README.md shows the program's own commands, where they are run", c)
			continue
		}
		checkGoCommand(t, c, words)
	}
}

// checkGoCommand holds `go test PACKAGE -run TEST -flag` and `go run PACKAGE -flag` to the
// package's source.
func checkGoCommand(t *testing.T, command string, words []string) {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join(root, words[2], "*.go"))
	var source strings.Builder
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		source.Write(text)
	}
	if source.Len() == 0 {
		t.Errorf("%s: no package %s", command, words[2])
	}
	var functions []string
	for _, m := range regexp.MustCompile(`func ((?:Test|Benchmark|Fuzz)\w+)`).FindAllStringSubmatch(source.String(), -1) {
		functions = append(functions, m[1])
	}
	for i, w := range words[3:] {
		name, isFlag := strings.CutPrefix(w, "-")
		switch {
		case !isFlag || name == "v" || name == "timeout" || name == "count" || name == "benchtime" || name == "race":
		case name == "run" || name == "bench" || name == "fuzz":
			want := words[3+i+1]
			pattern, err := regexp.Compile(want)
			if err != nil || want != "^$" && !slices.ContainsFunc(functions, pattern.MatchString) {
				t.Errorf("%s: no test or benchmark %s", command, want)
			}
		case !strings.Contains(source.String(), `("`+name+`"`):
			t.Errorf("%s: no flag -%s", command, name)
		}
	}
}
