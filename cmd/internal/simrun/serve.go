package simrun

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/creack/pty"

	"pushback/cmd/internal/advice"
	"pushback/obd/simcar"
)

// Serve serves the car at a TCP address, such as 127.0.0.1:0 for any free port of this machine, or
// on a pseudo-terminal where none is given, and returns the port to open.
func Serve(ctx context.Context, sim *simcar.Sim, tcp string) (port string, stop func(), err error) {
	if tcp != "" {
		port, stop, err = serveTCP(ctx, sim, tcp)
		return port, stop, advice.On(err, "use another --tcp host:port")
	}
	return servePTY(ctx, sim)
}

func servePTY(ctx context.Context, sim *simcar.Sim) (port string, stop func(), err error) {
	master, slave, err := pty.Open()
	if err != nil {
		return "", nil, advice.On(fmt.Errorf("opening a pseudo-terminal: %w", err), "use --tcp")
	}
	if err := plainLine(slave); err != nil {
		return "", nil, fmt.Errorf("setting up the pseudo-terminal: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { _ = simcar.Serve(ctx, sim, master); close(done) }()
	// Our own hold on the slave side keeps the line up between two clients.
	return slave.Name(), func() { cancel(); master.Close(); slave.Close(); <-done }, nil
}

func serveTCP(ctx context.Context, sim *simcar.Sim, address string) (port string, stop func(), err error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return "", nil, fmt.Errorf("serving the simulated car on %s: %w", address, err)
	}
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { accept(ctx, l, sim); close(done) }()
	return "tcp://" + l.Addr().String(), func() { cancel(); l.Close(); <-done }, nil
}

// accept serves one client after the other until ctx is done.
func accept(ctx context.Context, l net.Listener, sim *simcar.Sim) {
	defer context.AfterFunc(ctx, func() { l.Close() })()
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		hangUp := context.AfterFunc(ctx, func() { c.Close() })
		_ = simcar.Serve(ctx, sim, c)
		hangUp()
		c.Close()
	}
}

// Obey forces the car as is typed, a line each, until quit is. What is not understood is said
// to errOut. The end of the input changes nothing.
func Obey(in io.Reader, errOut io.Writer, sim *simcar.Sim, quit func()) {
	sc := bufio.NewScanner(in)
	for sc.Scan() {
		words := strings.Fields(sc.Text())
		switch {
		case len(words) == 0:
		case words[0] == "quit":
			quit()
			return
		case words[0] == "release":
			sim.Release()
		default:
			f, err := typedForce(words)
			if err == nil {
				err = sim.Apply(f)
			}
			if err != nil {
				fmt.Fprintln(errOut, err)
			}
		}
	}
}

// typedForce reads 'lean' or 'lean 12s'; without a length it lasts until release.
func typedForce(words []string) (simcar.Force, error) {
	f := simcar.Force{Kind: simcar.ForceKind(words[0])}
	if f.Validate() != nil || len(words) > 2 {
		return simcar.Force{}, fmt.Errorf("not understood: %q (lean, rich, propane, vacuum, open or rev with a length such as 12s; snap; release; quit)",
			strings.Join(words, " "))
	}
	if len(words) == 2 {
		d, err := time.ParseDuration(words[1])
		if err != nil || d <= 0 {
			return simcar.Force{}, fmt.Errorf("%q is not a length such as 12s", words[1])
		}
		f.For = d
	}
	return f, nil
}
