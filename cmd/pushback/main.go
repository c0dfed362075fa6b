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
	"time"

	"pushback/cmd/internal/term"
)

func main() {
	ctx, cancel := context.WithCancel(context.Background())
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	go heed(signals, cancel, func() {
		term.Restore()
		os.Exit(statusFailed)
	})
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50) // the readings of hours live until the end: it costs no time that can be measured, and a fifth less room
	}
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// heed ends the session at the first signal, cleanly and with what was recorded, and the program at a later one. One right after the
// first says the same again: timeout(1) sends each signal to the program and to its group.
func heed(signals <-chan os.Signal, end, quit func()) {
	<-signals
	end()
	for first := time.Now(); time.Since(first) < time.Second; {
		<-signals
	}
	quit()
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
