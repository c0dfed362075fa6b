package analysis

import (
	"maps"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/scripttest"
	"pushback/decode"
)

// Log-likelihoods add up to a finite sum whatever is put in: the logarithm of a sum is at least its largest term and at most ln n
// above that, what is impossible adds nothing, and a factor of all comes out of it.
func TestLogSum(t *testing.T) {
	inf := math.Inf(-1)
	for _, c := range []struct {
		x    []float64
		want float64
	}{
		{nil, inf}, {[]float64{inf}, inf}, {[]float64{inf, inf}, inf}, {[]float64{0}, 0}, {[]float64{0, inf}, 0}, {[]float64{0, 0}, math.Ln2},
		{[]float64{math.Log(2), math.Log(3)}, math.Log(5)}, {[]float64{-1e4, -1e4}, -1e4 + math.Ln2}, {[]float64{1e4, 0}, 1e4},
	} {
		if got := logSum(c.x...); got != c.want && !(math.Abs(got-c.want) < 1e-9) {
			t.Errorf("%v: %v, want %v", c.x, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-800, 800), 1, 8).Draw(t, "x")
		more, shift := rapid.Float64Range(-800, 800).Draw(t, "more"), rapid.Float64Range(-500, 500).Draw(t, "shift")
		got, top := logSum(x...), inf
		moved := make([]float64, len(x))
		for i, v := range x {
			top, moved[i] = max(top, v), v+shift
		}
		if got < top || got > top+math.Log(float64(len(x)))+1e-9 {
			t.Fatalf("%v: %g", x, got)
		}
		if again := logSum(append(x, more)...); again < got || again < more || logSum(append(x, inf)...) != got || math.Abs(logSum(moved...)-got-shift) > 1e-9*(1+math.Abs(got)) {
			t.Fatalf("%v: %g; with %g %g; shifted by %g %g", x, got, more, again, shift, logSum(moved...))
		}
	})
}

// A longer stay is the less likely, the shorter and the more numerous the stays that were seen; after hours it
// may come to nothing at all, which beside any other explanation is a finite sum.
func TestStaysInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		secs, mean := rapid.Float64Range(0.1, 7200).Draw(t, "secs"), rapid.Float64Range(0.1, 20).Draw(t, "mean")
		n, shape := rapid.IntRange(0, 40).Draw(t, "n"), rapid.IntRange(0, 8).Draw(t, "shape")
		p := outlasts(secs, n, mean*float64(n), shape)
		if !(p >= 0 && p <= 1+1e-12) || math.IsInf(logSum(math.Log(p), math.Log(excursionLasts(secs))), 0) {
			t.Fatalf("%g s after %d stays of %g s, shape %d: %g", secs, n, mean, shape, p)
		}
		if outlasts(1.5*secs, n, mean*float64(n), shape) > p*(1+1e-9) {
			t.Fatalf("%g s is likelier than %g s", 1.5*secs, secs)
		}
		if outlasts(secs, n, 1.5*mean*float64(n), shape) < p*(1-1e-9) {
			t.Fatalf("longer stays make %g s less likely", secs)
		}
		if outlasts(secs, n, mean*float64(n), 0) != outlasts(secs, n, mean*float64(n), 1) {
			t.Fatal("a shape that is not known is not that of no shape")
		}
		if e := excursionLasts(secs); e <= 0 || e >= 1 || excursionLasts(1.5*secs) >= e {
			t.Fatalf("an excursion outlasts %g s with %g, and 1.5 times that with %g", secs, e, excursionLasts(1.5*secs))
		}
	})
}

