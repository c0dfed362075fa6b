package accuracy

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
)

// Guided makes guided tests with hands of all kinds, on sound cars and on others in turn.
func Guided(from uint64, n int, progress func(done int)) ([]Result, error) {
	return each(n, progress, func(i int) Result { return RunGuided(from + uint64(i)).Result }), nil
}

// GuidedTrial is one guided test and all that came of it.
type GuidedTrial struct {
	Result
	Style    hands.Style
	Truth    []simcar.ForceTruth // times since the session began
	properly bool                // both sides were held for 8 s on end on the right sensor, and released as they should be
	Prompts  []session.Prompt    // at the beginning of each step
	Events   []analysis.Event
	Marks    []obd.Record
	Verdict  analysis.Verdict
	Reasons  []reason.Reason
	Untold   truth.Outcome    // what would have been said had nothing been tapped
	Silent   analysis.Verdict // and all of it
}

// properHold is how long a side must be held for its answer to be seen, s.
const properHold = 8 * time.Second

// longestGuided ends a guided test that would not end.
const longestGuided = 15 * time.Minute

// RunGuided makes the guided test of a seed. Every other car is sound.
func RunGuided(seed uint64) GuidedTrial {
	cfg, exp := simcar.Random(seed)
	for k := uint64(1); seed%2 == 0 && exp.Fault != "sound"; k++ {
		cfg, exp = simcar.Random(seed + k<<32)
	}
	cfg.Forces, cfg.BranchByHand = nil, true
	style := hands.Random(seed)
	if strings.HasPrefix(exp.Fault, "wide") {
		style.Other = "" // such a car is refused before anyone is asked to hold a wire
	}
	return runGuided(seed, cfg, exp, style, "")
}

// RunNamed makes the guided test of a named car by hands of a style.
func RunNamed(car, style string, seed uint64) (GuidedTrial, error) {
	c, err := simcar.Find(car)
	if err != nil {
		return GuidedTrial{}, err
	}
	named, known := hands.Named(style)
	if !known {
		return GuidedTrial{}, fmt.Errorf("find hands %q: 'pushback demo --hands list' names them", style)
	}
	exp := simcar.Expected{Fault: c.Name, Conclusion: c.Expect, Also: c.Also}
	return runGuided(seed, simcar.Config{Car: c, Seed: seed, BranchByHand: true}, exp, named, ""), nil
}

