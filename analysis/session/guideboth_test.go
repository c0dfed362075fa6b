package session

import (
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// Two wires are held one after the other, and let go in the same order, 5 s apart; the step names the wire that hands are to go
// to, or hold.
func TestGuideOfTwoWires(t *testing.T) {
	const (
		first   = "0s baseline; 15s force lean [B1S1]; 16s hold lean [B1S1]; "
		second  = first + "21s force lean [B2S1]; "
		taken   = second + "22s hold lean [B1S1 B2S1]; "
		letOne  = taken + "32s release lean [B1S1]; "
		held    = heldLean + "22s beside begins lean; "
		answers = "39s sensor_answers; 39s beside sensor_answers; 40s switching_resumes; "
	)
	for _, c := range []guideCase{
		{name: "both are seen", script: held + "33s ends lean; 38s beside ends lean; " + answers + "41s beside switching_resumes", until: 46 * s,
			want: letOne + "33s hold lean [B2S1]; 38s answer lean; 45s wait (rest)"},
		{name: "the answer of the slower one is waited for", script: held + "33s ends lean; 38s beside ends lean; " + answers + "55s beside switching_resumes", until: 60 * s,
			want: letOne + "33s hold lean [B2S1]; 38s answer lean; 59s wait (rest)"},
		{name: "the first is seen long after it was taken", script: "0s ready; 16s tap; 22s tap; 23s beside begins lean 22s; 30s begins lean 16s; 33s ends lean", until: 39 * s,
			want: letOne + "33s hold lean [B2S1]; 38s release lean [B2S1]"},
		{name: "the second is said, and not seen", script: heldLean + "22s tap; 33s tap; 33s ends lean", until: 39 * s,
			want: letOne + "33s hold lean [B2S1]; 38s release lean [B2S1]"},
		{name: "the second is let go 5 s after the first", script: held + "33s ends lean", until: 39 * s,
			want: letOne + "33s hold lean [B2S1]; 38s release lean [B2S1]"},
		{name: "nothing is seen, taps lead", script: "0s ready; 16s tap; 22s tap; 34s tap; 40s tap", until: 50 * s,
			want: letOne + "34s hold lean [B2S1]; 39s release lean [B2S1]; 40s answer lean; 48s wait (rest)"},
		{name: "nobody comes to the second, the first is held no longer than a hold may last", script: heldLean, until: 65 * s,
			want: second + "41s release lean [B1S1]; 1m1s answer lean"},
		{name: "the second is skipped", script: heldLean + "25s skip; 27s ends lean", until: 30 * s, want: second + "25s release lean [B1S1]; 27s answer lean"},
		{name: "the first is let go before the second is taken", script: heldLean + "25s ends lean", until: 30 * s, want: second + "25s answer lean"},
		{name: "the first is lost while it is alone", script: heldLean + "19s ends lean", until: 25 * s, want: first + "19s answer lean"},
		{name: "both are taken at once", script: "0s ready; 16s begins lean; 16s beside begins lean; 32s ends lean", until: 33 * s,
			want: first + "21s hold lean [B1S1 B2S1]; 31s release lean [B1S1]; 32s hold lean [B2S1]"},
		{name: "both are let go at once", script: held + "33s ends lean; 33s beside ends lean", until: 40 * s, want: letOne + "33s hold lean [B2S1]; 33s answer lean"},
		{name: "let go in the other order: the first is held yet", script: held + "33s beside ends lean", until: 39 * s,
			want: letOne + "33s hold lean [B1S1]; 38s release lean [B1S1]"},
		{name: "the other order, and the first is said to be let go", script: held + "33s tap; 34s beside ends lean", until: 35 * s,
			want: letOne + "33s hold lean [B2S1]; 34s hold lean [B1S1]"},
		{name: "crossed: each wire moves the other's reading", script: "0s ready; 16s beside begins lean; 22s begins lean; 33s beside ends lean; 38s ends lean", until: 40 * s,
			want: letOne + "33s hold lean [B2S1]; 38s answer lean"},
		{name: "the computer gives up on the first before the second is taken", script: heldLean + "18s computer_lets_go trim; 25s ends lean", until: 60 * s,
			want: first + "18s release lean (shorter) [B1S1]; 25s answer lean (shorter); 55s done (shorter)"},
		{name: "the computer gives up on the second", script: held + "25s beside computer_lets_go trim; 27s ends lean; 30s beside ends lean", until: 65 * s,
			want: taken + "25s release lean (shorter) [B1S1]; 27s release lean (shorter) [B2S1]; 30s answer lean (shorter); 1m0s done (shorter)"},
		{name: "the engine stops while the second is asked for", script: heldLean + "22s RPM 0; 23s ends lean", until: 30 * s,
			want: second + "22s release lean (stalled) [B1S1]; 23s answer lean (stalled)"},
		{name: "not ready while the second is asked for", script: heldLean + "22s not_ready; 23s ends lean", until: 30 * s,
			want: second + "22s release lean [B1S1]; 23s answer lean"},
		{name: "again while the second is asked for", script: heldLean + "22s again; 23s ends lean; 24s skip", until: 30 * s,
			want: second + "22s release lean [B1S1]; 23s answer lean; 24s force lean [B1S1]"},
		{name: "the rest of the holds is skipped", script: held + "24s skip; 26s skip; 28s skip; 32s beside ends lean", until: 33 * s,
			want: taken + "24s release lean [B1S1]; 26s hold lean [B2S1]; 28s release lean [B2S1]; 32s answer lean"},
		{name: "neither is let go", script: held, until: 80 * s,
			want: letOne + "52s hold lean [B2S1]; 57s release lean [B2S1]; 1m17s answer lean"},
		{name: "the other side than asked for is followed", script: "0s ready; 16s begins rich; 22s beside begins rich; 33s ends rich", until: 34 * s,
			want: "0s baseline; 15s force lean [B1S1]; 16s hold rich [B1S1]; 21s force rich [B2S1]; 22s hold rich [B1S1 B2S1]; 32s release rich [B1S1]; 33s hold rich [B2S1]"},
	} {
		c.cfg = GuideConfig{Sides: []analysis.Side{analysis.Lean}, Beside: decode.SensorID{Bank: 2, Position: 1}}
		c.try(t)
	}
}

// What either bank lacks is asked for; what both have shown is not.
func TestGuideOfTwoWiresAsksForWhatIsMissing(t *testing.T) {
	proof := func(id analysis.ProofID, s analysis.State) analysis.Proof { return analysis.Proof{ID: id, State: s} }
	shown := []analysis.Proof{proof(analysis.ProofAddsFuel, analysis.Proven), proof(analysis.ProofSensorRich, analysis.Proven)}
	for _, c := range []struct {
		name          string
		first, second []analysis.Proof
		want          Reason
	}{
		{"both have shown it", shown, shown, ""},
		{"the first has not", nil, shown, WhyOpen},
		{"the second has not", shown, nil, WhyOpen},
		{"the second cannot", shown, []analysis.Proof{proof(analysis.ProofInput, analysis.Failed)}, ""},
	} {
		j := NewJudge(Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}})
		j.watch.both[0] = &shownBoth{j.watch.both[0], analysis.Verdict{Sensor: "B1S1", Proofs: c.first, Beside: &analysis.Verdict{Sensor: "B2S1", Proofs: c.second}}}
		g := NewGuide(GuideConfig{Beside: decode.SensorID{Bank: 2, Position: 1}}, j, func(Prompt) {}, func() {})
		g.sides[analysis.Lean].holds = 1
		if got := g.missing(analysis.Lean); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// shownBoth is a watcher whose verdict is of both banks.
type shownBoth struct {
	watcher
	verdict analysis.Verdict
}

func (x *shownBoth) Verdict() analysis.Verdict { return x.verdict }

// The test of two wires ends within what was told of it, whatever the hands do.
func TestGuideOfTwoWiresEndsInTime(t *testing.T) {
	cfg := GuideConfig{Beside: decode.SensorID{Bank: 2, Position: 1}}
	usual, most := cfg.Length(analysis.ByWire)
	if one, _ := (GuideConfig{Open: -1}).Length(analysis.ByWire); usual <= one {
		t.Errorf("two wires take %v, one %v", usual, one)
	}
	for name, script := range map[string]string{
		"nothing comes":       "1s ready",
		"only taps":           "1s ready; 1s..900s/7s tap",
		"again and again":     "1s ready; 1s..900s/13s again",
		"neither is let go":   "1s ready; 17s begins lean; 23s beside begins lean",
		"the second only":     "1s ready; 17s beside begins lean",
		"on and off and on":   "1s ready; 17s..900s/20s begins lean",
		"each side is absent": "1s ready; 17s begins lean; 30s ends lean; 60s beside begins rich; 90s beside ends rich",
	} {
		stages := guided(t, Setup{}, cfg, script, most+time.Minute)
		if last := stages[len(stages)-1]; !strings.Contains(last, " done") {
			t.Errorf("%s: not done after %v: %q", name, most, stages)
		}
	}
}
