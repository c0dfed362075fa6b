package session

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/obd"
)

// How long a test takes, added up by hand: a wire's branch is open for 3 s, after 5 s that a person needs or 12 s at most; 15 s of
// baseline, 40 s at most; each side 5 + 15 + 15 s as a rule, and at most 90 until somebody begins, 25 of hold, 20 to let go, 30 of answer.
func TestLengths(t *testing.T) {
	lean := []analysis.Side{analysis.Lean}
	for _, c := range []struct {
		name        string
		cfg         GuideConfig
		by          analysis.By
		usual, most time.Duration
	}{
		{"a wire, both sides", GuideConfig{}, analysis.ByWire, 93 * s, 385 * s},
		{"a wire where nobody said by what", GuideConfig{}, "", 93 * s, 385 * s},
		{"lean alone", GuideConfig{Sides: lean}, analysis.ByWire, 58 * s, 220 * s},
		{"its branch stays closed", GuideConfig{Open: -1}, analysis.ByWire, 85 * s, 370 * s},
		{"a mixture opens no branch", GuideConfig{}, analysis.ByMixture, 85 * s, 370 * s},
		{"nor where that was asked for", GuideConfig{Open: 9 * s}, analysis.ByMixture, 85 * s, 370 * s},
		{"fuel is cut to one side", GuideConfig{}, analysis.ByFuelCut, 50 * s, 205 * s},
		{"a longer baseline", GuideConfig{Baseline: 30 * s}, analysis.ByMixture, 100 * s, 370 * s},
		{"a longer hold", GuideConfig{Hold: 20 * s, HoldMost: 28 * s}, analysis.ByMixture, 95 * s, 376 * s},
		{"no hold is above 30 s, whatever is asked", GuideConfig{HoldMost: time.Minute}, analysis.ByMixture, 85 * s, 380 * s},
		{"the answer is waited for", GuideConfig{Answer: 50 * s}, analysis.ByMixture, 105 * s, 410 * s},
		{"nobody has to hurry", GuideConfig{Absent: 200 * s}, analysis.ByMixture, 85 * s, 590 * s},
		{"waiting for the car and settling do not count", GuideConfig{Ready: time.Hour, Settle: time.Minute}, analysis.ByMixture, 85 * s, 370 * s},
	} {
		if usual, most := c.cfg.Length(c.by); usual != c.usual || most != c.most {
			t.Errorf("%s: %v, %v at most; want %v and %v", c.name, usual, most, c.usual, c.most)
		}
	}
}

// Whatever is asked for, no hold is longer than is good for the car, what a side takes is told for each, and what was
// filled in once stays.
func TestLengthsInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		span := func(name string, most int) time.Duration {
			return time.Duration(rapid.IntRange(0, most).Draw(t, name)) * s
		}
		cfg := GuideConfig{Open: span("open", 10), Baseline: span("baseline", 40), Hold: span("hold", 15), HoldMost: span("most", 90), Answer: span("answer", 60),
			Absent: span("absent", 200), Settle: span("settle", 9), Ready: span("ready", 400)}
		by := rapid.SampledFrom([]analysis.By{analysis.ByWire, analysis.ByMixture, analysis.ByFuelCut}).Draw(t, "by")
		full := cfg
		full.fill(by)
		again := full
		if again.fill(by); fmt.Sprint(again) != fmt.Sprint(full) {
			t.Fatalf("%+v, filled once more %+v", full, again)
		}
		if full.HoldMost > limits.HoldMost || full.HoldMost <= 0 || full.Hold <= 0 || len(full.Sides) == 0 {
			t.Fatalf("%+v", full)
		}
		one, two := cfg, cfg
		one.Sides, two.Sides = []analysis.Side{analysis.Rich}, []analysis.Side{analysis.Rich, analysis.Lean}
		usual, most := one.Length(by)
		if usual2, most2 := two.Length(by); usual2-usual != reactIn+full.Hold+full.Answer/2 || most2-most <= usual2-usual {
			t.Fatalf("%+v: one side %v to %v, two %v to %v", cfg, usual, most, usual2, most2)
		}
	})
}

