package main

import (
	"context"
	"errors"
	"flag"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "rewrite the expected output in the scripts")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"pushback": func() {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
		},
	})
}

func TestScripts(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	testscript.Run(t, testscript.Params{
		Dir:           "testdata/script",
		UpdateScripts: *update,
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_DATA_HOME", e.WorkDir+"/data")
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("NO_COLOR", "1")
			e.Defer(func() {
				if err := soundBelow(e.WorkDir); err != nil {
					e.T().Fatal(err)
				}
			})
			// A port on which nobody listens.
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				return err
			}
			e.Setenv("DEAD", l.Addr().String())
			return l.Close()
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status": scriptStatus,
		},
	})
}

// scriptStatus runs a command and checks its exit status: status 2 pushback frob.
func scriptStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N command …")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if err != nil {
		got = exitStatus(err)
	}
	if got != args[0] {
		ts.Fatalf("exit status %s, want %s (%v)", got, args[0], err)
	}
}

func exitStatus(err error) string {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return strconv.Itoa(exit.ExitCode())
	}
	return err.Error()
}
