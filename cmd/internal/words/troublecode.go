package words

import (
	"fmt"
	"strconv"
	"strings"
)

// TroubleCode says in our words what a generic trouble code means, for the codes that
// bear on mixture and its control: oxygen sensors and their heaters, trim, air
// metering, misfire, catalyst, purge. "" for all others.
//
// The numbers are those of SAE J2012 (ISO 15031-6), from memory but for P0130-P0158,
// P0171-P0175, P2195-P2198 and P2270-P2273, which service literature confirms.
func TroubleCode(code string) string {
	code, kind, long := strings.Cut(code, "-")
	text := shortCode(code)
	if how := failureTypes[kind]; text != "" && long && how != "" {
		text += ", " + how
	}
	return text
}

// failureTypes are what the third byte of a long code adds (SAE J2012-DA; from memory).
var failureTypes = map[string]string{
	"11": "short to ground", "12": "short to battery", "13": "open", "14": "short to ground or open", "15": "short to battery or open",
}

func shortCode(code string) string {
	if len(code) != 5 || code[0] != 'P' {
		return ""
	}
	n, err := strconv.ParseUint(code[1:], 16, 16)
	if err != nil {
		return ""
	}
	if text := codeTexts[uint16(n)]; text != "" {
		return text
	}
	if cylinder := n - 0x0200; 0x01 <= cylinder && cylinder <= 0x12 && n%16 <= 9 {
		return "injector circuit, cylinder " + strconv.FormatUint(cylinder, 16)
	}
	return sensorCode(uint16(n))
}

// sensorCode describes the codes that repeat for each oxygen sensor.
func sensorCode(n uint16) string {
	// The first code of each sensor; several faults follow it.
	for _, g := range [...]struct {
		first  uint16
		sensor string
		faults []string
	}{
		{0x0030, "B1S1", heaterControl}, {0x0036, "B1S2", heaterControl}, {0x0042, "B1S3", heaterControl},
		{0x0050, "B2S1", heaterControl}, {0x0056, "B2S2", heaterControl}, {0x0062, "B2S3", heaterControl},
		{0x0130, "B1S1", circuit}, {0x0136, "B1S2", circuit}, {0x0142, "B1S3", circuit},
		{0x0150, "B2S1", circuit}, {0x0156, "B2S2", circuit}, {0x0162, "B2S3", circuit},
		{0x2195, "B1S1", stuck}, {0x2197, "B2S1", stuck},
		{0x2270, "B1S2", stuck}, {0x2272, "B2S2", stuck}, {0x2274, "B1S3", stuck}, {0x2276, "B2S3", stuck},
	} {
		if i := decimal(n) - decimal(g.first); 0 <= i && i < len(g.faults) {
			return "oxygen sensor " + g.sensor + ": " + g.faults[i]
		}
	}
	if n > 0x0300 && n <= 0x0312 && decimal(n) >= 0 {
		return fmt.Sprintf("misfire, cylinder %d", decimal(n)-300)
	}
	return ""
}

// decimal reads a code's digits as a decimal number, −1 if it has others: the
// generic codes here are numbered in decimal, P0139 then P0140.
func decimal(n uint16) int {
	d := 0
	for shift := 12; shift >= 0; shift -= 4 {
		digit := int(n >> shift & 0xF)
		if digit > 9 {
			return -1
		}
		d = 10*d + digit
	}
	return d
}

var (
	heaterControl = []string{"heater control circuit", "heater control circuit low", "heater control circuit high"}
	circuit       = []string{"circuit", "voltage low", "voltage high", "slow response", "no activity", "heater circuit"}
	stuck         = []string{"stuck lean", "stuck rich"}
)

var codeTexts = map[uint16]string{
	0x0053: "oxygen sensor B1S1: heater resistance",
	0x0054: "oxygen sensor B1S2: heater resistance",
	0x0055: "oxygen sensor B1S3: heater resistance",
	0x0059: "oxygen sensor B2S1: heater resistance",
	0x0060: "oxygen sensor B2S2: heater resistance",
	0x0061: "oxygen sensor B2S3: heater resistance",

	0x0100: "air flow meter: circuit",
	0x0101: "air flow meter: reading not plausible",
	0x0102: "air flow meter: signal low",
	0x0103: "air flow meter: signal high",
	0x0104: "air flow meter: intermittent",
	0x0106: "manifold pressure sensor: reading not plausible",
	0x0107: "manifold pressure sensor: signal low",
	0x0108: "manifold pressure sensor: signal high",
	0x0110: "intake air temperature sensor: circuit",
	0x0111: "intake air temperature sensor: reading not plausible",
	0x0112: "intake air temperature sensor: signal low",
	0x0113: "intake air temperature sensor: signal high",
	0x0114: "intake air temperature sensor: intermittent",
	0x0115: "coolant temperature sensor: circuit",
	0x0116: "coolant temperature sensor: reading not plausible",
	0x0117: "coolant temperature sensor: signal low",
	0x0118: "coolant temperature sensor: signal high",
	0x0125: "coolant too cold for closed loop",
	0x0128: "coolant stays below the thermostat's temperature",

	0x0170: "fuel trim, bank 1",
	0x0171: "system too lean, bank 1",
	0x0172: "system too rich, bank 1",
	0x0173: "fuel trim, bank 2",
	0x0174: "system too lean, bank 2",
	0x0175: "system too rich, bank 2",

	0x0300: "misfire in several cylinders",

	0x0420: "catalyst efficiency below its limit, bank 1",
	0x0430: "catalyst efficiency below its limit, bank 2",

	0x0440: "evaporative system: fault",
	0x0441: "evaporative system: wrong purge flow",
	0x0442: "evaporative system: small leak",
	0x0443: "evaporative system: purge valve circuit",
	0x0444: "evaporative system: purge valve circuit open",
	0x0445: "evaporative system: purge valve circuit shorted",
	0x0446: "evaporative system: vent control circuit",

	0x2096: "post catalyst fuel trim system too lean, bank 1",
	0x2097: "post catalyst fuel trim system too rich, bank 1",
	0x2098: "post catalyst fuel trim system too lean, bank 2",
	0x2099: "post catalyst fuel trim system too rich, bank 2",
}
