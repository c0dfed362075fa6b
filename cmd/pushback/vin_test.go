package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/obd"
	"pushback/obd/simcar"
)

// The vehicle's number is asked for and kept only when the technician wants it; what is
// exported of the session does not tell it.
func TestVIN(t *testing.T) {
	for _, on := range []struct {
		car string
		bus obd.Bus
	}{{"healthy", obd.CAN11at500}, {"healthy", obd.ISO9141}, {"obd-on-uds", obd.CAN11at500}, {"obd-on-uds", obd.CAN29at250}} {
		car, bus := simCar(t, on.car), on.bus
		for _, wanted := range []bool{false, true} {
			path := filepath.Join(t.TempDir(), "p.db")
			sim, err := simcar.New(simcar.Config{Car: car, Bus: bus, Seed: 1})
			if err != nil {
				t.Fatal(err)
			}
			r := demoRun(sim)
			r.guide, r.technician, r.bus = nil, nil, bus
			r.flags.car.sensor, r.flags.dur, r.flags.vin = "B1S1", 5*time.Second, wanted
			a, _, errOut := testApp(t, path)
			if err := a.runLive(context.Background(), r); err != nil {
				t.Fatalf("%v\n%s", err, errOut)
			}
			m := metaOf(t, path, "last")
			if got := len(m.VIN) == 17; got != wanted {
				t.Errorf("%v, wanted %v: VIN %q", bus, wanted, m.VIN)
			}
			out, _ := command(t, "export", "last", "--long-csv", "--with-vin", "--db", path)
			if got := strings.Contains(out, ",0902,"); got != wanted {
				t.Errorf("%v, wanted %v: asked %v", bus, wanted, got)
			}
			if !wanted {
				continue
			}
			for _, format := range []string{"--long-csv", "--capture"} {
				out, _ := command(t, "export", "last", format, "--db", path)
				if strings.Contains(out, m.VIN) || strings.Contains(strings.ReplaceAll(out, " ", ""), "490201") {
					t.Errorf("%v: %s tells the VIN", bus, format)
				}
			}
		}
	}
}
