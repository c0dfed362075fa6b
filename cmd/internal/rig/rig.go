// Package rig joins an adapter to a car and runs a live session on it: the line with its
// capture, the poller, the guide, what is asked once, and the closing. It owns the
// goroutines that a live session needs.
package rig

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/rs/zerolog"

	"pushback/obd"
	"pushback/obd/capture"
	"pushback/obd/poll"
)

// Config says how a car is reached and what is read of it.
type Config struct {
	Open    func(context.Context) (obd.Link, error) // opens the line, again after it was lost
	Clock   obd.Clock
	MaxBaud int            // serial speed up to which the line's is raised; 0: it stays
	Trying  func(obd.Bus)  // told which bus is tried
	Poll    poll.Config    // its Reopen is the rig's own
	Log     zerolog.Logger // of the dialogue, at level debug
	Capture string         // file that keeps the dialogue; "": none
}

// Rig is an adapter that is joined to a car.
type Rig struct {
	*poll.Poller
	Adapter *obd.Adapter

	clock obd.Clock
	log   zerolog.Logger
	open  func(context.Context) (obd.Link, error)
	link  obd.Link // as it was opened last
	raw   *capture.Writer
	ends  []func() error // undo what was begun, the last first
}

// closing bounds what a session may still ask for after it was told to end.
const closing = 2 * time.Second

// Open opens the line and finds adapter, bus and car. The error is one of obd's sentinels,
// the context's, or the capture file's.
func Open(ctx context.Context, cfg Config) (*Rig, error) {
	r := &Rig{clock: cfg.Clock, log: cfg.Log, open: cfg.Open}
	if err := r.begin(ctx, cfg); err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
}

func (r *Rig) begin(ctx context.Context, cfg Config) error {
	if cfg.Capture != "" {
		if err := r.keep(cfg.Capture); err != nil {
			return err
		}
	}
	if r.log.GetLevel() <= zerolog.DebugLevel {
		lines := capture.NewWriter(&logLines{log: r.log}, r.clock)
		r.tap(lines)
		r.ends = append(r.ends, func() error { _ = lines.Flush(); return nil })
	}
	if _, err := r.reopen(ctx); err != nil {
		return err
	}
	r.Adapter = obd.NewAdapter(r.link, r.clock, obd.AdapterOptions{Trying: cfg.Trying, MaxBaud: cfg.MaxBaud})
	r.ends = append(r.ends, r.giveBack)
	cfg.Poll.Reopen = r.reopen
	var err error
	r.Poller, err = poll.Open(ctx, r.Adapter, r.clock, cfg.Poll)
	return err
}

// keep has the dialogue kept in a file. Never over an older one: it may be the only trace
// of what happened.
func (r *Rig) keep(path string) error {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("keeping the dialogue: %w", err)
	}
	r.raw = capture.NewWriter(file, r.clock)
	r.tap(r.raw)
	r.ends = append(r.ends, func() error {
		err := r.raw.Flush()
		if cerr := file.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			return fmt.Errorf("the dialogue was not kept whole in %s: %w", path, err)
		}
		return nil
	})
	return nil
}

// tap has the dialogue of every line that is opened from now on written to w too.
func (r *Rig) tap(w *capture.Writer) {
	open := r.open
	r.open = func(ctx context.Context) (obd.Link, error) {
		link, err := open(ctx)
		if err != nil {
			return nil, err
		}
		return w.Link(link), nil
	}
}

func (r *Rig) reopen(ctx context.Context) (obd.Link, error) {
	link, err := r.open(ctx)
	if err == nil {
		r.link = link
	}
	return link, err
}

// giveBack leaves the adapter as it was found, within reason.
func (r *Rig) giveBack() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = r.Adapter.Close(ctx)
	_ = r.link.Close()
	return nil
}

// Close gives the adapter back and ends the capture. The error says that this is not whole.
func (r *Rig) Close() error {
	var all error
	for len(r.ends) > 0 {
		last := len(r.ends) - 1
		all = errors.Join(all, r.ends[last]())
		r.ends = r.ends[:last]
	}
	return all
}

// Mark enters what the technician says into the session, and into the capture.
func (r *Rig) Mark(m obd.Mark) {
	if r.raw != nil {
		r.raw.Mark(m)
	}
	r.Poller.Mark(m)
}

// Orderly returns a context for a session's run: when ctx is done the session is told to
// stop, and has a moment for its closing reads. The end frees what it holds.
func (r *Rig) Orderly(ctx context.Context) (run context.Context, end func()) {
	run, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		r.Stop()
		time.AfterFunc(closing, cancel)
	})
	return run, func() { stop(); cancel() }
}
