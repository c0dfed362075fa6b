package main

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"pushback/obd/simcar"
	"pushback/store"
)

// What follows a test has a time of its own: the ten seconds in which a session is saved
// are over where somebody looked at the last screen for longer.
func TestReportHasItsOwnTime(t *testing.T) {
	sim, err := simcar.New(simcar.Config{Car: simCar(t, "healthy"), Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	a, _, _ := testApp(t, filepath.Join(t.TempDir(), "p.db"))
	r := demoRun(sim)
	r.flags.car.sensor = "B1S1"
	called := false
	r.done = func(ctx context.Context, db *store.Store, id string) error {
		called = true
		end, ok := ctx.Deadline()
		if left := time.Until(end); !ok || left < 30*time.Second {
			t.Errorf("%v left, with an end: %v", left, ok)
		}
		_, err := db.Find(ctx, id)
		return err
	}
	if err := a.runLive(t.Context(), r); err != nil {
		t.Error(err)
	}
	if !called {
		t.Error("nothing followed the test")
	}
}
