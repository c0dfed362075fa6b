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
// scale are told apart, and leaves the map of the car's fault.
func TestLedDrive(t *testing.T) {
	if testing.Short() {
		t.Skip("drives for twenty minutes")
	}
	sim, err := simcar.New(simcar.Config{Car: simCar(t, "vacuum-leak"), Seed: 11, Drive: simcar.Town})
	if err != nil {
		t.Fatal(err)
	}
	a, out, errOut := testApp(t, filepath.Join(t.TempDir(), "p.db"))
	r := liveRun{look: lookOf(sim, obd.BusUnknown), origin: "simulated"}
	r.flags.car.sensor, r.flags.dur = "B1S1", 40*time.Minute
	if err := a.runLead(t.Context(), r, 0); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"DRIVE: warm idle", "! Carbon monoxide", "of 15 s for this step", "ENOUGH: leak, supply and scale are told apart"} {
		if !strings.Contains(errOut.String(), want) {
			t.Errorf("%q is missing in:\n%s", want, errOut)
		}
	}
	for _, want := range []string{`"step":"map_idle"`, `"step":"done"`, `"pattern":"adds_at_idle"`} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%s is missing in:\n%s", want, out)
		}
	}
	if end := sim.Now(); end > 39*time.Minute {
		t.Errorf("it went on for %v", end)
	}
	t.Logf("after %v\n%s", sim.Now(), errOut)
}
