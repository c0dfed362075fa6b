package decode

import (
	"encoding/json"
	"testing"
)

// Names as SAE J1979 has them: bank 1 has cylinder 1, sensor 1 is the first in the stream.
func TestSensorID(t *testing.T) {
	for bank := 1; bank <= 4; bank++ {
		for position := 1; position <= 4; position++ {
			id := SensorID{bank, position}
			back, err := ParseSensorID(id.String())
			if err != nil || back != id {
				t.Errorf("%v read back as %v: %v", id, back, err)
			}
			if bank > 2 && position > 2 { // the standard has eight places
				continue
			}
			if ByName(id.Voltage()) == nil || ByName(id.Ratio()) == nil || ByName(id.Trim()) == nil ||
				ByName(id.TrimBeside()) == nil || ByName(id.LongTrim()) == nil || ByName(id.Status()) == nil {
				t.Errorf("%v names a signal that no table has", id)
			}
			if id.Beside().Beside() != id || id.Beside() == id {
				t.Errorf("%v beside %v", id, id.Beside())
			}
		}
	}
	for _, bad := range []string{"", "B1S", "B1S11", "B0S1", "B5S1", "B1S0", "B1S5", "b1s1", "B1 1", "B١S1"} {
		if id, err := ParseSensorID(bad); err == nil {
			t.Errorf("%q was read as %v", bad, id)
		}
	}
}

func TestSensorIDInJSON(t *testing.T) {
	type holder struct{ Sensor SensorID }
	for _, tt := range []struct {
		text string
		id   SensorID
	}{{`{"Sensor":"B2S1"}`, SensorID{2, 1}}, {`{"Sensor":""}`, SensorID{}}} {
		var h holder
		if err := json.Unmarshal([]byte(tt.text), &h); err != nil || h.Sensor != tt.id {
			t.Errorf("%s: %v, %v", tt.text, h.Sensor, err)
		}
		if b, err := json.Marshal(h); err != nil || string(b) != tt.text {
			t.Errorf("%s came back as %s: %v", tt.text, b, err)
		}
	}
	var h holder
	if err := json.Unmarshal([]byte(`{"Sensor":"B9S1"}`), &h); err == nil {
		t.Errorf("B9S1 was read as %v", h.Sensor)
	}
}
