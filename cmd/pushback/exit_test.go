package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/store"
)

// The statuses are those promised to other programs.
func TestStatusOfEveryConclusion(t *testing.T) {
	for c, want := range map[analysis.Conclusion]int{
		analysis.LoopProven: 0, analysis.NothingForced: 0,
		analysis.InputDead: 10, analysis.NoCommand: 10, analysis.NoDelivery: 10, analysis.SensorDead: 10,
		analysis.SensorSlow: 10, analysis.WrongBank: 10,
		analysis.PartlyProven: 11, analysis.ConclusionUnclear: 11,
		analysis.ConclusionNotReady: 12,
	} {
		a := &app{errOut: new(bytes.Buffer)}
		if got := a.exit(conclude(c)); got != want {
			t.Errorf("%s: status %d, want %d", c, got, want)
		}
	}
}

// Every error that a package can return comes with advice.
func TestErrorsComeWithAdvice(t *testing.T) {
	for _, tt := range []struct {
		err  error
		text string
		hint string
	}{
		{&obd.LinkError{Op: "open", Port: "/dev/ttyUSB0", Err: fs.ErrPermission}, "pushback: opening /dev/ttyUSB0: permission denied", "group that owns it"},
		{&obd.LinkError{Op: "open", Port: "/dev/ttyUSB0", Err: fs.ErrNotExist}, "pushback: opening /dev/ttyUSB0: file does not exist", "pushback ports"},
		{&obd.LinkError{Op: "open", Port: "COM4", Err: obd.ErrPortBusy}, "pushback: opening COM4: the port is in use", "close the other program"},
		{&obd.LinkError{Op: "search", Port: "COM4", Err: obd.ErrNoAdapter}, "pushback: looking for an adapter on COM4: no adapter answers", "--baud"},
		{&obd.NoVehicleError{Voltage: 12.1}, "12.1 V at the connector", "ignition on"},
		{&obd.NoVehicleError{Heard: []obd.Heard{{Bus: obd.CAN11at500, Said: "NO DATA", Asked: []string{"0100", "22F810"}}}}, "nobody answers 0100, 22F810", "ignition on"},
		{&obd.NoVehicleError{Heard: []obd.Heard{{Bus: obd.CAN29at250, HeavyDuty: []string{"0CF00400"}}}}, "0CF00400", "SAE J1939"},
		{fmt.Errorf("read: %w", errors.Join(obd.ErrLinkLost, obd.ErrNoAdapter)), "the line to the adapter is gone: no adapter answers", "check the cable"},
		{&store.AmbiguousError{Ref: "3", IDs: []string{"346", "347"}}, "346", "more letters"},
		{fmt.Errorf("open database x: %w", store.ErrNewerSchema), "pushback: opening database x", "update this one"},
		{store.ErrLocked, "another program holds", "another file"},
		{store.ErrReadOnly, "cannot be written", "writable"},
		{store.ErrDiskFull, "the disk is full", "free some space"},
		{store.ErrDamaged, "damaged", "copy"},
		{&fs.PathError{Op: "open", Path: strings.Repeat("x", 100_000), Err: store.ErrReadOnly}, "x: ", "writable"},
	} {
		var errOut bytes.Buffer
		a := &app{errOut: &errOut}
		if got := a.exit(tt.err); got != statusFailed {
			t.Errorf("%v: status %d, want 1", tt.err, got)
		}
		said := errOut.String()
		if !strings.HasPrefix(said, "pushback: ") || strings.Count(said, "\n") != 2 || len(said) > 1500 ||
			!strings.Contains(said, tt.text) || !strings.Contains(said, "\n  what to do: ") || !strings.Contains(said, tt.hint) {
			t.Errorf("%v is told as\n%swant %q and advice with %q", tt.err, said, tt.text, tt.hint)
		}
	}
}

// The adapter answers, the car does not: ignition off.
func TestNoCar(t *testing.T) {
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simcar.New(simcar.Config{Car: car, Seed: 1, KeyOff: true})
	if err != nil {
		t.Fatal(err)
	}
	db := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, db)
	a, out, errOut := testApp(t, db)
	r := liveRun{look: lookOf(sim, obd.BusUnknown)}
	r.flags.car.sensor = "B1S1"
	if got := a.exit(a.runLive(context.Background(), r)); got != statusFailed {
		t.Errorf("status %d, want 1", got)
	}
	if out.Len() > 0 || !strings.Contains(errOut.String(), "switch the ignition on") {
		t.Errorf("standard output %q, standard error\n%s", out, errOut)
	}
	if list, _ := command(t, "sessions", "--db", db); !strings.Contains(list, "no sessions") {
		t.Errorf("a session was left: %s", list)
	}
}

// What the car lacks is said with what it has; a wide-range sensor is refused by the
// guided test.
func TestSensorThatCannotBeForced(t *testing.T) {
	for _, tt := range []struct {
		car, sensor string
		status      int
		says        string
	}{
		{"healthy", "B2S1", statusFailed, "this car has no sensor B2S1; it has B1S1, B1S2"},
		{"wide-range", "B1S1", statusNotReady, "must never be held"},
	} {
		car, err := simcar.Find(tt.car)
		if err != nil {
			t.Fatal(err)
		}
		car.Sensor = "B1S1"
		a, _, errOut := testApp(t, filepath.Join(t.TempDir(), "p.db"))
		sim, err := simcar.New(simcar.Config{Car: car, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		r := demoRun(sim)
		r.flags.car.sensor = tt.sensor
		if got := a.exit(a.runLive(context.Background(), r)); got != tt.status {
			t.Errorf("%s, %s: status %d, want %d", tt.car, tt.sensor, got, tt.status)
		}
		if !strings.Contains(errOut.String(), tt.says) {
			t.Errorf("%s, %s: standard error does not say %q:\n%s", tt.car, tt.sensor, tt.says, errOut)
		}
	}
}
