package main

import (
	"context"
	"fmt"
	"net"
	"time"

	"github.com/creack/pty"
	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/store"
)

func newDemo(a *app) *cobra.Command {
	var f liveFlags
	var car, report string
	var overTCP bool
	var seed uint64
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Run the whole test on a simulated car, through a real serial line",
		Long: `Serves a simulated adapter and car on a pseudo-terminal, opens it like any serial
port, and runs the guided test on it in real time; a scripted technician holds and
releases the wire. It takes a minute and a half, as it would on a car. At the end it
writes the report, as 'report' does.
--car list names the cars.`,
		Args: args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if car == "list" {
				return a.listCars()
			}
			bus, err := f.car.checkCar(cmd)
			if err != nil {
				return err
			}
			by, err := parseBy(cmd, f.by)
			if err != nil {
				return err
			}
			sim, err := newSim(cmd, car, simcar.Config{Bus: bus, Seed: seed})
			if err != nil {
				return err
			}
			if f.vehicle == "" {
				f.vehicle = "simulated " + car
			}
			ctx, cancel := context.WithCancel(cmd.Context())
			defer cancel()
			serve := servePTY
			if overTCP {
				serve = serveTCP
			}
			// The car stays alive while a stopped session reads its last codes.
			port, stop, err := serve(context.WithoutCancel(ctx), sim)
			if err != nil {
				return err
			}
			defer stop()
			f.car.port = port
			fmt.Fprintf(a.people(), "simulated car %q on %s\n", car, port)
			return a.live(ctx, liveRun{
				name: "demo", flags: f, bus: bus, by: by, origin: "simulated", clock: obd.SystemClock{}, open: f.car.open,
				guide:      &session.GuideConfig{Ready: 12 * time.Second},
				technician: func(c live.Controls) rig.Technician { return &scripted{car: sim, by: by, controls: c} },
				done: func(ctx context.Context, db *store.Store, id string) error {
					w, err := writeReport(ctx, db, []string{id}, reportFlags{out: report})
					if err == nil {
						fmt.Fprintf(a.people(), "report %s\n", w.File)
					}
					return err
				},
			})
		},
	}
	f.addCommon(cmd)
	cmd.Flags().StringVar(&car, "car", "healthy", "which `CAR`; list names them")
	cmd.Flags().StringVar(&f.car.bus, "bus", "", "the car's bus `NAME`; without it the car's own")
	cmd.Flags().StringVar(&f.car.sensor, "sensor", "B1S1", "the `SENSOR` that is forced")
	cmd.Flags().Uint64Var(&seed, "seed", 1, "`SEED` of the car's randomness")
	cmd.Flags().StringVar(&report, "report", "", "`FILE` for the report (default: pushback-ID.html)")
	cmd.Flags().BoolVar(&overTCP, "tcp", false, "over TCP in place of a pseudo-terminal (Windows)")
	return cmd
}

// scripted is the demonstration's technician: he does what the prompts say, with a
// person's delay.
type scripted struct {
	car      *simcar.Sim
	by       analysis.By
	controls live.Controls

	holds bool
	warm  bool
	due   time.Duration
	act   func()
}

// Prompt takes in what is to be done.
func (s *scripted) Prompt(p session.Prompt) {
	switch p.Stage {
	case session.StageReady:
		// A warm engine that stays in open loop is worth a force all the same: it may
		// be the sensor that keeps it there.
		if len(p.Why) > 0 && s.warm && s.act == nil {
			s.due, s.act = p.At+4*time.Second, s.controls.Skip
		}
	case session.StageForce:
		if p.New {
			s.due, s.act = p.At+time.Second, func() { s.force(p.Side) }
		}
	case session.StageRelease:
		if p.New {
			s.due, s.act = p.At+400*time.Millisecond, s.release
		}
	case session.StageAnswer:
		if s.holds {
			s.release()
		}
	}
}

func (s *scripted) force(side analysis.Side) {
	_ = s.car.Apply(simcar.Force{Kind: forceKind(side, s.by == analysis.ByMixture)}) // a known kind is valid
	s.holds = true
	s.controls.Mark(obd.Mark{Kind: obd.MarkKind(side)})
}

func (s *scripted) release() {
	s.car.Release()
	s.holds, s.act = false, nil
	s.controls.Mark(obd.Mark{Kind: obd.MarkRelease})
}

// Write acts when the time has come.
func (s *scripted) Write(f session.Frame) error {
	for _, x := range f.Samples {
		if x.Signal.Name == "ECT" && !x.Missing {
			s.warm = x.Value >= limits.WarmCoolant
		}
	}
	if act := s.act; act != nil && f.Record.At >= s.due {
		s.act = nil
		act()
	}
	return nil
}

func forceKind(side analysis.Side, mixture bool) simcar.ForceKind {
	switch {
	case mixture && side == analysis.Rich:
		return simcar.ForcePropane
	case mixture:
		return simcar.ForceVacuum
	case side == analysis.Rich:
		return simcar.ForceRich
	}
	return simcar.ForceLean
}

// servePTY serves the car on a new pseudo-terminal and returns its path.
func servePTY(ctx context.Context, sim *simcar.Sim) (port string, stop func(), err error) {
	master, slave, err := pty.Open()
	if err != nil {
		return "", nil, hinted{fmt.Errorf("opening a pseudo-terminal: %w", err), "use --tcp", statusFailed}
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

// serveTCP serves the car on a free port of this machine.
func serveTCP(ctx context.Context, sim *simcar.Sim) (port string, stop func(), err error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", nil, fmt.Errorf("serving the simulated car: %w", err)
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
