package obd

import "fmt"

// Bus is the kind of vehicle bus behind the adapter.
type Bus uint8

// The buses that SAE J1979 allows. The order is that of the adapters' protocol
// numbers (`ATTP n`), which start at 1.
const (
	BusUnknown   Bus = iota
	PWM              // SAE J1850, 41.6 kbit/s
	VPW              // SAE J1850, 10.4 kbit/s
	ISO9141          // ISO 9141-2, 5-baud start
	ISO14230Slow     // ISO 14230-4, 5-baud start
	ISO14230Fast     // ISO 14230-4, fast start
	CAN11at500       // ISO 15765-4, 11-bit identifiers, 500 kbit/s
	CAN29at500       // 29-bit, 500 kbit/s
	CAN11at250       // 11-bit, 250 kbit/s
	CAN29at250       // 29-bit, 250 kbit/s
)

var busNames = [...]string{
	"unknown", "pwm", "vpw", "iso9141", "iso14230-slow", "iso14230-fast",
	"can11-500", "can29-500", "can11-250", "can29-250",
}

// String returns the bus's name as used by flags and JSON, such as "can11-500".
func (b Bus) String() string {
	if int(b) < len(busNames) {
		return busNames[b]
	}
	return "unknown"
}

// ParseBus is the inverse of String. The error lists the names.
func ParseBus(name string) (Bus, error) {
	for i, n := range busNames {
		if i > 0 && n == name {
			return Bus(i), nil
		}
	}
	return BusUnknown, fmt.Errorf("bus %q is not one of %v", name, busNames[1:])
}

// CAN reports whether the bus is one of the ISO 15765-4 ones.
func (b Bus) CAN() bool { return b >= CAN11at500 }

// IDBits returns the length of a CAN identifier in bits: 11, 29, or 0 for other buses.
func (b Bus) IDBits() int {
	switch b {
	case CAN11at500, CAN11at250:
		return 11
	case CAN29at500, CAN29at250:
		return 29
	}
	return 0
}

// Format is how the adapter prints replies: what [Parse] must know to read them.
type Format struct {
	Bus     Bus
	Headers bool    // each line starts with the sender's header; K-line and J1850 lines end with a checksum
	Padded  bool    // all CAN frames were seen to be printed with 8 data bytes: a shorter one is damaged
	Dialect Dialect // in which the car is asked; Parse reads the answers of both
}
