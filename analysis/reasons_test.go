package analysis

import (
	"strings"
	"testing"
)

// What was weighed is told with its numbers, and what does not count says why.
func TestReasons(t *testing.T) {
	p := healthy()
	p.marks = true
	w, _ := p.run(Config{})
	text := strings.Join(w.Reasons(), "\n")
	for _, want := range []string{"Force 1, lean, from 25.", "Force 2, rich, from 65.", "as was said", "Sensor at rest before:", "Trim at rest before:",
		"the chance that the sensor stays", "raise the alarm (once in 1000 forces by chance)", "(99 %), and went 2.", "the sensor was to say rich: reported", " against the force, 0.0 and 0.0 with it",
		"a stay of ", "Behind the catalyst:", "Conclusion: loop_proven; proven: input"} {
		if !strings.Contains(text, want) {
			t.Errorf("nowhere %q in: %s", want, text)
		}
	}
	if strings.Count(text, "0.0 and 0.0 with it") != 2 {
		t.Errorf("not both forces were answered one way: %s", text)
	}
	p.status = func(t float64) float64 { // open loop by its status before the second force
		if t > 60 {
			return 4
		}
		return 2
	}
	w, _ = p.run(Config{})
	if text := strings.Join(w.Reasons(), "\n"); !strings.Contains(text, "it does not count: the conditions for a test did not hold") {
		t.Errorf("a force in open loop: %s", text)
	}
}

func TestOdds(t *testing.T) {
	for p, want := range map[float64]string{0: "none: it was never there", 0.7: "better than even", 0.01: "1 in 100", 1.0 / 45678: "1 in 45678", 1e-7: "1 in 10 million", 3e-11: "1 in 30000 million", 1e-30: "less than 1 in a million million"} {
		if got := odds(p); got != want {
			t.Errorf("%g: %s, want %s", p, got, want)
		}
	}
}
