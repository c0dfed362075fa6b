package analysis

import (
	"reflect"
	"slices"
	"testing"

	"pushback/analysis/reason"
)

// What the hard cases say beside their conclusion: a proof's state, reason and numbers must fit
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
		why     reason.Code
		number  number
		next    reason.Code   // of one of the next steps; "" any
		notNext []reason.Code // of none of them
	}{
		{"monitor trips: the ramp before it counts", trip, Config{}, ProofAddsFuel, Proven, reason.TrimRose, number{"rate_pct_s", 2, 3}, reason.ShorterHolds, []reason.Code{reason.HoldForRear, reason.LeanAgain, reason.EnrichAgain}},
		{"monitor trips: trim fell when the loop opened", trip, Config{}, ProofBank, Proven, reason.BankAnswered, number{"own_moved_pct", 15, 30}, "", nil},
		{"monitor trips: nothing to report was left", trip, Config{}, ProofSensorRich, Unclear, reason.GoneBeforeRelease, number{}, "", nil},
		{"both banks on one trim", with(func(p *plant) { p.bothTrims = true }), Config{}, ProofBank, Unclear, reason.OtherWithIt, number{"other_moved_pct", 15, 30}, "", nil},
		{"mixture reaches both banks", with(func(p *plant) { mixture(0.08)(p); p.bothTrims = true }), Config{By: ByMixture}, ProofBank, Untested, reason.MayReachBothBanks, number{}, "", nil},
		{"the loop's own rate, though it brought the mixture back", with(mixture(0.08)), Config{By: ByMixture}, ProofAddsFuel, Proven, reason.MixtureMoved, number{"rate_pct_s", 1.6, 3.5}, "", nil},
		{"nothing is held by mixture", with(func(p *plant) { mixture(0.08)(p); p.frozen, p.base = true, 1 }), Config{By: ByMixture}, ProofAddsFuel, Failed, reason.MixtureMoved, number{"stood_still_s", 7, 15}, "", []reason.Code{reason.FirmerContact, reason.PoorContact, reason.NotZero}},
		{"a dead line by mixture may be the wire's fault", with(func(p *plant) {
			mixture(0.08)(p)
			p.cell, p.seconds = func(float64, float64) float64 { return 0.06 }, 130
		}), Config{By: ByMixture}, ProofInput, Unclear, reason.NotWithMixture, number{}, reason.HoldWireToo, nil},
		{"input dead: the cheapest check first", with(func(p *plant) { p.inputStuck = 0.45 }), Config{}, ProofInput, Failed, reason.WentOnAsBefore, number{}, reason.RightSensor, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, _ := c.p.run(c.cfg)
			v := w.Verdict()
			for _, p := range v.Proofs {
				if p.ID != c.id {
					continue
				}
				if p.State != c.state || !p.Why.Has(c.why) {
					t.Errorf("%s %s: %v; want %s, %q", p.ID, p.State, p.Why, c.state, c.why)
				}
				if n := c.number; n.key != "" {
					if x, ok := p.Evidence[n.key]; !ok || x < n.lo || x > n.hi {
						t.Errorf("%s is %v, want %g to %g", n.key, p.Evidence, n.lo, n.hi)
					}
				}
			}
			has := func(code reason.Code) bool {
				return slices.ContainsFunc(v.Next, func(r reason.Reason) bool { return r.Has(code) })
			}
			if c.next != "" && !has(c.next) || slices.ContainsFunc(c.notNext, has) {
				t.Errorf("next: %v\nwant %q, and nowhere %q", v.Next, c.next, c.notNext)
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
	why := w.Verdict().Proofs[0].Why
	if last := why[len(why)-1]; len(w.forces) != maxForces || !reflect.DeepEqual(reason.Reason{last}, reason.OnlyFirstForces.Of(32, 8)) {
		t.Errorf("%d forces: %v", len(w.forces), why)
	}
}
