package accuracy

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"pushback/analysis"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd/simcar"
)

// The fixed subset of `make accuracy`: what is measured there must not get worse
// unnoticed. The bounds leave room for one bad draw, no more.
func TestFixedSubset(t *testing.T) {
	if testing.Short() {
		t.Skip("judges 160 cars")
	}
	n, hours := 160/lighter, 3/lighter // hours of idle, fast idle and town
	// Cars with rough readings are not yet judged as expected: they count in `make accuracy` only.
	trials := each(n, nil, func(i int) Trial {
		cfg, exp := simcar.RandomSmooth(100_000 + uint64(i))
		return Run(cfg, exp, i%2 == 0)
	})
	c := Count(trials)
	for _, tr := range trials {
		if wrong, _ := ProofsWrong(tr); len(wrong) > 0 {
			t.Errorf("seed %d, a car with %s: wrong proofs %v", tr.Seed, tr.Expected.Fault, wrong)
		}
	}
	if c.Failed > 0 {
		t.Errorf("%d of %d sessions broke off", c.Failed, c.Trials)
	}
	for _, w := range c.Wrongs {
		t.Errorf("seed %d: said %s of a car with %s", w.Seed, w.Verdict.Conclusion, w.Expected.Fault)
	}
	if c.UndecidedMarked > max(1, 6*c.Marked/100) {
		t.Errorf("%d of %d undecided with marks at 2 readings/s and more", c.UndecidedMarked, c.Marked)
	}
	if h := float64(c.Held) / float64(c.Intervals); c.Intervals < n/2 || h < 0.95 {
		t.Errorf("%.1f %% of %d latency intervals hold the truth", 100*h, c.Intervals)
	}
	for _, tr := range Unforced(100_000, hours, nil) {
		if k := FalseEvents(tr); k > 0 || tr.Err != nil {
			t.Errorf("seed %d: %d events of forces that were not, %v", tr.Seed, k, tr.Err)
		}
	}
}

func TestFixedSubsetByMixture(t *testing.T) {
	if testing.Short() {
		t.Skip("judges 64 cars")
	}
	all := Mixed(100_000, 128/lighter, nil)
	for _, w := range Count(all).Wrongs {
		t.Errorf("seed %d: said %s of a car with %s", w.Seed, w.Verdict.Conclusion, w.Expected.Fault)
	}
	var unsaid, told []Trial
	for _, x := range all {
		if x.Marked {
			told = append(told, x)
			continue
		}
		unsaid = append(unsaid, x)
	}
	if c := Count(told); c.Undecided > max(1, c.Trials/12) {
		t.Errorf("%d of %d undecided", c.Undecided, c.Trials)
	}
	c := Count(unsaid) // a third and more of these cars show nothing: dead, cold, crossed
	if 100*c.Missed > 75*c.Forces {
		t.Errorf("%d of %d forces that nobody announced not seen", c.Missed, c.Forces)
	}
	imagined := 0
	for _, x := range unsaid {
		if ofTrial(x).FalseForces > 0 {
			imagined++
		}
	}
	if imagined > max(1, len(unsaid)/20) {
		t.Errorf("%d of %d tests with a force that was none", imagined, len(unsaid))
	}
	for _, tr := range UnforcedMixed(100_000, max(1, 4/lighter), nil) {
		if k := FalseEvents(tr); k > 0 || tr.Err != nil {
			t.Errorf("seed %d: %d events of forces that were not, %v", tr.Seed, k, tr.Err)
		}
	}
}

// A trial is a function of its seed.
func TestDeterministic(t *testing.T) {
	a, b := Many(7, 3, nil), Many(7, 3, nil)
	for i := range a {
		if d := cmp.Diff(a[i], b[i], cmpopts.EquateErrors()); d != "" {
			t.Errorf("seed %d: two runs differ: %s", a[i].Seed, d)
		}
	}
}

// Wilson's interval for 81 of 263, as worked out in Newcombe, Statistics in Medicine
// 17 (1998), table I: 0.2553 to 0.3662; and for 0 of 20: 0 to 0.1611 (figures from memory).
func TestWilson(t *testing.T) {
	for _, c := range []struct {
		k, n   int
		lo, hi float64
	}{{81, 263, 0.2553, 0.3662}, {0, 20, 0, 0.1611}} {
		lo, hi := wilson(c.k, c.n)
		if math.Abs(lo-c.lo) > 5e-5 || math.Abs(hi-c.hi) > 5e-5 {
			t.Errorf("%d of %d: %.4f to %.4f, want %.4f to %.4f", c.k, c.n, lo, hi, c.lo, c.hi)
		}
	}
}

// The fixed subset of guided tests by hands of all kinds: none is wrong, no arc that was lit goes dark without a word, and whoever held
// both sides of a sound car properly has its loop proven, but for one bad draw.
func TestFixedHands(t *testing.T) {
	if testing.Short() {
		t.Skip("makes 32 guided tests")
	}
	results, err := Guided(22100, 32/lighter, nil)
	if err != nil {
		t.Fatal(err)
	}
	open, steps, named := 0, 0, 0
	for _, r := range results {
		if r.Err != nil || r.Outcome == truth.Wrong || len(r.FalseProofs) > 0 {
			t.Errorf("seed %d, %s: %s, said %s, false %v, %v", r.Seed, r.Case, r.Outcome, r.Said, r.FalseProofs, r.Err)
		}
		if r.Worse {
			t.Errorf("seed %d, %s: worse than with nothing tapped", r.Seed, r.Case)
		}
		if r.Guide.Dark > 0 {
			t.Errorf("seed %d, %s: %d arcs went dark without a word", r.Seed, r.Case, r.Guide.Dark)
		}
		if r.Proper && r.Outcome != truth.Right {
			open++
		}
		if r.Guide.Step != "" {
			steps++
			if r.Guide.StepRight {
				named++
			}
		}
	}
	if open > 1 || named < steps*2/3 {
		t.Errorf("%d proper tests undecided; of %d open verdicts %d name a step that would decide", open, steps, named)
	}
}

// A branch that is opened because a guide asks for it is no hold, wherever its input lies; and one that was let go as trim had been given
// up has ended then.
func TestHoldsThatWereNone(t *testing.T) {
	for _, car := range []string{"pulled-up", "open-level-zero", "open-level-high", "trim-given-up"} {
		trial, err := RunNamed(car, "as asked", 1)
		if err != nil {
			t.Fatal(err)
		}
		if trial.FalseForces > 0 || trial.Missed > 0 {
			t.Errorf("%s: %d holds told that were none, %d not seen", car, trial.FalseForces, trial.Missed)
		}
		for _, e := range trial.Events {
			nearest := math.Inf(1)
			for _, f := range trial.Truth {
				nearest = min(nearest, math.Abs(e.T-f.End.Seconds()))
			}
			if e.Name == analysis.ForceEnds && nearest > 1 {
				t.Errorf("%s: a hold ends at %.1f s, none did within %.1f s", car, e.T, nearest)
			}
		}
	}
}
