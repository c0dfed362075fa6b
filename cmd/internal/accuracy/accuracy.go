// Package accuracy tries the watcher on random simulated cars, through the whole
// path that a live session takes: adapter dialogue, poller, decoder, watcher. All
// chance follows from the seed.
package accuracy

import (
	"context"
	"math/rand/v2"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// Trial is one simulated test and what the watcher made of it.
type Trial struct {
	Seed     uint64
	Bus      obd.Bus
	Rate     float64 // readings/s of the watched sensor
	Marked   bool    // the technician made marks
	Expected simcar.Expected
	Verdict  analysis.Verdict
	Events   []analysis.Event
	Reasons  []reason.Reason
	Truth    []simcar.ForceTruth // times since the session began
	Wide     *simcar.WideTruth   // of a car with wide-range sensors
	Err      error
}

// Right reports whether the conclusion is the expected one or as good.
func (t Trial) Right() bool {
	c := string(t.Verdict.Conclusion)
	if !t.Marked && t.Expected.Conclusion == "input_dead" && c == "nothing_forced" {
		return true // nobody said that anything was forced, and nothing was to be seen
	}
	return c == t.Expected.Conclusion || slices.Contains(t.Expected.Also, c)
}

// Undecided reports whether the watcher did not commit itself.
func (t Trial) Undecided() bool {
	switch t.Verdict.Conclusion {
	case analysis.ConclusionUnclear, analysis.NothingForced, analysis.ConclusionNotReady:
		return !t.Right()
	case analysis.PartlyProven:
		// A force that was not noticed leaves a side open; what is said holds.
		return !t.Right() && (t.Expected.Conclusion == "loop_proven" || !t.Marked)
	}
	return false
}

// Wrong reports whether the watcher committed itself to something else than the truth.
func (t Trial) Wrong() bool { return t.Err == nil && !t.Right() && !t.Undecided() }

// hand makes the marks of a technician who says what is done, a little late.
type hand struct {
	*poll.Poller
	sim   *simcar.Sim
	marks []mark
}

type mark struct {
	at   time.Duration
	kind obd.MarkKind
}

func (h *hand) Next(ctx context.Context) (obd.Record, error) {
	for len(h.marks) > 0 && h.sim.Now() >= h.marks[0].at {
		h.Mark(obd.Mark{Kind: h.marks[0].kind})
		h.marks = h.marks[1:]
	}
	return h.Poller.Next(ctx)
}

// Run makes one trial. With marked, the technician announces forces and releases.
func Run(cfg simcar.Config, exp simcar.Expected, marked bool) Trial {
	by := analysis.ByWire
	for _, f := range cfg.Forces {
		if !f.Kind.Wire() {
			by = analysis.ByMixture
		}
	}
	return runBy(cfg, exp, marked, string(by))
}

// runBy is Run where it is said what is forced.
func runBy(cfg simcar.Config, exp simcar.Expected, marked bool, by string) Trial {
	t := Trial{Seed: cfg.Seed, Expected: exp, Marked: marked}
	ctx := context.Background()
	sim, err := simcar.New(cfg)
	if err != nil {
		t.Err = err
		return t
	}
	bus := cfg.Bus
	if bus == obd.BusUnknown {
		bus = cfg.Car.Bus
	}
	t.Bus = bus
	a := obd.NewAdapter(sim.Link(), sim.Clock(), obd.AdapterOptions{})
	p, err := poll.Open(ctx, a, sim.Clock(), poll.Config{Sensor: cfg.Car.Sensor, Bus: bus})
	if err != nil {
		t.Err = err
		return t
	}
	setup, err := session.NewSetup(cfg.Car.Sensor, by, p.Vehicle().Format)
	if err != nil {
		t.Err = err
		return t
	}
	j := session.NewJudge(setup)
	h := &hand{Poller: p, sim: sim}
	if marked {
		rng := rand.New(rand.NewPCG(cfg.Seed, 0x6d61726b))
		for _, f := range cfg.Forces {
			kind := obd.MarkLean
			if f.Kind == simcar.ForceRich || f.Kind == simcar.ForcePropane {
				kind = obd.MarkRich
			}
			late := func(d time.Duration) time.Duration { return time.Duration(rng.Float64() * float64(d)) }
			h.marks = append(h.marks, mark{f.At - time.Second + late(2*time.Second), kind},
				mark{f.Ends() + late(time.Second), obd.MarkRelease})
		}
	}
	var origin time.Duration
	stop := &stopper{until: exp.Length, sim: sim, p: p, origin: &origin}
	res, err := session.Run(ctx, h, j, session.NewBusPriority(p), stop)
	t.Err, t.Verdict, t.Events, t.Reasons = err, res.Verdict, res.Events, j.Reasons()
	if f := j.Figures(); f.PerSecond > 0 {
		t.Rate = f.PerSecond
	}
	for _, f := range sim.Truth().Forces {
		f.Begin -= origin
		f.End -= origin
		if f.Answer >= 0 {
			f.Answer -= origin
		}
		t.Truth = append(t.Truth, f)
	}
	return t
}

// stopper ends the session at its time, and learns when it began.
type stopper struct {
	until  time.Duration
	sim    *simcar.Sim
	p      *poll.Poller
	origin *time.Duration
	done   bool
}

func (s *stopper) Write(f session.Frame) error {
	if f.Last {
		return nil
	}
	if !s.done {
		*s.origin = s.sim.Now() - f.Record.At
		if s.sim.Now() >= s.until {
			s.p.Stop()
			s.done = true
		}
	}
	return nil
}
