package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"pushback/obd"
	"pushback/obd/simcar"
)

func look(t *testing.T, cfg simcar.Config) (vehicleReport, int, string) {
	t.Helper()
	sim, err := simcar.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	a, out, _ := testApp(t, filepath.Join(t.TempDir(), "p.db"))
	err = a.vehicle(context.Background(), visit{car: carFlags{sensor: "B1S1"}, bus: cfg.Bus, clock: sim.Clock(),
		open: func(context.Context) (obd.Link, error) { return sim.Link(), nil }})
	var r vehicleReport
	if jerr := json.Unmarshal(out.Bytes(), &r); jerr != nil {
		t.Fatalf("%v: %v", jerr, err)
	}
	status := a.exit(err)
	a.json = false
	var text strings.Builder
	r.print(&text)
	return r, status, text.String()
}

// Each condition that a car does not meet is named, and says what to do; the others do
// not.
func TestVehicleChecks(t *testing.T) {
	for _, tt := range []struct {
		name   string
		cfg    simcar.Config
		unmet  []string // the checks, in order
		advice string   // part of what to do
		status int
	}{
		{"sound", simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500}, nil, "", statusDone},
		{"sound, slow bus", simcar.Config{Car: simCar(t, "no-downstream"), Bus: obd.ISO9141}, nil, "", statusDone},
		{"cold", simcar.Config{Car: simCar(t, "cold"), Bus: obd.CAN11at500}, []string{"coolant warm", "running long enough", "closed loop"}, "2500 rpm", statusNotReady},
		{"wide-range", simcar.Config{Car: simCar(t, "wide-range"), Bus: obd.CAN11at500}, []string{"switching (narrow) sensor"}, "propane", statusNotReady},
		{"with a code", simcar.Config{Car: simCar(t, "vacuum-leak-large"), Bus: obd.ISO9141}, []string{"no code that bears on the loop"}, "note them", statusDone},
		{"engine off", simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500, Stopped: true}, []string{"engine running", "running long enough", "closed loop"}, "start the engine", statusNotReady},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tt.cfg.Seed = 3
			r, status, text := look(t, tt.cfg)
			var unmet []string
			all := ""
			for _, c := range r.Checks {
				if c.State == checkUnknown {
					t.Errorf("%s is not known", c.What)
				}
				if c.State == checkUnmet {
					unmet = append(unmet, c.What)
				}
				if (c.Do != "") != (c.State != checkOK) {
					t.Errorf("%+v", c)
				}
				all += c.Do
			}
			if strings.Join(unmet, ";") != strings.Join(tt.unmet, ";") || !strings.Contains(all, tt.advice) || status != tt.status {
				t.Errorf("status %d, want %d; unmet %v, want %v (%s)", status, tt.status, unmet, tt.unmet, all)
			}
			for _, w := range []string{"titania", "raised return"} {
				if !strings.Contains(text, w) {
					t.Errorf("it does not ask about %s", w)
				}
			}
		})
	}
}

// The computer's own figures stand beside the recording's, by service 05 and by service 06
// alike, and agree on a sound car; a code comes with its freeze frame.
func TestVehicleOwnFigures(t *testing.T) {
	for bus, service := range map[obd.Bus]string{obd.ISO9141: "05", obd.CAN11at500: "06"} {
		r, _, _ := look(t, simcar.Config{Car: simCar(t, "vacuum-leak"), Bus: bus, Seed: 3})
		seen := map[string]ownTest{}
		for _, x := range r.Tests {
			if !strings.HasPrefix(x.ID, service) && !strings.Contains(x.ID, "part") {
				t.Errorf("%v: %s", bus, x.ID)
			}
			seen[x.What] = x
		}
		if x := seen["rich to lean threshold"]; x.Sensor != "B1S1" || math.Abs(float64(x.Value)-0.45) > 0.001 || x.Unit != "V" {
			t.Errorf("%v: threshold %+v", bus, x)
		}
		if x := seen["maximum voltage in the test cycle"]; x.Max == x.Min || math.IsNaN(float64(x.Recorded)) {
			t.Errorf("%v: maximum %+v", bus, x)
		}
	}
	r, _, _ := look(t, simcar.Config{Car: simCar(t, "vacuum-leak-large"), Bus: obd.VPW, Seed: 3})
	// Off CAN the maker's tests are shown raw, each with the limit that the standard tells.
	parts := ""
	for _, x := range r.Tests {
		if strings.HasPrefix(x.ID, "06 ") {
			parts += fmt.Sprintf("%s %.0f (%.0f to %.0f);", x.ID, float64(x.Value), float64(x.Min), float64(x.Max))
		}
	}
	if want := "06 02 part 01 40 (NaN to 100);06 03 part 05 300 (NaN to 500);06 03 part 05 300 (10 to NaN);"; parts != want {
		t.Errorf("the maker's tests are %s, want %s", parts, want)
	}
	if r.Freeze == nil || r.Freeze.Code != "P0171" {
		t.Fatalf("no freeze frame: %+v", r)
	}
	values := map[string]number{}
	for _, v := range r.Freeze.Values {
		values[v.Name] = v.Value
	}
	if values["RPM"] != 750 || math.Abs(float64(values["LONGFT1"])-7.8125) > 0.1 || values["ECT"] != 90 {
		t.Errorf("freeze frame %+v", r.Freeze)
	}
}

// A guided test tells the conditions that are not met beside those that it waits for.
func TestUnmetConditionsAreTold(t *testing.T) {
	for car, want := range map[string]string{"vacuum-leak-large": "P0171 (fuel trim, stored); note them", "healthy": ""} {
		a, _, said := testApp(t, filepath.Join(t.TempDir(), "p.db"))
		_ = guidedRun(t, a, simCar(t, car), obd.ISO9141, false) // the status is the verdict's
		if got := said.String(); strings.Contains(got, "Not met when the test began") != (want != "") || !strings.Contains(got, want) {
			t.Errorf("%s: want %q: %s", car, want, got)
		}
	}
}

// What was found of the line: signals that the car offers and no others, and the rate as a
// share of what the voltage alone would have.
func TestVehicleLine(t *testing.T) {
	for _, tt := range []struct {
		bus      obd.Bus
		min, max float64
	}{{obd.CAN11at500, 0.8, 1}, {obd.ISO9141, 0.55, 0.8}, {obd.VPW, 0.6, 0.9}} {
		r, _, text := look(t, simcar.Config{Car: simCar(t, "healthy"), Bus: tt.bus, Seed: 3})
		if r.Share < tt.min || r.Share > tt.max {
			t.Errorf("%v: share %v", tt.bus, r.Share)
		}
		signals := strings.Join(r.Signals, " ")
		if !strings.Contains(signals, "O2S11 ") || !strings.Contains(signals, "SHRTFT1 ") || !strings.Contains(signals, "FUELSYS1") ||
			strings.Contains(signals, "O2S21") || strings.Contains(signals, "SHRTFT2 ") || strings.Contains(signals, "SHRTFT3") {
			t.Errorf("%v: signals %s", tt.bus, signals)
		}
		if !strings.Contains(text, "signals      ") || !strings.Contains(text, "if nothing else were read") {
			t.Error(text)
		}
	}
}
