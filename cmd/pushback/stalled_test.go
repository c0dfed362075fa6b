package main

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"pushback/obd/simcar"
)

// An engine that stops by itself in a hold: RELEASE is said at once, and nobody says that the computer let go of the sensor.
func TestEngineStopsInAHold(t *testing.T) {
	if testing.Short() {
		t.Skip("whole sessions")
	}
	sim, err := simcar.New(simcar.Config{Car: simCar(t, "start-stop"), Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	a, out, errOut := testApp(t, filepath.Join(t.TempDir(), "p.db"))
	r := demoRun(sim)
	r.flags.car.sensor = "B1S1"
	var end concluded
	if err := a.runLive(t.Context(), r); err != nil && !errors.As(err, &end) {
		t.Fatalf("%v\n%s", err, errOut)
	}
	if !strings.Contains(errOut.String(), "engine stopped") {
		t.Errorf("nobody is told that it stopped:\n%s", errOut)
	}
	for _, text := range []string{out.String(), errOut.String()} {
		if strings.Contains(text, `"decide":"shorter_hold"`) || strings.Contains(text, "ECM LET GO") || strings.Contains(text, "let go of the sensor") || strings.Contains(text, "computer_lets_go") {
			t.Errorf("the computer is said to have let go:\n%s", text)
		}
	}
}
