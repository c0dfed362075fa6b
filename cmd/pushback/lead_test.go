package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/obd"
	"pushback/obd/simcar"
)

// The drive is led from the idle on, each step with its caution, ends by itself once leak, supply and
// scale are told apart and it has idled again, and leaves the map of the car's fault; nobody has forced anything, and
// none of a wire test's cautions is said.
func TestLedDrive(t *testing.T) {
	if testing.Short() {
		t.Skip("drives for minutes")
	}
	for _, tt := range []struct {
		car, pattern, idle string
		seed               uint64
		steps              []string
	}{
		{"vacuum-leak", "adds_at_idle", "idle trim is the same", 16, []string{"map_idle", "map_1500", "map_idle_again", "done"}},
		{"supply-weak", "adds_at_load", "idle trim is the same", 3, []string{"map_idle", "map_pull", "done"}},
		{"leak-learned", "normal", "walked back toward zero", 16, []string{"map_idle", "map_idle_again", "done"}},
	} {
		t.Run(tt.car, func(t *testing.T) {
			t.Parallel()
			sim, err := simcar.New(simcar.Config{Car: simCar(t, tt.car), Seed: tt.seed, Drive: simcar.Town, Bus: obd.ISO9141})
			if err != nil {
				t.Fatal(err)
			}
			db := filepath.Join(t.TempDir(), "p.db")
			a, out, errOut := testApp(t, db)
			r := liveRun{look: lookOf(sim, obd.ISO9141), origin: "simulated"}
			r.flags.car.sensor, r.flags.dur = "B1S1", 40*time.Minute
			if err := a.runLead(t.Context(), r, 2.0); err != nil {
				t.Fatal(err)
			}
			want := []string{"Eyes on the road", "DRIVE: warm idle", "! Carbon monoxide", "of 15 s for this step", "ENOUGH: "}
			for _, w := range want {
				if !strings.Contains(errOut.String(), w) {
					t.Errorf("%q is missing in:\n%s", w, errOut)
				}
			}
			if strings.Contains(errOut.String(), "12 V") {
				t.Errorf("a wire test's cautions:\n%s", errOut)
			}
			want = []string{`"pattern":"` + tt.pattern + `"`, tt.idle, `"conclusion":"nothing_forced"`, `"by":"nothing"`}
			if tt.car == "supply-weak" { // its pulls fill the cylinders
				want = append(want, `"says":"fills"`)
			}
			for _, s := range tt.steps {
				want = append(want, `"step":"`+s+`"`)
			}
			for _, w := range want {
				if !strings.Contains(out.String(), w) {
					t.Errorf("%s is missing in:\n%s", w, out)
				}
			}
			if end := sim.Now(); end < 5*time.Minute || end > 39*time.Minute {
				t.Errorf("it went on for %v", end)
			}
			again, _ := command(t, "replay", "last", "--json", "--db", db)
			if !strings.Contains(again, `"conclusion":"nothing_forced"`) {
				t.Errorf("replayed:\n%s", again)
			}
			t.Logf("after %v\n%s\n%s", sim.Now(), errOut, out)
		})
	}
}
