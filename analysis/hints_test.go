package analysis

import (
	"encoding/json"
	"testing"
)

// What is said is a hint: whatever was tapped, a sound car whose sides were both held is never called faulty, and mostly it
// is proven.
func TestHintsAreHints(t *testing.T) {
	shift := func(begin, end float64) func(Side, float64, float64) (Side, float64, float64) {
		return func(s Side, at, until float64) (Side, float64, float64) { return s, at + begin, until + end }
	}
	proven, n := 0, 0
	for _, c := range []struct {
		name string
		tap  func(Side, float64, float64) (Side, float64, float64)
		none bool
	}{
		{name: "never", none: true},
		{name: "at once", tap: shift(0, 0)},
		{name: "3 s early", tap: shift(-3, -3)},
		{name: "8 s early", tap: shift(-8, -8)},
		{name: "8 s early, released late", tap: shift(-8, 5)},
		{name: "6 s late", tap: shift(6, 2)},
		{name: "12 s late", tap: shift(12, 12)},
		{name: "the other button", tap: func(s Side, at, until float64) (Side, float64, float64) { return s.Opposite(), at, until }},
		{name: "released 4 s before it is let go", tap: shift(0, -4)},
	} {
		for seed := range uint64(6) {
			p := healthy()
			p.seed, p.marks, p.tap = seed, !c.none, c.tap
			w, events := p.run(Config{})
			n++
			switch v := w.Verdict(); v.Conclusion {
			case LoopProven:
				proven++
			case ConclusionUnclear, PartlyProven:
				t.Logf("%s, seed %d: %s, decide %s", c.name, seed, v.Conclusion, v.Decide)
			default:
				for _, e := range events {
					j, _ := json.Marshal(e)
					t.Log(string(j))
				}
				t.Errorf("%s, seed %d: %s", c.name, seed, v.Conclusion)
			}
		}
	}
	if float64(proven) < 0.97*float64(n) {
		t.Errorf("%d of %d proven", proven, n)
	}
}

// By hand: 1 − 0.9⁵ of five, and 1 − 0.9⁵ − 5·0.1·0.9⁴.
func TestOffByChance(t *testing.T) {
	for _, c := range []struct {
		off, n int
		want   float64
	}{{0, 5, 1}, {1, 5, 0.40951}, {2, 5, 0.08146}, {5, 5, 1e-5}, {0, 0, 1}} {
		if got := offByChance(c.off, c.n); abs(got-c.want) > 1e-9 {
			t.Errorf("%d of %d: %v, want %v", c.off, c.n, got, c.want)
		}
	}
}

// What was said and not seen before, on end, may have been held as well: the wire was let alone before the first of that.
func TestUntouched(t *testing.T) {
	for _, c := range []struct {
		name  string
		hints []hint
		want  float64
	}{
		{"said once", []hint{{at: 90}}, 90},
		{"said three times, and never seen", []hint{{at: 30}, {at: 60}, {at: 90}}, 30},
		{"seen before", []hint{{at: 30, used: true}, {at: 90}}, 90},
		{"seen in between", []hint{{at: 10}, {at: 30, used: true}, {at: 60}, {at: 90}}, 60},
		{"said again later", []hint{{at: 60}, {at: 90}, {at: 120}}, 60},
	} {
		w := NewWatcher(Config{})
		w.hints = c.hints
		for i := range w.hints {
			if w.hints[i].at == 90 {
				if got := w.untouched(&w.hints[i]); got != c.want {
					t.Errorf("%s: since %.0f s, want %.0f", c.name, got, c.want)
				}
			}
		}
	}
}
