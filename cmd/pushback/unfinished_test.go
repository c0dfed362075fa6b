package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/store"
)

// A session whose program died in the middle is there, says so, and gets its verdict by
// replay --store: the one that it would have had, had it ended there.
func TestUnfinishedSessionIsJudged(t *testing.T) {
	db := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)
	a, _, errOut := testApp(t, db)
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	if err := guidedRun(t, a, car, obd.CAN11at500, false); err != nil {
		t.Fatalf("%v\n%s", err, errOut)
	}
	s, err := store.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	whole, err := s.Find(t.Context(), "last")
	if err != nil {
		t.Fatal(err)
	}
	// What the kill of a process leaves: records, no end. (The store's own tests kill.)
	r, err := s.Records(t.Context(), whole.ID)
	if err != nil {
		t.Fatal(err)
	}
	m := whole
	m.ID, m.Conclusion = "", ""
	w, err := s.Create(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	for rec, err := r.Next(t.Context()); err == nil && rec.At < whole.Duration*6/10; rec, err = r.Next(t.Context()) {
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(r.Close(), w.Close()); err != nil {
		t.Fatal(err)
	}

	out, _ := command(t, "sessions", "--json", "--limit", "1", "--db", db)
	if !strings.Contains(out, `"finished":false`) {
		t.Fatal(out)
	}
	var show, hint bytes.Buffer
	if status := run(context.Background(), []string{"show", "last", "--db", db}, strings.NewReader(""), &show, &hint); status != statusFailed || !strings.Contains(hint.String(), "replay "+w.ID()) {
		t.Errorf("status %d: %s", status, hint.String())
	}
	replayed, status := command(t, "replay", "last", "--json", "--db", db)
	if m := metaOf(t, db, "last"); m.Finished {
		t.Error("a replay without --store has changed the session")
	}
	kept, again := command(t, "replay", "last", "--json", "--store", "--db", db)
	if kept != replayed || again != status {
		t.Errorf("with --store it is another one%s", firstDifference(replayed, kept))
	}
	if m := metaOf(t, db, "last"); !m.Finished || m.Conclusion != conclusion(t, replayed) {
		t.Errorf("%+v", m)
	}
	_, lines, _ := strings.Cut(replayed, "\n")
	if got := judgementOf(t, db, "last"); got != lines {
		t.Errorf("show differs from replay%s", firstDifference(lines, got))
	}
}

// What is stored is compared with what the records say now, never believed.
func TestShowSaysThatAnotherVerdictWasStored(t *testing.T) {
	db := filepath.Join(t.TempDir(), "p.db")
	a, _, _ := testApp(t, db)
	if err := guidedRun(t, a, simCar(t, "healthy"), obd.CAN11at500, false); err != nil {
		t.Fatal(err)
	}
	const says = "stored verdict was different"
	show := func(flags ...string) string {
		out, status := command(t, append([]string{"show", "last", "--db", db}, flags...)...)
		if status != statusDone {
			t.Errorf("status %d: that of the stored verdict", status)
		}
		return out
	}
	if out := show(); strings.Contains(out, says) || strings.Contains(show("--json"), "stored_verdict") {
		t.Errorf("the same verdict is told as another:\n%s", out)
	}
	s, err := store.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	m, err := s.Find(t.Context(), "last")
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.Judge(t.Context(), m.ID, m.Duration, analysis.Verdict{Conclusion: analysis.SensorDead}, nil), s.Close()); err != nil {
		t.Fatal(err)
	}
	if out := show(); !strings.Contains(out, says+": sensor dead") || !strings.Contains(out, "LOOP PROVEN") {
		t.Errorf("another verdict is not told:\n%s", out)
	}
	var j struct {
		Verdict struct{ Conclusion string }
		Stored  struct{ Conclusion string } `json:"stored_verdict"`
	}
	if err := json.Unmarshal([]byte(show("--json")), &j); err != nil || j.Verdict.Conclusion != "loop_proven" || j.Stored.Conclusion != "sensor_dead" {
		t.Errorf("%+v, %v", j, err)
	}
}

// The database is deleted in the middle of a test: the error says where everything is,
// and it is there.
func TestDatabaseDeletedWhileRecording(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("an open file cannot be removed")
	}
	path := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, path)
	a, out, _ := testApp(t, path)
	sim, err := simcar.New(simcar.Config{Car: simcar.Cars()[0], Bus: obd.CAN11at500, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	r := demoRun(sim)
	r.bus, r.flags.car.sensor = obd.CAN11at500, "B1S1"
	inner := r.technician
	r.technician = func(c live.Controls) rig.Technician { return &vandal{inner(c), path} }
	err = a.runLive(t.Context(), r)
	var rescued *store.RescuedError
	if !errors.As(err, &rescued) {
		t.Fatal(err)
	}
	text, hint, status := describe(err)
	if !strings.Contains(text, rescued.Path) || !strings.Contains(hint, "import") || status != statusFailed {
		t.Errorf("%s; %s; %d", text, hint, status)
	}
	replayed, _ := command(t, "replay", "last", "--json", "--db", rescued.Path)
	// How far the session came before the loss was noticed depends on the machine, and
	// what was read last may have been shown but not kept.
	first := func(text string) string { line, _, _ := strings.Cut(text, "\n"); return line }
	if live := out.String(); conclusion(t, live) == "" || conclusion(t, replayed) == "" || first(replayed) != first(live) {
		t.Errorf("what is left is not the session%s", firstDifference(live, replayed))
	}
}

// vandal deletes the database when the technician is first told to do something.
type vandal struct {
	rig.Technician
	path string
}

func (v *vandal) Prompt(q session.Prompt) {
	os.Remove(v.path)
	v.Technician.Prompt(q)
}
