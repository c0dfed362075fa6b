package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/analysis/agenda"
	"pushback/analysis/hazard/hazardtest"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/obd/simcar"
)

// shownVisit is what `visit show --json` tells.
type shownVisit struct {
	Name, Vehicle, Closed string
	Done                  []struct{ Text string }
	Sessions              []struct{ ID, Visit, Vehicle, Conclusion string }
	Open                  []struct {
		Work, Sensor string
		AboutS       float64 `json:"about_s"`
	}
}

func visitIn(t *testing.T, db, name string) (v shownVisit) {
	t.Helper()
	out, _ := command(t, "visit", "show", name, "--json", "--db", db)
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// A dead sensor from the complaint to the car handed back: it is found, replaced and tested again.
func TestVisit(t *testing.T) {
	if testing.Short() {
		t.Skip("whole sessions")
	}
	dir := t.TempDir()
	db := filepath.Join(dir, "p.db")
	command(t, "visit", "new", "RO 4711", "--vehicle", "grey van", "--complaint", "rough idle", "--odometer", "120,300 mi", "--order", "XY-4711", "--db", db)
	if v := visitIn(t, db, "last"); len(v.Open) != 5 || v.Open[0].Work != "look" || v.Open[1].Work != "fitting" || v.Open[4].Work != "map" {
		t.Errorf("open at first: %+v", v.Open)
	}
	a, _, errOut := testApp(t, db)
	run := func(car, visit string) error {
		t.Helper()
		sim, err := simcar.New(simcar.Config{Car: simCar(t, car), Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		r := demoRun(sim)
		r.flags.car.sensor, r.flags.visit = "B1S1", visit
		err = a.runLive(context.Background(), r)
		var end concluded
		if errors.As(err, &end) {
			return nil
		}
		return err
	}
	for i, car := range []string{"sensor-dead-middle", "healthy"} {
		if err := run(car, "RO 4711"); err != nil {
			t.Fatalf("%s: %v\n%s", car, err, errOut)
		}
		v := visitIn(t, db, "RO 4711")
		if len(v.Sessions) != i+1 || v.Sessions[i].Visit != "RO 4711" || v.Sessions[i].Vehicle != "grey van" {
			t.Fatalf("sessions: %+v", v.Sessions)
		}
		if i == 0 && (v.Open[0].Work != "again" || v.Sessions[0].Conclusion != "sensor_dead") {
			t.Errorf("after the fault was found: %+v", v)
		}
		if i == 0 {
			command(t, "visit", "note", "RO 4711", "replaced", "the sensor", "--db", db)
		}
	}
	v := visitIn(t, db, "last")
	if len(v.Open) != 1 || v.Open[0].Work != "map" || len(v.Done) != 1 || v.Done[0].Text != "replaced the sensor" {
		t.Errorf("after the repair: %+v", v)
	}
	file := filepath.Join(dir, "r.html")
	command(t, "report", "--visit", "last", "--out", file, "--db", db)
	html, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"grey van", "rough idle", "120,300 mi", "XY-4711", "replaced the sensor", "Before and after", "Still open", v.Sessions[0].ID, v.Sessions[1].ID} {
		if !strings.Contains(string(html), want) {
			t.Errorf("the report lacks %q", want)
		}
	}
	command(t, "visit", "close", "last", "--db", db)
	closed := visitIn(t, db, "RO 4711").Closed
	command(t, "visit", "close", "last", "--db", db)
	if again := visitIn(t, db, "RO 4711").Closed; closed == "" || again != closed {
		t.Errorf("closed %q, then %q", closed, again)
	}
	if out, _ := command(t, "visit", "list", "--open", "--json", "--db", db); strings.TrimSpace(out) != "[]" {
		t.Errorf("still open: %s", out)
	}
	if err := run("healthy", "nobody's"); err == nil {
		t.Error("a visit that is not there took a session")
	}
	if n := len(visitIn(t, db, "last").Sessions); n != 2 {
		t.Errorf("%d sessions", n)
	}
	// The same sessions, taken into another visit elsewhere.
	table, there := filepath.Join(dir, "t.csv"), filepath.Join(dir, "there.db")
	command(t, "export", v.Sessions[0].ID, "--csv", table, "--db", db)
	command(t, "visit", "new", "other", "--vehicle", "van of another", "--db", there)
	command(t, "import", table, "--visit", "other", "--db", there)
	if v := visitIn(t, there, "last"); len(v.Sessions) != 1 || v.Sessions[0].Vehicle != "van of another" {
		t.Errorf("imported: %+v", v.Sessions)
	}
}

// A leak from the complaint to the car handed back: the loop is proven, the drive shows the leak, which stays open until idle
// is sound again.
func TestVisitOfALeak(t *testing.T) {
	if testing.Short() {
		t.Skip("whole sessions")
	}
	db := filepath.Join(t.TempDir(), "p.db")
	command(t, "visit", "new", "leak", "--vehicle", "van", "--complaint", "stalls", "--db", db)
	a, _, errOut := testApp(t, db)
	for _, step := range []struct {
		car   string
		drive bool
		open  string // work, after it
	}{{"vacuum-leak", false, "map"}, {"vacuum-leak", true, "leak"}, {"healthy", false, ""}} {
		cfg := simcar.Config{Car: simCar(t, step.car), Seed: 11}
		if step.drive {
			cfg.Drive, cfg.Bus = simcar.Town, obd.ISO9141
		}
		sim, err := simcar.New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		r := demoRun(sim)
		if step.drive {
			r = liveRun{look: lookOf(sim, obd.BusUnknown), origin: "simulated"}
			r.flags.dur = 40 * time.Minute
		}
		r.flags.car.sensor, r.flags.visit = "B1S1", "leak"
		if step.drive {
			err = a.runLead(t.Context(), r, 0)
		} else {
			err = a.runLive(t.Context(), r)
		}
		var end concluded
		if err != nil && !errors.As(err, &end) {
			t.Fatalf("%s: %v\n%s", step.car, err, errOut)
		}
		var open []string
		for _, o := range visitIn(t, db, "leak").Open {
			open = append(open, o.Work)
		}
		if got := strings.Join(open, ", "); got != step.open {
			t.Errorf("%s, driven %v: open is %q, want %q", step.car, step.drive, got, step.open)
		}
		if step.drive {
			command(t, "visit", "note", "leak", "replaced the intake boot", "--db", db)
		}
	}
	file := filepath.Join(t.TempDir(), "r.html")
	command(t, "report", "--visit", "leak", "--out", file, "--db", db)
	html, err := os.ReadFile(file)
	if err != nil || !strings.Contains(string(html), "Yes. Under the same conditions the computer has to correct less than before.") {
		t.Errorf("%v: the report does not say that the repair helped", err)
	}
	command(t, "visit", "close", "leak", "--db", db)
	if visitIn(t, db, "leak").Closed == "" {
		t.Error("still open")
	}
}

// A visit comes whole out of each form that a whole database is exported to, with sessions or without, and what came before its
// visit is put into it.
func TestVisitRoundTrip(t *testing.T) {
	dir := t.TempDir()
	table, db := filepath.Join(dir, "t.csv"), filepath.Join(dir, "p.db")
	if err := os.WriteFile(table, []byte("t_s,O2S11,SHRTFT1\n0,0.2,1\n0.1,0.8,0\n0.2,0.1,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	saying := func(args ...string) string {
		t.Helper()
		var out, errOut bytes.Buffer
		if status := run(t.Context(), args, strings.NewReader(""), &out, &errOut); status != statusDone {
			t.Fatalf("%v: status %d: %s", args, status, errOut.String())
		}
		return errOut.String()
	}
	command(t, "import", table, "--db", db)
	command(t, "visit", "new", "no sessions", "--vehicle", "van, grey", "--complaint", "\"stalls\",\n=1+1", "--odometer", "120,300 mi", "--order", "XY 1", "--db", db)
	command(t, "visit", "note", "last", "towed in", "--meter", "supply=14.1", "--db", db)
	command(t, "visit", "close", "last", "--db", db)
	command(t, "visit", "new", "one", "--db", db)
	said := saying("import", table, "--visit", "one", "--db", db)
	if v := visitIn(t, db, "one"); len(v.Sessions) != 1 || !strings.Contains(said, "visit one") {
		t.Errorf("a session that was stored before is not in its visit: %+v, %q", v.Sessions, said)
	}
	if said = saying("import", table, "--visit", "no sessions", "--db", db); !strings.Contains(said, "stays in visit one") {
		t.Errorf("a session changed its visit, or it was not said that it did not: %q", said)
	}
	shown := func(db, name string) string {
		out, _ := command(t, "visit", "show", name, "--json", "--db", db)
		return out
	}
	for _, form := range []string{"sqlite", "parquet", "long-csv"} {
		file, there := filepath.Join(dir, form), filepath.Join(dir, form+".db")
		command(t, "export", "--all", "--"+form, file, "--with-notes", "--db", db)
		for range 2 { // the second time nothing is new
			command(t, "import", file, "--db", there)
		}
		if list, _ := command(t, "visit", "list", "--json", "--db", there); strings.Count(list, `"name"`) != 2 {
			t.Errorf("%s: visits %s", form, list)
		}
		for _, name := range []string{"no sessions", "one"} {
			if got, want := shown(there, name), shown(db, name); got != want {
				t.Errorf("%s: visit %q came as\n%s, it was\n%s", form, name, got, want)
			}
		}
		command(t, "export", "--all", "--visit", "no sessions", "--"+form, file, "--with-notes", "--db", db)
	}
}

// The report of a visit compares each sensor that has tests on both sides of the repair, and a session shows its visit's meter readings.
func TestVisitOfTwoSensors(t *testing.T) {
	if testing.Short() {
		t.Skip("four guided tests")
	}
	dir := t.TempDir()
	lessons, db := filepath.Join(dir, "l.db"), filepath.Join(dir, "p.db")
	command(t, "visit", "new", "two", "--db", db)
	for i, x := range []struct{ seed, sensor string }{{"6", "B1S1"}, {"10", "B2S1"}, {"12", "B1S1"}, {"5", "B2S1"}} {
		file := filepath.Join(dir, x.seed)
		command(t, "demo", "--hide", "--seed", x.seed, "--db", lessons)
		command(t, "export", "last", "--capture", file, "--db", lessons)
		command(t, "import", file, "--visit", "two", "--sensor", x.sensor, "--db", db)
		if i == 1 {
			command(t, "visit", "note", "two", "--meter", "supply=12.1", "--db", db)
		}
	}
	file := filepath.Join(dir, "r.html")
	command(t, "report", "--visit", "two", "--out", file, "--db", db)
	html, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, sensor := range []string{"B1S1", "B2S1"} {
		if n := strings.Count(string(html), ">Before and after, "+sensor+"</h2>"); n != 1 {
			t.Errorf("%s is not compared", sensor)
		}
	}
	var shown struct{ Meter []struct{ Text, Next string } }
	out, _ := command(t, "show", "last", "--json", "--db", db)
	if err := json.Unmarshal([]byte(out), &shown); err != nil || len(shown.Meter) != 1 || !strings.Contains(shown.Meter[0].Next, "LOW") {
		t.Errorf("meter readings %+v, %v", shown.Meter, err)
	}
	command(t, "report", "last", "--out", file, "--db", db)
	if html, err := os.ReadFile(file); err != nil || !strings.Contains(string(html), "Meter readings of the visit") {
		t.Errorf("a session's report has no meter readings: %v", err)
	}
}

// What is still open carries its cautions.
func TestOpenWorkCarriesItsCautions(t *testing.T) {
	for _, w := range []agenda.Work{agenda.Look, agenda.Fitting, agenda.Wire, agenda.Mixture, agenda.Drive, agenda.Again, agenda.Map, agenda.Leak} {
		text := words.OpenWork(agenda.Item{Work: w, Sensor: "B1S1"}).String()
		if text == string(w) {
			t.Errorf("%s has no words", w)
		}
		for _, m := range hazardtest.Missing(text, false) {
			t.Errorf("%s: %q lacks %q", w, text, m)
		}
	}
}
