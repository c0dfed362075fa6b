package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/obd"
	"pushback/obd/simcar"
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
