package analysis

import (
	"slices"

	"pushback/analysis/reason"
)

// ProofID names one arc of the ring.
type ProofID string

const (
	ProofInput      ProofID = "input"        // the computer reads the forced wire
	ProofAddsFuel   ProofID = "adds_fuel"    // held lean, the computer adds fuel
	ProofCutsFuel   ProofID = "cuts_fuel"    // held rich, the computer cuts fuel
	ProofDelivery   ProofID = "delivery"     // the mixture really moved
	ProofSensorRich ProofID = "sensor_rich"  // the sensor reports rich when the mixture is rich
	ProofSensorLean ProofID = "sensor_lean"  // the sensor reports lean when the mixture is lean
	ProofBank       ProofID = "bank"         // the bank that was forced is the one that answered
	ProofRecovery   ProofID = "recovery"     // released, the loop goes back to switching, or to its commanded ratio
	ProofScale      ProofID = "sensor_scale" // wide-range sensors: a per cent of fuel shows as a per cent of ratio
)

// ProofOrder is the order in which proofs are listed: around the ring. A wide-range sensor's has
// [ProofScale] after them.
var ProofOrder = [...]ProofID{
	ProofInput, ProofAddsFuel, ProofCutsFuel, ProofDelivery,
	ProofSensorRich, ProofSensorLean, ProofBank, ProofRecovery,
}

// State is how far a proof has come.
type State string

const (
	Proven   State = "proven"
	Failed   State = "failed"
	Unclear  State = "unclear"  // tested, but the data do not decide
	Untested State = "untested" // nothing in the session tests it
)

// Proof is one arc of the ring with what it rests on.
type Proof struct {
	ID       ProofID            `json:"id"`
	State    State              `json:"state"`
	Why      reason.Reason      `json:"why"`
	Evidence map[string]float64 `json:"evidence"` // the numbers behind the words; keys end in their unit
}

// Conclusion is the answer to the question 'can the loop be believed?'.
type Conclusion string

const (
	LoopProven         Conclusion = "loop_proven"
	PartlyProven       Conclusion = "partly_proven"
	InputDead          Conclusion = "input_dead"
	NoCommand          Conclusion = "no_command"
	NoDelivery         Conclusion = "no_delivery"
	SensorDead         Conclusion = "sensor_dead"
	SensorSlow         Conclusion = "sensor_slow"
	SensorSkewed       Conclusion = "sensor_skewed" // it reports, but the wrong amount
	WrongBank          Conclusion = "wrong_bank"
	ConclusionNotReady Conclusion = "not_ready"
	ConclusionUnclear  Conclusion = "unclear"
	NothingForced      Conclusion = "nothing_forced"
)

// Verdict is the end of a session: conclusion, proofs in ProofOrder, next steps.
type Verdict struct {
	Conclusion Conclusion
	Decide     Step // the one step that would settle it, where it is unclear or partly proven; its text is the first of Next
	Proofs     []Proof
	Next       []reason.Reason
	Sensor     string   // whose it is, where both banks' wires were held: B1S1
	Beside     *Verdict // of the other bank's sensor then; see [Joined]
}

// MarshalJSON writes the verdict as the last of the JSON lines; its reasons must be in words, see package reason.
func (v Verdict) MarshalJSON() ([]byte, error) {
	proofs, next := v.Proofs, v.Next
	if proofs == nil {
		proofs = []Proof{}
	}
	if next == nil {
		next = []reason.Reason{}
	}
	fields := []field{{"kind", "verdict"}, {"conclusion", string(v.Conclusion)}}
	if v.Decide != "" {
		fields = append(fields, field{"decide", string(v.Decide)})
	}
	if v.Sensor != "" {
		fields = append(fields, field{"sensor", v.Sensor})
	}
	fields = append(fields, field{"proofs", proofs}, field{"next", next})
	if v.Beside != nil {
		fields = append(fields, field{"beside", v.Beside})
	}
	return object(fields)
}

// Agrees reports whether two verdicts come to the same, proof by proof.
func (v Verdict) Agrees(other Verdict) bool {
	return v.Conclusion == other.Conclusion && slices.EqualFunc(v.Proofs, other.Proofs, func(p, q Proof) bool { return p.ID == q.ID && p.State == q.State })
}
