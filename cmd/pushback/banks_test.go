package main

import (
	"encoding/json"
	"errors"
	"path/filepath"
	"slices"
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

// both is what `show --json` tells of a force that reached both banks.
type both struct {
	Says, Side string
	Wire       bool
	Apart      float64 `json:"apart_s"`
	Banks      []struct {
		Bank     int
		Moved    float64 `json:"moved_pct"`
		Gain     *float64
		AfterMin *float64 `json:"after_min_s"`
		AfterMax *float64 `json:"after_max_s"`
	}
}

// Propane reaches both banks of an engine, and what it should move trim by is the mass balance; two wires held 5 s apart
// are answered by their own banks, 5 s apart.
func TestBothBanks(t *testing.T) {
	if testing.Short() {
		t.Skip("whole sessions")
	}
	held := func(at int, option string) simcar.Force {
		f, err := simcar.ParseForce("lean@" + time.Duration(time.Duration(at)*time.Second).String() + "+15s" + option)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	for _, tt := range []struct {
		name, says string
		mixture    bool
		forces     []simcar.Force
	}{
		{"propane", "alike", true, nil},
		{"wires", "each_its_own", false, []simcar.Force{held(40, ""), held(45, ":other")}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			sim, err := simcar.New(simcar.Config{Car: simCar(t, "v-engine"), Seed: 4, Forces: tt.forces})
			if err != nil {
				t.Fatal(err)
			}
			db := filepath.Join(t.TempDir(), "p.db")
			a, _, errOut := testApp(t, db)
			r := liveRun{look: lookOf(sim, obd.BusUnknown), origin: "simulated"}
			r.flags.car.sensor, r.flags.dur = "B1S1", 75*time.Second
			if tt.mixture {
				r = demoRun(sim)
				r.by, r.flags.car.sensor, r.flags.propane = analysis.ByMixture, "B1S1", 1.05 // 12 % of 4.2 g/s
				r.technician = func(c live.Controls) rig.Technician {
					return &simrun.Technician{Hands: hands.New(hands.Styles[0], sim, "mixture"), By: analysis.ByMixture, Controls: c}
				}
			}
			var end concluded
			if err := a.runLive(t.Context(), r); err != nil && !errors.As(err, &end) {
				t.Fatalf("%v\n%s", err, errOut)
			}
			out, _ := command(t, "show", "last", "--json", "--db", db)
			var seen struct {
				Verdict struct{ Conclusion string }
				Found   struct {
					Measures struct {
						Both []both `json:"both_banks"`
					}
				}
			}
			if err := json.Unmarshal([]byte(out), &seen); err != nil {
				t.Fatal(err)
			}
			all := seen.Found.Measures.Both
			all = slices.DeleteFunc(all, func(b both) bool { return tt.mixture && b.Side != "rich" }) // a hose is no measured flow
			if len(all) == 0 {
				t.Fatalf("nothing of both banks:\n%s\n%s", errOut, out)
			}
			b := all[0]
			t.Logf("%s: %+v", seen.Verdict.Conclusion, b)
			if b.Says != tt.says || b.Wire == tt.mixture {
				t.Errorf("%+v, want %s", b, tt.says)
			}
			for i, m := range b.Banks {
				if m.Bank != i+1 || m.AfterMax == nil || *m.AfterMax < 0 || *m.AfterMax > 4 {
					t.Errorf("bank %d: %+v", i+1, m)
				}
				if tt.mixture && (m.Gain == nil || *m.Gain < 0.8 || *m.Gain > 1.2) {
					t.Errorf("bank %d: %+v of what propane should move", i+1, m)
				}
			}
			if !tt.mixture && (b.Apart < 4 || b.Apart > 6.5) {
				t.Errorf("held %v s apart", b.Apart)
			}
		})
	}
}

// A snap of the throttle shows a good sensor's fast rise and a lazy one's slow one where there are ten readings a second, and is
// refused on a slow bus, with what to do instead.
func TestSnapThrottle(t *testing.T) {
	if testing.Short() {
		t.Skip("whole sessions")
	}
	for _, tt := range []struct {
		name, car, want string
		bus             obd.Bus
	}{
		{"good", "healthy", "the sensor reads both sides", obd.CAN11at500},
		{"lazy", "sensor-lazy", "slower than a good one", obd.CAN11at500},
		{"slow bus", "healthy", "use a scope on the signal", obd.ISO9141},
	} {
		t.Run(tt.name, func(t *testing.T) {
			db := filepath.Join(t.TempDir(), "p.db")
			id := recordSim(t, db, simcar.Config{Car: simCar(t, tt.car), Bus: tt.bus, Seed: 2,
				Forces: []simcar.Force{{Kind: simcar.ForceSnap, At: 30 * time.Second}}}, 50*time.Second)
			out, _ := command(t, "show", id, "--db", db)
			if n := strings.Count(out, "snap throttle"); n != 1 || !strings.Contains(strings.Join(strings.Fields(out), " "), tt.want) {
				t.Errorf("%d snaps, want %q in:\n%s", n, tt.want, out)
			}
			out, _ = command(t, "show", id, "--db", db, "--json")
			if strings.Contains(out, `"event":"force_begins"`) {
				t.Errorf("taken for a force: %s", out)
			}
			var seen struct {
				Found struct {
					Measures struct {
						Snap []struct {
							T, High, Low float64
							Shown        bool
							Rise         *float64 `json:"rise_max_s"`
						} `json:"snap_throttle"`
					}
				}
			}
			if err := json.Unmarshal([]byte(out), &seen); err != nil {
				t.Fatal(err)
			}
			t.Logf("%+v", seen.Found.Measures.Snap)
		})
	}
}
