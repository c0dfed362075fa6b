//go:build linux

package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"pushback/cmd/internal/simrun"
	"pushback/obd"
	"pushback/obd/simcar"
)

// From end to end in real time: `simulate` serves a car on a pseudo-terminal,
// `record` opens it as the serial port that it is for it, with marks on standard
// input, and the session is stored, shown and replayed alike.
func TestRecordThroughPseudoTerminal(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	db := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)

	ctx, quit := context.WithCancel(context.Background())
	said, saying := io.Pipe()
	served := make(chan int)
	go func() {
		served <- run(ctx, []string{"simulate", "--car", "healthy", "--bus", "can11-500", "--force", "lean@8s+6s"},
			strings.NewReader(""), saying, io.Discard)
	}()
	port, err := bufio.NewReader(said).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}

	var out, errOut bytes.Buffer
	marks := strings.NewReader("note hello\nfrob\nmark upside\n")
	status := run(context.Background(), []string{"record", "--port", strings.TrimSpace(port), "--for", "12s", "--json", "--db", db},
		marks, &out, &errOut)
	if status != statusUnclear && status != statusDone {
		t.Errorf("status %d\n%s", status, &errOut)
	}
	for _, want := range []string{`not understood: "frob"`, `not understood: "mark upside"`, "you: note: hello"} {
		if !strings.Contains(errOut.String(), want) {
			t.Errorf("standard error does not say %q:\n%s", want, &errOut)
		}
	}
	for _, want := range []string{`{"kind":"session"`, `"event":"force_begins","side":"lean"`, `"event":"loop_answers","side":"lean","toward":"add"`, `{"kind":"verdict"`} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("standard output lacks %s:\n%s", want, &out)
		}
	}
	replayed, again := command(t, "replay", "last", "--json", "--db", db)
	if live := withoutSteps(out.String()); replayed != live || again != status {
		t.Errorf("replay differs from live (status %d, live %d)%s", again, status, firstDifference(live, replayed))
	}

	quit()
	if s := <-served; s != statusDone {
		t.Errorf("simulate ended with status %d", s)
	}
}

// The first Ctrl-C ends a session cleanly: closing reads, verdict, stored as
// finished.
func TestInterruptKeepsTheSession(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	t.Parallel()
	db := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)
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
	ctx, interrupt := context.WithCancel(context.Background())
	time.AfterFunc(3*time.Second, interrupt) // as main does on the first signal
	var out, errOut bytes.Buffer
	status := run(ctx, []string{"record", "--port", port, "--json", "--db", db}, strings.NewReader(""), &out, &errOut)
	if status != statusDone {
		t.Errorf("status %d, want 0: nothing was forced\n%s", status, &errOut)
	}
	if !strings.Contains(out.String(), `{"kind":"verdict","conclusion":"nothing_forced"`) {
		t.Errorf("no verdict:\n%s%s", &out, &errOut)
	}
	list, _ := command(t, "sessions", "--json", "--db", db)
	if !strings.Contains(list, `"finished":true`) {
		t.Errorf("the session is not stored as finished: %s", list)
	}
}
