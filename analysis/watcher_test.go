package analysis

import (
	"encoding/json"
	"testing"
)

func TestConclusions(t *testing.T) {
	with := func(change func(*plant)) plant { p := healthy(); change(&p); return p }
	flat := func(v float64) func(float64, float64) float64 { return func(float64, float64) float64 { return v } }
	cases := []struct {
		name string
		p    plant
		cfg  Config
		want Conclusion
	}{
		{"healthy", healthy(), Config{}, LoopProven},
		{"healthy, marked", with(func(p *plant) { p.marks = true }), Config{}, LoopProven},
		{"healthy, 2 readings/s", with(func(p *plant) { p.rate = 2 }), Config{}, LoopProven},
		{"healthy, 20 readings/s", with(func(p *plant) { p.rate = 20 }), Config{}, LoopProven},
		{"trim at a third of the rate", with(func(p *plant) { p.trimEvery = 3 }), Config{}, LoopProven},
		{"lean only", with(func(p *plant) { p.forces = p.forces[:1] }), Config{}, PartlyProven},
		{"rich only", with(func(p *plant) { p.forces = p.forces[1:] }), Config{}, PartlyProven},
		{"nobody forces", with(func(p *plant) { p.forces = nil }), Config{}, NothingForced},
		{"trim frozen, marked", with(func(p *plant) { p.frozen, p.marks = true, true }), Config{}, NoCommand},
		{"adds only", with(func(p *plant) { p.addsOnly, p.marks = true, true }), Config{}, NoCommand},
		{"cuts only", with(func(p *plant) { p.cutsOnly, p.marks, p.base = true, true, 0.98 }), Config{}, NoCommand},
		{"input dead", with(func(p *plant) { p.inputStuck, p.marks = 0.45, true }), Config{}, InputDead},
		{"open sensor branch", with(func(p *plant) { p.open, p.marks = true, true; p.forces[0].length = 20 }), Config{}, SensorDead},
		{"open sensor branch, no downstream", with(func(p *plant) { p.open, p.marks, p.downstream = true, true, false }), Config{}, UnclearResult},
		{"sensor dead low", with(func(p *plant) { p.cell, p.marks = flat(0.06), true; p.seconds = 130 }), Config{}, SensorDead},
		{"sensor dead high", with(func(p *plant) { p.cell, p.marks = flat(0.84), true; p.seconds = 130 }), Config{}, SensorDead},
		{"crossed banks", with(func(p *plant) { p.crossed = true; p.marks = true }), Config{}, WrongBank},
		{"0.7 V source, unmarked", with(func(p *plant) { p.forces[1].volts = 0.7 }), Config{}, LoopProven},
		{"trembling hand", with(func(p *plant) { p.forces[0].shaky, p.forces[1].shaky = true, true; p.marks = true }), Config{}, LoopProven},
		{"leak beyond authority", with(func(p *plant) { p.base, p.marks = 1.4, true }), Config{}, UnclearResult},
		{"leak within authority", with(func(p *plant) { p.base, p.marks = 1.12, true }), Config{}, LoopProven},
		{"cold", with(func(p *plant) { p.coolant = 20; p.status = func(float64) float64 { return 1 } }), Config{}, NotReadyToSay},
		{"slow integrator", with(func(p *plant) {
			p.ramp, p.jump, p.marks = 0.5, 1.5, true
			p.forces = []hold{lean(40, 25), rich(120, 25)}
			p.seconds = 190
		}), Config{}, LoopProven},
		{"monitor trips late", with(func(p *plant) { p.trips, p.marks = 11, true; p.forces = p.forces[:1] }), Config{}, UnclearResult},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(5) {
				c.p.seed = seed
				w, events := c.p.run(c.cfg)
				v := w.Verdict()
				if v.Conclusion != c.want {
					for _, e := range events {
						j, _ := json.Marshal(e)
						t.Log(string(j))
					}
					for _, p := range v.Proofs {
						t.Logf("%-12s %-9s %s", p.ID, p.State, p.Why)
					}
					t.Fatalf("seed %d: %s, want %s", seed, v.Conclusion, c.want)
				}
			}
		})
	}
}