// No reading, however odd, makes a term of the comparison infinite or no number, so none can veto; and each speaks the way it must:
// what goes with trim is a cell the more, the more trim has moved; what stands while trim moves is a wire the more.
func TestTermsAreFinite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		trim, secs, err := rapid.Float64Range(0, 40).Draw(t, "trim"), rapid.Float64Range(0, 600).Draw(t, "secs"), rapid.Float64Range(0.001, 0.02).Draw(t, "err")
		move := rapid.Float64Range(-1.3, 1.3).Draw(t, "move")
		finite := func(name string, v float64) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%s is %g (move %g V, trim %g %%, %g s, ± %g V)", name, v, move, trim, secs, err)
			}
		}
		for _, clipped := range []bool{false, true} {
			finite("follows", follows(move, trim, secs, err, clipped))
		}
		for _, side := range []Side{Lean, Rich} {
			v, share, end := rapid.Float64Range(-0.1, 1.3).Draw(t, "v"), rapid.Float64Range(0, 1).Draw(t, "share"), rapid.Float64Range(0, 1.1).Draw(t, "end")
			n := rapid.IntRange(0, 60).Draw(t, "stays")
			for _, settled := range []bool{false, true} {
				finite("the free level", math.Log(freeLevel(side, v, share, n, end, settled)))
			}
			finite("the held level", math.Log(heldLevel(side, v)))
			finite("the open level", math.Log(openLevel(v)))
			if rarer := freeLevel(side, v, share/2, n, end, true); rarer > freeLevel(side, v, share, n, end, true)+1e-12 {
				t.Fatalf("a level where it lies half as often is likelier: %g", rarer)
			}
		}
		own := rapid.IntRange(0, 50).Draw(t, "own")
		clean := rapid.IntRange(0, own).Draw(t, "clean")
		gap := rapid.Float64Range(0, 5).Draw(t, "gap")
		hard, soft := sharp(0, gap, clean, own), sharp(1, gap, clean, own)
		finite("an edge", hard)
		finite("an edge with a reading in it", soft)
		if hard > 0 || soft < 0 || sharp(0, gap, 0, own) > hard {
			t.Fatalf("an edge without a reading %g, with one %g, by %d of %d of its own", hard, soft, clean, own)
		}
		pairs := rapid.IntRange(0, 60).Draw(t, "pairs")
		now := rapid.IntRange(0, pairs).Draw(t, "now")
		if q := quiet(now, pairs, clean, own, rapid.IntRange(0, 30).Draw(t, "in")); q > 1e-9 || math.IsInf(q, 0) || math.IsNaN(q) {
			t.Fatalf("%d alike of %d pairs: %g", now, pairs, q)
		}
	})
	for _, move := range []float64{-1.3, 1.3} { // more than any of the laws makes likely
		if f := follows(move, 0, 0, 0.001, false); math.IsNaN(f) || math.IsInf(f, 0) {
			t.Errorf("a leap of %g V at once: %g", move, f)
		}
	}
	for _, trim := range []float64{4, 8, 16} {
		if still, more := follows(0, trim, 8, 0.002, false), follows(0, 2*trim, 8, 0.002, false); more > still {
			t.Errorf("it stands while trim goes %g %%: %.2f; %g %%: %.2f", trim, still, 2*trim, more)
		}
		if with, against := follows(0.004*trim, trim, 8, 0.002, false), follows(-0.004*trim, trim, 8, 0.002, false); with <= against {
			t.Errorf("with trim %.2f, against it %.2f", with, against)
		}
	}
}

// What is not a number is no evidence, and what is told of it has none.
func TestEvidenceLeavesOutWhatIsNoNumber(t *testing.T) {
	got := evidence("a", 1.23456, "nan", math.NaN(), "b", -2.0, "inf", math.Inf(1), "least", math.Inf(-1), "zero", 0.0, "odd one out")
	if want := map[string]float64{"a": 1.235, "b": -2, "zero": 0}; !maps.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if got := evidence(); got == nil || len(got) != 0 {
		t.Errorf("of nothing: %v", got)
	}
}

// shifted plays scripts to a watcher, all later by so many seconds; after each reading it is given what 'beside' makes of it.
func shifted(t *testing.T, by time.Duration, beside func(decode.Sample) []decode.Sample, scripts ...string) ([]Event, Verdict) {
	t.Helper()
	w := NewWatcher(Config{})
	var out []Event
	all := scripttest.Merge(t, scripts...)
	for _, s := range all {
		at := s.At + by
		switch {
		case s.Words == "release":
			out = append(out, w.Release(at)...)
		case s.Words != "":
			out = append(out, w.Mark(at, Side(s.Words))...)
		default:
			v := s.Value
			if s.Name == "SHRTFT1" {
				v = math.Round(v*1.28) / 1.28
			}
			sample := decode.Sample{Signal: decode.ByName(s.Name), Sent: at, Received: at, Value: v}
			out = append(out, w.Step(sample)...)
			if beside != nil {
				for _, x := range beside(sample) {
					out = append(out, w.Step(x)...)
				}
			}
		}
	}
	out = append(out, w.Finish(all[len(all)-1].At+by)...)
	return out, w.Verdict()
}

