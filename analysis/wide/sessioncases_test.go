package wide

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/scripttest"
	"pushback/decode"
)

// played gives a watcher what scripts tell (see [scripttest.Merge]), and returns what it told and itself.
func played(t *testing.T, cfg analysis.Config, scripts ...string) ([]scripttest.Event, *Watcher) {
	t.Helper()
	w := New(cfg)
	var out []scripttest.Event
	take := func(events []analysis.Event) {
		for _, e := range events {
			out = append(out, scripttest.Event{Name: string(e.Name), T: e.T})
		}
	}
	all := scripttest.Merge(t, scripts...)
	for _, s := range all {
		switch s.Words {
		case "":
			take(w.Step(decode.Sample{Signal: decode.ByName(s.Name), Sent: s.At, Received: s.At, Value: s.Value}))
		case "release":
			take(w.Release(s.At))
		default:
			take(w.Mark(s.At, analysis.Side(s.Words)))
		}
	}
	take(w.Finish(all[len(all)-1].At))
	return out, w
}

const (
	stoich = "EQ_RAT11 0s..60s/200ms 1"
	closed = "FUELSYS1 0s..60s/1s 2"
)

// Readiness: said after two seconds, taken back after twelve. What is not read forbids nothing; the wire of this kind of sensor is
// never held.
func TestReadinessInText(t *testing.T) {
	rear := decode.SensorID{Bank: 1, Position: 2}
	for _, c := range []struct {
		name        string
		cfg         analysis.Config
		scripts     []string
		want        string
		now, always bool // barred
	}{
		{"the sensor alone", analysis.Config{By: analysis.ByMixture}, []string{"EQ_RAT11 0s..10s/200ms 1"}, "ready 2", false, false},
		{"cold, then warm", analysis.Config{By: analysis.ByMixture}, []string{"ECT 0s..20s/1s 59; 21s..30s/1s 60", "EQ_RAT11 0s..30s/200ms 1"}, "not_ready 2, ready 23", false, false},
		{"open for five seconds", analysis.Config{By: analysis.ByMixture}, []string{"FUELSYS1 0s..10s/1s 2; 11s..15s/1s 4; 16s..40s/1s 2"}, "ready 2", false, false},
		{"open for thirteen", analysis.Config{By: analysis.ByMixture}, []string{"FUELSYS1 0s..10s/1s 2; 11s..24s/1s 4; 25s..40s/1s 2"}, "ready 2, not_ready 23, ready 27", false, false},
		{"open at the end", analysis.Config{By: analysis.ByMixture}, []string{"FUELSYS1 0s..10s/1s 2; 11s..30s/1s 1"}, "ready 2, not_ready 23", true, false},
		{"the engine stands", analysis.Config{By: analysis.ByMixture}, []string{"RPM 0s..10s/1s 0"}, "not_ready 2", false, false},
		{"a diesel", analysis.Config{By: analysis.ByMixture}, []string{"FUEL_TYP 0s..10s/1s 4"}, "not_ready 2", true, true},
		{"by its wire", analysis.Config{By: analysis.ByWire}, []string{"EQ_RAT11 0s..10s/200ms 1"}, "not_ready 2", true, true},
		{"by the rear one's wire", analysis.Config{By: analysis.ByWire, Sensor: rear}, []string{"EQ_RAT11 0s..10s/200ms 1"}, "ready 2", false, false},
		{"bank 2's own system", analysis.Config{By: analysis.ByMixture, Sensor: decode.SensorID{Bank: 2, Position: 1}}, []string{"FUELSYS2 0s..10s/1s 1"}, "not_ready 2", true, false},
	} {
		got, w := played(t, c.cfg, c.scripts...)
		scripttest.Tells(t, c.name, got, c.want)
		if now, always := w.Barred(); now != c.now || always != c.always {
			t.Errorf("%s: barred %v, always %v", c.name, now, always)
		}
		if v := w.Verdict(); v.Conclusion == analysis.ConclusionNotReady {
			if again := slices.ContainsFunc(v.Next, func(r reason.Reason) bool { return r.Has(reason.BringToConditions) }); again == c.always {
				t.Errorf("%s: bring it to these conditions: %v", c.name, again)
			}
		}
		if fit := strings.HasSuffix(c.want, "not_ready 2") || strings.Contains(c.want, "not_ready 23") && !strings.Contains(c.want, "ready 27"); w.holds() == fit {
			t.Errorf("%s: holds %v", c.name, w.holds())
		}
	}
}

