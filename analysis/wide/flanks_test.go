package wide

import (
	"testing"

	"pushback/analysis"
	"pushback/analysis/reason"
)

// Which way a sensor is slow the two flanks of a force tell, and what trim does meanwhile: the lags are those that the plant has. What is read
// twice a second by a port that renews it each half of one is no slow sensor.
func TestFlanks(t *testing.T) {
	for _, c := range []struct {
		name       string
		lean, rich float64
		late       [2]float64
		refreshed  float64
		want       [2]bool // slow towards lean, rich
	}{
		{"healthy", 0.08, 0.08, [2]float64{}, 0.05, [2]bool{}},
		{"slow", 0.9, 0.9, [2]float64{}, 0.05, [2]bool{true, true}},
		{"towards rich", 0.08, 0.9, [2]float64{}, 0.05, [2]bool{false, true}},
		{"towards lean", 0.9, 0.08, [2]float64{}, 0.05, [2]bool{true, false}},
		{"healthy, renewed seldom", 0.08, 0.08, [2]float64{}, 0.5, [2]bool{}},
		{"late towards rich", 0.08, 0.08, [2]float64{0, 0.7}, 0.05, [2]bool{false, true}},
		{"late towards rich by no more than two readings are apart", 0.08, 0.08, [2]float64{0, 0.5}, 0.5, [2]bool{}},
		{"late towards lean", 0.08, 0.08, [2]float64{0.7, 0}, 0.05, [2]bool{true, false}},
	} {
		p := sound()
		p.tauLn, p.tauRich, p.late = c.lean, c.rich, c.late
		p.feed = []feed{{0.08, 20.3, 0.6, 34, 0.6}}
		var all []Estimate
		for seed := range uint64(2) {
			e, ok := Fit(p.trace(50, 8, seed), Shape{21, 0.6, 34.5, 0.6}, false)
			if !ok {
				t.Fatal("not fitted")
			}
			all = append(all, e)
		}
		x := slowBy(all, c.refreshed, max(c.refreshed, 0.12))
		if slow := c.want[0] || c.want[1]; (x.odds >= slowOdds) != slow || !slow && x.odds > 0 {
			t.Errorf("%s: log odds of a slow sensor %+.1f", c.name, x.odds)
		}
		for way, want := range c.want {
			if got := x.way[way]; want && got < 1 || !want && got > 0 {
				t.Errorf("%s: log odds of way %d %+.1f", c.name, way, got)
			}
		}
		if lag := max(c.lean+c.late[0], c.rich+c.late[1]); lag > 0.5 && (lag < x.low || lag > x.high) {
			t.Errorf("%s: %.2f s (%.2f to %.2f)", c.name, x.tau, x.low, x.high)
		}
	}
}

// A sensor that is slow one way is said to be quick the other; one that is slow both ways is said to be slow on both proofs.
func TestSlowOneWay(t *testing.T) {
	for _, c := range []struct {
		lean, rich float64
		on         map[analysis.ProofID]bool // where its lag is said
		one        bool
	}{
		{0.9, 0.9, map[analysis.ProofID]bool{analysis.ProofSensorRich: true, analysis.ProofSensorLean: true}, false},
		{0.1, 0.9, map[analysis.ProofID]bool{analysis.ProofSensorRich: true}, true},
		{0.9, 0.1, map[analysis.ProofID]bool{analysis.ProofSensorLean: true}, true},
	} {
		r := ringOf(analysis.ByMixture, changed(analysis.Rich, func(f *force) { f.fit.Lags = lagsLike(c.lean, c.rich, 3) }))
		for _, id := range []analysis.ProofID{analysis.ProofSensorRich, analysis.ProofSensorLean} {
			lag, one := false, false
			for _, part := range r.by[id].Why {
				lag, one = lag || part.Code == reason.SlowLag, one || part.Code == reason.SlowOneWay
			}
			if lag != c.on[id] || one != (c.one && lag) {
				t.Errorf("lean %g s, rich %g s: on %s a lag: %v, one way: %v", c.lean, c.rich, id, lag, one)
			}
		}
	}
}
