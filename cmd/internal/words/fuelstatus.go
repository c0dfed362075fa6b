package words

import (
	"fmt"

	"pushback/decode"
)

// FuelStatus puts a fuel system status byte in words. What the standard does not
// define is 'unknown' with the byte.
func FuelStatus(b byte) string {
	switch b {
	case 0:
		return "not in use"
	case decode.FuelOpenNotReady:
		return "open loop, not yet ready for closed loop"
	case decode.FuelClosed:
		return "closed loop"
	case decode.FuelOpenDriving:
		return "open loop for load or deceleration"
	case decode.FuelOpenFault:
		return "open loop for a fault"
	case decode.FuelClosedFault:
		return "closed loop, but a sensor of it has a fault"
	}
	return fmt.Sprintf("unknown 0x%02X", b)
}