// Fuel cuts: the engine's own drive. The ceilings that real cars tell lie at λ of 1.27 to 2.0, so 1.20 is far lean.
func TestCutsInText(t *testing.T) {
	const speed = "RPM 0s..29s/1s 3000; 30s..36s/500ms 3000->1500; 37s..60s/1s 900"
	const cutting = "FUELSYS1 0s..29s/1s 2; 30s..36s/500ms 4; 36.5s..60s/1s 2"
	for _, c := range []struct {
		name    string
		by      analysis.By
		scripts []string
		want    string
		lean    analysis.State
		end     analysis.Conclusion
	}{
		{"seen and back", analysis.ByFuelCut, []string{speed, cutting, "EQ_RAT11 0s..30s/200ms 1; 30.2s..30.6s/200ms 1.1->1.6; 30.8s..36.4s/200ms 1.9; 36.6s..36.8s/200ms 1.5->1.05; 37s..60s/200ms 1"},
			"ready 2, force_begins 30, sensor_answers 30.5, force_ends 36.5, switching_resumes 37", analysis.Proven, analysis.PartlyProven},
		{"the same, in a session of gas: no force", analysis.ByMixture, []string{speed, cutting, "EQ_RAT11 0s..30s/200ms 1; 30.2s..30.6s/200ms 1.1->1.6; 30.8s..36.4s/200ms 1.9; 36.6s..36.8s/200ms 1.5->1.05; 37s..60s/200ms 1"},
			"ready 2", analysis.Proven, analysis.NothingForced},
		{"λ goes to 1.15 alone: no cut", analysis.ByFuelCut, []string{speed, closed, "EQ_RAT11 0s..30s/200ms 1; 30.2s..36s/200ms 1.15; 36.2s..60s/200ms 1"}, "ready 2", analysis.Untested, analysis.NothingForced},
		{"λ stands, the rear sensor goes lean", analysis.ByFuelCut, []string{speed, cutting, stoich, "O2S12 0s..30.5s/500ms 0.65; 31s..37s/500ms 0.05; 38s..60s/500ms 0.65"}, "ready 2", analysis.Failed, analysis.SensorDead},
		{"λ stands, the rear sensor was lean before", analysis.ByFuelCut, []string{speed, cutting, stoich, "O2S12 0s..60s/500ms 0.05"}, "ready 2", analysis.Untested, analysis.ConclusionUnclear},
		{"told while the engine idles on", analysis.ByFuelCut, []string{"RPM 0s..60s/1s 900", cutting, stoich, "O2S12 0s..30.5s/500ms 0.65; 31s..37s/500ms 0.05; 38s..60s/500ms 0.65"}, "ready 2", analysis.Untested, analysis.NothingForced},
		{"the throttle is opened on the stand: air comes before the fuel", analysis.ByFuelCut, []string{"RPM 0s..29s/1s 800; 30s..32s/500ms 800->2800; 32.5s..60s/500ms 2800", cutting,
			"EQ_RAT11 0s..30.4s/200ms 1; 30.6s..31.8s/200ms 1.3; 32s..60s/200ms 1"}, "ready 2", analysis.Untested, analysis.NothingForced},
		{"by its load, where the speed is read seldom", analysis.ByFuelCut, []string{"RPM 0s..60s/5s 2500", "LOAD_PCT 0s..29s/1s 15; 30s..33s/1s 60; 34s..60s/1s 18", closed,
			"EQ_RAT11 0s..30.4s/200ms 1; 30.6s..31.8s/200ms 1.3; 32s..60s/200ms 1"}, "ready 2", analysis.Untested, analysis.NothingForced},
		{"opened and then lifted", analysis.ByFuelCut, []string{"RPM 0s..29s/1s 800; 30s..32s/500ms 800->2800; 32.5s..36s/500ms 2700->1300; 36.5s..60s/500ms 900", "LOAD_PCT 0s..29s/1s 15; 30s..32s/1s 60; 33s..60s/1s 12", cutting,
			"EQ_RAT11 0s..30.4s/200ms 1; 30.6s..31.8s/200ms 1.3; 32s..32.6s/200ms 1; 32.8s..36.4s/200ms 1.9; 36.6s..60s/200ms 1"}, "ready 2, force_begins 32.6, sensor_answers 32.8, force_ends 36.5, switching_resumes 36.8", analysis.Proven, analysis.PartlyProven},
		{"with a stopped engine", analysis.ByFuelCut, []string{"RPM 0s..29s/1s 800; 30s..60s/1s 0", "EQ_RAT11 0s..30s/200ms 1; 30.2s..60s/200ms 1.9"}, "ready 2, not_ready 42", analysis.Untested, analysis.NothingForced},
	} {
		got, w := played(t, analysis.Config{By: c.by}, c.scripts...)
		scripttest.Tells(t, c.name, got, c.want)
		v := w.Verdict()
		i := slices.IndexFunc(v.Proofs, func(p analysis.Proof) bool { return p.ID == analysis.ProofSensorLean })
		if v.Proofs[i].State != c.lean || v.Conclusion != c.end {
			t.Errorf("%s: lean %s, %s", c.name, v.Proofs[i].State, v.Conclusion)
		}
	}
}

