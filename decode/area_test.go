package decode

import "testing"

// The areas follow the meanings of SAE J2012's numbers.
func TestArea(t *testing.T) {
	for code, want := range map[string]string{
		"P0130": "oxygen sensor", "P0133": "oxygen sensor", "P0135": "sensor heater", "P0031": "sensor heater", "P0161": "sensor heater",
		"P0171": "fuel trim", "P2097": "fuel trim", "P0101": "air metering", "P0113": "air metering", "P0302": "misfire",
		"P2195": "oxygen sensor", "P0131-11": "oxygen sensor", "P2271": "oxygen sensor", "P0420": "catalyst", "P0445": "fuel", "P0201": "fuel", "P0500": "", "C0171": "", "P": "", "P1171": "",
	} {
		if got := Area(code); got != want {
			t.Errorf("%s touches %q, want %q", code, got, want)
		}
	}
}
