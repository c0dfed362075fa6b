package decode

import "fmt"

// Kind is how an oxygen sensor measures, as far as the supported PIDs tell.
type Kind uint8

const (
	UnknownKind Kind = iota // the bitmaps do not tell (yet)
	Narrow                  // a switching sensor: PIDs 14-1B
	WideRange               // an air-fuel ratio sensor: PIDs 24-2B or 34-3B
)

func (k Kind) String() string {
	switch k {
	case Narrow:
		return "narrow"
	case WideRange:
		return "wide-range"
	}
	return "unknown"
}

// Sensor is one oxygen sensor of the vehicle. Position 1 is upstream of the
// catalyst.
type Sensor struct {
	Name           string // B1S1
	Bank, Position int
	Kind           Kind
	PID            byte // reads it by service 01; 0 if none is known to
}

// layout says which sensors the PIDs 14-1B, 24-2B and 34-3B mean. A vehicle
// reports PID 13 or 1D, and with that which one holds (SAE J1979; from memory).
type layout uint8

const (
	layoutUnknown layout = iota
	twoBanks             // PID 13: B1S1 … B1S4, B2S1 … B2S4
	fourBanks            // PID 1D: B1S1, B1S2, B2S1, … B4S2
)

// at returns the sensor of one of the eight PIDs, bank 0 if that is not known.
// The first two are the same in both layouts.
func (l layout) at(slot int) (bank, position int) {
	switch {
	case l == twoBanks:
		return slot/4 + 1, slot%4 + 1
	case l == fourBanks, slot < 2:
		return slot/2 + 1, slot%2 + 1
	}
	return 0, 0
}

// layout is unknown also when the computer reports both PID 13 and 1D, which the
// standard does not allow.
func (c *computer) layout() layout {
	switch two, four := c.present[0] != 0, c.present[1] != 0; {
	case two && !four:
		return twoBanks
	case four && !two:
		return fourBanks
	}
	return layoutUnknown
}

// spec returns the i-th signal of a PID, nil after the last.
func (c *computer) spec(pid byte, i int) *signalSpec {
	switch {
	case 0x14 <= pid && pid <= 0x1B:
		return c.sensorSpec(int(pid-0x14), i, narrowVolts, sensorTrim)
	case 0x24 <= pid && pid <= 0x2B:
		return c.sensorSpec(int(pid-0x24), i, lambda, wideVolts)
	case 0x34 <= pid && pid <= 0x3B:
		return c.sensorSpec(int(pid-0x34), i, lambda, wideCurrent)
	case i < len(index.byPID[pid]):
		return index.byPID[pid][i]
	}
	return nil
}

func (c *computer) sensorSpec(slot, i, first, second int) *signalSpec {
	bank, position := c.layout().at(slot)
	switch {
	case bank == 0 || i > 1:
		return nil
	case i == 0:
		return index.sensor[first][bank-1][position-1]
	}
	return index.sensor[second][bank-1][position-1]
}

// Sensors returns the oxygen sensors of the engine's computer in the order of
// their PIDs: those that PID 13 or 1D names and those whose PIDs are supported.
func (d *Decoder) Sensors() []Sensor {
	c := d.known()
	var out []Sensor
	for slot := range 8 {
		bank, position := c.layout().at(slot)
		if bank == 0 {
			continue
		}
		s := Sensor{Name: fmt.Sprintf("B%dS%d", bank, position), Bank: bank, Position: position}
		narrow, volts, current := byte(0x14+slot), byte(0x24+slot), byte(0x34+slot)
		switch {
		case c.supports(current):
			s.Kind, s.PID = WideRange, current
		case c.supports(volts):
			s.Kind, s.PID = WideRange, volts
		case c.supports(narrow):
			s.PID = narrow
			// A wide-range sensor may show a narrow reading too: without the second
			// bitmap it cannot be told.
			if !c.supports(0x20) || c.seen&2 != 0 {
				s.Kind = Narrow
			}
		case c.layout() == layoutUnknown || (c.present[0]|c.present[1])&(1<<slot) == 0:
			continue
		}
		out = append(out, s)
	}
	return out
}
