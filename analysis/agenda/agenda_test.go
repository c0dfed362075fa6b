package agenda

import (
	"strings"
	"testing"

	"pushback/analysis"
)

// seen is a session of a sensor in which the proofs named are proven.
func seen(sensor string, by analysis.By, c analysis.Conclusion, proven ...analysis.ProofID) Session {
	s := Session{Sensor: sensor, By: by, Verdict: analysis.Verdict{Conclusion: c}}
	for _, p := range proven {
		s.Verdict.Proofs = append(s.Verdict.Proofs, analysis.Proof{ID: p, State: analysis.Proven})
	}
	return s
}

func TestOpen(t *testing.T) {
	const (
		adds, cuts = analysis.ProofAddsFuel, analysis.ProofCutsFuel
		rich, lean = analysis.ProofSensorRich, analysis.ProofSensorLean
	)
	whole := seen("B1S1", analysis.ByWire, analysis.LoopProven, adds, cuts, rich, lean)
	other := seen("B2S1", analysis.ByWire, analysis.LoopProven, adds, cuts, rich, lean)
	drive := Session{Sensor: "B1S1", By: analysis.ByWire, Verdict: analysis.Verdict{Conclusion: analysis.NothingForced}, Map: true}
	leak := drive
	leak.Trims = OffAtIdle
	weak := drive
	weak.Trims = TrimsOff
	idle, sound := whole, drive
	idle.Trims, sound.Trims = SoundAtIdle, TrimsSound
	dead := seen("B1S1", analysis.ByWire, analysis.SensorDead, adds, cuts)
	refused := seen("B1S1", analysis.ByWire, analysis.ConclusionNotReady)
	cut := seen("B1S1", analysis.ByFuelCut, analysis.PartlyProven, lean)
	refused.Wide, cut.Wide = true, true
	vee, wideVee := whole, cut
	vee.Has, wideVee.Has = []string{"B1S1", "B1S2", "B2S1", "B2S2"}, []string{"B1S1", "B2S1"}
	for _, tt := range []struct {
		name     string
		sessions []Session
		want     string
	}{
		{"nothing was done", nil, "look, fitting B1S1, wire B1S1, mixture B1S1, map"},
		{"wrong bank, and a retest that does not decide", []Session{seen("B1S1", analysis.ByWire, analysis.WrongBank), seen("B1S1", analysis.ByWire, analysis.ConclusionUnclear), drive}, "again B1S1"},
		{"wrong bank, an open retest, and repaired", []Session{seen("B1S1", analysis.ByWire, analysis.WrongBank), seen("B1S1", analysis.ByWire, analysis.ConclusionUnclear), whole, drive}, ""},
		{"all is shown", []Session{whole, drive}, ""},
		{"the map points to a leak", []Session{whole, leak}, "leak"},
		{"repaired, and idle is sound", []Session{whole, leak, idle}, ""},
		{"repaired, and it is still there", []Session{whole, leak, idle, leak}, "leak"},
		{"weak supply: idle alone shows nothing", []Session{whole, weak, idle}, "leak"},
		{"weak supply, driven again", []Session{whole, weak, sound}, ""},
		{"the map is missing", []Session{whole}, "map"},
		{"a drive is no test", []Session{drive}, "fitting B1S1, wire B1S1, mixture B1S1"},
		{"one side", []Session{seen("B1S1", analysis.ByWire, analysis.PartlyProven, adds, rich, lean), drive}, "wire B1S1"},
		{"two sessions share a test", []Session{seen("B1S1", analysis.ByWire, analysis.PartlyProven, adds), seen("B1S1", analysis.ByMixture, analysis.PartlyProven, cuts, rich, lean), drive}, ""},
		{"mixture first", []Session{seen("B1S1", analysis.ByMixture, analysis.PartlyProven, cuts, rich, lean), drive}, "fitting B1S1, wire B1S1"},
		{"a fault", []Session{dead, drive}, "again B1S1"},
		{"repaired", []Session{dead, whole, drive}, ""},
		{"half shown since the repair", []Session{dead, seen("B1S1", analysis.ByWire, analysis.PartlyProven, adds, rich, lean), drive}, "wire B1S1"},
		{"a wide-range sensor's wire is never forced", []Session{refused, cut, drive}, "mixture B1S1"},
		{"a bank that was never tested", []Session{vee, drive}, "fitting B2S1, wire B2S1, mixture B2S1"},
		{"both banks were tested", []Session{vee, other, drive}, ""},
		{"a bank of wide-range sensors that was never tested", []Session{wideVee, drive}, "mixture B1S1, mixture B2S1"},
		{"the sensor behind the catalyst, driven", []Session{whole, seen("B1S2", analysis.ByFuelCut, analysis.PartlyProven, rich, lean), drive}, ""},
		{"cuts and no full load", []Session{whole, seen("B1S2", analysis.ByFuelCut, analysis.PartlyProven, lean), drive}, "drive B1S2"},
		{"neither", []Session{whole, {Sensor: "B1S2", By: analysis.ByFuelCut, Verdict: analysis.Verdict{Conclusion: analysis.NothingForced}}, drive}, "drive B1S2"},
		{"dead, and driven again after the repair", []Session{whole, seen("B1S2", analysis.ByFuelCut, analysis.SensorDead), seen("B1S2", analysis.ByFuelCut, analysis.PartlyProven, rich, lean), drive}, ""},
		{"the other bank", []Session{other, dead, drive}, "again B1S1"},
	} {
		var got []string
		for _, i := range Open(tt.sessions, nil) {
			if i.Lasts <= 0 {
				t.Errorf("%s: %s takes %v", tt.name, i.Work, i.Lasts)
			}
			got = append(got, strings.TrimSpace(string(i.Work)+" "+i.Sensor))
		}
		if text := strings.Join(got, ", "); text != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, text, tt.want)
		}
	}
}

// What a look at the car has told counts before any test.
func TestOpenOfALook(t *testing.T) {
	for _, tt := range []struct {
		entries []string
		looks   bool // it is open to ask the car
		want    int  // pieces of work on bank 2
	}{
		{[]string{"vehicle check: ready for a test of B1S1", Told([]string{"B1S1", "B1S2", "B2S1", "B2S2"})}, false, 3},
		{[]string{Told([]string{"B1S1", "B1S2"})}, false, 0},
		{[]string{"the car has sensors everywhere", Told(nil)}, true, 0},
	} {
		n, looks := 0, false
		for _, i := range Open(nil, Has(tt.entries)) {
			looks = looks || i.Work == Look
			if i.Sensor == "B2S1" {
				n++
			}
		}
		if n != tt.want || looks != tt.looks {
			t.Errorf("%v: %d pieces of work on bank 2, want %d; to ask the car is open: %v", tt.entries, n, tt.want, looks)
		}
	}
}
