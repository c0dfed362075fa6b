package words

import "pushback/obd"

// BusText names a bus, and the dialect that a car on it speaks where that is not SAE J1979.
func BusText(bus, dialect string) string {
	if dialect == obd.J1979v2.String() {
		return bus + ", by SAE J1979-2 (OBDonUDS)"
	}
	return bus
}
