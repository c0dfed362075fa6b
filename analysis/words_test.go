package analysis

import (
	"strings"
	"testing"
)

// What the hard cases say beside their conclusion: a proof's state, words and numbers must fit
// what happened, and the next steps must not contradict each other.
func TestWordsOfHardCases(t *testing.T) {
	with := func(change func(*plant)) plant { p := healthy(); p.marks = true; change(&p); return p }
	trip := with(func(p *plant) { p.trips = 9 })
	type number struct {
		key    string
		lo, hi float64
	}
	for _, c := range []struct {
		name    string
		p       plant
		cfg     Config
		id      ProofID
		state   State
		why     string
		number  number
		next    string // in one of the next steps
		notNext string // in none of them
	}{
		{"monitor trips: the ramp before it counts", trip, Config{}, ProofAddsFuel, Proven, "2.5 % a second", number{"rate_pct_s", 2, 3}, "repeat with holds shorter than", "for 15 s"},
		{"monitor trips: trim fell when the loop opened", trip, Config{}, ProofBank, Proven, "answered", number{"own_moved_pct", 15, 30}, "", ""},
		{"monitor trips: nothing to report was left", trip, Config{}, ProofSensorRich, Unclear, "gone before the release", number{}, "", ""},
		{"both banks on one trim", with(func(p *plant) { p.bothTrims = true }), Config{}, ProofBank, Unclear, "one trim", number{"other_moved_pct", 15, 30}, "", ""},
		{"mixture reaches both banks", with(func(p *plant) { mixture(0.08)(p); p.bothTrims = true }), Config{By: ByMixture}, ProofBank, Untested, "only the wire tells", number{}, "", ""},
		{"the loop's own rate, though it brought the mixture back", with(mixture(0.08)), Config{By: ByMixture}, ProofAddsFuel, Proven, "the mixture was moved lean", number{"rate_pct_s", 1.6, 3.5}, "", ""},
		{"nothing is held by mixture", with(func(p *plant) { mixture(0.08)(p); p.frozen, p.base = true, 1 }), Config{By: ByMixture}, ProofAddsFuel, Failed, "the mixture was moved lean", number{"stood_still_s", 7, 15}, "", "contact"},
		{"a dead line by mixture may be the wire's fault", with(func(p *plant) {
			mixture(0.08)(p)
			p.cell, p.seconds = func(float64, float64) float64 { return 0.06 }, 130
		}), Config{By: ByMixture}, ProofInput, Unclear, "did not follow the mixture", number{}, "hold the signal wire", ""},
		{"input dead: the cheapest check first", with(func(p *plant) { p.inputStuck = 0.45 }), Config{}, ProofInput, Failed, "went on as before", number{}, "the one you are reading", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, _ := c.p.run(c.cfg)
			v := w.Verdict()
			for _, p := range v.Proofs {
				if p.ID != c.id {
					continue
				}
				if p.State != c.state || !strings.Contains(p.Why, c.why) {
					t.Errorf("%s %s: %s; want %s, %q", p.ID, p.State, p.Why, c.state, c.why)
				}
				if n := c.number; n.key != "" {
					if x, ok := p.Evidence[n.key]; !ok || x < n.lo || x > n.hi {
						t.Errorf("%s is %v, want %g to %g", n.key, p.Evidence, n.lo, n.hi)
					}
				}
			}
			next := strings.Join(v.Next, "\n")
			if !strings.Contains(next, c.next) || c.notNext != "" && strings.Contains(next, c.notNext) {
				t.Errorf("next: %s\nwant %q, and nowhere %q", next, c.next, c.notNext)
			}
		})
	}
}

// A session with more forces than are judged says so.
func TestManyForcesAreTold(t *testing.T) {
	p := healthy()
	p.marks, p.forces = true, nil
	for i := range maxForces + 8 {
		p.forces = append(p.forces, lean(20+float64(20*i), 8))
	}
	p.seconds = 40 + 20*float64(len(p.forces))
	w, _ := p.run(Config{})
	if why := w.Verdict().Proofs[0].Why; len(w.forces) != maxForces || !strings.Contains(why, "the first 32 forces of the session are judged, 8 more") {
		t.Errorf("%d forces: %s", len(w.forces), why)
	}
}
