package main

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
	"pushback/store"
	"pushback/store/transfer"
)

// What is planted, so that the answers can be held against it.
const (
	shops  = 8
	twice  = 20 // every so many sessions is exported by two laptops of its shop
	before = 50 // and so many were judged by a watcher that did not decide
)

// cars lays out n sessions of random cars, each of a seed and forced as short as a test can be.
func (l *layout) cars(ctx context.Context, from uint64, n int, length time.Duration) error {
	type done struct {
		s   transfer.Session
		err error
	}
	made := make([]chan done, n)
	for i := range made {
		made[i] = make(chan done, 1)
	}
	ctx, cancel := context.WithCancel(ctx)
	next := make(chan int)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer cancel()
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				s, err := car(ctx, from+uint64(i), i, n, length)
				made[i] <- done{s, err}
			}
		})
	}
	wg.Go(func() {
		defer close(next)
		for i := range n {
			select {
			case next <- i:
			case <-ctx.Done():
				return
			}
		}
	})
	for i := range made {
		var d done
		select {
		case d = <-made[i]:
		case <-ctx.Done():
			return ctx.Err()
		}
		if d.err != nil {
			return fmt.Errorf("seed %d: %w", from+uint64(i), d.err)
		}
		shop := fmt.Sprintf("shop-%d", i%shops)
		for range 1 + map[bool]int{true: 1}[i%twice == 0] {
			if err := l.add(ctx, shop, d.s); err != nil {
				return err
			}
		}
	}
	return nil
}

// car is the session of a seed, the i-th of n over a year.
func car(ctx context.Context, seed uint64, i, n int, length time.Duration) (transfer.Session, error) {
	cfg, _ := simcar.Random(seed)
	rest := length / 3
	cfg.Forces = []simcar.Force{
		{Kind: simcar.ForceLean, At: rest, For: length / 4},
		{Kind: simcar.ForceRich, At: rest + length/3, For: length / 4},
	}
	sim, err := simcar.New(cfg)
	if err != nil {
		return transfer.Session{}, err
	}
	a := obd.NewAdapter(sim.Link(), sim.Clock(), obd.AdapterOptions{})
	p, err := poll.Open(ctx, a, sim.Clock(), poll.Config{Sensor: cfg.Car.Sensor, Bus: cfg.Car.Bus})
	if err != nil {
		return transfer.Session{}, err
	}
	m := store.Meta{ID: fmt.Sprintf("s%07d", seed), Started: time.Date(2026, 1, 1, 8, 0, 0, 0, time.UTC).Add(time.Duration(i) * (364 * 24 * time.Hour / time.Duration(n))),
		Format: p.Vehicle().Format, Sensors: cfg.Car.Sensors(), Watching: cfg.Car.Sensor, By: string(analysis.ByWire), Origin: "simulated",
		Vehicle: fmt.Sprintf("car %d", seed%1000), Version: "fleet"}
	if i%before == before-1 {
		m.Conclusion = "unclear"
	}
	return record(ctx, m, p, session.NewBusPriority(p), &ending{sim, p, length})
}

// ending stops a session at its time.
type ending struct {
	sim    *simcar.Sim
	poller *poll.Poller
	at     time.Duration
}

func (e *ending) Write(session.Frame) error {
	if e.at > 0 && e.sim.Now() >= e.at {
		e.poller.Stop()
		e.at = 0
	}
	return nil
}
