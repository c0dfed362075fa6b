package dossier

import (
	"encoding/hex"
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/switching"
	"pushback/decode"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Off CAN a part may have both limits, each a figure of its own: like is set beside like.
func TestOwnTestsOfAPart(t *testing.T) {
	read := func(replies ...string) []OwnTest {
		var results []decode.TestResult
		for _, hex := range replies {
			r, err := decode.PartTest([]byte{6, 3}, unhex(t, hex))
			if err != nil {
				t.Fatal(err)
			}
			results = append(results, r)
		}
		return ownTests(results, nil, "B1S1")
	}
	most, least, low := "4603050064012C", "46038500640032", "46038500140032"
	got := testPairs(read(most, least), read(most, low))
	if len(got) != 2 || got[0].Change != Passes || got[1].Change != FailsNow {
		t.Errorf("%+v", got)
	}
	if got := testPairs(read(most), nil); len(got) != 1 || got[0].Change != "" || got[0].Of() != got[0].Before {
		t.Errorf("not read after: %+v", got)
	}
	if got := testPairs(nil, read(most)); len(got) != 1 || got[0].Before != nil || got[0].Of() != got[0].After {
		t.Errorf("not read before: %+v", got)
	}
}

// What became of a code: gone only where its state was read again.
func TestCodePairs(t *testing.T) {
	side := func(read map[string]bool, events []analysis.Event, codes ...Code) *Dossier {
		return &Dossier{Events: events, VehicleData: VehicleData{Codes: codes}, codesRead: read}
	}
	stored := map[string]bool{"stored": true}
	one, two := Code{Code: "P0171", State: "stored"}, Code{Code: "P0420", State: "stored"}
	set := []analysis.Event{{Name: analysis.CodeSet, Code: "P0420"}}
	for _, tt := range []struct {
		name          string
		before, after *Dossier
		want          []CodePair
	}{
		{"nothing read", side(nil, nil), side(nil, nil), nil},
		{"still", side(stored, nil, one), side(stored, nil, one), []CodePair{{one, Still}}},
		{"gone", side(stored, nil, one), side(stored, nil), []CodePair{{one, Gone}}},
		{"not read again", side(stored, nil, one), side(nil, nil), []CodePair{{one, NotReadAgain}}},
		{"new", side(stored, nil), side(stored, nil, one), []CodePair{{one, New}}},
		{"first read after", side(nil, nil), side(stored, nil, one), []CodePair{{one, Still}}},
		{"set by the test after", side(stored, nil), side(stored, set, two), []CodePair{{Code{"P0420", "stored", true}, New}}},
	} {
		if d := cmp.Diff(tt.want, codePairs(tt.before, tt.after)); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
}

// The force test before and after: proofs by their states, latencies and rates by their intervals.
func TestForcePairs(t *testing.T) {
	side := func(c analysis.Conclusion, adds analysis.State, from, to, rate, moved float64) *Dossier {
		return &Dossier{
			Verdict: analysis.Verdict{Conclusion: c, Proofs: []analysis.Proof{{ID: analysis.ProofAddsFuel, State: adds,
				Evidence: map[string]float64{"rate_pct_s": rate, "moved_pct": moved}}, {ID: analysis.ProofBank, State: analysis.Untested}}},
			Events:    []analysis.Event{{Name: analysis.LoopAnswers, Side: analysis.Lean, AfterMin: from, AfterMax: to}},
			Switching: []switching.SpeedBand{{Period: 1}},
		}
	}
	sound := side(analysis.LoopProven, analysis.Proven, 0.2, 0.4, 2, 20)
	const same, differs, not = compare.NoDifference, compare.Differs, compare.NotComparable
	for _, tt := range []struct {
		name  string
		after *Dossier
		want  []compare.Answer // conclusion, adds_fuel, answer to lean, its speed
	}{
		{"the same", sound, []compare.Answer{same, same, same, same}},
		{"within a period of switching", side(analysis.LoopProven, analysis.Proven, 1.3, 1.5, 2, 20), []compare.Answer{same, same, same, same}},
		{"beyond it", side(analysis.LoopProven, analysis.Proven, 1.5, 1.7, 2, 20), []compare.Answer{same, same, differs, same}},
		{"within steps of trim and a quarter", side(analysis.LoopProven, analysis.Proven, 0.2, 0.4, 2.5, 20), []compare.Answer{same, same, same, same}},
		{"half as fast", side(analysis.LoopProven, analysis.Proven, 0.2, 0.4, 1, 20), []compare.Answer{same, same, same, differs}},
		{"failed", side(analysis.NoCommand, analysis.Failed, 0.2, 0.4, 2, 20), []compare.Answer{differs, differs, same, same}},
		{"unclear", side(analysis.ConclusionUnclear, analysis.Unclear, 0.2, 0.4, 2, 20), []compare.Answer{not, not, same, same}},
		{"nothing forced", &Dossier{Verdict: analysis.Verdict{Conclusion: analysis.NothingForced, Proofs: []analysis.Proof{{ID: analysis.ProofAddsFuel, State: analysis.Untested}}}},
			[]compare.Answer{not, not, not, not}},
	} {
		var got []compare.Answer
		for _, p := range forcePairs(sound, tt.after) {
			got = append(got, p.Answer)
		}
		if d := cmp.Diff(tt.want, got); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
	if p := longestPeriod([]switching.SpeedBand{{Period: math.NaN()}}, nil); p != periodUnknown {
		t.Errorf("no period is known, and %v s is taken", p)
	}
}

// Where two wires were held each sensor is compared with itself, whichever has the verdict to act on first.
func TestForcePairsOfBothWires(t *testing.T) {
	of := func(sensor string, c analysis.Conclusion, adds analysis.State) analysis.Verdict {
		return analysis.Verdict{Sensor: sensor, Conclusion: c, Proofs: []analysis.Proof{{ID: analysis.ProofAddsFuel, State: adds}}}
	}
	session := func(first decode.SensorID, v analysis.Verdict) *Dossier {
		d := &Dossier{Verdict: v, Events: []analysis.Event{{Name: analysis.LoopAnswers, Side: analysis.Lean, AfterMin: 0.2, AfterMax: 0.4}}}
		if v.Beside != nil {
			d.Events = append(d.Events, analysis.Event{Name: analysis.LoopAnswers, Side: analysis.Lean, AfterMin: 4, AfterMax: 5, Sensor: "B2S1"})
		}
		d.Setup.Sensor = first
		return d
	}
	one, two := decode.SensorID{Bank: 1, Position: 1}, decode.SensorID{Bank: 2, Position: 1}
	sound, dead := of("B1S1", analysis.LoopProven, analysis.Proven), of("B2S1", analysis.InputDead, analysis.Untested)
	faulty, repaired := session(one, analysis.Joined(sound, dead)), session(one, analysis.Joined(sound, of("B2S1", analysis.LoopProven, analysis.Proven)))
	second := of("", analysis.LoopProven, analysis.Proven) // one wire: no name stands in the verdict
	for _, tt := range []struct {
		name          string
		before, after *Dossier
		want          []string
	}{
		{"both, then both", faulty, repaired, []string{
			"B1S1 loop_proven loop_proven no_difference_shown", "B1S1 proven proven no_difference_shown", "B1S1 0.2 0.2 no_difference_shown",
			"B2S1 input_dead loop_proven differs", "B2S1 untested proven not_comparable", "B2S1 4 4 no_difference_shown"}},
		{"both, then the second's alone", faulty, session(two, second), []string{
			"B2S1 input_dead loop_proven differs", "B2S1 untested proven not_comparable", "B2S1 4 0.2 differs"}},
		{"both, then another sensor's", faulty, session(decode.SensorID{Bank: 1, Position: 2}, second), nil},
		{"one, then one: nobody asks whose", session(one, second), session(one, second), []string{
			" loop_proven loop_proven no_difference_shown", " proven proven no_difference_shown", " 0.2 0.2 no_difference_shown"}},
	} {
		var got []string
		for _, p := range forcePairs(tt.before, tt.after) {
			switch p.What {
			case ForceLatency:
				got = append(got, fmt.Sprint(p.Sensor, " ", p.Before.Lo, " ", p.After.Lo, " ", p.Answer))
			case ForceConclusion, ForceProof:
				got = append(got, fmt.Sprint(p.Sensor, " ", p.Before.Said, " ", p.After.Said, " ", p.Answer))
			}
		}
		if d := cmp.Diff(tt.want, got); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
}

// What a comparison's reader must know.
func TestLimits(t *testing.T) {
	side := func(vehicle string, position int, open ...string) *Dossier {
		d := &Dossier{Setup: Setup{Vehicle: vehicle}, VehicleData: VehicleData{Monitors: &Monitors{Incomplete: open}}}
		d.Setup.Sensor = decode.SensorID{Bank: 1, Position: position}
		return d
	}
	gone := []CodePair{{Code{Code: "P0171", State: "stored"}, Gone}}
	few := compare.Result{Answer: compare.NoDifference, Matched: [2]float64{0.9, 0.4}}
	for _, tt := range []struct {
		name          string
		c             Comparison
		before, after *Dossier
		want          []LimitID
	}{
		{"nothing", Comparison{Trims: compare.Result{Matched: [2]float64{1, 1}}}, side("a", 1), side("a", 1), nil},
		{"few readings match", Comparison{Trims: few}, side("", 1), side("a", 1), []LimitID{LimitMatched}},
		{"not comparable at all", Comparison{Trims: compare.Result{Answer: compare.NotComparable}}, side("", 1), side("", 1), nil},
		{"all of it", Comparison{Trims: few, Codes: gone}, side("a", 1), side("b", 2, "catalyst"), []LimitID{LimitMatched, LimitGone, LimitMonitors, LimitVehicles, LimitSensors}},
	} {
		tt.c.Open = [2][]string{tt.before.open(), tt.after.open()}
		tt.c.limits(tt.before, tt.after)
		var got []LimitID
		for _, l := range tt.c.Limits {
			got = append(got, l.ID)
		}
		if d := cmp.Diff(tt.want, got); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
}
