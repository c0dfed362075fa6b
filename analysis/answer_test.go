package analysis

import (
	"math"
	"testing"

	"pushback/analysis/recent"
)

// A ramp whose onset, slope and plateau are known: y = 2 + min(23, 2.5·max(0, t-5)), so it
// begins at 5.0 s, rises 2.5 % a second and stops at 14.2 s at 25 % (computed). Data as the
// standard scales them: whole counts of 100/128 %.
func TestRamp(t *testing.T) {
	w := NewWatcher(Config{})
	for _, every := range []float64{0.1, 0.25, 0.5, 1} {
		w.trim = newTrimStream()
		var a answer
		a.begin(Lean, 4.9, 5.0, trimBase{n: 20, seconds: 10, low: 1.6, high: 2.4, median: 2, last: 2}, noise{})
		for x := 5.0; x <= 20; x += every {
			y := 2 + math.Min(23, 2.5*math.Max(0, x-5))
			y = math.Round(y*1.28) / 1.28
			p := recent.Reading{Lo: x - 0.02, Hi: x + 0.02, V: y}
			w.trim.short.Add(p)
			a.add(p, y, y)
			if a.state == answered && !a.rated && p.T()-a.rise.T() > 1.2 {
				w.fitAnswer(&a, &w.trim, x)
			}
		}
		if a.state != answered || !a.limit {
			t.Fatalf("every %g s: %+v", every, a)
		}
		w.fitAnswer(&a, &w.trim, a.limitAt)
		_, lo, hi := a.after()
		if lo > 0.1 || hi < 0 || hi > 2*every+0.5 {
			t.Errorf("every %g s: it began %.2f to %.2f s after", every, lo, hi)
		}
		if math.Abs(a.rate-2.5) > 0.15 || math.Abs(a.limitRaw-25) > 0.5 || math.Abs(a.limitAt-14.2) > every+0.5 {
			t.Errorf("every %g s: %.3f %%/s to %.2f %% at %.2f s", every, a.rate, a.limitRaw, a.limitAt)
		}
	}
}

// A trim that stands still is silent only after the slowest loop that counts as alive
// would have moved by three counts; one that hunts on is never called silent.
func TestSilence(t *testing.T) {
	base := trimBase{n: 20, seconds: 10, low: -0.8, high: 0.8, last: 0}
	for _, c := range []struct {
		name string
		trim func(t float64) float64
		want bool
	}{
		{"stands still", func(float64) float64 { return 0 }, true},
		{"hunts on", func(t float64) float64 { return 3 * math.Sin(t) }, false},
		{"slowest loop alive", func(t float64) float64 { return minLoopRate * t }, false},
	} {
		var a answer
		a.begin(Lean, 0, 0.1, base, noise{})
		quiet := 0.0
		for x := 0.1; x < 20; x += 0.2 {
			y := math.Round(c.trim(x)*1.28) / 1.28
			a.add(recent.Reading{Lo: x, Hi: x, V: y}, y, y)
			if a.state == answerOpen && a.quiet() && quiet == 0 {
				quiet = x
			}
		}
		if (quiet > 0) != c.want || quiet > 0 && quiet < stuckEnough {
			t.Errorf("%s: silent at %.1f s", c.name, quiet)
		}
	}
}
