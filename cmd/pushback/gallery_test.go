package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"html/template"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/simrun"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
)

var gallery = flag.String("gallery", "", "write a report of every simulated car and real recording into this folder")

// galleryReport is a line of the gallery's list; a repair has said two things.
type galleryReport struct {
	Name, About string
	Said        []string
}

var galleryIndex = template.Must(template.New("index").Parse(`<!DOCTYPE html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>Reports to look through</title>
<style>body{font:15px/1.4 system-ui,sans-serif;max-width:60rem;margin:1rem auto;padding:0 1rem}td,th{text-align:left;padding:.2rem 1rem .2rem 0;border-bottom:1px solid #ccc}</style>
<h1>{{len .}} reports</h1>
<table><thead><tr><th scope="col">report</th><th scope="col">vehicle</th><th scope="col">conclusion</th></tr></thead><tbody>
{{range .}}<tr><td><a href="{{.Name}}.html">{{.Name}}</a></td><td>{{.About}}</td><td>{{range $i, $c := .Said}}{{if $i}} → {{end}}{{$c}}{{end}}</td></tr>
{{end}}</tbody></table></html>
`))

// TestGallery writes the report of each simulated car, of a repair, of a long drive and of
// real recordings, and a page that lists them, for people to look through (make gallery).
func TestGallery(t *testing.T) {
	if *gallery == "" {
		t.Skip("needs -gallery FOLDER (make gallery)")
	}
	if err := os.MkdirAll(*gallery, 0o755); err != nil {
		t.Fatal(err)
	}
	db, real := filepath.Join(t.TempDir(), "p.db"), filepath.Join(t.TempDir(), "real.db")
	var listed []galleryReport
	report := func(db, name string, refs ...string) {
		args := append([]string{"report", "--db", db, "--out", filepath.Join(*gallery, name+".html")}, refs...)
		if db != real { // of a real car nothing is invented
			args = append(args, "--odometer", "123 456 km", "--complaint", "Lamp on, uses more fuel than before.")
		}
		command(t, args...)
		g := galleryReport{Name: name}
		for _, ref := range refs {
			m := metaOf(t, db, ref)
			g.Said = append(g.Said, words.ConclusionName(analysis.Conclusion(m.Conclusion))+". "+words.ConclusionMeans(analysis.Conclusion(m.Conclusion)))
			g.About = m.Vehicle
		}
		listed = append(listed, g)
	}
	write := func(name string, refs ...string) { report(db, name, refs...) }
	for _, car := range simcar.Cars() {
		for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture} {
			a, out, _ := testApp(t, db)
			sim, err := simcar.New(simcar.Config{Car: car, Seed: 1})
			if err != nil {
				t.Fatal(err)
			}
			r := demoRun(sim)
			r.flags.car.sensor, r.flags.vehicle = car.Sensor, "simulated "+car.Name
			name := car.Name
			if r.by = by; by == analysis.ByMixture {
				name += "-mixture"
				r.technician = func(c live.Controls) rig.Technician {
					return &simrun.Technician{Hands: hands.New(hands.Styles[0], sim, ""), By: by, Controls: c}
				}
			}
			if err := a.runLive(t.Context(), r); out.Len() == 0 {
				// The guided test refuses the car; it can be recorded.
				t.Logf("%s: recorded only: %v", name, err)
				cfg := simcar.Config{Car: car, Seed: 1}
				if by == analysis.ByMixture {
					cfg.Forces = []simcar.Force{{Kind: simcar.ForcePropane, At: 50 * time.Second, For: 25 * time.Second}, {Kind: simcar.ForceVacuum, At: 110 * time.Second, For: 25 * time.Second}}
				}
				if sim, err = simcar.New(cfg); err != nil {
					t.Fatal(err)
				}
				r = liveRun{look: lookOf(sim, obd.BusUnknown), origin: "simulated", by: by, flags: r.flags}
				r.flags.dur = 3 * time.Minute
				_ = a.runLive(t.Context(), r) // the status is the verdict's
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
	importFrames(t, real)
	report(real, "real-frames", "last")
	if *realTrims != "" {
		trims := importTrims(t, real, *realTrims)
		for _, name := range []string{"idle46", "long2"} {
			report(real, "real-"+name, trims[name])
		}
		report(real, "real-refuelled", trims["live9"], trims["live15"])
	}
	var index bytes.Buffer
	if err := galleryIndex.Execute(&index, listed); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(*gallery, "index.html"), index.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	fmt.Println("reports in", *gallery)
}
