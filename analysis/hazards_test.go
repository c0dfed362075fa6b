package analysis

import (
	"fmt"
	"slices"
	"testing"

	"pushback/analysis/hazard"
	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

// Every piece of advice that a verdict can give carries the cautions of what it asks to do.
func TestAdviceCarriesItsCautions(t *testing.T) {
	conclusions := []Conclusion{LoopProven, PartlyProven, InputDead, NoCommand, NoDelivery, SensorDead, SensorSlow, WrongBank, ConclusionNotReady, ConclusionUnclear, NothingForced}
	all := []ProofID{ProofInput, ProofAddsFuel, ProofCutsFuel, ProofDelivery, ProofSensorRich, ProofSensorLean, ProofBank, ProofRecovery}
	opened, low, high := &force{side: Lean, level: 0.2}, &force{side: Rich}, &force{side: Lean}
	opened.opened = true
	low.own.state, high.own.state = cannot, cannot
	hot, doubtful, letGo := &force{side: Lean}, &force{side: Rich}, &force{side: Lean, computerDid: computerDid{letGo: byStatus}}
	hot.rel.state, hot.rel.hasOn, hot.rel.grey = sensorVague, true, 1
	doubtful.rel.doubtful = true
	// Steps that force a side have the hazards of what they force it by; the others have them by their code.
	forcing := []reason.Code{reason.SilentSideOnce, reason.HoldBothSides, reason.OtherSide, reason.Again, reason.ShorterHolds, reason.HoldAndSay, reason.CloseBranch}
	seen := map[string]bool{}
	for _, by := range []By{ByWire, ByMixture} {
		for _, wide := range []bool{false, true} {
			w := NewWatcher(Config{By: by})
			w.ready.wide, w.ready.mixture = wide, by == ByMixture
			w.fig.short.add(30)
			for i := range 9 { // a sensor that only ever says lean
				w.fig.addVolts(recent.Reading{Lo: float64(i), Hi: float64(i), V: 0.1}, false)
			}
			for _, forces := range [][]*force{nil, {opened}, {low}, {high}, {hot}, {doubtful}, {letGo}} {
				c := &assessment{w: w, forces: forces}
				for _, conclusion := range conclusions {
					for _, state := range []State{Proven, Failed, Unclear, Untested} {
						for i := range all {
							var proofs []Proof
							for k, id := range all {
								p := Proof{ID: id, State: Proven}
								if k <= i {
									p.State = state
								}
								proofs = append(proofs, p)
							}
							_, next := c.next(conclusion, proofs)
							for _, step := range next {
								seen[fmt.Sprint(step)] = true
								var hazards []hazard.Kind
								for _, clause := range step {
									hazards = append(hazards, clause.Hazards...)
								}
								wire := slices.Contains(hazards, hazard.Wire)
								moves := slices.Contains(hazards, hazard.Propane) || slices.Contains(hazards, hazard.Hose)
								if slices.Contains(forcing, step[0].Code) && (wire != (by == ByWire) || moves != (by == ByMixture)) {
									t.Errorf("by %s, %s: %v", by, conclusion, step)
								}
							}
						}
					}
				}
			}
		}
	}
	if len(seen) < 40 {
		t.Errorf("%d steps: the walk is broken", len(seen))
	}
}