// What contradicts the loop: ratio and rear sensor against each other for 10 s, or the rear's trims far out for 30 s, in closed loop
// and with the ratio at its command (limits of one car family's text).
func TestOffsetInText(t *testing.T) {
	const rich, leaner = "EQ_RAT11 0s..60s/500ms 0.85", "EQ_RAT11 0s..60s/500ms 1.2"
	for _, c := range []struct {
		name    string
		scripts []string
		skewed  bool
	}{
		{"says rich, the exhaust is lean", []string{closed, rich, "O2S12 0s..60s/500ms 0.1"}, true},
		{"says lean, the exhaust is rich", []string{closed, leaner, "O2S12 0s..60s/500ms 0.85"}, true},
		{"both rich", []string{closed, rich, "O2S12 0s..60s/500ms 0.85"}, false},
		{"for nine seconds", []string{closed, "EQ_RAT11 0s..9s/500ms 0.85; 9.5s..60s/500ms 1", "O2S12 0s..60s/500ms 0.1"}, false},
		{"for eleven", []string{closed, "EQ_RAT11 0s..11.5s/500ms 0.85; 12s..60s/500ms 1", "O2S12 0s..60s/500ms 0.1"}, true},
		{"in open loop", []string{"FUELSYS1 0s..60s/1s 4", rich, "O2S12 0s..60s/500ms 0.1"}, false},
		{"not far out", []string{closed, "EQ_RAT11 0s..60s/500ms 0.92", "O2S12 0s..60s/500ms 0.1"}, false},
		{"the rear one is not read any more", []string{closed, rich, "O2S12 0s..5s/500ms 0.1"}, false},
		{"rear trims stand far out, which may be a leak or one cylinder too", []string{closed, stoich, "STSO2FT1 0s..60s/1s 4"}, false},
		{"for 28 s", []string{closed, stoich, "STSO2FT1 0s..20s/1s 0; 21s..48s/1s 4; 49s..60s/1s 0"}, false},
		{"for 31 s", []string{closed, stoich, "STSO2FT1 0s..20s/1s 0; 21s..53s/1s 4; 54s..60s/1s 0"}, false},
		{"from one side to the other", []string{closed, stoich, "STSO2FT1 0s..27s/1s 4; 28s..55s/1s -4; 56s..60s/1s 0"}, false},
		{"while the ratio is not brought to its command", []string{closed, "EQ_RAT11 0s..60s/500ms 1.06", "STSO2FT1 0s..60s/1s 4"}, false},
		{"two per cent", []string{closed, stoich, "STSO2FT1 0s..60s/1s 2"}, false},
	} {
		_, w := played(t, analysis.Config{By: analysis.ByMixture}, c.scripts...)
		if got := w.Verdict().Conclusion; (got == analysis.SensorSkewed) != c.skewed || !c.skewed && got == analysis.LoopProven {
			t.Errorf("%s: %s", c.name, got)
		}
	}
}

