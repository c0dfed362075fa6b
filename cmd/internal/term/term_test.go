package term

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/cmd/internal/sessiontest"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/obd"
)

var everyEvent = []analysis.EventName{
	analysis.Ready, analysis.NotReady, analysis.ForceBegins, analysis.LoopAnswers, analysis.LoopSilent, analysis.LoopWrongWay,
	analysis.TrimAtLimit, analysis.ForceEnds, analysis.SensorAnswers, analysis.SensorSilent, analysis.SwitchingResumes,
	analysis.OpenLoop, analysis.OtherBankAnswers, analysis.GapSeen, analysis.CodeSet,
}

var everyConclusion = []analysis.Conclusion{
	analysis.LoopProven, analysis.PartlyProven, analysis.InputDead, analysis.NoCommand, analysis.NoDelivery, analysis.SensorDead,
	analysis.SensorSlow, analysis.WrongBank, analysis.ConclusionNotReady, analysis.ConclusionUnclear, analysis.NothingForced,
}

// No name of the JSON lines reaches people as it is.
func TestEverythingHasWords(t *testing.T) {
	for _, n := range everyEvent {
		if got := words.EventText(analysis.Event{Name: n, Side: analysis.Lean, Toward: "add"}); got == string(n) || strings.Contains(got, "_") {
			t.Errorf("event %s has no words: %q", n, got)
		}
	}
	for _, c := range everyConclusion {
		if got := words.ConclusionName(c) + words.ConclusionMeans(c); got == string(c) || strings.Contains(got, "_") {
			t.Errorf("conclusion %s has no words: %q", c, got)
		}
	}
	for _, p := range analysis.ProofOrder {
		if words.ProofTitles[p] == "" {
			t.Errorf("proof %s has no title", p)
		}
	}
	for _, stage := range []session.Stage{session.StageReady, session.StageBaseline, session.StageForce, session.StageHold,
		session.StageRelease, session.StageAnswer, session.StageDone} {
		for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
			for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture} {
				if words.PromptText(session.Prompt{Stage: stage, Side: side}, by) == "" {
					t.Errorf("stage %s has no words", stage)
				}
			}
		}
	}
}

// Forcing the mixture is never worded as a wire, nor the other way round.
func TestPromptsNameTheRightForce(t *testing.T) {
	p := session.Prompt{Stage: session.StageForce, Side: analysis.Rich}
	if got := words.PromptText(p, analysis.ByMixture); !strings.Contains(got, "propane") || strings.Contains(got, "signal") {
		t.Errorf("mixture, rich: %q", got)
	}
	if got := words.PromptText(p, analysis.ByWire); strings.Contains(got, "propane") || !strings.Contains(got, "sensor return") {
		t.Errorf("wire, rich: %q", got)
	}
}

func TestVerdictForPeople(t *testing.T) {
	v := analysis.Verdict{
		Conclusion: analysis.PartlyProven,
		Proofs: []analysis.Proof{
			{ID: analysis.ProofInput, State: analysis.Proven, Why: reason.Told.Of("held lean at 0.02 V"), Evidence: map[string]float64{"held_s": 14.25, "level_v": 0.02}},
			{ID: analysis.ProofCutsFuel, State: analysis.Untested, Why: reason.Told.Of("not forced rich")},
		},
		Next: []reason.Reason{reason.Told.Of("hold the signal rich")},
	}
	var b bytes.Buffer
	Style{}.WriteVerdict(&b, v, true)
	want := `
GOOD SO FAR
Everything tested passed; one side still to test.

NEXT: Hold the signal rich.

  ✓ ECM reads the wire         PASSED
      held lean at 0.02 V
      [held_s 14.25, level_v 0.02]
  – cuts fuel when driven rich not tested
      not forced rich

`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", &b, want)
	}
	b.Reset()
	Style{Live: true, Color: true}.WriteVerdict(&b, v, false)
	if !strings.Contains(b.String(), bold+"GOOD SO FAR") || strings.Contains(b.String(), "held_s") {
		t.Errorf("in colour, without evidence:\n%s", &b)
	}
}

func sampled(at time.Duration, name string, v float64) session.Frame {
	return session.Frame{Record: obd.Record{At: at}, Samples: []decode.Sample{{Signal: decode.ByName(name), Sent: at, Received: at, Value: v}}}
}

func TestLiveLine(t *testing.T) {
	v := NewView(&bytes.Buffer{}, Style{Live: true}, sessiontest.B1S1)
	for _, f := range []session.Frame{sampled(1*time.Second, "O2S11", 0.12), sampled(1*time.Second, "SHRTFT1", -3.125), sampled(1*time.Second, "O2S12", 0.7)} {
		if err := v.Write(f); err != nil {
			t.Fatal(err)
		}
	}
	v.Prompt(session.Prompt{Stage: session.StageHold, Side: analysis.Lean, At: time.Second, Until: 9500 * time.Millisecond, Seen: true})
	if got, want := v.liveLine(1500*time.Millisecond), "    1.5 s  0.120 V ▼ LEAN  trim   -3.1 %  HOLD LEAN 9 s"; got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	// A value that does not come any more must not look alive.
	if got := v.liveLine(5 * time.Second); !strings.Contains(got, "NO DATA FOR 4 s") || strings.Contains(got, "0.120") {
		t.Errorf("stale: %q", got)
	}
}

