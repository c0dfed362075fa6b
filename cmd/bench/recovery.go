package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// fault is something that a workshop does to a session, and how it ends.
type fault struct {
	name       string
	begin, end func(*cable)
	cause      []obd.Outcome // of the records in between; one of them must be there
}

var faults = []fault{
	{"cable pulled and put back", func(c *cable) { c.pulled = true }, func(c *cable) { c.pulled = false }, []obd.Outcome{obd.LinkLost}},
	{"adapter without power for a moment", func(c *cable) { c.sim.Restart() }, func(*cable) {}, []obd.Outcome{obd.AdapterReset, obd.Garbled, obd.TimedOut}},
	{"adapter hung", func(c *cable) { c.sim.Hang(true) }, func(c *cable) { c.sim.Hang(false) }, []obd.Outcome{obd.TimedOut}},
	{"ignition off and on", func(c *cable) { c.sim.Ignition(false) }, func(c *cable) { c.sim.Ignition(true) }, []obd.Outcome{obd.NoData, obd.BusError}},
	{"storm of bus errors", func(c *cable) { c.sim.Storm(true) }, func(c *cable) { c.sim.Storm(false) }, []obd.Outcome{obd.BusError}},
}

// cable is the way to a simulated adapter; it can be pulled.
type cable struct {
	sim    *simcar.Sim
	pulled bool
	opened int
}

type plugged struct {
	obd.Link
	cable  *cable
	opened int
}

func (c *cable) open(context.Context) (obd.Link, error) {
	if c.pulled {
		return nil, &obd.LinkError{Op: "open", Port: "cable", Err: errors.New("no such device")}
	}
	c.opened++
	return &plugged{c.sim.Link(), c, c.opened}, nil
}

func (l *plugged) gone() error {
	if l.cable.pulled || l.opened != l.cable.opened {
		return &obd.LinkError{Op: "use", Port: "cable", Err: obd.ErrLinkLost}
	}
	return nil
}

func (l *plugged) Baud() int              { return l.Link.(obd.BaudSetter).Baud() }
func (l *plugged) SetBaud(baud int) error { return l.Link.(obd.BaudSetter).SetBaud(baud) }

func (l *plugged) Read(p []byte) (int, error) {
	if err := l.gone(); err != nil {
		return 0, err
	}
	return l.Link.Read(p)
}

func (l *plugged) Write(p []byte) (int, error) {
	if err := l.gone(); err != nil {
		return 0, err
	}
	return l.Link.Write(p)
}

// watchedClock tells of the passing of simulated time.
type watchedClock struct {
	obd.Clock
	tick func()
}

func (c *watchedClock) Now() time.Time {
	c.tick()
	return c.Clock.Now()
}

// recovery is how a session went over a fault.
type recovery struct {
	after    time.Duration // from the line's return to the end of the first reading
	attempts int           // records in between
	cause    bool          // one of them tells the cause
}

const faultBegins = 5 * time.Second

// recover runs a session over one fault that lasts a while.
func recoverFrom(ctx context.Context, car string, bus obd.Bus, f fault, lasts time.Duration, maxBaud int) (recovery, error) {
	sim, err := newCar(car, bus, 38400, 500_000)
	if err != nil {
		return recovery{}, err
	}
	c := &cable{sim: sim}
	// The fault comes and goes by the simulated time, whatever the session does meanwhile.
	var begun, ended bool
	var start, back time.Duration
	clock := &watchedClock{Clock: sim.Clock()}
	clock.tick = func() {
		if start == 0 {
			return
		}
		now := sim.Now()
		if !begun && now >= start {
			begun = true
			f.begin(c)
		}
		if begun && !ended && now >= start+lasts {
			ended, back = true, now
			f.end(c)
		}
	}
	link, err := c.open(ctx)
	if err != nil {
		return recovery{}, err
	}
	a := obd.NewAdapter(link, clock, obd.AdapterOptions{MaxBaud: maxBaud})
	p, err := poll.Open(ctx, a, clock, poll.Config{Sensor: "B1S1", Bus: bus, Reopen: c.open})
	if err != nil {
		return recovery{}, err
	}
	origin := sim.Now()
	start = origin + faultBegins
	var r recovery
	for {
		rec, err := p.Next(ctx)
		if err != nil {
			return r, err
		}
		x := rec.Exchange
		if begun && x.Outcome != obd.OK {
			r.attempts++
			r.cause = r.cause || slices.Contains(f.cause, x.Outcome)
		}
		if ended && r.attempts > 0 && x.Outcome == obd.OK && slices.Contains(x.Request.Data, 0x14) {
			r.after = sim.Now() - back
			return r, nil
		}
		if sim.Now() > origin+2*time.Minute {
			return r, errors.New("the session does not go on")
		}
	}
}

// busStart is what starting the bus takes by itself.
func busStart(b obd.Bus) time.Duration {
	switch b {
	case obd.ISO9141, obd.ISO14230Slow:
		return 2500 * time.Millisecond
	case obd.ISO14230Fast:
		return 400 * time.Millisecond
	}
	return 0
}

// recoveryTable prints how soon sessions go on after faults of 1 to 15 s.
func recoveryTable(ctx context.Context) error {
	fmt.Println("From the line's return to the first reading, the longest of faults of 1 to 15 s, in s.")
	fmt.Println("ideal: the start of the bus and one exchange. ISO 14230 fast starts in 0.4 s (300 ms of rest, a pattern of")
	fmt.Println("50 ms, one exchange), 5 baud in 2.5 s (300 ms of rest, 2 s for the address, then W1 to W4). Adapter and cable alone")
	fmt.Println("need no start. Here a start succeeds if the car is back before it ends; a car that missed its beginning")
	fmt.Println("takes one more.")
	header := []string{"fault"}
	for _, b := range speedBuses {
		header = append(header, strings.Replace(b.String(), "iso14230", "14230", 1))
	}
	ideal := []string{"ideal where the bus must be started"}
	for _, b := range speedBuses {
		one := simcar.Ideal(b, 500_000, simcar.UsualReply(b), pair, pairReply, false)
		ideal = append(ideal, fmt.Sprintf("%.2f", (busStart(b)+one).Seconds()))
	}
	rows := [][]string{header, ideal}
	for _, f := range faults {
		row := []string{f.name}
		for _, b := range speedBuses {
			worst := time.Duration(0)
			for lasts := time.Second; lasts <= 15*time.Second; lasts += 1370 * time.Millisecond {
				r, err := recoverFrom(ctx, plainCar.car, b, f, lasts, 500_000)
				if err != nil {
					return fmt.Errorf("%s on %v for %v: %w", f.name, b, lasts, err)
				}
				if !r.cause {
					return fmt.Errorf("%s on %v for %v: no record tells the cause", f.name, b, lasts)
				}
				worst = max(worst, r.after)
			}
			row = append(row, fmt.Sprintf("%.2f", worst.Seconds()))
		}
		rows = append(rows, row)
	}
	grid(rows)
	return nil
}
