package decode

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

// LoopClosed reports whether a fuel system's status is one of closed loop, with a fault of a sensor or without.
//
// Special cases are: a system that is not in use, 0, is not closed.
func LoopClosed(status byte) bool { return status&(FuelClosed|FuelClosedFault) != 0 }
