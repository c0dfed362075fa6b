package term

import (
	"bytes"
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/sessiontest"
	"pushback/cmd/internal/words"
)

// A step's caution stands beside it on the whole screen, on a small one and as lines, and a next
// step's beside that.
func TestCautionsAreShown(t *testing.T) {
	flat := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture} {
		setup := session.Setup{Sensor: sessiontest.B1S1.Sensor, By: by}
		for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
			p := session.Prompt{Stage: session.StageForce, Side: side, New: true}
			s := live.NewState(setup, nil)
			s.Prompt = &p
			want := words.Caution(s)
			for _, size := range [][2]int{{40, 16}, {60, 16}, {80, 24}, {160, 48}} {
				rows := strings.Split(draw(s, look{w: size[0], h: size[1]}), "\n")
				if !strings.Contains(flat(strings.Join(rows, " ")), want) {
					t.Errorf("%s by %s on %v:\n%s\nlacks %q", side, by, size, strings.Join(rows, "\n"), want)
				}
			}
			var lines bytes.Buffer
			NewView(&lines, Style{}, setup).Prompt(p)
			if !strings.Contains(flat(lines.String()), want) {
				t.Errorf("%s by %s: the lines lack it:\n%s", side, by, lines.String())
			}
		}
	}
	for _, k := range hazard.Kinds() {
		v := analysis.Verdict{Conclusion: analysis.ConclusionUnclear, Next: []reason.Reason{reason.Told.Of("do this").With(k)}}
		var b bytes.Buffer
		Style{}.WriteVerdict(&b, v, false)
		s := live.NewState(session.Setup{}, nil)
		s.Verdict = &v
		for where, text := range map[string]string{"lines": b.String(), "small screen": draw(s, look{w: 60, h: 16})} {
			if text = flat(text); strings.Contains(text, "do this") && !strings.Contains(text, k.Caution()) {
				t.Errorf("%s: %q lacks %q", where, text, k.Caution())
			}
		}
	}
}
