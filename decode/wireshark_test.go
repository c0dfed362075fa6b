package decode

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

// The dissector's names of our signals. Those of oxygen sensors are made in the test.
var wiresharkNames = map[string]string{
	"absolute_barometric_pressure": "BARO", "absolute_load_value": "LOAD_ABS", "absolute_throttle_position_B": "TP_B",
	"absolute_throttle_position_C": "TP_C", "accelerator_pedal_position_D": "APP_D", "accelerator_pedal_position_E": "APP_E",
	"ambient_air_temp": "AAT", "catalyst_temp_11": "CATEMP11", "catalyst_temp_12": "CATEMP12", "catalyst_temp_21": "CATEMP21",
	"catalyst_temp_22": "CATEMP22", "commanded_evap_purge": "EVAP_PCT", "control_module_voltage": "VPWR",
	"distance_traveled_since_code_clear": "CLR_DIST", "distance_traveled_with_mil": "MIL_DIST", "engine_coolant_temp": "ECT",
	"engine_fuel_rate": "FUEL_RATE", "engine_load": "LOAD_PCT", "engine_rpm": "RPM", "engine_uptime": "RUNTM",
	"fuel_air_commanded_equiv_ratio": "EQ_RAT", "fuel_system1_status": "FUELSYS1", "fuel_system2_status": "FUELSYS2",
	"fuel_tank_level_input": "FLI", "intake_air_temp": "IAT", "intake_manifold_absolute_pressure": "MAP",
	"long_term_fuel_bank1": "LONGFT1", "long_term_fuel_bank2": "LONGFT2", "maf_air_flow_rate": "MAF", "obd_standards": "OBDSUP",
	"relative_throttle_position": "TP_R", "short_term_fuel_bank1": "SHRTFT1", "short_term_fuel_bank2": "SHRTFT2",
	"throttle_position": "TP", "time_run_with_mil": "MIL_TIME", "time_since_trouble_code_clear": "CLR_TIME",
	"timing_advance": "SPARKADV", "vehicle_speed": "VSS",
}

// TestWireshark compares with an independent implementation; testdata/wireshark/README.md
// says how its file was made.
func TestWireshark(t *testing.T) {
	f, err := os.Open("testdata/wireshark/replies.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	compared := map[string]bool{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		var golden wiresharkReply
		if err := json.Unmarshal(lines.Bytes(), &golden); err != nil {
			t.Fatal(err)
		}
		if reply := unhex(t, golden.Reply); reply[0] == 0x49 {
			if vin, err := VIN(reply); err != nil || vin != golden.Fields["VIN"] {
				t.Errorf("%s: %s, %v; want %s", golden.Reply, vin, err, golden.Fields["VIN"])
			}
			compared["VIN"] = true
			continue
		}

		compareWireshark(t, golden, 0x13, compared)
		compareWireshark(t, golden, 0x1D, compared)
	}
	for _, s := range Signals() {
		switch s.PID {
		case 0x01, 0x51: // not decoded by the dissector
		case 0x06, 0x07, 0x08, 0x09: // nor is their second byte
		default:
			if !compared[s.Name] {
				t.Errorf("%s was never compared", s.Name)
			}
		}
	}
	if !compared["VIN"] || !compared["bitmap"] {
		t.Error("no VIN or no bitmap was compared")
	}
}

// wiresharkReply is one line of the file.
type wiresharkReply struct {
	Reply     string
	Fields    map[string]any
	Percent   []float64
	Supported []string
	Sensors   []string
}

// compareWireshark decodes one reply of service 01 in a car with the given layout.
func compareWireshark(t *testing.T, golden wiresharkReply, layout byte, compared map[string]bool) {
	reply := unhex(t, golden.Reply)
	pid := reply[1]
	var d Decoder
	if pid != 0x13 && pid != 0x1D {
		ask(t, &d, 0x7E8, fmt.Sprintf("01%02X", layout), fmt.Sprintf("41%02XFF", layout))
	}
	got := map[string]Sample{}
	for _, s := range ask(t, &d, 0x7E8, "01"+golden.Reply[2:4], golden.Reply) {
		got[s.Signal.Name] = s
	}
	equal := func(name string, want, tolerance float64) {
		t.Helper()
		s, ok := got[name]
		if !ok || s.Missing || math.Abs(s.Value-want) > tolerance {
			t.Errorf("%s: %s is %v, want %v", golden.Reply, name, s.Value, want)
		}
		compared[name] = true
		delete(got, name)
	}
	// The dissector numbers the sensors from 1 to 8.
	sensor := func(name string) string {
		n, positions := int(golden.Fields["oxygen_sensor_id"].(float64))-1, 4
		if layout == 0x1D {
			positions = 2
		}
		return strings.Replace(name, "bs", fmt.Sprintf("%d%d", n/positions+1, n%positions+1), 1)
	}
	for field, v := range golden.Fields {
		value, _ := v.(float64)
		switch field {
		case "oxygen_sensor_id":
		case "oxygen_sensor_fuel_air_ratio":
			equal(sensor("EQ_RATbs"), value, 1e-9)
		case "oxygen_sensor_current":
			equal(sensor("O2Sbs_WIDE_MA"), value, 1e-9)
		case "oxygen_sensor_voltage":
			if pid >= 0x24 {
				equal(sensor("O2Sbs_WIDE_V"), value, 1e-9)
			} else {
				equal(sensor("O2Sbs"), value, 1e-9)
			}
		default:
			if wiresharkNames[field] == "" {
				t.Errorf("%s: no signal for %s", golden.Reply, field)
			}
			equal(wiresharkNames[field], value, 1e-9)
		}
	}
	switch {
	case 0x14 <= pid && pid <= 0x1B:
		if golden.Percent == nil {
			name := sensor("SHRTFTbs")
			if s := got[name]; reply[3] != 0xFF || !s.Missing {
				t.Errorf("%s: %s is not missing", golden.Reply, name)
			}
			delete(got, name)
		} else {
			equal(sensor("SHRTFTbs"), golden.Percent[0], 0.0051)
		}
	case 0x55 <= pid && pid <= 0x58:
		names := [][2]string{{"STSO2FT1", "STSO2FT3"}, {"LGSO2FT1", "LGSO2FT3"}, {"STSO2FT2", "STSO2FT4"}, {"LGSO2FT2", "LGSO2FT4"}}[pid-0x55]
		equal(names[0], golden.Percent[0], 0.0051)
		equal(names[1], golden.Percent[1], 0.0051)
	case pid%0x20 == 0:
		for i := 1; i <= 0x20; i++ {
			name := fmt.Sprintf("%02X", pid+byte(i))
			if d.Supports(pid+byte(i)) != slices.Contains(golden.Supported, name) {
				t.Errorf("%s: PID %s", golden.Reply, name)
			}
		}
		compared["bitmap"] = true
	case pid == 0x13 || pid == 0x1D:
		var names []string
		for _, s := range d.Sensors() {
			names = append(names, s.Name)
		}
		if !slices.Equal(names, golden.Sensors) {
			t.Errorf("%s: sensors %v, want %v", golden.Reply, names, golden.Sensors)
		}
	}
	if len(got) > 0 {
		t.Errorf("%s: not compared: %v", golden.Reply, got)
	}
}
