package words

import (
	"testing"

	"pushback/decode"
)

func TestTroubleCode(t *testing.T) {
	tests := []struct{ code, want string }{
		// Numbers and meanings of SAE J2012, as makers' workshop texts print them.
		{"P0131", "oxygen sensor B1S1: voltage low"},
		{"P0133", "oxygen sensor B1S1: slow response"},
		{"P0171", "system too lean, bank 1"},
		{"P0172", "system too rich, bank 1"},
		{"P0174", "system too lean, bank 2"},
		{"P0175", "system too rich, bank 2"},
		{"P2195", "oxygen sensor B1S1: stuck lean"},
		{"P2198", "oxygen sensor B2S1: stuck rich"},
		{"P2270", "oxygen sensor B1S2: stuck lean"},
		{"P2273", "oxygen sensor B2S2: stuck rich"},
		// From memory of SAE J2012.
		{"P0130", "oxygen sensor B1S1: circuit"},
		{"P0135", "oxygen sensor B1S1: heater circuit"},
		{"P0141", "oxygen sensor B1S2: heater circuit"},
		{"P0147", "oxygen sensor B1S3: heater circuit"},
		{"P0155", "oxygen sensor B2S1: heater circuit"},
		{"P0161", "oxygen sensor B2S2: heater circuit"},
		{"P0167", "oxygen sensor B2S3: heater circuit"},
		{"P0150", "oxygen sensor B2S1: circuit"},
		{"P0170", "fuel trim, bank 1"},
		{"P0300", "misfire in several cylinders"},
		{"P0312", "misfire, cylinder 12"},
		{"P0030", "oxygen sensor B1S1: heater control circuit"},
		{"P0051", "oxygen sensor B2S1: heater control circuit low"},
		{"P0064", "oxygen sensor B2S3: heater control circuit high"},
		{"P2097", "post catalyst fuel trim system too rich, bank 1"},
		{"P2277", "oxygen sensor B2S3: stuck rich"},
		{"P0430", "catalyst efficiency below its limit, bank 2"},
		{"P0131-11", "oxygen sensor B1S1: voltage low, short to ground"}, {"P0131-FF", "oxygen sensor B1S1: voltage low"}, {"P0148-11", ""}, // three bytes: SAE J2012-DA
		{"P0148", ""}, {"P0149", ""}, {"P0168", ""}, {"P0029", ""}, {"P0033", ""}, {"P0313", ""}, {"P1131", ""}, {"B0131", ""}, {"", ""}, {"P013", ""}, {"P01310", ""}, {"P013x", ""},
	}
	for _, tt := range tests {
		if got := TroubleCode(tt.code); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.code, got, tt.want)
		}
	}
}

// TestTroubleCodeOfArea: what bears on the test has a meaning in words.
func TestTroubleCodeOfArea(t *testing.T) {
	for _, code := range []string{"P0130", "P0133", "P0135", "P0031", "P0161", "P0171", "P2097", "P0101", "P0113", "P0302", "P2195", "P2271", "P0420", "P0445", "P0201"} {
		if decode.Area(code) == "" || TroubleCode(code) == "" {
			t.Errorf("%s: area %q, in words %q", code, decode.Area(code), TroubleCode(code))
		}
	}
}

func TestFuelStatus(t *testing.T) {
	// One bit at most is set; all else is unknown (SAE J1979; newer editions from memory).
	known := map[byte]bool{0: true, 1: true, 2: true, 4: true, 8: true, 16: true}
	texts := map[string]bool{}
	for b := range 256 {
		text := FuelStatus(byte(b))
		if unknown := len(text) == len("unknown 0xNN") && text[:9] == "unknown 0"; unknown == known[byte(b)] || texts[text] {
			t.Errorf("%02X: %q", b, text)
		}
		texts[text] = true
	}
	if got := FuelStatus(0x23); got != "unknown 0x23" {
		t.Error(got)
	}
}

func TestReadiness(t *testing.T) {
	for reply, want := range map[string]string{
		"\x41\x01\x81\x07\x6D\x6D": "lamp on, 1 code; not complete: catalyst, evaporative system, secondary air, oxygen sensors, oxygen sensor heaters",
		"\x41\x01\x83\x33\xFF\x63": "lamp on, 3 codes; not complete: misfire, fuel system, catalyst, heated catalyst, oxygen sensors, oxygen sensor heaters",
		"\x41\x41\x00\x07\x21\x00": "all monitors complete",
		"\x41\x01\x00\x00\x00\x00": "lamp off, 0 codes; no monitor supported",
	} {
		r, err := decode.ReadReadiness([]byte(reply))
		if got := Readiness(&r); err != nil || got != want {
			t.Errorf("%X: %q, %v; want %q", reply, got, err, want)
		}
	}
}

func TestTestName(t *testing.T) {
	for _, tt := range []struct {
		result decode.TestResult
		want   string
	}{
		{decode.TestResult{Service: 5, Test: 0x01}, "rich to lean threshold"},
		{decode.TestResult{Service: 5, Test: 0x31}, "test 31 (the maker's)"},
		{decode.TestResult{Service: 6, Monitor: 0x01, Test: 0x07}, "minimum voltage in the test cycle"},
		{decode.TestResult{Service: 6, Monitor: 0x01, Test: 0x81}, "oxygen sensor: test 81"},
		{decode.TestResult{Service: 6, Monitor: 0x42, Test: 0x07}, "oxygen sensor heater: test 07"},
		{decode.TestResult{Service: 6, Monitor: 0x22, Test: 0x80}, "catalyst, bank 2: test 80"},
		{decode.TestResult{Service: 6, Monitor: 0x81, Test: 0x80}, "fuel system, bank 1: test 80"},
		{decode.TestResult{Service: 6, Monitor: 0xA1, Test: 0x0B}, "misfire: test 0B"},
		{decode.TestResult{Service: 6, Monitor: 0xA3, Test: 0x0B}, "misfire, cylinder 2: test 0B"},
		{decode.TestResult{Service: 6, Monitor: 0x3D, Test: 0x98}, "monitor 3D, test 98"},
		{decode.TestResult{Service: 6, Test: 0x05, Part: 0x03}, "test 05 of part 03 (the maker defines it)"},
	} {
		if got := TestName(tt.result); got != tt.want {
			t.Errorf("%+v: %q, want %q", tt.result, got, tt.want)
		}
	}
}