// runGuided makes a guided test; beside is the other bank's sensor where its wire is held too, "" where it is not.
func runGuided(seed uint64, cfg simcar.Config, exp simcar.Expected, style hands.Style, beside string) GuidedTrial {
	t := GuidedTrial{Style: style, Result: Result{Seed: seed, Case: exp.Fault, Outcome: truth.Broken}}
	t.Marked = !style.Never
	sim, err := simcar.New(cfg)
	if err != nil {
		t.Err = err
		return t
	}
	ctx := context.Background()
	sensors := strings.TrimSuffix(cfg.Car.Sensor+","+beside, ",")
	p, err := poll.Open(ctx, obd.NewAdapter(sim.Link(), sim.Clock(), obd.AdapterOptions{}), sim.Clock(), poll.Config{Sensor: sensors, Bus: cfg.Bus})
	if err != nil {
		t.Err = err
		return t
	}
	setup, err := session.NewSetup(cfg.Car.Sensor, string(analysis.ByWire), p.Vehicle().Format)
	if err != nil {
		t.Err = err
		return t
	}
	if there := func(x decode.Sensor) bool { return x.Name == style.Other && x.Name != cfg.Car.Sensor }; !slices.ContainsFunc(p.Vehicle().Decoder.Sensors(), there) {
		style.Other = "" // the car has none there
		t.Style = style
	}
	j := session.NewJudge(setup)
	w := &worker{sim: sim, poller: p, judge: j, hands: hands.New(style, sim, cfg.Car.Sensor), trial: &t, start: sim.Now(), said: map[analysis.ProofID]bool{}}
	guide := session.GuideConfig{Ready: 20 * time.Second}
	if beside != "" {
		guide.Beside = setup.Sensor.Beside()
		w.beside, w.second = hands.New(style, simcar.OtherWire{Sim: sim}, ""), beside
	}
	w.guide = session.NewGuide(guide, j, w.prompt, p.Stop)
	res, err := session.Run(ctx, w, j, session.NewBusPriority(p), w)
	if t.Err = err; err != nil {
		return t
	}
	t.Verdict, t.Events, t.Reasons = res.Verdict, res.Events, j.Reasons()
	for _, f := range sim.Truth().Forces {
		f.Begin -= w.origin
		if f.End >= 0 {
			f.End -= w.origin
		}
		t.Truth = append(t.Truth, f)
	}
	told := t.truths(exp, cfg.Car.Sensor, beside)
	t.compareAll(told, res)
	silent, err := session.Run(ctx, &records{list: w.unsaid}, session.NewJudge(setup))
	if err == nil {
		t.Untold, t.Silent = outcomeOf(told, silent.Verdict), silent.Verdict
	}
	t.Proper = t.properly && strings.HasPrefix(exp.Fault, "sound") && len(exp.Also) == 0
	t.Worse = t.Untold == truth.Right && t.Outcome != truth.Right
	w.look()
	t.Guide = &GuideFigures{Lit: w.arcs.lit, Dark: w.arcs.dark}
	if beside == "" {
		t.Guide.Step = string(t.Verdict.Decide)
		t.Guide.compare(&t, exp.Fault)
	}
	if f := j.Figures(); f.Seconds > 0 {
		t.Rate = f.PerSecond
	}
	return t
}

// truth says what may be said of a sensor after what these hands did at its wire, and whether that was done properly.
func (t *GuidedTrial) truth(exp simcar.Expected, sensor string, done []simcar.ForceTruth) (out *truth.Test, properly bool) {
	var best [2]time.Duration // longest hold of each side
	closed := true
	for _, f := range done {
		end := f.End
		if end < 0 {
			end = 1 << 62
		}
		switch f.Kind {
		case simcar.ForceLean:
			best[0] = max(best[0], end-f.Begin)
		case simcar.ForceRich:
			best[1] = max(best[1], end-f.Begin)
		case simcar.ForceOpen:
			closed = closed && f.End >= 0
		}
	}
	s := t.Style
	properly = best[0] >= properHold && best[1] >= properHold && closed && !s.Forgets && s.Other == "" && s.Ohms == 0 && !s.Trembles && s.Volts == 0
	var forces []truth.Force
	for _, f := range done {
		if !f.Kind.Wire() || f.Begin < 0 {
			continue
		}
		x := truth.Force{Side: string(f.Kind), Begin: f.Begin.Seconds(), End: f.End.Seconds(), Faint: true}
		if f.End < 0 {
			x.End = 1e9
		}
		x.Faint = x.End-x.Begin < properHold.Seconds()
		forces = append(forces, x)
	}
	out = &truth.Test{Forces: forces, Seed: t.Seed, Fault: exp.Fault, Style: style(s), Marks: t.Marked, Sensor: sensor,
		Accepted:  append([]string{exp.Conclusion}, exp.Also...),
		Undecided: []string{string(analysis.ConclusionUnclear), string(analysis.PartlyProven), string(analysis.NothingForced), string(analysis.ConclusionNotReady)}}
	if strings.HasPrefix(exp.Fault, "sound") {
		out.Accepted = append(slices.Clone(exp.Also), string(analysis.LoopProven)) // both sides are asked for
	}
	if strings.HasSuffix(s.Other, "S1") && s.Forgets {
		out.Accepted = append(out.Accepted, string(analysis.WrongBank)) // the one hold that showed was on the other bank's sensor
	}
	if !properly { // what was not done cannot be seen
		out.Accepted = append(out.Accepted, out.Undecided...)
	}
	return out, properly
}