// The rear wire held to ground for six seconds or more is a hold, unless a cut explains it; what the computer then asks for is a proof.
func TestRearHoldsInText(t *testing.T) {
	const before = "0s..19.5s/500ms 0.65"
	asked := "EQ_RAT 0s..20s/500ms 1; 20.5s..35s/500ms 0.98; 35.5s..60s/500ms 1"
	shown := "EQ_RAT11 0s..20s/500ms 1; 20.5s..35s/500ms 0.98; 35.5s..60s/500ms 1"
	for _, c := range []struct {
		name           string
		scripts        []string
		want           string
		adds, delivery analysis.State
	}{
		{"held, asked and shown", []string{closed, asked, shown, "O2S12 " + before + "; 20s..35s/500ms 0.02; 35.5s..60s/500ms 0.7"}, "ready 2, force_begins 20, force_ends 35, sensor_answers 36", analysis.Proven, analysis.Proven},
		{"asked, not shown", []string{closed, asked, stoich, "O2S12 " + before + "; 20s..35s/500ms 0.02; 35.5s..60s/500ms 0.7"}, "ready 2, force_begins 20, force_ends 35, sensor_answers 36", analysis.Proven, analysis.Unclear},
		{"not asked", []string{closed, "EQ_RAT 0s..60s/500ms 1", stoich, "O2S12 " + before + "; 20s..35s/500ms 0.02; 35.5s..60s/500ms 0.7"}, "ready 2, force_begins 20, force_ends 35, sensor_answers 36", analysis.Unclear, analysis.Untested},
		{"for five seconds", []string{closed, stoich, "O2S12 " + before + "; 20s..25s/500ms 0.02; 25.5s..60s/500ms 0.7"}, "ready 2", analysis.Untested, analysis.Untested},
		{"it lies lean, but not at ground", []string{closed, stoich, "O2S12 " + before + "; 20s..35s/500ms 0.1; 35.5s..60s/500ms 0.7"}, "ready 2", analysis.Untested, analysis.Untested},
		{"after a cut", []string{closed, "EQ_RAT11 0s..19s/500ms 1; 19.5s..22s/500ms 1.8; 22.5s..60s/500ms 1", "O2S12 " + before + "; 20s..30s/500ms 0.02; 30.5s..60s/500ms 0.7"}, "ready 2", analysis.Untested, analysis.Untested},
		{"it stays lean after the release", []string{closed, asked, shown, "O2S12 " + before + "; 20s..35s/500ms 0.02; 35.5s..60s/500ms 0.3"}, "ready 2, force_begins 20, force_ends 35", analysis.Proven, analysis.Proven},
	} {
		got, w := played(t, analysis.Config{By: analysis.ByWire, Sensor: decode.SensorID{Bank: 1, Position: 2}}, c.scripts...)
		scripttest.Tells(t, c.name, got, c.want)
		for _, p := range w.Verdict().Proofs {
			if want := map[analysis.ProofID]analysis.State{analysis.ProofAddsFuel: c.adds, analysis.ProofDelivery: c.delivery}[p.ID]; want != "" && p.State != want {
				t.Errorf("%s: %s is %s, want %s", c.name, p.ID, p.State, want)
			}
		}
	}
}

