package decode

import "fmt"

// SensorID says where an oxygen sensor sits: "B1S1" is bank 1 (the one with cylinder 1),
// position 1 (upstream of the catalyst). Both are 1 to 4; the zero value is no sensor.
type SensorID struct{ Bank, Position int }

// ParseSensorID reads a name such as "B1S1". The error says what is wrong with it.
//
// Special cases are: small letters, blanks and an empty name are errors.
func ParseSensorID(name string) (SensorID, error) {
	if len(name) != 4 || name[0] != 'B' || name[2] != 'S' ||
		name[1] < '1' || name[1] > '4' || name[3] < '1' || name[3] > '4' {
		return SensorID{}, fmt.Errorf("sensor %q is not like B1S1 (bank 1, sensor 1)", name)
	}
	return SensorID{Bank: int(name[1] - '0'), Position: int(name[3] - '0')}, nil
}

// String returns the name, "B1S1"; "" of no sensor.
func (id SensorID) String() string {
	if id == (SensorID{}) {
		return ""
	}
	return fmt.Sprintf("B%dS%d", id.Bank, id.Position)
}

// MarshalText writes the name, in JSON too.
func (id SensorID) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText reads the name; an empty one is no sensor.
func (id *SensorID) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*id = SensorID{}
		return nil
	}
	v, err := ParseSensorID(string(text))
	if err == nil {
		*id = v
	}
	return err
}

// The names of the signals of a sensor and of its bank, as [Signal.Name] has them. They are asked for with
// each sample, so those that there are are made once.

type sensorNames struct{ voltage, ratio, trim, beside, long string }

var namesOf = func() (all [5][5]sensorNames) {
	for bank := range all {
		for position := range all[bank] {
			all[bank][position] = SensorID{bank, position}.name()
		}
	}
	return all
}()

func (id SensorID) name() sensorNames {
	place := fmt.Sprintf("%d%d", id.Bank, id.Position)
	return sensorNames{"O2S" + place, "EQ_RAT" + place, fmt.Sprintf("SHRTFT%d", id.Bank), "SHRTFT" + place, fmt.Sprintf("LONGFT%d", id.Bank)}
}

func (id SensorID) names() sensorNames {
	if uint(id.Bank) < uint(len(namesOf)) && uint(id.Position) < uint(len(namesOf)) {
		return namesOf[id.Bank][id.Position]
	}
	return id.name()
}

// Voltage names the reading of a narrow sensor, "O2S11".
func (id SensorID) Voltage() string { return id.names().voltage }

// Ratio names the reading of a wide-range sensor, "EQ_RAT11".
func (id SensorID) Ratio() string { return id.names().ratio }

// Trim names the short-term trim of the bank, "SHRTFT1".
func (id SensorID) Trim() string { return id.names().trim }

// TrimBeside names the same trim as it comes with the voltage, "SHRTFT11".
func (id SensorID) TrimBeside() string { return id.names().beside }

// Trims names the signals that may carry the short-term trim of the bank.
func (id SensorID) Trims() []string { return []string{id.Trim(), id.TrimBeside()} }

// LongTrim names the long-term trim of the bank, "LONGFT1".
func (id SensorID) LongTrim() string { return id.names().long }

// RearTrim names the short-term trim that the sensor behind the catalyst of the bank makes, "STSO2FT1".
func (id SensorID) RearTrim() string { return fmt.Sprintf("STSO2FT%d", id.Bank) }

// RearLongTrim names the long-term one, "LGSO2FT1".
func (id SensorID) RearLongTrim() string { return fmt.Sprintf("LGSO2FT%d", id.Bank) }

// Status names the fuel system status of the bank, "FUELSYS1" or, of bank 2, "FUELSYS2".
func (id SensorID) Status() string {
	if id.Bank == 2 {
		return "FUELSYS2"
	}
	return "FUELSYS1"
}

// Downstream is the sensor behind the catalyst of the same bank.
func (id SensorID) Downstream() SensorID { return SensorID{id.Bank, 2} }

// Beside is the sensor in the same place of the bank beside: of 1 that is 2, of 3 it is 4.
func (id SensorID) Beside() SensorID { return SensorID{(id.Bank - 1) ^ 1 + 1, id.Position} }

// ID returns the place of the sensor.
func (s Sensor) ID() SensorID { return SensorID{s.Bank, s.Position} }
