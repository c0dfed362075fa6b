// Package sessiontest plays guided tests of simulated cars for tests of what shows
// them, in simulated time.
package sessiontest

import (
	"context"
	"io"
	"slices"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd"
	"pushback/obd/capture"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// A Moment is a frame of a session, what the technician was told with it, and the
// verdict so far.
type Moment struct {
	Frame   session.Frame
	Prompts []session.Prompt
	Verdict analysis.Verdict
}

// Show takes in what a live session would have shown.
type Show interface {
	session.Sink
	Prompt(session.Prompt)
}

// Play is a session that can be shown moment by moment.
type Play struct {
	Moments []Moment
	next    int
}

// B1S1 is the setup of the sessions played here, but for their format.
var B1S1 = session.Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}, By: analysis.ByWire}

// Guided plays the guided test of a car on its first sensor; the technician does what
// is asked, and releases late seconds after being asked to.
func Guided(tb testing.TB, car string, late time.Duration) *Play {
	tb.Helper()
	return guided(tb, car, obd.BusUnknown, late, nil, false)
}

// GuidedBoth plays the guided test of a car on the first sensors of both banks.
func GuidedBoth(tb testing.TB, car string, late time.Duration) *Play {
	tb.Helper()
	return guided(tb, car, obd.BusUnknown, late, nil, true)
}

// Record writes the capture of a guided test on a slow bus, for Recorded.
func Record(tb testing.TB, w io.Writer, car string, late time.Duration) {
	tb.Helper()
	guided(tb, car, obd.ISO9141, late, w, false)
}

func guided(tb testing.TB, car string, bus obd.Bus, late time.Duration, w io.Writer, both bool) *Play {
	tb.Helper()
	fatal := func(err error) {
		if err != nil {
			tb.Fatal(err)
		}
	}
	c, err := simcar.Find(car)
	fatal(err)
	sim, err := simcar.New(simcar.Config{Car: c, Bus: bus, Seed: 1})
	fatal(err)
	link := sim.Link()
	var raw *capture.Writer
	if w != nil {
		raw = capture.NewWriter(w, sim.Clock())
		link = raw.Link(whole{link})
	}
	ctx := context.Background()
	adapter := obd.NewAdapter(link, sim.Clock(), obd.AdapterOptions{})
	sensors := "B1S1"
	if both {
		sensors += "," + B1S1.Sensor.Beside().String()
	}
	p, err := poll.Open(ctx, adapter, sim.Clock(), poll.Config{Sensor: sensors})
	fatal(err)
	s := &script{sim: sim, mark: p.Mark, late: late, both: both}
	if raw != nil {
		raw.Session(p.Origin(), p.Vehicle().Format, "")
		s.mark = func(m obd.Mark) { raw.Mark(m); p.Mark(m) }
	}
	play := s.play(tb, p, p.Vehicle().Format, p.Stop)
	if raw != nil {
		fatal(raw.Flush())
	}
	return play
}

// whole reads up to the prompt at once: a capture of single bytes is long.
type whole struct{ obd.Link }

func (w whole) Read(p []byte) (n int, err error) {
	for n < len(p) {
		k, err := w.Link.Read(p[n : n+1])
		n += k
		if k == 0 || err != nil || p[n-1] == '>' {
			return n, err
		}
	}
	return n, nil
}

// Recorded plays what Record has written: the same whatever simulated cars and poller
// have become since.
func Recorded(tb testing.TB, r io.Reader) *Play {
	tb.Helper()
	c, err := capture.NewReader(r)
	if err != nil {
		tb.Fatal(err)
	}
	return (&script{}).play(tb, c, c.Format(), func() {})
}

