package words

import (
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/hazard"
	"pushback/analysis/hazard/hazardtest"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
)

// What to do for a condition that is not met carries its cautions.
func TestChecksCarryTheirCautions(t *testing.T) {
	for id := range checkTitles {
		for status := range 32 {
			do := CheckDo(dossier.Check{ID: id, State: dossier.Unmet, Fuel: byte(status)})
			for _, m := range hazardtest.Missing(do, false) {
				t.Errorf("%s: %q lacks %q", id, do, m)
			}
		}
	}
}

// Each step at which something is done to the car says what can hurt there, guided or not.
func TestStepsCarryTheirCautions(t *testing.T) {
	both := []hazard.Kind{hazard.Propane, hazard.Hose}
	for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture} {
		for _, c := range []struct {
			stage  session.Stage
			side   analysis.Side
			onWire []hazard.Kind
			moving []hazard.Kind
		}{
			{session.StageReady, "", []hazard.Kind{hazard.Running}, []hazard.Kind{hazard.Running}},
			{session.StageBaseline, "", []hazard.Kind{hazard.Running}, []hazard.Kind{hazard.Running}},
			{session.StageForce, analysis.Lean, []hazard.Kind{hazard.Wire}, []hazard.Kind{hazard.Hose}},
			{session.StageForce, analysis.Rich, []hazard.Kind{hazard.Wire}, []hazard.Kind{hazard.Propane}},
		} {
			s := live.NewState(session.Setup{By: by}, nil)
			s.Prompt = &session.Prompt{Stage: c.stage, Side: c.side}
			want := c.onWire
			if by == analysis.ByMixture {
				want = c.moving
			}
			if got := Caution(s); !strings.Contains(got, hazard.Cautions(want...)) {
				t.Errorf("%s %s by %s: %q", c.stage, c.side, by, got)
			}
		}
		ready := true
		s := live.NewState(session.Setup{By: by}, nil)
		s.Ready = &ready
		want := hazard.Wire.Caution()
		if by == analysis.ByMixture {
			want = hazard.Cautions(both...)
		}
		if got := Caution(s); got != want {
			t.Errorf("not guided, by %s: %q", by, got)
		}
	}
}

// A fuel cut is made with the throttle: no step of it says a word of holding a wire.
func TestFuelCutTouchesNoWire(t *testing.T) {
	for _, stage := range []session.Stage{session.StageReady, session.StageBaseline, session.StageForce, session.StageHold, session.StageRelease, session.StageAnswer} {
		p := session.Prompt{Stage: stage, Side: analysis.Lean}
		text := PromptText(p, analysis.ByFuelCut) + PromptCaution(p, analysis.ByFuelCut)
		for _, word := range []string{"wire", "jumper", "signal", "sensor return", "breakout"} {
			if strings.Contains(strings.ToLower(text), word) {
				t.Errorf("%s: %q names %q", stage, text, word)
			}
		}
		if stage == session.StageForce && !strings.Contains(text, hazard.Road.Caution()) {
			t.Errorf("%q lacks the caution of the road", text)
		}
	}
}
