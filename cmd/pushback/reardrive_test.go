package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/simrun"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
)

// A drive through town judged by the sensor behind the catalyst, where nobody said what is forced: a sound one passes, and nothing is
// said of the loop; a dead one is found. The replay is the session, byte for byte, and the report says the same.
func TestRearDrive(t *testing.T) {
	for _, c := range []struct {
		car, want string
		bus       obd.Bus
		all       bool // run with -short too
		has       []string
	}{
		{"healthy", "partly_proven", obd.CAN11at500, true, []string{`"id":"sensor_lean","state":"proven"`, `"id":"sensor_rich","state":"proven"`, `"decide":"front_sensor"`, `"id":"input","state":"untested"`}},
		{"healthy", "partly_proven", obd.ISO9141, false, []string{`"id":"sensor_lean","state":"proven"`, `"id":"sensor_rich","state":"proven"`}},
		{"rear-stuck-rich", "sensor_dead", obd.PWM, false, []string{`"id":"sensor_lean","state":"failed"`, `"event":"sensor_silent","toward":"lean"`}},
		{"rear-stuck-lean", "sensor_dead", obd.PWM, false, []string{`"id":"sensor_rich","state":"failed"`, "exhaust leak ahead of this sensor"}},
		{"rear-wire-open", "sensor_dead", obd.PWM, false, []string{`"id":"sensor_lean","state":"failed"`}},
		{"diesel", "not_ready", obd.ISO9141, false, nil},
	} {
		t.Run(c.car+" "+c.bus.String(), func(t *testing.T) {
			if testing.Short() && !c.all {
				t.Skip("drives for minutes")
			}
			t.Parallel()
			sim, err := simcar.New(simcar.Config{Car: simCar(t, c.car), Seed: 5, Drive: simcar.Pulls, Bus: c.bus})
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			db := filepath.Join(dir, "p.db")
			a, out, errOut := testApp(t, db)
			r := liveRun{look: lookOf(sim, c.bus), name: "record", ask: c.car != "diesel", by: analysis.ByFuelCut, origin: "simulated"}
			r.flags.car.sensor, r.flags.dur, r.flags.samples = "B1S2", 80*time.Second, true
			status := statusDone
			var end concluded
			if err := a.runLive(t.Context(), r); errors.As(err, &end) {
				status = int(end)
			} else if err != nil {
				t.Fatal(err)
			}
			live := out.String()
			var short []string
			for _, line := range strings.Split(live, "\n") {
				if !strings.Contains(line, `"sample"`) {
					short = append(short, line)
				}
			}
			told := strings.Join(short, "\n")
			for _, w := range append(c.has, `"conclusion":"`+c.want+`"`, `"by":"fuelcut"`) {
				if !strings.Contains(told, w) {
					t.Errorf("%s is missing", w)
				}
			}
			again, s := command(t, "replay", "last", "--json", "--samples", "--db", db)
			if again != live || s != status {
				t.Errorf("status %d, of the replay %d; it differs from live%s", status, s, firstDifference(live, again))
			}
			file := filepath.Join(dir, "r.html")
			command(t, "report", "last", "--out", file, "--db", db)
			html, err := os.ReadFile(file)
			if err != nil || strings.Contains(string(html), "%!") || c.want != "not_ready" && !strings.Contains(string(html), "catalytic converter") {
				t.Errorf("report: %v", err)
			}
			show, _ := command(t, "show", "last", "--db", db)
			t.Logf("%s\n%s\n%s", errOut, told, show)
		})
	}
}

// The same drive led, as test leads through it where nothing was said of what is forced: two fuel cuts and two pulls, each with the caution of
// the road, nothing tapped, and the replay is the session.
func TestRearDriveLed(t *testing.T) {
	for _, c := range []struct {
		car, want string
		all       bool // run with -short too
	}{{"healthy", "partly_proven", true}, {"rear-stuck-rich", "sensor_dead", false}, {"diesel", "not_ready", false}} {
		t.Run(c.car, func(t *testing.T) {
			if testing.Short() && !c.all {
				t.Skip("drives for minutes")
			}
			t.Parallel()
			sim, err := simcar.New(simcar.Config{Car: simCar(t, c.car), Seed: 5, BranchByHand: true})
			if err != nil {
				t.Fatal(err)
			}
			db := filepath.Join(t.TempDir(), "p.db")
			a, out, errOut := testApp(t, db)
			r := demoRun(sim)
			r.ask, r.by, r.flags.car.sensor = c.car != "diesel", analysis.ByFuelCut, "B1S2"
			r.technician = func(c live.Controls) rig.Technician {
				return &simrun.Technician{Hands: hands.New(hands.Styles[0], sim, "B1S2"), Controls: c}
			}
			if c.car != "diesel" {
				r.by = analysis.ByWire // as the flag has it where it was not given
			}
			var end concluded
			if err := a.runLive(t.Context(), r); err != nil && !errors.As(err, &end) {
				t.Fatal(err)
			}
			told := out.String()
			want := []string{`"conclusion":"` + c.want + `"`, `"by":"fuelcut"`}
			if c.want != "not_ready" {
				want = append(want, `"step":"lift_off","side":"lean"`, `"step":"full_load","side":"rich"`, "A second person drives or watches the screen")
			}
			for _, w := range want {
				if !strings.Contains(told, w) {
					t.Errorf("%s is missing", w)
				}
			}
			if n := strings.Count(told, `"event":"force_begins","side":"lean"`); c.want != "not_ready" && n < 2 || strings.Contains(told, "go_lean") {
				t.Errorf("%d fuel cuts", n)
			}
			var events []string
			for _, line := range strings.Split(told, "\n") {
				if !strings.Contains(line, `"kind":"step"`) {
					events = append(events, line)
				}
			}
			if again, _ := command(t, "replay", "last", "--json", "--db", db); again != strings.Join(events, "\n") {
				t.Errorf("the replay differs%s", firstDifference(strings.Join(events, "\n"), again))
			}
			t.Logf("after %v\n%s\n%s", sim.Now(), errOut, told)
		})
	}
}
