// Pushback tests the closed fuel loop of a petrol engine: the technician forces an
// oxygen sensor's signal lean or rich, and the program judges over an OBD-II
// adapter whether the computer's short-term fuel trim pushes back and whether the
// sensor tells the truth when it is released.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"pushback/cmd/internal/term"
)

func main() {
	ctx, cancel := context.WithCancel(context.Background())
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	go func() {
		<-signals
		cancel() // the session ends cleanly, with what was recorded
		<-signals
		term.Restore()
		os.Exit(statusFailed)
	}()
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50) // the readings of hours live until the end: it costs no time that can be measured, and a fifth less room
	}
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run is the whole program. It returns the exit status. When ctx is done a session
// ends cleanly and its verdict is still printed.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	defer term.Restore()
	a := &app{in: in, out: out, errOut: errOut}
	root := newRoot(a)
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	return a.exit(root.ExecuteContext(ctx))
}
