package main

import "testing"

// TestIntegrity: over a bad line nothing is believed that was not sent where the reply has
// a check, and nothing that changes the car is ever asked.
func TestIntegrity(t *testing.T) {
	if testing.Short() {
		t.Skip("reads over a bad line for long")
	}
	for i, s := range setups {
		t.Run(s.name, func(t *testing.T) {
			got, err := integrity(t.Context(), s, 3000, badLine, uint64(100+i))
			if err != nil {
				t.Fatal(err)
			}
			if got.hits < 30 || got.good < 2500 {
				t.Errorf("%+v: the line is not bad, or all is lost", got)
			}
			if got.erasures+got.changes > 0 {
				t.Errorf("asked for changes %d times", got.erasures+got.changes)
			}
			if (!s.bus.CAN() || s.twice) && s.refuse == nil && got.wrong > 0 {
				t.Errorf("%d wrong samples, %s", got.wrong, got.example)
			}
		})
	}
}
