package main

import (
	"testing"
	"time"

	"pushback/obd"
)

// TestRecovery: after every fault a session goes on within 2 s of the line's return, not
// counting what the start of the bus takes by itself, and its records tell the cause.
func TestRecovery(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for recovery")
	}
	for _, f := range faults {
		for _, bus := range []obd.Bus{obd.CAN11at500, obd.VPW, obd.ISO14230Fast, obd.ISO9141} {
			for _, lasts := range []time.Duration{time.Second, 10600 * time.Millisecond} {
				r, err := recoverFrom(t.Context(), bus, f, lasts, 500_000)
				if err != nil || !r.cause {
					t.Errorf("%s on %v for %v: %+v, %v", f.name, bus, lasts, r, err)
				}
				if most := 2*time.Second + busStart(bus); r.after > most {
					t.Errorf("%s on %v for %v: goes on after %v", f.name, bus, lasts, r.after)
				}
			}
		}
	}
}
