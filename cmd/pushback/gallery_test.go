package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pushback/obd"
	"pushback/obd/simcar"
)

var gallery = flag.String("gallery", "", "write a report of every simulated car and real recording into this folder")

// TestGallery writes the report of each simulated car, of a repair, of a long drive and of
// real recordings, for people to look through (make gallery).
func TestGallery(t *testing.T) {
	if *gallery == "" {
		t.Skip("needs -gallery FOLDER (make gallery)")
	}
	if err := os.MkdirAll(*gallery, 0o755); err != nil {
		t.Fatal(err)
	}
	db := filepath.Join(t.TempDir(), "p.db")
	write := func(name string, refs ...string) {
		file := filepath.Join(*gallery, name+".html")
		command(t, append([]string{"report", "--db", db, "--out", file, "--odometer", "123 456 km", "--complaint", "Lamp on, uses more fuel than before."}, refs...)...)
	}
	for _, car := range simcar.Cars() {
		for _, mixture := range []bool{false, true} {
			a, out, _ := testApp(t, db)
			sim, err := simcar.New(simcar.Config{Car: car, Seed: 1})
			if err != nil {
				t.Fatal(err)
			}
			r := demoRun(sim)
			r.flags.car.sensor, r.flags.vehicle = car.Sensor, "simulated "+car.Name
			name := car.Name
			if r.mixture = mixture; mixture {
				name += "-mixture"
				r.technician = func(h hands) technician { return &scripted{car: sim, mixture: true, hands: h} }
			}
			if err := a.live(t.Context(), r); out.Len() == 0 {
				t.Logf("%s: no session: %v", name, err)
				continue
			}
			write(name, "last")
		}
	}
	var ids [2]string
	for i, name := range []string{"sensor-dead-low", "healthy"} {
		a, out, _ := testApp(t, db)
		_ = guidedRun(t, a, simCar(t, name), obd.ISO9141, false) // the status is the verdict's
		var head struct{ ID string }
		if err := json.NewDecoder(out).Decode(&head); err != nil {
			t.Fatal(err)
		}
		ids[i] = head.ID
	}
	write("sensor-replaced", ids[0], ids[1])
	for i, name := range []string{"vacuum-leak-large", "healthy"} {
		ids[i] = recordSim(t, db, simcar.Config{Car: simCar(t, name), Bus: obd.ISO9141, Seed: uint64(i + 1), Drive: simcar.Town}, 10*time.Minute)
	}
	write("repair", ids[0], ids[1])
	write("drive", ids[0])
	real := filepath.Join(t.TempDir(), "real.db")
	importFrames(t, real, "a")
	command(t, "report", "--db", real, "--out", filepath.Join(*gallery, "real-frames.html"), "last")
	if *realTrims != "" {
		trims := importTrims(t, real, *realTrims)
		for _, name := range []string{"idle46", "long2"} {
			command(t, "report", "--db", real, "--out", filepath.Join(*gallery, "real-"+name+".html"), trims[name])
		}
		command(t, "report", "--db", real, "--out", filepath.Join(*gallery, "real-refuelled.html"), trims["live9"], trims["live15"])
	}
	fmt.Println("reports in", *gallery)
}
