package main

import (
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/sheet"
	"pushback/obd"
	"pushback/obd/simcar"
)

// recordSim records a simulated car in simulated time by the path of `record`, and
// returns the session's id.
func recordSim(t testing.TB, db string, cfg simcar.Config, dur time.Duration, by ...analysis.By) string {
	t.Helper()
	sim, err := simcar.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	a, out, errOut := testApp(t, db)
	r := liveRun{look: lookOf(sim, cfg.Bus), origin: "simulated"}
	r.flags.car.sensor, r.flags.dur = cfg.Car.Sensor, dur
	if len(by) > 0 {
		r.by = by[0]
	}
	_ = a.runLive(context.Background(), r) // the status is the verdict's
	var head struct{ ID string }
	if err := json.NewDecoder(out).Decode(&head); err != nil || head.ID == "" {
		t.Fatalf("no session: %v: %s", err, errOut)
	}
	return head.ID
}

func simCar(t testing.TB, name string) simcar.Car {
	t.Helper()
	car, err := simcar.Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return car
}

// Each fault that a trim map can tell, in a simulated car driven in town for twenty
// minutes: the pattern is the one that the trade's table gives that fault.
func TestTrimsOfSimulatedCars(t *testing.T) {
	if testing.Short() {
		t.Skip("drives cars for twenty minutes")
	}
	for _, tt := range []struct {
		car, want string
		bus       obd.Bus
		a         float64 // % · g/s that the car was given; 0: not looked at
	}{
		{"healthy", "normal", obd.ISO9141, 0},
		{"vacuum-leak", "adds_at_idle", obd.CAN11at500, 36},
		{"exhaust-leak", "adds_at_idle", obd.ISO9141, 0},
		{"rich-injector", "cuts_at_idle", obd.ISO9141, -36},
		{"supply-weak", "adds_at_load", obd.ISO9141, 0},
		{"air-meter-low", "adds_all", obd.ISO9141, 0},
		{"purge-rich", "normal", obd.ISO9141, 0},
		{"bank-restricted", "cuts_at_load", obd.ISO9141, 0},
		{"boost-leak", "adds_then_cuts", obd.ISO9141, 0},
		{"crossed-banks", "", obd.CAN11at500, 0},
	} {
		t.Run(tt.car, func(t *testing.T) {
			t.Parallel()
			db := filepath.Join(t.TempDir(), "p.db")
			id := recordSim(t, db, simcar.Config{Car: simCar(t, tt.car), Bus: tt.bus, Seed: 11, Drive: simcar.Town}, 20*time.Minute, analysis.ByNothing)
			out, _ := command(t, "trims", id, "--json", "--db", db)
			var j sheet.Trims
			if err := json.Unmarshal([]byte(out), &j); err != nil {
				t.Fatal(err)
			}
			if tt.car == "purge-rich" {
				if p := j.Banks[0].Purge; p == nil || !strings.Contains(p.Says, "comes through the purge valve") {
					t.Errorf("purge: %+v", p)
				}
			}
			if tt.car == "bank-restricted" {
				if j.Pair == nil || j.Pair.Name != trimmap.Restricted || j.Pair.Bank != 1 {
					t.Errorf("together: %s", out)
				}
				j.Banks = j.Banks[:1]
			}
			if tt.car == "crossed-banks" { // each bank's own pattern is what its trim could reach
				if j.Pair == nil || j.Pair.Name != trimmap.Opposite {
					t.Errorf("together: %s", out)
				}
				return
			}
			if len(j.Banks) != 1 || string(j.Banks[0].Pattern) != tt.want {
				t.Fatalf("want %s: %s", tt.want, out)
			}
			if f := j.Banks[0].Fit; tt.a != 0 && math.Abs(f.A.Value-tt.a) > 8 {
				t.Errorf("a is %+.1f (%+.1f to %+.1f), the car has %+.1f", f.A.Value, f.A.Lo, f.A.Hi, tt.a)
			}
			text, _ := command(t, "trims", id, "--db", db)
			t.Logf("\n%s", text)
		})
	}
}