// style names what these hands do.
func style(s hands.Style) string {
	text := fmt.Sprintf("reacts in %.1f s", s.React)
	add := func(is bool, format string, v ...any) {
		if is {
			text += ", " + fmt.Sprintf(format, v...)
		}
	}
	add(s.Never, "never taps")
	add(!s.Never && (s.Tap < -1 || s.Tap > 1), "taps %+.1f s", s.Tap)
	add(s.Twice, "twice")
	add(s.Wrong, "wrong button")
	add(s.Hold > 0, "holds %.1f s", s.Hold)
	add(s.Late > 1.5, "lets go %.1f s late", s.Late)
	add(s.Slip > 0, "slips after %.1f s", s.Slip)
	add(s.Touch, "touches first")
	add(s.Swapped, "other order")
	add(s.Other != "", "%s first", s.Other)
	add(s.Open, "branch left open")
	add(s.Forgets, "branch not opened")
	add(s.Away > 0, "away for %.0f s", s.Away)
	add(s.Ohms > 0, "%.0f ohm", s.Ohms)
	add(s.Volts > 0, "%.2f V", s.Volts)
	return text
}

// worker is the technician at the car: a source and a sink of the session.
type worker struct {
	sim    *simcar.Sim
	poller *poll.Poller
	judge  *session.Judge
	guide  *session.Guide
	hands  *hands.Hands
	beside *hands.Hands // at the other bank's wire; nil: nobody's
	second string       // the sensor there
	trial  *GuidedTrial
	start  time.Duration
	origin time.Duration
	step   string
	unsaid []obd.Record // of the session, without what was said
	ended  bool
	arcs   arcs
	said   map[analysis.ProofID]bool // arcs that prompts told to be taken back
}

func (w *worker) prompt(p session.Prompt) {
	for _, b := range p.Back {
		w.said[b.ID] = true
	}
	step := p.Step(analysis.ByWire)
	if p.New {
		w.poller.Mark(obd.Mark{Kind: obd.MarkStep, Text: p.Mark(analysis.ByWire)})
		w.trial.Prompts = append(w.trial.Prompts, p)
	}
	if w.beside != nil && slices.Contains(p.Sensors, w.second) {
		if p.New {
			w.beside.Prompt(step)
		}
		if len(p.Sensors) == 1 {
			w.step = step
			return
		}
	}
	// Who was still busy when it was asked for sees it a moment later.
	if _, busy := w.hands.Next(); p.New || step == w.step && !busy && p.Stage == session.StageForce {
		w.hands.Prompt(step)
	}
	w.step = step
}

func (w *worker) Next(ctx context.Context) (obd.Record, error) {
	words := w.hands.Due()
	if w.beside != nil {
		words = append(words, w.beside.Due()...)
	}
	for _, word := range words {
		switch word {
		case "tap":
			if k := w.guide.Enter(); k != "" {
				w.poller.Mark(obd.Mark{Kind: k})
			}
		case "mark lean":
			w.poller.Mark(obd.Mark{Kind: obd.MarkLean})
		case "mark rich":
			w.poller.Mark(obd.Mark{Kind: obd.MarkRich})
		}
	}
	if w.sim.Now() > w.start+longestGuided && !w.ended {
		w.ended = true
		w.poller.Stop()
	}
	return w.poller.Next(ctx)
}

// Write lets the guide see a frame.
func (w *worker) Write(f session.Frame) error {
	if f.Last {
		return nil
	}
	w.origin = w.sim.Now() - f.Record.At
	m := f.Record.Mark
	if m == nil || m.Kind == obd.MarkStep {
		w.unsaid = append(w.unsaid, f.Record)
	}
	if m != nil && m.Kind != obd.MarkStep {
		w.trial.Marks = append(w.trial.Marks, f.Record)
	}
	err := w.guide.Write(f)
	if len(f.Events) > 0 {
		w.look()
	}
	return err
}

func (w *worker) look() {
	w.arcs.look(w.judge.Verdict().Of(w.judge.Setup().Sensor.String()), w.said)
}
