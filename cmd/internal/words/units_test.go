package words

import "testing"

// By NIST SP 811: 0 °C is 32 °F, 100 °C is 212 °F; 100 km/h is 62 mph; 101.325 kPa is 29.92 inHg.
func TestUnits(t *testing.T) {
	defer Use("us")
	for _, tt := range []struct{ units, text, want string }{
		{"us", "coolant 0 °C", "coolant 32 °F"},
		{"us", "coolant 90 to 100 °C (12 readings)", "coolant 194 to 212 °F (12 readings)"},
		{"us", "-40 °C", "-40 °F"},
		{"us", "vehicle speed 100 km/h", "vehicle speed 62 mph"},
		{"us", "101.325 kPa", "29.9 inHg"},
		{"us", "0.45 V, 15 s, +25 %, 758 rpm", "0.45 V, 15 s, +25 %, 758 rpm"},
		{"si", "coolant 90 to 100 °C, 50 km/h, 101.3 kPa", "coolant 90 to 100 °C, 50 km/h, 101.3 kPa"},
	} {
		if err := Use(tt.units); err != nil {
			t.Fatal(err)
		}
		if got := InUnits(tt.text); got != tt.want {
			t.Errorf("%s: %q becomes %q, want %q", tt.units, tt.text, got, tt.want)
		}
	}
	if Use("metric") == nil {
		t.Error("unknown units are taken")
	}
}