// Only a terminal gets a line that is written over, a bell, or a colour.
func TestPlainOutputIsPlain(t *testing.T) {
	var plainOut, live bytes.Buffer
	for _, o := range []struct {
		w *bytes.Buffer
		s Style
	}{{&plainOut, Style{}}, {&live, Style{Live: true, Color: true}}} {
		v := NewView(o.w, o.s, sessiontest.B1S1)
		_ = v.Write(sampled(1*time.Second, "O2S11", 0.12))
		v.Prompt(session.Prompt{Stage: session.StageRelease, Side: analysis.Lean, At: time.Second, New: true})
		f := sampled(2*time.Second, "O2S11", 0.9)
		f.Events = []analysis.Event{{T: 2, Name: analysis.ForceEnds, Side: analysis.Lean}}
		_ = v.Write(f)
		_ = v.Write(session.Frame{Last: true})
	}
	if got := plainOut.String(); strings.ContainsAny(got, "\x1b\r\a") || !strings.Contains(got, "RELEASE NOW") || !strings.Contains(got, "released") {
		t.Errorf("plain: %q", got)
	}
	if got := live.String(); !strings.Contains(got, "\a") || !strings.Contains(got, "\r\x1b[K") || !strings.Contains(got, blue) {
		t.Errorf("live: %q", got)
	}
}

// A force that nobody guides is not let go on for ever, in lines either.
func TestHeldTooLongInLines(t *testing.T) {
	var b bytes.Buffer
	v := NewView(&b, Style{}, sessiontest.B1S1)
	write := func(at time.Duration, e ...analysis.Event) {
		f := sampled(at, "O2S11", 0.02)
		f.Events = e
		_ = v.Write(f)
	}
	write(10*time.Second, analysis.Event{T: 10, Name: analysis.ForceBegins, Side: analysis.Lean})
	write(34 * time.Second)
	if strings.Contains(b.String(), "release now") {
		t.Errorf("too early:\n%s", &b)
	}
	write(35 * time.Second)
	write(35500 * time.Millisecond)
	write(37 * time.Second)
	write(38*time.Second, analysis.Event{T: 38, Name: analysis.ForceEnds, Side: analysis.Lean})
	write(60 * time.Second)
	if got := strings.Count(b.String(), "release now, before"); got != 2 {
		t.Errorf("said %d times:\n%s", got, &b)
	}
	// Nobody holds anything in a session that is over.
	b.Reset()
	v.Over()
	write(70*time.Second, analysis.Event{T: 70, Name: analysis.ForceBegins, Side: analysis.Rich})
	write(100 * time.Second)
	if strings.Contains(b.String(), "release now") {
		t.Errorf("said of what is over:\n%s", &b)
	}
}

func TestStyleOfAPipeIsPlain(t *testing.T) {
	if s := StyleOf(new(bytes.Buffer)); s != (Style{}) {
		t.Errorf("%+v", s)
	}
}

func TestWrapKeepsUnits(t *testing.T) {
	got := strings.Join(wrap("trim rose to +25.8 % in 15 s", 16), "|")
	if want := "trim rose to|+25.8 % in 15 s"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// An arc that was taken back is told once in lines, which stay to be read, though it stands in the prompts for seconds.
func TestTakenBackOnce(t *testing.T) {
	var out bytes.Buffer
	v := NewView(&out, Style{}, sessiontest.B1S1)
	rich := analysis.Proof{ID: analysis.ProofCutsFuel, State: analysis.Unclear, Why: reason.PeggedAlready.Of(26.0)}
	lean := analysis.Proof{ID: analysis.ProofAddsFuel, State: analysis.Unclear, Why: reason.PeggedAlready.Of(26.0)}
	for i, back := range [][]analysis.Proof{{rich}, {rich}, {rich, lean}, nil, {lean}} {
		v.Prompt(session.Prompt{Stage: session.StageHold, Side: analysis.Lean, At: time.Duration(i) * time.Second, New: i == 1, Back: back, Seen: true})
	}
	for title, want := range map[string]int{words.ProofTitles[rich.ID]: 1, words.ProofTitles[lean.ID]: 2} { // the second time it was taken back anew
		if n := strings.Count(out.String(), "TAKEN BACK: "+title); n != want {
			t.Errorf("%s is told %d times, want %d:\n%s", title, n, want, out.String())
		}
	}
}
