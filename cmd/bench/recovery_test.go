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
		for _, tt := range []struct {
			car string
			bus obd.Bus
		}{
			{plainCar.car, obd.CAN11at500}, {plainCar.car, obd.VPW}, {plainCar.car, obd.ISO14230Fast}, {plainCar.car, obd.ISO9141},
			{secondCar.car, obd.CAN11at500}, {secondCar.car, obd.CAN29at250},
		} {
			for _, lasts := range []time.Duration{time.Second, 10600 * time.Millisecond} {
				r, err := recoverFrom(t.Context(), tt.car, tt.bus, f, lasts, 500_000)
				if err != nil || !r.cause {
					t.Errorf("%s of %s on %v for %v: %+v, %v", f.name, tt.car, tt.bus, lasts, r, err)
				}
				if most := 2*time.Second + busStart(tt.bus); r.after > most {
					t.Errorf("%s of %s on %v for %v: goes on after %v", f.name, tt.car, tt.bus, lasts, r.after)
				}
			}
		}
	}
}
