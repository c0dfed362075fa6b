package analysis

import (
	"testing"

	"pushback/analysis/reason"
)

// The step that is named would settle the verdict, by common practice: what the test has shown already is not asked for again.
func TestAdvice(t *testing.T) {
	lies := func(side Side, low, high float64, between int) func(*force) {
		return func(f *force) {
			f.volts = voltsBase{n: 150, between: between, seconds: 30, interval: 0.2, low: low, high: high}
			if own := staysOf([]float64{30}); side == Lean {
				f.volts.lean = own
			} else if side == Rich {
				f.volts.rich = own
			}
		}
	}
	mute := func(f *force) {
		f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: Rich, reached: reached{bottom: 0.03, top: 0.05}}
		f.down = downstream{}
	}
	left := func(f *force) { f.rel.stillLeft = 0.9 }
	limit := func(f *force) { f.own.limit, f.own.limitRaw = true, 15 }
	crossed := Proof{ID: ProofBank, State: Unclear, Why: reason.OtherLayOpposite.Of(2, Lean)}
	noCycle := func(f *force) { f.resumed = false }
	for _, c := range []struct {
		name   string
		change []func(*force)
		want   Step
		bank   Proof
	}{
		{"only ever read lean, and it does not say rich: a leak first", []func(*force){lies(Lean, 0.03, 0.06, 0), mute, noCycle}, LeakCheck, Proof{}},
		{"it lies between the sides, where no leak brings it: propane", []func(*force){lies("", 0.43, 0.46, 150), mute, noCycle}, FeedPropane, Proof{}},
		{"trim was at its limit, and it left rich at once: no hold makes it richer", []func(*force){lies(Lean, 0.03, 0.06, 0), left, limit, func(f *force) { f.volts.rich, f.volts.high = staysOf([]float64{3}), 0.8 }}, FeedPropane, Proof{}},
		{"it left rich at once, and trim could go on: again", []func(*force){lies(Lean, 0.03, 0.06, 0), left, func(f *force) { f.volts.rich, f.volts.high = staysOf([]float64{3}), 0.8 }}, LeanStep, Proof{}},
		{"the plugs of the banks may be exchanged: that hides what trim did", []func(*force){lies(Lean, 0.03, 0.06, 0), limit, noCycle}, ForceOther, crossed},
	} {
		a := judged(ByWire, with(Lean, c.change...))
		proofs := []Proof{a.input(), a.command(Lean), a.command(Rich), a.delivery(), a.sensor(Rich), a.sensor(Lean), a.bankProof(), a.recovery()}
		if c.bank.ID != "" {
			proofs[6] = c.bank
		}
		if got := a.advise(ConclusionUnclear, proofs); got[0].step != c.want {
			t.Errorf("%s: %s (%v)", c.name, got[0].step, proofs)
		}
	}
}
