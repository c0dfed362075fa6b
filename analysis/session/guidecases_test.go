package session

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/reason"
	"pushback/analysis/scripttest"
	"pushback/decode"
	"pushback/obd"
)

// shown is a watcher that has come to what a script says.
type shown struct {
	watcher
	verdict analysis.Verdict
	barred  bool
}

func (x *shown) Verdict() analysis.Verdict { return x.verdict }
func (x *shown) Barred() (bool, bool)      { return x.barred, false }

func (x *shown) prove(id analysis.ProofID, s analysis.State, codes []string) {
	p := analysis.Proof{ID: id, State: s}
	for _, c := range codes {
		p.Why = p.Why.And(reason.Code(c))
	}
	x.verdict.Proofs = append(slices.DeleteFunc(x.verdict.Proofs, func(p analysis.Proof) bool { return p.ID == id }), p)
}

// guided leads a guide through a script, in frames a quarter second apart, and returns its stages as they
// began: "15s force lean (short)". What a script says beside the events' own names:
//
//	begins SIDE, ends SIDE   the watcher sees a force begin, and end
//	begins SIDE TIME         it sees only now that one began then
//	beside EVENT             the second sensor's watcher sees it, where two wires are held
//	says MARK                the technician's mark
//	tap, skip, again         the keys; a tap makes the mark that it returns
//	SIGNAL VALUE             a reading
//	proof ID STATE CODE      the verdict has come to this, for a reason of that code or for none
//	concluded CONCLUSION     and to this
//	barred                   the car must not be tested now
func guided(t *testing.T, setup Setup, cfg GuideConfig, script string, until time.Duration) (stages []string) {
	t.Helper()
	led(t, setup, cfg, script, until, func(p Prompt) {
		if !p.New {
			return
		}
		s := strings.TrimSpace(fmt.Sprintf("%v %s %s", p.At, p.Stage, p.Side))
		if p.Reason != "" {
			s += fmt.Sprintf(" (%s)", p.Reason)
		}
		if p.AtWire() && p.Sensors != nil {
			s += fmt.Sprint(" ", p.Sensors)
		}
		stages = append(stages, s)
	})
	return stages
}

// led leads a guide through a script and hands over its prompts.
func led(t *testing.T, setup Setup, cfg GuideConfig, script string, until time.Duration, each func(Prompt)) {
	t.Helper()
	if setup.Sensor.Bank == 0 {
		setup.Sensor = decode.SensorID{Bank: 1, Position: 1}
	}
	if cfg.Open == 0 {
		cfg.Open = -1
	}
	j := NewJudge(setup)
	x := &shown{watcher: j.watch.both[0]}
	j.watch.both[0] = x
	over, last := 0, Stage("")
	g := NewGuide(cfg, j, func(p Prompt) {
		last = p.Stage
		each(p)
	}, func() { over++ })
	steps := scripttest.Steps(t, strings.TrimSuffix(script, "; "))
	for now := time.Duration(0); now <= until; now += s / 4 {
		write := func(f Frame) {
			f.Record.At = now
			if err := g.Write(f); err != nil {
				t.Fatal(err)
			}
		}
		for ; len(steps) > 0 && steps[0].At <= now; steps = steps[1:] {
			act(t, g, x, steps[0], write)
		}
		write(Frame{})
	}
	if (last == StageDone) != (over == 1) || over > 1 {
		t.Errorf("done was called %d times; the last stage is %s", over, last)
	}
}

