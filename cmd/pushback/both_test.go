package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/simrun"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
)

// bankVerdict is one bank's part of the verdict on two wires.
type bankVerdict struct {
	Sensor, Conclusion string
	Proofs             []struct{ ID, State, Why string }
	Beside             *bankVerdict
}

func (v *bankVerdict) state(id string) string {
	for _, p := range v.Proofs {
		if p.ID == id {
			return p.State
		}
	}
	return ""
}

// Both banks' wires are held, 5 s apart: each bank has its verdict, swapped sensors and a bank that follows nothing are named,
// and the replay is equal byte for byte.
func TestBothWires(t *testing.T) {
	for _, tt := range []struct {
		car, sensors string
		style        int // of the hands
		first, other bankVerdict
		bank         [2]string // the proof of each
	}{
		{"v-engine", "B1S1,B2S1", 0, bankVerdict{Sensor: "B1S1", Conclusion: "loop_proven"}, bankVerdict{Sensor: "B2S1", Conclusion: "loop_proven"}, [2]string{"proven", "proven"}},
		{"v-engine", "B2S1,B1S1", 1, bankVerdict{Sensor: "B2S1", Conclusion: "loop_proven"}, bankVerdict{Sensor: "B1S1", Conclusion: "loop_proven"}, [2]string{"proven", "proven"}},
		{"crossed-banks", "B1S1,B2S1", 0, bankVerdict{Sensor: "B1S1", Conclusion: "wrong_bank"}, bankVerdict{Sensor: "B2S1", Conclusion: "wrong_bank"}, [2]string{"failed", "failed"}},
		{"crossed-banks", "B1S1,B2S1", 1, bankVerdict{Sensor: "B1S1", Conclusion: "wrong_bank"}, bankVerdict{Sensor: "B2S1", Conclusion: "wrong_bank"}, [2]string{"failed", "failed"}},
		{"crossed-banks", "B1S1,B2S1", 16, bankVerdict{Sensor: "B1S1", Conclusion: "wrong_bank"}, bankVerdict{Sensor: "B2S1", Conclusion: "wrong_bank"}, [2]string{"failed", "failed"}},
		{"second-bank-open", "B1S1,B2S1", 0, bankVerdict{Sensor: "B2S1", Conclusion: "input_dead"}, bankVerdict{Sensor: "B1S1", Conclusion: "loop_proven"}, [2]string{"untested", "proven"}},
	} {
		t.Run(fmt.Sprint(tt.car, " ", tt.sensors, " ", hands.Styles[tt.style].Name), func(t *testing.T) {
			if testing.Short() && (tt.car != "crossed-banks" || tt.style > 0) {
				t.Skip("whole sessions")
			}
			t.Parallel()
			sim, err := simcar.New(simcar.Config{Car: simCar(t, tt.car), Seed: 1, BranchByHand: true})
			if err != nil {
				t.Fatal(err)
			}
			db := filepath.Join(t.TempDir(), "p.db")
			a, out, errOut := testApp(t, db)
			r := demoRun(sim)
			r.flags.car.sensor, r.flags.car.beside, _ = strings.Cut(tt.sensors, ",")
			r.look.car = r.flags.car
			r.technician = func(c live.Controls) rig.Technician {
				style := hands.Styles[tt.style]
				return &simrun.Technician{Hands: hands.New(style, sim, r.flags.car.sensor), Beside: hands.New(style, simcar.OtherWire{Sim: sim}, ""), Controls: c}
			}
			var end concluded
			if err := a.runLive(t.Context(), r); err != nil && !errors.As(err, &end) {
				t.Fatalf("%v\n%s", err, errOut)
			}
			lines := strings.Split(strings.TrimSpace(out.String()), "\n")
			var v bankVerdict
			if err := json.Unmarshal([]byte(lines[len(lines)-1]), &v); err != nil || v.Beside == nil {
				t.Fatalf("no verdict on two banks: %v\n%s", err, lines[len(lines)-1])
			}
			for i, got := range []*bankVerdict{&v, v.Beside} {
				want := []bankVerdict{tt.first, tt.other}[i]
				if got.Sensor != want.Sensor || got.Conclusion != want.Conclusion || got.state("bank") != tt.bank[i] {
					t.Errorf("%s %s, bank %s; want %s %s, %s\n%s", got.Sensor, got.Conclusion, got.state("bank"), want.Sensor, want.Conclusion, tt.bank[i], errOut)
				}
			}
			replayed, _ := command(t, "replay", "last", "--json", "--db", db)
			if live := withoutSteps(out.String()); replayed != live {
				t.Errorf("replay differs from live%s", firstDifference(live, replayed))
			}
			shown, _ := command(t, "show", "last", "--db", db)
			if !strings.Contains(shown, "\n"+tt.first.Sensor+":\n") || !strings.Contains(shown, "\n"+tt.other.Sensor+" ") {
				t.Errorf("show does not name both:\n%s", shown)
			}
			page := filepath.Join(t.TempDir(), "r.html")
			command(t, "report", "last", "--out", page, "--db", db)
			made, err := os.ReadFile(page)
			first := words.SensorPlace(tt.first.Sensor) + "<br>" + words.SensorPlace(tt.other.Sensor)
			bank := ">bank " + tt.first.Sensor[1:2] + "<"
			if err != nil || !strings.Contains(string(made), first) || !strings.Contains(string(made), bank) || !strings.Contains(string(made), "Other sensors") {
				t.Errorf("the report does not name the sensor of its verdict, its bank and the other sensor: %v", err)
			}
		})
	}
}

// Two wires are refused where they cannot be held, and why is said.
func TestBothWiresRefused(t *testing.T) {
	for _, tt := range []struct{ car, sensors, want string }{
		{"healthy", "B1S1,B2S1", "no sensor B2S1"},
		{"wide-scales", "B1S1,B2S1", "its wire must never be held"},
	} {
		sim, err := simcar.New(simcar.Config{Car: simCar(t, tt.car), Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		a, _, _ := testApp(t, filepath.Join(t.TempDir(), "p.db"))
		r := demoRun(sim)
		r.look, r.by = lookOf(sim, obd.BusUnknown), analysis.ByWire
		r.flags.car.sensor, r.flags.car.beside, _ = strings.Cut(tt.sensors, ",")
		err = a.runLive(t.Context(), r)
		if text, _, _ := describe(err); !strings.Contains(text, tt.want) {
			t.Errorf("%s: %v, want %q", tt.car, err, tt.want)
		}
	}
	for _, args := range [][]string{
		{"test", "--port", "none", "--sensor", "B1S1,B2S2"},
		{"test", "--port", "none", "--sensor", "B1S1,B2S1", "--by", "mixture"},
		{"record", "--port", "none", "--sensor", "B1S1,B2S1"},
	} {
		var out, errOut strings.Builder
		if status := run(t.Context(), args, strings.NewReader(""), &out, &errOut); status != statusUsage {
			t.Errorf("%v: status %d, %s", args, status, errOut.String())
		}
	}
}
