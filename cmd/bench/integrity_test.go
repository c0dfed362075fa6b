package main

import (
	"testing"

	"pushback/obd"
)

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

// TestTakes: what remains of a read request when its beginning is lost is none that a computer takes.
func TestTakes(t *testing.T) {
	for hex, want := range map[string]bool{
		// ISO 14229-1: identifier and a control parameter of 00 to 03; three bytes of a group; a routine's number.
		"2F41510312": true, "2F415103": true, "2F4151": false, "14FFFF33": true, "14F406": false, "14F406F4": false, "31010203": true, "3101": false,
		"2EF190": false, "2EF19001": true, "1101": true, "1116": false, "11F406": false, "1003": true, "10F406": false, "8501": true, "3401": true,
	} {
		req, err := obd.ParseRequest(hex)
		if err != nil || takes(req.Bytes()) != want {
			t.Errorf("%s: taken %v, %v", hex, !want, err)
		}
	}
	// A line of J1979-2 from any of its characters on, with and without the count behind it.
	for _, pids := range [][]byte{{0x14}, {0x06, 0x44, 0x34}, {0x06, 0x14}, {0x0C, 0x03, 0x2E}, {0x04, 0x05, 0x11}, {0x0C, 0x05, 0x0D}} {
		words, _ := obd.J1979v2.Words(obd.Request{Service: 1, Data: pids})
		for _, line := range []string{words, words + "1", words + "2"} {
			for i := range line {
				req, err := obd.ParseRequest(line[i : i+(len(line)-i)/2*2])
				if err == nil && obd.Changes(int(req.Service), len(req.Data)) && takes(req.Bytes()) {
					t.Errorf("%s from %d on is %s", line, i, req.Hex())
				}
			}
		}
	}
}
