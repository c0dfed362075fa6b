//go:build linux

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// program is a command that runs, with what it reads and prints.
type program struct {
	in     io.WriteCloser
	out    *bufio.Scanner
	errOut *bytes.Buffer // to be read when it has ended
	status chan int
}

func start(ctx context.Context, args ...string) *program {
	in, typed := io.Pipe()
	printed, out := io.Pipe()
	p := &program{in: typed, out: bufio.NewScanner(printed), errOut: new(bytes.Buffer), status: make(chan int, 1)}
	p.out.Buffer(nil, 1<<20)
	go func() {
		status := run(ctx, args, in, out, p.errOut)
		out.Close()
		in.Close()
		p.status <- status
	}()
	return p
}

// say types text; a program that has ended reads none.
func (p *program) say(text string) { _, _ = io.WriteString(p.in, text) }

// told is what another program looks at in a JSON line.
type told struct {
	Kind, Step, Side, Event, Conclusion, Decide string
	T                                           float64
	Until                                       *float64 `json:"until_s"`
	Caution                                     []string
	Proofs                                      []struct{ ID, State string }
}

// servedCar is a simulated car on a pseudo-terminal; quit ends it.
func servedCar(t *testing.T) (car *program, port string, quit func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	car = start(ctx, "simulate", "--car", "healthy", "--bus", "can11-500")
	if !car.out.Scan() {
		t.Fatal("no port")
	}
	return car, car.out.Text(), func() {
		cancel()
		if s := <-car.status; s != statusDone {
			t.Errorf("simulate ended with status %d", s)
		}
		car.in.Close()
	}
}

// Another program leads a test by the JSON lines and standard input alone, in real time and over a pseudo-terminal. Each row is
// a step line, or an event that is waited for ("!"), and then what is done at the car and typed.
func TestTestByLines(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	db := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)
	car, port, quit := servedCar(t)
	defer quit()
	rows := []struct {
		line      string
		car, text string
		after     time.Duration
	}{
		{line: "check_ready"},
		{line: "open_level", car: "open", text: "tap\n"},
		{line: "open_level"}, // it ends 3 s after the tap now
		{line: "baseline", car: "release", text: "frob\n" + strings.Repeat("x", 100_000) + "\nmark upside\nrepeat\n"},
		{line: "baseline", text: "skip\n", after: 6 * time.Second},
		{line: "go_lean lean", car: "lean", text: "tap\n"},
		{line: "hold_lean lean"},
		{line: "!force_begins"},
		{line: "hold_lean lean"}, // its end counts from where the reading shows it
		{line: "!loop_answers", text: "repeat\n"},
		{line: "release_now lean", car: "release", text: "tap\n"},
		{line: "watch_release lean"},
		{line: "!switching_resumes"},
		{line: "go_lean lean", car: "lean", text: "tap\n"},
		{line: "hold_lean lean"},
		{line: "!force_begins"},
		{line: "hold_lean lean"},
		{line: "!loop_answers", text: "skip\n"},
		{line: "release_now lean", car: "release", text: "tap\n"},
		{line: "watch_release lean"},
		{line: "!sensor_answers", text: "skip\n"},
		{line: "go_rich rich", text: "skip"}, // the input ends here
		{line: "done"},
	}
	test := start(context.Background(), "test", "--port", port, "--json", "--db", db)
	var all strings.Builder
	var last told
	step := ""
	for n := 0; test.out.Scan(); n++ {
		all.WriteString(test.out.Text() + "\n")
		var x told
		if err := json.Unmarshal(test.out.Bytes(), &x); err != nil {
			t.Fatalf("not JSON: %q", test.out.Text())
		}
		checkStep(t, x, last)
		if (x.Kind == "session") != (n == 0) {
			t.Errorf("line %d is %s", n, test.out.Text())
		}
		last = x
		is := strings.TrimSpace(x.Step + " " + x.Side)
		if x.Kind == "event" {
			is = "!" + x.Event
		}
		if len(rows) == 0 || is != rows[0].line {
			if x.Kind == "step" && is != step { // the same comes again when its end changes
				t.Errorf("not asked for now: %s (rows left: %.300v)", test.out.Text(), rows)
			}
			continue
		}
		if x.Kind == "step" {
			step = is
		}
		r := rows[0]
		rows = rows[1:]
		time.Sleep(r.after)
		if r.car != "" {
			car.say(r.car + "\n")
		}
		test.say(r.text)
		if r.text == "skip" {
			test.in.Close()
		}
	}
	status := <-test.status
	if status != statusUnclear || last.Kind != "verdict" || last.Conclusion != "partly_proven" || last.Decide != "rich_step" || len(rows) > 0 {
		t.Errorf("status %d, %+v, rows left: %.300v\n%s%s", status, last, rows, &all, test.errOut)
	}
	want := map[string]string{"input": "proven", "adds_fuel": "proven", "cuts_fuel": "untested", "sensor_rich": "proven", "sensor_lean": "untested"}
	for _, p := range last.Proofs {
		if w := want[p.ID]; w != "" && p.State != w {
			t.Errorf("%s is %s, want %s", p.ID, p.State, w)
		}
	}
	for _, said := range []string{`not understood: "frob" (tap, repeat, skip, `, `not understood: "xxxx`, `not understood: "mark upside"`} {
		if strings.Count(test.errOut.String(), said) != 1 {
			t.Errorf("standard error does not say once %q:\n%.9000s", said, test.errOut)
		}
	}
	replayed, again := command(t, "replay", "last", "--json", "--db", db)
	if live := withoutSteps(all.String()); replayed != live || again != status {
		t.Errorf("replay differs from live (status %d, live %d)%s", again, status, firstDifference(live, replayed))
	}
}

// checkStep holds a step line to what other programs rely on: names, sides, and an end where it does not wait for the person.
func checkStep(t *testing.T, x, before told) {
	t.Helper()
	if x.Kind != "step" {
		return
	}
	ends := []string{"check_ready", "open_level", "baseline", "hold_lean", "hold_rich", "watch_release", "wait"}
	waits := []string{"go_lean", "go_rich", "release_now", "done"}
	side := x.Step != "check_ready" && x.Step != "open_level" && x.Step != "baseline" && x.Step != "wait" && x.Step != "done"
	switch {
	case !slices.Contains(append(ends, waits...), x.Step):
		t.Errorf("no step %q", x.Step)
	case slices.Contains(ends, x.Step) != (x.Until != nil), x.Until != nil && *x.Until <= x.T:
		t.Errorf("the end of %s at %.1f s is %v", x.Step, x.T, x.Until)
	case side != (x.Side == "lean" || x.Side == "rich"), x.Caution == nil:
		t.Errorf("step %+v", x)
	case before.Kind == "step" && x.T < before.T:
		t.Errorf("%s at %.1f s, after %.1f s", x.Step, x.T, before.T)
	}
}

// Who types nothing is led all the same: the end of the input neither stops a test nor keeps it from ending.
func TestTestWithoutInput(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	t.Parallel()
	db := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)
	_, port, quit := servedCar(t)
	defer quit()
	test := start(context.Background(), "test", "--port", port, "--json", "--for", "7s", "--db", db)
	test.in.Close()
	var last told
	steps := map[string]bool{}
	for test.out.Scan() {
		last = told{}
		if err := json.Unmarshal(test.out.Bytes(), &last); err != nil {
			t.Fatal(err)
		}
		steps[last.Step] = true
	}
	if s := <-test.status; s != statusDone || last.Conclusion != "nothing_forced" || !steps["open_level"] {
		t.Errorf("status %d, last line %+v\n%s", s, last, test.errOut)
	}
}
