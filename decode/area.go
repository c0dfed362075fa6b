package decode

import (
	"strconv"
	"strings"
)

// Area says what a generic powertrain code touches that bears on an oxygen sensor test:
// "oxygen sensor", "sensor heater", "fuel trim", "air metering", "fuel", "misfire",
// "catalyst"; "" for any other. The ranges are those of SAE J2012 (ISO 15031-6), from
// memory.
func Area(code string) string {
	code, _, _ = strings.Cut(code, "-") // the third byte says no more of where
	if len(code) != 5 || code[0] != 'P' {
		return ""
	}
	v, err := strconv.ParseUint(code[1:], 16, 16)
	if err != nil {
		return ""
	}
	n := uint16(v)
	in := func(from, to uint16) bool { return from <= n && n <= to }
	switch {
	case n == 0x0135, n == 0x0141, n == 0x0147, n == 0x0155, n == 0x0161, n == 0x0167, in(0x0030, 0x0064):
		return "sensor heater"
	case in(0x0130, 0x0167), in(0x2195, 0x2198), in(0x2270, 0x2279):
		return "oxygen sensor"
	case in(0x0170, 0x0175), in(0x2096, 0x2099):
		return "fuel trim"
	case in(0x0100, 0x0114), in(0x0068, 0x0069):
		return "air metering"
	case in(0x0087, 0x0094), in(0x0190, 0x0194), in(0x0201, 0x0212), in(0x0230, 0x0233), in(0x0440, 0x0446):
		return "fuel"
	case in(0x0300, 0x0312):
		return "misfire"
	case in(0x0420, 0x0434):
		return "catalyst"
	}
	return ""
}