// act does what one step of a script says.
func act(t *testing.T, g *Guide, x *shown, step scripttest.Step, write func(Frame)) {
	t.Helper()
	told, beside := strings.CutPrefix(step.Words, "beside ")
	words := strings.Fields(told)
	event := func(e analysis.Event) {
		if e.T == 0 {
			e.T = step.At.Seconds()
		}
		if beside {
			write(Frame{Beside: []analysis.Event{e}})
		} else {
			write(Frame{Events: []analysis.Event{e}})
		}
	}
	mark := func(k obd.MarkKind) {
		if k != "" {
			write(Frame{Record: obd.Record{Mark: &obd.Mark{Kind: k}}})
		}
	}
	second := append(words, "")[1]
	switch words[0] {
	case "begins":
		e := analysis.Event{Name: analysis.ForceBegins, Side: analysis.Side(second)}
		if len(words) > 2 {
			since, err := time.ParseDuration(words[2])
			if err != nil {
				t.Fatal(err)
			}
			e.T = since.Seconds()
		}
		event(e)
	case "ends":
		event(analysis.Event{Name: analysis.ForceEnds, Side: analysis.Side(second)})
	case "says":
		mark(obd.MarkKind(second))
	case "tap":
		mark(g.Enter())
	case "skip":
		g.Skip()
	case "again":
		g.Again()
	case "proof":
		x.prove(analysis.ProofID(second), analysis.State(words[2]), words[3:])
	case "concluded":
		x.verdict.Conclusion = analysis.Conclusion(second)
	case "barred":
		x.barred = true
	case "computer_lets_go":
		event(analysis.Event{Name: analysis.ComputerLetsGo, After: 8, How: second})
	case "open_level":
		event(analysis.Event{Name: analysis.OpenLevel, Value: 0.45})
	case "not_ready":
		event(analysis.Event{Name: analysis.NotReady, Reasons: []reason.Reason{reason.CoolantCold.Of(20.0)}})
	default:
		signal := decode.ByName(words[0])
		if signal == nil {
			event(analysis.Event{Name: analysis.EventName(words[0])})
			return
		}
		v, err := strconv.ParseFloat(second, 64)
		if err != nil {
			t.Fatal(err)
		}
		write(Frame{Samples: []decode.Sample{{Signal: signal, Value: v}}})
	}
}

// guideCase is what happens, and the stages that a technician is led through.
type guideCase struct {
	name   string
	setup  Setup
	cfg    GuideConfig
	script string
	until  time.Duration
	want   string
}

func (c guideCase) try(t *testing.T) {
	t.Run(c.name, func(t *testing.T) {
		if got := strings.Join(guided(t, c.setup, c.cfg, c.script, c.until), "; "); got != c.want {
			t.Errorf("%s\n got %s\nwant %s", c.script, got, c.want)
		}
	})
}

var (
	leanOnly  = GuideConfig{Sides: []analysis.Side{analysis.Lean}}
	byMixture = Setup{By: analysis.ByMixture}
	byFuelCut = Setup{By: analysis.ByFuelCut}
)

// heldLean is a car that is ready and forced lean from 16 s on; the baseline ends at 15 s because the
// sensor never changed sides.
const heldLean = "0s ready; 16s begins lean; "

// One force of a side is enough where it has shown what it can, and a second is asked for where that may show more,
// 30 s after the first: that a hold of 15 s and a rest of 30 s do no harm, and two of a side, is common practice, no
// source. What each proof takes is in the ring: command, then the sensor's own answer on the release.
func TestGuideAsksForWhatIsMissing(t *testing.T) {
	const oneHold = "0s baseline; 15s force lean; 16s hold lean; 31s release lean; 32s answer lean"
	const held = heldLean + "32s ends lean; "
	for _, c := range []guideCase{
		{name: "all is shown", script: held + "33s proof adds_fuel proven; 33s proof sensor_rich proven",
			want: oneHold + "; 1m2s done"},
		{name: "the sensor has failed", script: held + "33s proof adds_fuel proven; 33s proof sensor_rich failed",
			want: oneHold + "; 1m2s done"},
		{name: "the sensor is open", script: held + "33s proof adds_fuel proven; 33s O2S11 0.1",
			want: oneHold + "; 1m2s done"}, // it lay on one side before: it says no more the second time
		{name: "but it cycles after all", script: held + "33s proof adds_fuel proven; 33s O2S11 0.1; 34s switching_resumes",
			want: oneHold + "; 1m2s force lean (undecided)"},
		{name: "but it was let go before there was anything to say", script: held + "33s proof adds_fuel proven; 33s proof sensor_rich unclear released_too_early; 33s O2S11 0.1",
			want: oneHold + "; 1m2s force lean (undecided)"},
		{name: "the loop is proven otherwise", script: held + "33s concluded loop_proven", want: oneHold + "; 1m2s done"},
		{name: "nor with the branch left open", script: held + "33s branch_open",
			want: oneHold + "; 33s wait (branch); 53s done (branch)"},
		{name: "a slow loop: the reading is still where it was brought", script: held + "33s sensor_answers; 33s O2S11 0.8", until: 90 * s, want: oneHold + "; 1m22s force lean (undecided)"},
		{name: "nothing is decided", script: held, want: oneHold + "; 1m2s force lean (undecided)"},
		{name: "unclear is not decided", script: held + "33s proof adds_fuel unclear; 33s proof sensor_rich proven",
			want: oneHold + "; 1m2s force lean (undecided)"},
		{name: "what lies behind a dead input cannot be seen", script: held + "33s proof input failed", want: oneHold + "; 1m2s done"},
		{name: "nor behind crossed banks", script: held + "33s proof bank failed", want: oneHold + "; 1m2s done"},
		{name: "trim stood at its limit and would again", script: heldLean + "20s trim_at_limit; 32s ends lean", want: oneHold + "; 1m2s done (limit)"},
		{name: "at its limit after an answer", script: heldLean + "18s loop_answers; 20s trim_at_limit; 42s ends lean; 43s proof delivery proven",
			want: "0s baseline; 15s force lean; 16s hold lean; 41s release lean; 42s answer lean; 1m12s force lean (undecided)"},
		{name: "too short to show anything", script: heldLean + "22s ends lean",
			want: "0s baseline; 15s force lean; 16s hold lean; 22s answer lean; 52s force lean (short)"},
		{name: "so short that it is none", script: heldLean + "18s ends lean",
			want: "0s baseline; 15s force lean; 16s hold lean; 18s answer lean; 48s force lean (unseen)"},
		{name: "the second time is longer, there is no third", script: held + "64s begins lean; 90s ends lean", until: 3 * time.Minute,
			want: oneHold + "; 1m2s force lean (undecided); 1m4s hold lean; 1m29s release lean; 1m30s answer lean; 2m0s done"},
		{name: "mixture: the command is all there is to show", setup: byMixture, script: held + "33s proof adds_fuel proven", want: oneHold + "; 1m2s done"},
		{name: "fuel cut: the lean sensor is", setup: byFuelCut, script: held + "33s proof sensor_lean proven", want: oneHold + "; 1m2s done"},
		{name: "fuel cut: a rich sensor it cannot show", setup: byFuelCut, script: held + "33s proof sensor_rich proven; 33s proof adds_fuel proven",
			want: oneHold + "; 1m2s done"},
	} {
		if c.until == 0 {
			c.until = 75 * s
		}
		c.cfg = leanOnly
		c.try(t)
	}
}