// Until when a step lasts by itself, as the person is told. "-": until its job is done.
func TestPromptsSayUntilWhen(t *testing.T) {
	type told struct {
		at   time.Duration
		want string // stage and until
	}
	for _, c := range []struct {
		name   string
		setup  Setup
		cfg    GuideConfig
		script string
		told   []told
	}{
		{"not ready", Setup{}, GuideConfig{}, "0s not_ready", []told{{0, "ready 3m0s"}, {100 * s, "ready 3m0s"}}},
		{"a baseline, while it is still too short", Setup{}, GuideConfig{}, "0s ready; 5s O2S11 0.1; 9s O2S11 0.8", []told{{2 * s, "baseline 15s"}, {14 * s, "baseline 15s"}, {20 * s, "baseline 40s"}}},
		{"an open branch, before it is open and then", Setup{}, GuideConfig{Open: 3 * s}, "0s ready; 4s says open", []told{{s, "open 12s"}, {5 * s, "open 7s"}}},
		{"a force lasts until somebody begins", Setup{}, GuideConfig{}, "0s ready", []told{{20 * s, "force -"}}},
		{"a hold that is seen", Setup{}, leanOnly, heldLean, []told{{20 * s, "hold 31s"}}},
		{"one that is only said", Setup{}, leanOnly, "0s ready; 16s says lean", []told{{20 * s, "hold 36s"}}},
		{"one whose answer has not come far", Setup{}, leanOnly, heldLean + "18s loop_answers; 19s SHRTFT1 6", []told{{20 * s, "hold 31s"}, {32 * s, "hold 41s"}}},
		{"a release waits", Setup{}, leanOnly, heldLean, []told{{32 * s, "release -"}}},
		{"the answer", Setup{}, leanOnly, heldLean + "32s ends lean", []told{{33 * s, "answer 1m2s"}}},
		{"the rest", Setup{}, leanOnly, heldLean + "26s ends lean; 27s sensor_answers; 28s switching_resumes", []told{{33 * s, "wait 56s"}}},
		{"a branch to close", Setup{}, leanOnly, heldLean + "26s ends lean; 29s branch_open", []told{{30 * s, "wait 49s"}}},
	} {
		at := map[time.Duration]string{}
		led(t, c.setup, c.cfg, c.script, 110*s, func(p Prompt) {
			until := "-"
			if p.Until > 0 {
				until = p.Until.String()
			}
			at[p.At.Truncate(s)] = fmt.Sprintf("%s %s", p.Stage, until)
			if usual, most := p.Usual, p.Most; usual <= 0 || most < usual {
				t.Errorf("%s: takes %v, %v at most", c.name, usual, most)
			}
		})
		for _, x := range c.told {
			if at[x.at] != x.want {
				t.Errorf("%s, at %v: %q, want %q", c.name, x.at, at[x.at], x.want)
			}
		}
	}
}

// Somebody who looks at the screen once a second is told once a second, and of each new step at once.
func TestPromptsComeEachSecond(t *testing.T) {
	var at []time.Duration
	fresh := 0
	led(t, Setup{}, leanOnly, heldLean+"32s ends lean; 33s sensor_answers; 34s switching_resumes", 50*s, func(p Prompt) {
		if p.New {
			fresh++
		} else if last := at[len(at)-1]; p.At-last < s {
			t.Errorf("told at %v and %v", last, p.At)
		}
		if len(at) > 0 && p.At-at[len(at)-1] > s {
			t.Errorf("nothing is told from %v to %v", at[len(at)-1], p.At)
		}
		at = append(at, p.At)
	})
	if fresh != 6 || at[0] != 0 || at[len(at)-1] != 50*s { // baseline, force, hold, release, answer, wait
		t.Errorf("%d new steps, from %v to %v", fresh, at[0], at[len(at)-1])
	}
}

// One button says 'done' to what is asked for. Pressed twice it counts once.
func TestTheButtonSaysWhatIsAsked(t *testing.T) {
	for _, c := range []struct {
		stage Stage
		said  bool // the hold was said to be on
		want  obd.MarkKind
	}{
		{StageReady, false, ""}, {StageBaseline, false, ""}, {StageOpen, false, obd.MarkOpen}, {StageForce, false, "SIDE"}, {StageHold, false, "SIDE"},
		{StageHold, true, obd.MarkRelease}, {StageRelease, true, obd.MarkRelease}, {StageAnswer, true, ""}, {StageWait, false, ""}, {StageDone, false, ""},
	} {
		for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
			want := obd.MarkKind(strings.ReplaceAll(string(c.want), "SIDE", string(side)))
			g := NewGuide(GuideConfig{}, NewJudge(Setup{}), func(Prompt) {}, func() {})
			g.stage, g.side, g.now, g.hold.said = c.stage, side, 10*s, c.said
			if got := g.Enter(); got != want {
				t.Errorf("%s, %s, said %v: %q, want %q", c.stage, side, c.said, got, want)
			}
			for _, x := range []struct {
				later time.Duration
				want  obd.MarkKind
			}{{s, ""}, {s + twiceWithin, want}} {
				if g.now = 10*s + x.later; g.Enter() != x.want {
					t.Errorf("%s, %s: pressed again %v later", c.stage, side, x.later)
				}
			}
			forced := []Stage{StageForce, StageHold, StageRelease, StageAnswer}
			if got := g.Side(); (got == side) != slices.Contains(forced, c.stage) || got != side && got != "" {
				t.Errorf("the side of %s is %q", c.stage, got)
			}
		}
	}
}

// One more force is asked for only where a whole one, with its answer, still fits into what was told: 205 s for one side.
func TestGuideKeepsTimeForAWholeForce(t *testing.T) {
	for _, c := range []guideCase{
		{name: "there is time", cfg: leanOnly, script: "0s ready; 88s begins lean; 104s ends lean; 105s sensor_answers; 106s switching_resumes", until: 150 * s,
			want: "0s baseline; 15s force lean; 1m28s hold lean; 1m43s release lean; 1m44s answer lean; 1m50s wait (rest); 2m14s force lean (undecided)"},
		{name: "there is none", cfg: leanOnly, script: "0s ready; 100s begins lean; 121s ends lean", until: 170 * s,
			want: "0s baseline; 15s force lean; 1m40s hold lean; 1m55s release lean; 2m1s answer lean; 2m31s done (long)"},
	} {
		c.try(t)
	}
}
