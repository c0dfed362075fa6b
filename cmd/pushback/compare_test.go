package main

import (
	"encoding/json"
	"flag"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/analysis/compare"
	"pushback/cmd/internal/sheet"
	"pushback/obd"
	"pushback/obd/simcar"
)

// unchanged records one simulated car twice, on two days (seeds), and compares.
func unchanged(t testing.TB, name string, seed uint64) sheet.Comparison {
	db := filepath.Join(t.TempDir(), "p.db")
	var ids [2]string
	for i := range ids {
		cfg := simcar.Config{Car: simCar(t, name), Bus: obd.ISO9141, Seed: 2*seed + uint64(i), Drive: simcar.Town}
		ids[i] = recordSim(t, db, cfg, 8*time.Minute)
	}
	return compareSessions(t, db, ids[0], ids[1])
}

func compareSessions(t testing.TB, db, before, after string) sheet.Comparison {
	t.Helper()
	out, _ := command(t, "compare", before, after, "--json", "--db", db)
	var c sheet.Comparison
	if err := json.Unmarshal([]byte(out), &c); err != nil {
		t.Fatal(err)
	}
	return c
}

// Two recordings of one unchanged car are not called a repair, whatever its fault.
// BenchmarkUnchanged tells how often over many pairs.
func TestCompareUnchanged(t *testing.T) {
	if testing.Short() {
		t.Skip("records for many minutes of session time")
	}
	for i, name := range []string{"healthy", "vacuum-leak", "supply-weak", "v-engine"} {
		if c := unchanged(t, name, uint64(i)); c.Answer != compare.NoDifference || len(c.Cells) == 0 {
			t.Errorf("%s against itself: %s: %s", name, c.Answer, c.Why)
		}
	}
}

var unchangedFrom = flag.Uint64("unchanged-from", 1, "first seed of BenchmarkUnchanged's cars")

// BenchmarkUnchanged draws random sound cars, records each on two days (another batch of
// fuel, another drive through town) and tells how often the comparison calls that a repair or
// a change, and how often any figure of the sensor's switching is said to differ.
func BenchmarkUnchanged(b *testing.B) {
	for _, tt := range []struct {
		name string
		bus  obd.Bus
		of   func(uint64) simcar.Config
	}{
		{"", obd.ISO9141, simcar.RandomSound}, {"", obd.VPW, simcar.RandomSound}, {"", obd.ISO14230Fast, simcar.RandomSound},
		{"", obd.CAN11at500, simcar.RandomSound}, {"j1979-2 ", obd.CAN11at500, simcar.RandomSecond},
	} {
		b.Run(tt.name+tt.bus.String(), func(b *testing.B) {
			got := map[compare.Answer]int{}
			n, moved, differs := 0, 0, 0
			for b.Loop() {
				seed := *unchangedFrom + uint64(n)
				car := tt.of(seed).Car
				db := filepath.Join(b.TempDir(), "p.db")
				var ids [2]string
				for day := range ids {
					s := 2*seed + uint64(day)
					ids[day] = recordSim(b, db, simcar.Config{Car: simcar.AnotherDay(car, s), Bus: tt.bus, Seed: s, Drive: simcar.Town}, 8*time.Minute)
				}
				c := compareSessions(b, db, ids[0], ids[1])
				got[c.Answer]++
				if c.Shifted {
					moved++
				}
				if slices.ContainsFunc(c.Sensor, func(f sheet.Figure) bool { return f.Answer == compare.Differs }) {
					differs++
				}
				n++
			}
			share := func(k int) float64 { return 100 * float64(k) / float64(n) }
			b.ReportMetric(share(got[compare.Better]), "%better")
			b.ReportMetric(share(got[compare.Worse]), "%worse")
			b.ReportMetric(share(moved), "%moved")
			b.ReportMetric(share(differs), "%switching")
			b.ReportMetric(share(got[compare.NotComparable]), "%incomparable")
		})
	}
}

// A vacuum leak that was repaired: trims better, and so told.
func TestCompareRepaired(t *testing.T) {
	if testing.Short() {
		t.Skip("records for many minutes of session time")
	}
	db := filepath.Join(t.TempDir(), "p.db")
	record := func(name string, seed uint64) string {
		return recordSim(t, db, simcar.Config{Car: simCar(t, name), Bus: obd.ISO9141, Seed: seed, Drive: simcar.Town}, 10*time.Minute)
	}
	before, after := record("vacuum-leak-large", 1), record("healthy", 2)
	c := compareSessions(t, db, before, after)
	if c.Answer != compare.Better {
		t.Errorf("repaired: %s: %s", c.Answer, c.Why)
	}
	if len(c.Codes) != 1 || c.Codes[0].Code != "P0171" || c.Codes[0].Change != "gone" {
		t.Errorf("codes: %+v", c.Codes)
	}
	if c := compareSessions(t, db, after, before); c.Answer != compare.Worse {
		t.Errorf("the other way round: %s: %s", c.Answer, c.Why)
	}
	if c.Freeze[0] == nil || c.Freeze[0].Code != "P0171" || c.Freeze[1] != nil {
		t.Errorf("freeze frames: %+v", c.Freeze)
	}
	tests := map[string]sheet.TestPair{}
	for _, p := range c.Tests {
		tests[p.ID] = p
	}
	if p := tests["05 08"]; p.Before == nil || p.After == nil || p.Change == "" {
		t.Errorf("own test of the highest voltage: %+v", p)
	}
}

