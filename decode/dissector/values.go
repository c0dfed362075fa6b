package dissector

import (
	"encoding/hex"
	"fmt"
	"strings"
)

// shortNames are SAE J1979's short names of the dissector's fields. Those of oxygen
// sensors are made up in Values.
var shortNames = map[string]string{
	"absolute_barometric_pressure": "BARO", "absolute_load_value": "LOAD_ABS", "absolute_throttle_position_B": "TP_B",
	"absolute_throttle_position_C": "TP_C", "accelerator_pedal_position_D": "APP_D", "accelerator_pedal_position_E": "APP_E",
	"ambient_air_temp": "AAT", "catalyst_temp_11": "CATEMP11", "catalyst_temp_12": "CATEMP12", "catalyst_temp_21": "CATEMP21",
	"catalyst_temp_22": "CATEMP22", "commanded_evap_purge": "EVAP_PCT", "control_module_voltage": "VPWR",
	"distance_traveled_since_code_clear": "CLR_DIST", "distance_traveled_with_mil": "MIL_DIST", "engine_coolant_temp": "ECT",
	"engine_fuel_rate": "FUEL_RATE", "ethanol_fuel": "ALCH_PCT", "hybrid_battery_remaining_life": "BAT_PWR",
	"fuel_rail_absolute_pressure": "FRP_ABS", "fuel_rail_gauge_pressure": "FRP", "secondary_air_status": "AIR_STAT",
	"engine_load": "LOAD_PCT", "engine_rpm": "RPM", "engine_uptime": "RUNTM",
	"fuel_air_commanded_equiv_ratio": "EQ_RAT", "fuel_system1_status": "FUELSYS1", "fuel_system2_status": "FUELSYS2",
	"fuel_tank_level_input": "FLI", "intake_air_temp": "IAT", "intake_manifold_absolute_pressure": "MAP",
	"long_term_fuel_bank1": "LONGFT1", "long_term_fuel_bank2": "LONGFT2", "maf_air_flow_rate": "MAF", "obd_standards": "OBDSUP",
	"relative_throttle_position": "TP_R", "short_term_fuel_bank1": "SHRTFT1", "short_term_fuel_bank2": "SHRTFT2",
	"throttle_position": "TP", "time_run_with_mil": "MIL_TIME", "time_since_trouble_code_clear": "CLR_TIME",
	"timing_advance": "SPARKADV", "vehicle_speed": "VSS",
}

// postCatTrims are the two trims of PIDs 55 to 58, which are in the text alone.
var postCatTrims = [][2]string{{"STSO2FT1", "STSO2FT3"}, {"LGSO2FT1", "LGSO2FT3"}, {"STSO2FT2", "STSO2FT4"}, {"LGSO2FT2", "LGSO2FT4"}}

// Value is a number with how far it may be off because it was read from text.
type Value struct {
	V, Within float64
	Missing   bool // the standard's 'not used'
}

const (
	exact   = 1e-9
	rounded = 0.0051 // two decimals
)

// Values returns a reply of service 01 by the standard's short names, in its units. The
// dissector numbers the sensors of 14-1B, 24-2B and 34-3B from 1 to 8: the layout is the
// PID (13 or 1D) by which the car says what those numbers mean. The error names a field
// for which there is no short name.
func (r Reply) Values(layout byte) (map[string]Value, error) {
	data, err := hex.DecodeString(r.Hex)
	if err != nil || len(data) < 3 {
		return nil, fmt.Errorf("read reply %q: too short or no hexadecimal number", r.Hex)
	}
	pid := data[1]
	sensor := func(name string) string {
		n, positions := int(r.Fields["oxygen_sensor_id"])-1, 4
		if layout == 0x1D {
			positions = 2
		}
		return strings.Replace(name, "bs", fmt.Sprintf("%d%d", n/positions+1, n%positions+1), 1)
	}
	values := map[string]Value{}
	for field, v := range r.Fields {
		name := shortNames[field]
		switch {
		case field == "oxygen_sensor_id":
			continue
		case field == "oxygen_sensor_fuel_air_ratio":
			name = sensor("EQ_RATbs")
		case field == "oxygen_sensor_current":
			name = sensor("O2Sbs_WIDE_MA")
		case field == "oxygen_sensor_voltage" && pid >= 0x24:
			name = sensor("O2Sbs_WIDE_V")
		case field == "oxygen_sensor_voltage":
			name = sensor("O2Sbs")
		case name == "":
			return nil, fmt.Errorf("name field %s: no short name for it", field)
		}
		values[name] = Value{V: v, Within: exact}
	}
	switch {
	case 0x14 <= pid && pid <= 0x1B && len(r.Percent) == 0:
		values[sensor("SHRTFTbs")] = Value{Missing: true}
	case 0x14 <= pid && pid <= 0x1B:
		values[sensor("SHRTFTbs")] = Value{V: r.Percent[0], Within: rounded}
	case 0x55 <= pid && pid <= 0x58:
		for i, name := range postCatTrims[pid-0x55] {
			values[name] = Value{V: r.Percent[i], Within: rounded}
		}
	}
	return values, nil
}
