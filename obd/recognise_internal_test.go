package obd

import "testing"

// A computer that is busy (7F … 21) or answers later (78) is there, by ISO 14229-1 and ISO 15031-5; one that refuses for good, one that
// answers and one that is silent are not to be asked again.
func TestPutOff(t *testing.T) {
	for _, c := range []struct {
		raw     string
		bus     Bus
		dialect Dialect
		headers bool
		want    bool
	}{
		{"7E8037F012155555555\r\r>", CAN11at500, J1979, true, true},
		{"7F 01 21\r\r>", CAN11at500, J1979, false, true},
		{"7E8037F227855555555\r\r>", CAN11at500, J1979v2, true, true},
		{"83F1107F0121A5\r\r>", ISO14230Fast, J1979, true, false}, // a damaged checksum
		{"83F1107F012125\r\r>", ISO14230Fast, J1979, true, true},
		{"7E8037F011155555555\r\r>", CAN11at500, J1979, true, false},
		{"7E8037F0C2155555555\r\r>", CAN11at500, J1979, true, false}, // of another service
		{"7E8064100BE3EB81355\r\r>", CAN11at500, J1979, true, false},
		{"NO DATA\r\r>", CAN11at500, J1979, true, false},
		{"7E8037F012155555555\r\r>", BusUnknown, J1979, true, false},
	} {
		a := &Adapter{headers: c.headers}
		if got := a.putOff([]byte(c.raw), c.bus, c.dialect); got != c.want {
			t.Errorf("%q on %v as %v: %v", c.raw, c.bus, c.dialect, got)
		}
	}
}