// A test that is announced is the same test whenever it is made: events are as much later as the session is, their distances and the
// proofs are the same.
func TestATestIsTheSameLater(t *testing.T) {
	const closed, warm, turning = "FUELSYS1 0s..100s/2s 2", "ECT 0s..100s/5s 90", "RPM 0s..100s/2s 800"
	for name, scripts := range map[string][]string{
		"sound": {closed, warm, turning, "O2S11 " + cycling(0, 40) + "; 40s..54.8s/200ms 0.03; 55s..59.8s/200ms 0.86->0.9; " + cycling(60, 100),
			"SHRTFT1 " + hunting(0, 40) + "; 40.1s..54.9s/200ms 0->22; 55.1s..60.9s/200ms 22->0; " + hunting(61, 100), "says 40s lean; 55s release"},
		"trim stands": {closed, warm, turning, "O2S11 " + cycling(0, 40) + "; 40s..54.8s/200ms 0.03; " + cycling(55, 100),
			"SHRTFT1 " + hunting(0, 40) + "; 40.1s..60.9s/200ms 0; " + hunting(61, 100), "says 40s lean; 55s release"},
		"dead input": {closed, warm, turning, "O2S11 " + cycling(0, 100), "SHRTFT1 " + hunting(0, 100), "says 40s lean; 55s release"},
	} {
		first, v := shifted(t, 0, nil, scripts...)
		for _, by := range []time.Duration{time.Minute, 2 * time.Hour} {
			events, later := shifted(t, by, nil, scripts...)
			if later.Conclusion != v.Conclusion || len(events) != len(first) {
				t.Errorf("%s, %v later: %s and %d events, not %s and %d", name, by, later.Conclusion, len(events), v.Conclusion, len(first))
				continue
			}
			for i, e := range events {
				if d := e.T - first[i].T - by.Seconds(); e.Name != first[i].Name || math.Abs(d) > 0.002 || math.Abs(e.After-first[i].After) > 0.002 {
					t.Errorf("%s, %v later: %s at %.3f s, after %.3f; was %s at %.3f s, after %.3f", name, by, e.Name, e.T, e.After, first[i].Name, first[i].T, first[i].After)
				}
			}
			for i, p := range later.Proofs {
				if p.State != v.Proofs[i].State {
					t.Errorf("%s, %v later: %s is %s, was %s", name, by, p.ID, p.State, v.Proofs[i].State)
				}
			}
		}
	}
}

// A reading that is missing is none: a session with them in it, of whatever value, is told as it is without.
func TestMissingReadingsAreNone(t *testing.T) {
	scripts := []string{"FUELSYS1 0s..100s/2s 2", "O2S11 " + cycling(0, 40) + "; 40s..54.8s/200ms 0.03; 55s..59.8s/200ms 0.86->0.9; " + cycling(60, 100),
		"SHRTFT1 " + hunting(0, 40) + "; 40.1s..54.9s/200ms 0->22; 55.1s..60.9s/200ms 22->0; " + hunting(61, 100), "says 40s lean; 55s release"}
	want, verdict := shifted(t, 0, nil, scripts...)
	for _, v := range []float64{0, 1.275, math.NaN(), math.Inf(1)} {
		got, verdictToo := shifted(t, 0, func(s decode.Sample) []decode.Sample {
			s.Missing, s.Value = true, v
			return []decode.Sample{s, s}
		}, scripts...)
		if len(got) != len(want) || verdictToo.Conclusion != verdict.Conclusion {
			t.Errorf("with missing readings of %g: %d events and %s, without %d and %s", v, len(got), verdictToo.Conclusion, len(want), verdict.Conclusion)
			continue
		}
		for i := range got {
			if got[i].Name != want[i].Name || got[i].T != want[i].T {
				t.Errorf("with missing readings of %g: %s at %g s, without %s at %g s", v, got[i].Name, got[i].T, want[i].Name, want[i].T)
			}
		}
	}
}
