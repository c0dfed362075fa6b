package main

import (
	"context"
	"encoding/json"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pushback/cmd/internal/sheet"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/store"
)

func clearSim(t *testing.T, db, typed string, bus obd.Bus, stopped bool) (*app, string, string, []byte, error) {
	t.Helper()
	var sent []byte
	sim, err := simcar.New(simcar.Config{Car: simCar(t, "vacuum-leak-large"), Bus: bus, Seed: 1, Stopped: stopped,
		Tap: func(m simcar.Traffic) {
			if m.From == 0 && len(m.Message) > 0 {
				sent = append(sent, m.Message[0])
			}
		}})
	if err != nil {
		t.Fatal(err)
	}
	a, out, errOut := testApp(t, db)
	a.in = strings.NewReader(typed)
	err = a.runClear(context.Background(), lookOf(sim, bus), store.Meta{Origin: "simulated"})
	return a, out.String(), errOut.String(), sent, err
}

// Codes are cleared after a typed yes with the engine off, what was there is kept, and
// nothing else ever sends service 04.
func TestClear(t *testing.T) {
	for _, bus := range []obd.Bus{obd.CAN11at500, obd.ISO9141} {
		db := filepath.Join(t.TempDir(), "p.db")
		soundAtEnd(t, db)
		_, out, text, sent, err := clearSim(t, db, "yes\n", bus, true)
		if err != nil {
			t.Fatalf("%v: %v", bus, err)
		}
		var j sheet.Cleared
		if err := json.Unmarshal([]byte(out), &j); err != nil {
			t.Fatal(err)
		}
		if !j.Cleared || len(j.Before.Codes) != 1 || j.Before.Codes[0].Code != "P0171" || j.Before.Freeze == nil || j.Before.Freeze.Code != "P0171" ||
			len(j.After.Codes) != 0 || j.After.Freeze != nil || len(j.Before.Monitors.NotComplete) != 0 || len(j.After.Monitors.NotComplete) == 0 {
			t.Errorf("%v: %s", bus, out)
		}
		if n := len(slices.DeleteFunc(slices.Clone(sent), func(b byte) bool { return b != 0x04 })); n != 1 {
			t.Errorf("%v: service 04 went out %d times", bus, n)
		}
		for _, w := range []string{"freeze frame", "learned fuel trims", "Type yes to clear"} {
			if !strings.Contains(text, w) {
				t.Errorf("the warning does not say %q: %s", w, text)
			}
		}
		shown, _ := command(t, "show", "last", "--json", "--db", db)
		var s struct{ Found sheet.Stored }
		if err := json.Unmarshal([]byte(shown), &s); err != nil {
			t.Fatal(err)
		}
		if s.Found.Cleared == nil || len(s.Found.Cleared.Codes) != 1 || s.Found.Cleared.Freeze == nil || len(s.Found.Codes) != 0 {
			t.Errorf("%v: the session shows %s", bus, shown)
		}
	}
}

// Anything but a typed yes, and a running engine, clear nothing; what was read is kept.
func TestClearRefused(t *testing.T) {
	for _, tt := range []struct {
		typed   string
		stopped bool
		want    error
		status  int
	}{
		{"", true, errNotCleared, statusFailed}, {"y\n", true, errNotCleared, statusFailed}, {"no\n", true, errNotCleared, statusFailed},
		{"yes\n", false, nil, statusNotReady},
	} {
		db := filepath.Join(t.TempDir(), "p.db")
		soundAtEnd(t, db)
		_, _, text, sent, err := clearSim(t, db, tt.typed, obd.CAN11at500, tt.stopped)
		_, hint, status := describe(err)
		if err == nil || status != tt.status || hint == "" || tt.want != nil && !errors.Is(err, tt.want) {
			t.Errorf("%q, engine off %v: %v, status %d (%s)", tt.typed, tt.stopped, err, status, hint)
		}
		if slices.Contains(sent, 0x04) {
			t.Errorf("%q, engine off %v: service 04 went out", tt.typed, tt.stopped)
		}
		if !tt.stopped && strings.Contains(text, "Type yes") {
			t.Error("asked although the engine runs")
		}
		list, _ := command(t, "sessions", "--json", "--db", db)
		if !strings.Contains(list, "clearing of codes") {
			t.Errorf("what was read is not kept: %s", list)
		}
	}
}
