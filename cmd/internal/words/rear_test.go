package words

import (
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/rear"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/decode"
)

// A drive that is judged by the sensor behind the catalyst is no test in which something is held: what stands large is what the engine
// does, nobody is told to let go, and what can hurt on the road stands there all the time.
func TestRearDriveLive(t *testing.T) {
	ready, not := true, false
	for _, c := range []struct {
		name       string
		ready      *bool
		phase      live.Phase
		side       analysis.Side
		replay     bool
		big, says  string
		hasCaution bool
	}{
		{"checking", nil, live.Idle, "", false, "CHECKING", "Checking", true},
		{"not ready", &not, live.Idle, "", false, "NOT READY", "Not ready", true},
		{"ready", &ready, live.Idle, "", false, "DRIVE", "lift off", true},
		{"a cut", &ready, live.Held, analysis.Lean, false, "FUEL CUT", "lift off", true},
		{"a pull", &ready, live.Held, analysis.Rich, false, "FULL LOAD", "pull at full load", true},
		{"after it", &ready, live.Released, analysis.Lean, false, "DRIVE", "lift off", true},
		{"replayed", &ready, live.Held, analysis.Lean, true, "FUEL CUT", "must read lean", false},
	} {
		s := live.NewState(session.Setup{By: analysis.ByFuelCut, Sensor: decode.SensorID{Bank: 1, Position: 2}}, nil)
		s.Ready, s.Phase, s.Side, s.Replay, s.Seen = c.ready, c.phase, c.side, c.replay, true
		s.Now = 40e9
		if got := Big(s).Text; got != c.big || Big(s).Loud {
			t.Errorf("%s: %q stands large, want %q", c.name, got, c.big)
		}
		if got := Sentence(s); !strings.Contains(got, c.says) || strings.Contains(got, "elease") {
			t.Errorf("%s: %q", c.name, got)
		}
		if got := Caution(s); c.ready == &ready && strings.Contains(got, hazard.Road.Caution()) != c.hasCaution || (got != "") != c.hasCaution || Overheld(s) {
			t.Errorf("%s: caution %q, held too long %v", c.name, got, Overheld(s))
		}
	}
}

// What such a drive comes to says nothing of a loop that responds, to the technician or to the car's owner.
func TestRearDriveVerdicts(t *testing.T) {
	base := rear.New(analysis.Config{By: analysis.ByFuelCut}).Verdict()
	states := func(lean, rich analysis.State) analysis.Verdict {
		v := base
		v.Proofs = append([]analysis.Proof(nil), base.Proofs...)
		for i := range v.Proofs {
			switch p := &v.Proofs[i]; p.ID {
			case analysis.ProofSensorLean:
				p.State = lean
			case analysis.ProofSensorRich:
				p.State = rich
			}
		}
		return v
	}
	seen := map[string]bool{}
	for _, c := range []struct {
		lean, rich analysis.State
		end        analysis.Conclusion
		decide     analysis.Step
		name       string
	}{
		{analysis.Proven, analysis.Proven, analysis.PartlyProven, analysis.FrontSensor, "GOOD SO FAR"},
		{analysis.Proven, analysis.Untested, analysis.PartlyProven, analysis.FullLoad, "GOOD SO FAR"},
		{analysis.Untested, analysis.Proven, analysis.PartlyProven, analysis.FuelCut, "GOOD SO FAR"},
		{analysis.Failed, analysis.Untested, analysis.SensorDead, "", "SENSOR DEAD"},
		{analysis.Unclear, analysis.Proven, analysis.ConclusionUnclear, analysis.FuelCut, "CUT AGAIN"},
		{analysis.Proven, analysis.Unclear, analysis.ConclusionUnclear, analysis.FullLoad, "PULL AGAIN"},
		{analysis.Untested, analysis.Untested, analysis.NothingForced, "", "NO STEP SEEN"},
	} {
		v := states(c.lean, c.rich)
		v.Conclusion, v.Decide = c.end, c.decide
		say, owner := VerdictOf(v), OwnerText(v, analysis.ByFuelCut, true)
		all := say.Name + say.Why + say.Step + owner.Did + owner.Answer + strings.Join(owner.Next, " ")
		if say.Name != c.name || seen[say.Why] || owner.Answer == "" || strings.Contains(all, "loop responds") || strings.Contains(owner.Did, "wire") || strings.Contains(owner.Answer, "computer") {
			t.Errorf("%s %s %s: %+v, %+v", c.end, c.lean, c.rich, say, owner)
		}
		seen[say.Why] = true
	}
}

// Its events say what the engine did, not what somebody held.
func TestRearDriveEvents(t *testing.T) {
	for _, c := range []struct {
		e    analysis.Event
		want string
	}{
		{analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean}, "▼ fuel cut starts"},
		{analysis.Event{Name: analysis.ForceEnds, Side: analysis.Rich}, "full load is over"},
		{analysis.Event{Name: analysis.SensorAnswers, Toward: "lean", After: 1.2}, "rear sensor reads ▼ lean, 1.2 s after the start of the fuel cut"},
		{analysis.Event{Name: analysis.SensorSilent, Toward: "rich", Waited: 5.7}, "rear sensor never read rich in 5.7 s of full load"},
	} {
		c.e.How = analysis.HowDrive
		if got := EventText(c.e); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