// A lazy sensor that was replaced: it switches differently, and by more than a recording
// scatters; a guided test is too short to say that, but its verdict tells it, and its answers are compared by their
// intervals.
func TestCompareSensorReplaced(t *testing.T) {
	if testing.Short() {
		t.Skip("records for many minutes of session time")
	}
	db := filepath.Join(t.TempDir(), "p.db")
	var long, guided [2]string
	for i, name := range []string{"sensor-lazy", "healthy"} {
		long[i] = recordSim(t, db, simcar.Config{Car: simCar(t, name), Bus: obd.CAN11at500, Seed: uint64(i + 1)}, 3*time.Minute)
		a, out, _ := testApp(t, db)
		_ = guidedRun(t, a, simCar(t, name), obd.ISO14230Fast, false)
		var head struct{ ID string }
		if err := json.NewDecoder(out).Decode(&head); err != nil {
			t.Fatal(err)
		}
		guided[i] = head.ID
	}
	a, out, _ := testApp(t, db)
	_ = guidedRun(t, a, simCar(t, "slow-integrator"), obd.ISO14230Fast, false)
	var head struct{ ID string }
	if err := json.NewDecoder(out).Decode(&head); err != nil {
		t.Fatal(err)
	}
	slow := head.ID
	answers := func(c sheet.Comparison) map[string]compare.Answer {
		got := map[string]compare.Answer{}
		for _, f := range c.Sensor {
			got[f.What] = f.Answer
		}
		for _, f := range c.Force {
			got[f.What] = f.Answer
		}
		return got
	}
	for _, tt := range []struct {
		ids  [2]string
		want map[string]compare.Answer
	}{
		{long, map[string]compare.Answer{"idle: highest voltage (99 %)": compare.Differs, "idle: period": compare.Differs, "conclusion": compare.NotComparable}},
		{[2]string{long[1], long[1]}, map[string]compare.Answer{"idle: highest voltage (99 %)": compare.NoDifference, "idle: period": compare.NoDifference}},
		{guided, map[string]compare.Answer{"idle: period": compare.NotComparable, "conclusion": compare.Differs, "answer to lean": compare.NoDifference, "speed of answer to lean": compare.NoDifference}},
		{[2]string{guided[1], slow}, map[string]compare.Answer{"conclusion": compare.NoDifference, "speed of answer to lean": compare.Differs}},
	} {
		got := answers(compareSessions(t, db, tt.ids[0], tt.ids[1]))
		for what, want := range tt.want {
			if got[what] != want {
				t.Errorf("%v: %s: %q, want %q", tt.ids, what, got[what], want)
			}
		}
	}
}

// Codes that the test itself set are told apart from those of before.
func TestCodesByTest(t *testing.T) {
	db := filepath.Join(t.TempDir(), "p.db")
	a, _, _ := testApp(t, db)
	_ = guidedRun(t, a, simCar(t, "monitor-trips"), obd.BusUnknown, false)
	out, _ := command(t, "show", "last", "--json", "--db", db)
	var s struct{ Found sheet.Stored }
	if err := json.Unmarshal([]byte(out), &s); err != nil {
		t.Fatal(err)
	}
	if c := s.Found.Codes; len(c) == 0 || !c[0].ByTest || c[0].State != "pending" {
		t.Errorf("%+v", c)
	}
	if len(s.Found.Switching) == 0 || len(s.Found.Tests) == 0 {
		t.Errorf("no switching figures or own tests: %s", out)
	}
	// A replay has them too.
	out, _ = command(t, "replay", "last", "--json", "--found", "--db", db)
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var line struct {
		Kind string
		sheet.VehicleData
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-2]), &line); err != nil {
		t.Fatal(err)
	}
	if line.Kind != "found" || len(line.Codes) == 0 || !line.Codes[0].ByTest || len(line.Tests) == 0 {
		t.Errorf("%+v", line)
	}
}

// What the computers told is the same live and in a replay.
func TestFoundReplayEqualsLive(t *testing.T) {
	db := filepath.Join(t.TempDir(), "p.db")
	sim, err := simcar.New(simcar.Config{Car: simCar(t, "vacuum-leak-large"), Bus: obd.ISO14230Slow, Seed: 4})
	if err != nil {
		t.Fatal(err)
	}
	a, out, _ := testApp(t, db)
	r := liveRun{look: lookOf(sim, obd.ISO14230Slow), origin: "simulated"}
	r.flags.car.sensor, r.flags.dur, r.flags.found = "B1S1", time.Minute, true
	_ = a.runLive(t.Context(), r) // the status is the verdict's
	live := out.String()
	if replayed, _ := command(t, "replay", "last", "--json", "--found", "--db", db); replayed != live || !strings.Contains(live, `{"kind":"found","codes":[{"code":"P0171"`) {
		t.Errorf("live:\n%s\nreplay:\n%s", live, replayed)
	}
}