// Pauses of the watched readings are told once each; a slow bus has none.
func TestGapsInText(t *testing.T) {
	for _, c := range []struct{ name, ratio, want string }{
		{"none", "EQ_RAT11 0s..30s/200ms 1", "ready 2"},
		{"ten seconds", "EQ_RAT11 0s..10s/200ms 1; 20s..30s/200ms 1", "ready 2, gap 10"},
		{"two of them", "EQ_RAT11 0s..10s/200ms 1; 20s..30s/200ms 1; 40s..50s/200ms 1", "ready 2, gap 10, gap 30"},
		{"two and a half", "EQ_RAT11 0s..10s/200ms 1; 12.5s..30s/200ms 1", "ready 2"},
		{"a bus that reads each four seconds", "EQ_RAT11 0s..60s/4s 1", "ready 4"},
	} {
		got, w := played(t, analysis.Config{By: analysis.ByMixture}, c.ratio)
		scripttest.Tells(t, c.name, got, c.want)
		if e := w.Gap(70*time.Second, 75*time.Second, "link lost"); len(e) != 1 || e[0].From != 70 || e[0].To != 75 || w.now != 75 {
			t.Errorf("%s: a gap of the line is told as %+v", c.name, e)
		}
	}
}

// What is forced before the engine is warm is told and judges nothing; warm, the same is a fault. So it is whether the sensor moved or not.
func TestColdJudgesNothing(t *testing.T) {
	const (
		still = "EQ_RAT11 0s..90s/200ms 1"
		rear  = "O2S12 0s..31s/500ms 0.3; 32s..90s/500ms 0.85"
		trim  = "SHRTFT1 0s..90s/200ms 0"
		moved = "EQ_RAT11 0s..30s/200ms 1; 30.2s..45s/200ms 0.92; 45.2s..90s/200ms 1"
		mark  = "says 30s rich; 45s release"
	)
	status := "FUELSYS1 0s..90s/1s 2"
	for _, c := range []struct {
		name, coolant, ratio string
		want                 analysis.Conclusion
		input                analysis.State
		seen                 bool
		decide               analysis.Step
	}{
		{"warm, it stays", "ECT 0s..90s/1s 90", still, analysis.SensorDead, analysis.Unclear, false, ""},
		{"cold to the end, it stays", "ECT 0s..90s/1s 20", still, analysis.ConclusionNotReady, analysis.Unclear, false, ""},
		{"warm after it, it stays", "ECT 0s..50s/1s 40; 51s..90s/1s 70", still, analysis.ConclusionUnclear, analysis.Unclear, false, analysis.FeedPropane},
		{"warm after it, it moves", "ECT 0s..50s/1s 40; 51s..90s/1s 70", moved, analysis.ConclusionUnclear, analysis.Unclear, true, analysis.FeedPropane},
		{"warm, it moves", "ECT 0s..90s/1s 90", moved, analysis.ConclusionUnclear, analysis.Proven, true, analysis.FeedPropane},
		{"no coolant is read", "RPM 0s..90s/1s 700", still, analysis.SensorDead, analysis.Unclear, false, ""},
	} {
		events, w := played(t, analysis.Config{By: analysis.ByMixture}, c.coolant, c.ratio, rear, trim, status, mark)
		seen := slices.ContainsFunc(events, func(e scripttest.Event) bool { return e.Name == string(analysis.ForceBegins) })
		v := w.Verdict()
		if v.Conclusion != c.want || v.Proofs[0].State != c.input || seen != c.seen || c.decide != "" && v.Decide != c.decide {
			t.Errorf("%s: %s, %s, told %v, %s; want %s, %s, %v, %s", c.name, v.Conclusion, v.Proofs[0].State, seen, v.Decide, c.want, c.input, c.seen, c.decide)
		}
	}
}

// More forces than are judged are counted, and said to be so many.
func TestManyForcesAreTold(t *testing.T) {
	for _, more := range []int{0, 1, 8} {
		w := New(analysis.Config{By: analysis.ByMixture})
		for i := range maxForces + more {
			at := time.Duration(20+30*i) * time.Second
			w.Mark(at, analysis.Rich)
			w.Release(at + 10*time.Second)
		}
		why := w.Verdict().Proofs[0].Why
		i := slices.IndexFunc([]reason.Clause(why), func(p reason.Clause) bool { return p.Code == reason.OnlyFirstForces })
		if len(w.told) != maxForces || (i >= 0) != (more > 0) || i >= 0 && !slices.Equal(why[i].Figures, reason.OnlyFirstForces.Of(maxForces, more)[0].Figures) {
			t.Errorf("%d more: %v", more, why)
		}
	}
}