// A second force of a side waits until the first is 30 s past; the other side need not.
func TestGuideRestsBetweenForces(t *testing.T) {
	const held = heldLean + "26s ends lean; 27s sensor_answers; 28s switching_resumes; "
	for _, c := range []guideCase{
		{name: "the other side comes at once", script: held, until: 40 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 26s answer lean; 32s force rich"},
		{name: "the same side waits", cfg: leanOnly, script: held, until: 60 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 26s answer lean; 32s wait (rest); 56s force lean (undecided)"},
		{name: "lean again after rich, if it has rested", script: held + "34s begins rich; 50s ends rich; 51s sensor_answers; 52s switching_resumes", until: 60 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 26s answer lean; 32s force rich; 34s hold rich; 49s release rich; 50s answer rich; 56s force lean (undecided)"},
		{name: "who begins in the rest is followed", cfg: leanOnly, script: held + "40s begins lean", until: 45 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 26s answer lean; 32s wait (rest); 40s hold lean"},
		{name: "the rest can be skipped", cfg: leanOnly, script: held + "40s skip", until: 45 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 26s answer lean; 32s wait (rest); 40s wait (rest)"},
	} {
		c.try(t)
	}
}

// What a computer or an engine does in a hold ends it, and decides what comes of the side.
func TestGuideEndsASpoiltHold(t *testing.T) {
	const begun = "0s baseline; 15s force lean; 16s hold lean"
	for _, c := range []guideCase{
		{name: "open loop, and it stays open", script: heldLean + "24s open_loop; 25s ends lean", until: 95 * s,
			want: begun + "; 24s release lean (let_go); 25s answer lean (let_go); 30s wait (let_go); 1m30s done (let_go)"},
		{name: "open loop, and it closes again", script: heldLean + "24s open_loop; 25s ends lean; 35s ready; 36s FUELSYS1 2", until: 60 * s,
			want: begun + "; 24s release lean (let_go); 25s answer lean (let_go); 30s wait (let_go); 35s wait (rest); 55s force lean (shorter)"},
		{name: "let go by trim alone", script: heldLean + "24s computer_lets_go trim; 25s ends lean", until: 60 * s,
			want: begun + "; 24s release lean (shorter); 25s answer lean (shorter); 55s force lean (shorter)"},
		{name: "the next hold is shorter by 2 s", script: heldLean + "24s computer_lets_go trim; 25s ends lean; 56s begins lean", until: 65 * s,
			want: begun + "; 24s release lean (shorter); 25s answer lean (shorter); 55s force lean (shorter); 56s hold lean; 1m3s release lean"},
		{name: "the engine stops", script: heldLean + "24s RPM 0", until: 50 * s,
			want: begun + "; 24s release lean (stalled); 44s answer lean (stalled)"},
		{name: "and is started again", script: heldLean + "24s RPM 0; 25s ends lean; 60s RPM 800", until: 70 * s,
			want: begun + "; 24s release lean (stalled); 25s answer lean (stalled); 55s ready (stalled); 1m0s force lean (undecided)"},
	} {
		c.cfg = leanOnly
		c.try(t)
	}
}

// How long a hold lasts: never above 30 s, as a rule 15 s.
func TestGuideHoldLengths(t *testing.T) {
	for _, c := range []struct {
		name, script string
		want         time.Duration
	}{
		{"nothing answers", "", limits.Hold},
		{"trim comes far, delivery decided", "18s loop_answers; 19s SHRTFT1 15; 20s proof delivery proven", limits.Hold},
		{"trim comes far, delivery failed", "18s loop_answers; 19s SHRTFT1 15; 20s proof delivery failed", limits.Hold},
		{"trim comes far, delivery unclear", "18s loop_answers; 19s SHRTFT1 15; 20s proof delivery unclear", limits.HoldLong},
		{"trim is not far", "18s loop_answers; 19s SHRTFT1 6; 20s proof delivery proven", limits.HoldLong},
		{"trim is not far but at its limit", "18s loop_answers; 19s SHRTFT1 6; 19s trim_at_limit; 20s proof delivery proven", limits.Hold},
		{"far by its short term, the other bank's is not asked", "18s loop_answers; 19s SHRTFT2 15; 20s proof delivery proven", limits.HoldLong},
		{"delivery is decided meanwhile", "18s loop_answers; 19s SHRTFT1 15; 35s proof delivery proven", 19 * s},
		{"the wrong way", "18s loop_wrong_way; 19s SHRTFT1 -4", limits.Hold},
	} {
		got := guided(t, Setup{}, leanOnly, heldLean+c.script, 50*s)
		release := ""
		for _, stage := range got {
			if strings.Contains(stage, "release") {
				release = strings.Fields(stage)[0]
			}
		}
		if want := (16*s + c.want).String(); release != want {
			t.Errorf("%s: released at %s, want %s; %q", c.name, release, want, got)
		}
	}
}

// The baseline lasts until the sensor has changed sides eight times, 40 s at most; a sensor that never
// does needs 15 s.
func TestGuideBaselineLengths(t *testing.T) {
	const opened = "0s ready; 1s says open; 1s open_level; 4s O2S11 0.1; "
	for _, c := range []guideCase{
		{name: "it switches quickly", script: "0s ready; 1s O2S11 0.1; 2s O2S11 0.8; 3s O2S11 0.1; 4s O2S11 0.8; 5s O2S11 0.1; 6s O2S11 0.8; 7s O2S11 0.1; 8s O2S11 0.8",
			want: "0s baseline; 15s force lean"},
		{name: "it switches slowly", script: "0s ready; 3s O2S11 0.1; 6s O2S11 0.8; 9s O2S11 0.1; 12s O2S11 0.8; 15s O2S11 0.1; 18s O2S11 0.8; 21s O2S11 0.1; 24s O2S11 0.8",
			want: "0s baseline; 24s force lean"},
		{name: "three times and no more", script: "0s ready; 3s O2S11 0.1; 6s O2S11 0.8; 9s O2S11 0.1", want: "0s baseline; 40s force lean"},
		{name: "between the sides is no change", script: "0s ready; 1s O2S11 0.1; 2s O2S11 0.45; 3s O2S11 0.1; 4s O2S11 0.5", want: "0s baseline; 40s force lean"},
		{name: "never", script: "0s ready; 3s FUELSYS1 2", want: "0s baseline; 15s force lean"},
		{name: "open first", cfg: GuideConfig{Open: 3 * s}, script: opened + "5s O2S11 0.8",
			want: "0s open; 4s baseline (close); 44s force lean"},
		{name: "nobody opens", cfg: GuideConfig{Open: 3 * s}, script: "0s ready", want: "0s open; 12s baseline (close); 27s force lean"},
		{name: "the branch stays open", cfg: GuideConfig{Open: 3 * s}, script: "0s ready; 1s says open; 1s O2S11 0.45; 1s open_level", until: 50 * s,
			want: "0s open; 4s baseline (close); 44s force lean"},
		{name: "skipped", script: "0s ready; 5s skip", want: "0s baseline; 5s force lean"},
		{name: "opening is skipped", cfg: GuideConfig{Open: 3 * s}, script: "0s ready; 5s skip", want: "0s open; 5s baseline (close); 19.75s force lean"},
		{name: "no wire is opened for a mixture", setup: byMixture, cfg: GuideConfig{Open: 3 * s}, script: "0s ready", want: "0s baseline; 15s force lean"},
	} {
		if c.until == 0 {
			c.until = 45 * s
		}
		c.try(t)
	}
}

// What is not fit is waited for, and no force is asked for meanwhile.
func TestGuideWaits(t *testing.T) {
	for _, c := range []guideCase{
		{name: "never ready", script: "0s not_ready", until: 200 * s, want: "0s ready; 3m0s done"},
		{name: "not ready while it is learned", script: "0s ready; 5s not_ready; 8s ready", until: 30 * s,
			want: "0s baseline; 5s ready; 8s baseline; 23s force lean"},
		{name: "not ready while it is asked for", script: "0s ready; 17s not_ready; 20s ready", until: 30 * s,
			want: "0s baseline; 15s force lean; 17s ready; 20s force lean"},
		{name: "not ready in a hold: that is what a force does", script: heldLean + "20s not_ready", until: 40 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 31s release lean"},
		{name: "readiness is skipped", script: "0s not_ready; 5s skip", until: 10 * s, want: "0s ready; 5s baseline"},
		{name: "not where the car must not be tested", script: "0s barred; 0s not_ready; 5s skip", until: 10 * s, want: "0s ready"},
		{name: "nor where the engine stands", script: "0s not_ready; 1s RPM 0; 5s skip", until: 10 * s, want: "0s ready"},
		{name: "it stands in the baseline", script: "0s ready; 5s RPM 0; 9s RPM 850", until: 15 * s, want: "0s baseline; 5s ready (stalled); 9s baseline"},
		{name: "turning below idle is standing", script: "0s ready; 5s RPM 399; 9s RPM 400", until: 15 * s, want: "0s baseline; 5s ready (stalled); 9s baseline"},
		{name: "nobody begins", script: "0s ready", until: 110 * s, want: "0s baseline; 15s force lean; 1m45s done (absent)"},
		{name: "both sides are skipped", script: "0s ready; 16s skip; 20s skip", until: 25 * s, want: "0s baseline; 15s force lean; 16s force rich; 20s done"},
		{name: "a branch left open", script: heldLean + "26s ends lean; 29s branch_open; 34s switching_resumes", until: 40 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 26s answer lean; 29s wait (branch); 34s force rich"},
		{name: "and never closed", script: heldLean + "26s ends lean; 29s branch_open", until: 60 * s,
			want: "0s baseline; 15s force lean; 16s hold lean; 26s answer lean; 29s wait (branch); 49s force rich"},
	} {
		c.try(t)
	}
}

// What is tapped and what is read come in any order; a hold that is only said lasts 20 s.
func TestGuideTapsAndReadings(t *testing.T) {
	const asked = "0s baseline; 15s force lean"
	for _, c := range []guideCase{
		{name: "tapped, never seen", cfg: leanOnly, script: "0s ready; 16s tap", until: 50 * s, want: asked + "; 16s hold lean; 36s release lean; 41s answer lean; 49s wait (rest)"},
		{name: "tapped on and off, never seen", cfg: leanOnly, script: "0s ready; 16s tap; 26s tap", until: 35 * s, want: asked + "; 16s hold lean; 26s answer lean; 34s wait (rest)"},
		{name: "a tap twice in a row is one", script: "0s ready; 16s tap; 17s tap", until: 20 * s, want: asked + "; 16s hold lean"},
		{name: "seen, then tapped off, and still held", script: heldLean + "20s tap; 22s tap", until: 30 * s, want: asked + "; 16s hold lean"},
		{name: "said to be let go, and read to be held", script: heldLean + "17s says lean; 32s says release", until: 55 * s,
			want: asked + "; 16s hold lean; 31s release lean; 51s answer lean (held)"},
		{name: "the other side than asked for", script: "0s ready; 16s begins rich; 32s ends rich; 33s sensor_answers; 34s switching_resumes", until: 40 * s,
			want: asked + "; 16s hold rich; 31s release rich; 32s answer rich; 38s force lean (unseen)"},
		{name: "before it was asked for", script: "0s ready; 5s begins lean", until: 10 * s, want: "0s baseline; 5s hold lean"},
		{name: "while nothing is ready", script: "0s not_ready; 5s begins lean", until: 10 * s, want: "0s ready; 5s hold lean"},
		{name: "an end of the other side ends nothing", script: heldLean + "20s ends rich", until: 25 * s, want: asked + "; 16s hold lean"},
		{name: "an end from before the force", script: heldLean + "16s ends lean", until: 25 * s, want: asked + "; 16s hold lean"},
		{name: "a slip", script: heldLean + "26s ends lean; 31s begins lean; 36s ends lean; 37s sensor_answers; 38s switching_resumes", until: 45 * s,
			want: asked + "; 16s hold lean; 26s answer lean; 31s hold lean; 36s answer lean; 42s force rich"},
		{name: "a slip is one hold, not two", cfg: leanOnly, script: heldLean + "26s ends lean; 31s begins lean; 36s ends lean; 37s sensor_answers; 38s switching_resumes", until: 70 * s,
			want: asked + "; 16s hold lean; 26s answer lean; 31s hold lean; 36s answer lean; 42s wait (rest); 1m6s force lean (short)"},
		{name: "again in the hold", script: heldLean + "20s again; 21s ends lean; 22s sensor_answers; 23s switching_resumes", until: 30 * s,
			want: asked + "; 16s hold lean; 20s release lean; 21s answer lean; 27s force lean"},
		{name: "skip in the hold", script: heldLean + "20s skip; 21s skip; 22s skip", until: 30 * s,
			want: asked + "; 16s hold lean; 20s release lean; 21s answer lean; 22s force rich"},
		{name: "again before any force", script: "0s ready; 17s again", until: 35 * s, want: asked + "; 17s baseline; 31.75s force lean"},
	} {
		c.try(t)
	}
}

// The time that was told counts from the first time the car was found ready, at the very beginning too.
func TestGuideCountsFromTheFirstReady(t *testing.T) {
	_, most := GuideConfig{Open: -1}.Length(analysis.ByWire)
	for _, first := range []time.Duration{0, s / 4, 3 * s} {
		script := fmt.Sprintf("%v ready", first)
		for at := first + 5*s; at < 2*most; at += 160 * s { // ready comes and goes, and nobody begins
			script += fmt.Sprintf("; %v not_ready; %v ready", at, at+80*s)
		}
		stages := guided(t, Setup{}, GuideConfig{}, script, 2*most)
		if last, want := stages[len(stages)-1], fmt.Sprintf("%v done (long)", first+most+s/4); last != want {
			t.Errorf("ready at %v: %s, want %s; %q", first, last, want, stages)
		}
	}
}

// The test never takes longer than was told, whatever the car and the hands do.
func TestGuideEndsWithinWhatWasTold(t *testing.T) {
	for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture, analysis.ByFuelCut} {
		for name, script := range map[string]string{
			"nothing comes":   "1s ready",
			"only taps":       "1s ready; 1s..900s/7s tap",
			"again and again": "1s ready; 1s..900s/13s again",
			"never lets go":   "1s ready; 16s begins lean",
			"one after the other": "1s ready; 16s begins lean; 40s ends lean; 41s begins rich; 60s ends rich; 100s begins lean; 120s ends lean; " +
				"150s begins rich; 170s ends rich; 200s begins lean; 220s ends lean; 260s begins rich; 270s ends rich",
			"a branch that opens again and again": "1s ready; 16s begins lean; 30s ends lean; 31s branch_open; 60s begins rich; 70s ends rich; 71s branch_open",
		} {
			_, most := GuideConfig{}.Length(by)
			stages := guided(t, Setup{By: by}, GuideConfig{}, script, most+limits.HoldMost+letGoWithin+s)
			if last := stages[len(stages)-1]; !strings.Contains(last, " done") {
				t.Errorf("%s, %s: not done after %v: %q", by, name, most, stages)
			}
		}
	}
}

// What only time takes back, with no event, is told all the same, in the next second.
func TestTakenBackByTime(t *testing.T) {
	var told []time.Duration
	led(t, Setup{}, leanOnly, heldLean+"32s ends lean; 33s proof recovery proven; 34s switching_resumes; 36s proof recovery failed", 45*s, func(p Prompt) {
		for _, b := range p.Back {
			if b.ID == analysis.ProofRecovery {
				told = append(told, p.At)
			}
		}
	})
	if len(told) == 0 || told[0] < 36*s || told[0] > 38*s {
		t.Errorf("told at %v", told)
	}
}
