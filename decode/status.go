package decode

import "fmt"

// Values of the fuel system status bytes, signals FUELSYS1 and FUELSYS2 (SAE
// J1979 PID 03, values as printed in Wikipedia, OBD-II PIDs). One bit is set, or
// none where the system is not in use.
const (
	FuelOpenNotReady byte = 0x01 // open loop, conditions for closed loop not yet met
	FuelClosed       byte = 0x02 // closed loop
	FuelOpenDriving  byte = 0x04 // open loop for load or deceleration
	FuelOpenFault    byte = 0x08 // open loop for a fault
	FuelClosedFault  byte = 0x10 // closed loop, but a sensor of it has a fault
)

// FuelStatus puts a fuel system status byte in words. What the standard does not
// define is 'unknown' with the byte.
func FuelStatus(b byte) string {
	switch b {
	case 0:
		return "not in use"
	case FuelOpenNotReady:
		return "open loop, not yet ready for closed loop"
	case FuelClosed:
		return "closed loop"
	case FuelOpenDriving:
		return "open loop for load or deceleration"
	case FuelOpenFault:
		return "open loop for a fault"
	case FuelClosedFault:
		return "closed loop, but a sensor of it has a fault"
	}
	return fmt.Sprintf("unknown 0x%02X", b)
}

// OBDStandard puts the value of OBDSUP (PID 1C) in words (SAE J1979; from memory).
func OBDStandard(b byte) string {
	names := [...]string{
		1: "OBD II (California)", "OBD (federal US)", "OBD and OBD II", "OBD I", "not intended to meet any",
		"EOBD", "EOBD and OBD II", "EOBD and OBD", "EOBD, OBD and OBD II", "JOBD",
	}
	if int(b) < len(names) && names[b] != "" {
		return names[b]
	}
	return fmt.Sprintf("unknown 0x%02X", b)
}

// FuelType puts the value of FUEL_TYP (PID 51) in words (SAE J1979; from memory).
func FuelType(b byte) string {
	names := [...]string{
		1: "gasoline", "methanol", "ethanol", "diesel", "liquefied petroleum gas", "natural gas", "propane", "electric",
	}
	if int(b) < len(names) && names[b] != "" {
		return names[b]
	}
	return fmt.Sprintf("unknown 0x%02X", b)
}