// play runs a session with a guide.
func (s *script) play(tb testing.TB, src session.Source, format obd.Format, done func()) *Play {
	tb.Helper()
	setup := B1S1
	setup.Format = format
	judge := session.NewJudge(setup)
	s.judge = judge
	cfg := session.GuideConfig{Ready: 12 * time.Second, Open: -1}
	if s.both {
		cfg.Beside = setup.Sensor.Beside()
	}
	s.guide = session.NewGuide(cfg, judge, s.prompt, done)
	if _, err := session.Run(context.Background(), src, judge, s); err != nil {
		tb.Fatal(err)
	}
	return &Play{Moments: s.moments}
}

// Verdict is the verdict at the moment shown last.
func (p *Play) Verdict() analysis.Verdict { return p.Moments[max(p.next-1, 0)].Verdict }

// Until shows all moments up to the first of which stop is true, or to the end; that
// moment too. It reports whether stop was.
func (p *Play) Until(show Show, stop func(Moment) bool) bool {
	for p.next < len(p.Moments) {
		m := p.Moments[p.next]
		p.next++ // the verdict is that of this moment while it is shown
		_ = show.Write(m.Frame)
		for _, q := range m.Prompts {
			show.Prompt(q)
		}
		if stop != nil && stop(m) {
			return true
		}
	}
	return false
}

// Stage stops when a stage of a side has gone on for a while.
func Stage(s session.Stage, side analysis.Side, in time.Duration) func(Moment) bool {
	var since time.Duration = -1
	return func(m Moment) bool {
		for _, q := range m.Prompts {
			switch {
			case q.Stage != s || q.Side != side:
				since = -1
			case since < 0:
				since = q.At
			}
		}
		return since >= 0 && m.Frame.Record.At >= since+in
	}
}

// Event stops at an event.
func Event(name analysis.EventName) func(Moment) bool {
	return func(m Moment) bool {
		return slices.ContainsFunc(m.Frame.Events, func(e analysis.Event) bool { return e.Name == name })
	}
}

type script struct {
	both    bool // wires are held
	sim     *simcar.Sim
	mark    func(obd.Mark)
	guide   *session.Guide
	judge   *session.Judge
	late    time.Duration
	due     time.Duration
	act     func()
	prompts []session.Prompt
	moments []Moment
	verdict analysis.Verdict
}

func (s *script) prompt(p session.Prompt) {
	s.prompts = append(s.prompts, p)
	if p.New && s.both {
		s.mark(obd.Mark{Kind: obd.MarkStep, Text: p.Mark(B1S1.By)})
	}
	var wire interface {
		Apply(simcar.Force) error
		Release(...simcar.ForceKind)
	} = s.sim
	if s.both && len(p.Sensors) == 1 && p.Sensors[0] == B1S1.Sensor.Beside().String() {
		wire = simcar.OtherWire{Sim: s.sim}
	}
	switch {
	case s.sim == nil: // what was done is in the recording
	case p.Stage == session.StageForce && p.New:
		kind := simcar.ForceLean
		if p.Side == analysis.Rich {
			kind = simcar.ForceRich
		}
		s.due, s.act = p.At+2*time.Second, func() {
			_ = wire.Apply(simcar.Force{Kind: kind})
			s.mark(obd.Mark{Kind: obd.MarkKind(p.Side)})
		}
	case p.Stage == session.StageRelease && p.New:
		s.due, s.act = p.At+s.late, func() { wire.Release(); s.mark(obd.Mark{Kind: obd.MarkRelease}) }
	}
}

// Write keeps a frame and what came with it.
func (s *script) Write(f session.Frame) error {
	if act := s.act; act != nil && f.Record.At >= s.due {
		s.act = nil
		act()
	}
	s.prompts = nil
	if err := s.guide.Write(f); err != nil {
		return err
	}
	if len(f.Events) > 0 || f.Last || len(s.moments) == 0 {
		s.verdict = s.judge.Verdict()
	}
	f.Samples, f.Events = slices.Clone(f.Samples), slices.Clone(f.Events)
	s.moments = append(s.moments, Moment{f, s.prompts, s.verdict})
	return nil
}
