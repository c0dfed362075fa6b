package decode

import (
	"errors"
	"slices"
	"testing"
)

func TestCodes(t *testing.T) {
	tests := []struct {
		service byte
		can     bool
		reply   string
		want    []string
		err     error
	}{
		// Formats and examples from memory of SAE J1979.
		{3, false, "43013300000000", []string{"P0133"}, nil},
		{3, true, "43010133", []string{"P0133"}, nil},
		{3, true, "4300", nil, nil},
		{3, false, "43000000000000", nil, nil},
		// Codes computed by ISO 15031-6; C158 is the example in Wikipedia, OBD-II PIDs.
		{7, true, "470401712195 2270C158", []string{"P0171", "P2195", "P2270", "U0158"}, nil},
		{0x0A, false, "4A0171 4123 0000", []string{"P0171", "C0123"}, nil},
		// B16A1: computed by the same rule, apart.
		{3, false, "4396A100000000", []string{"B16A1"}, nil},
		{3, true, "43010171000000", []string{"P0171"}, nil}, // filled up to the frame
		{3, true, "4301017101", nil, ErrLong},
		{3, true, "430201710171", []string{"P0171", "P0171"}, nil},
		{3, true, "43020171", nil, ErrShort},
		{3, true, "43", nil, ErrShort},
		{3, false, "43", nil, nil},
		{3, false, "4301", nil, ErrShort},
		{3, true, "47010171", nil, ErrForeign},
		{3, true, "7F0311", nil, ErrRefused},
		{3, true, "", nil, ErrShort},
	}
	for _, tt := range tests {
		got, err := Codes(tt.service, tt.can, unhex(t, tt.reply))
		if !slices.Equal(got, tt.want) || !errors.Is(err, tt.err) || (err == nil) != (tt.err == nil) {
			t.Errorf("%s: %v, %v; want %v, %v", tt.reply, got, err, tt.want, tt.err)
		}
	}
}

func TestVIN(t *testing.T) {
	// Both pass the check digit of 49 CFR 565 (computed).
	const a, b = "1M8GDM9AXKP042788", "1G1JC5444R7252367"
	kline := []string{"49020100000031", "49020247314A43", "49020335343434", "49020452373235", "49020532333637"}
	tests := []struct {
		replies []string
		want    string
		err     error
	}{
		{[]string{"490201314D3847444D3941584B50303432373838"}, a, nil},
		{kline, b, nil},
		{[]string{kline[4], kline[0], kline[2], kline[2], kline[1], kline[3]}, b, nil},
		{kline[:4], "", ErrShort},
		{nil, "", ErrShort},
		{[]string{"4902"}, "", ErrShort},
		{[]string{"490401314D3847444D3941584B50303432373838"}, "", ErrForeign},
		{[]string{"490201314D3847444D3941584B5030343237383838"}, "", ErrLong},
		{[]string{"490201314D3847444D3941584B503034323738"}, "", ErrShort},
		{[]string{"490201494D3847444D3941584B50303432373838"}, "", ErrForeign}, // the letter I
		{[]string{"490209314D3847444D3941584B50303432373838"}, "", ErrLong},
		{[]string{"7F0912"}, "", ErrRefused},
		{[]string{""}, "", ErrShort},
	}
	for _, tt := range tests {
		var replies [][]byte
		for _, r := range tt.replies {
			replies = append(replies, unhex(t, r))
		}
		got, err := VIN(replies...)
		if got != tt.want || !errors.Is(err, tt.err) || (err == nil) != (tt.err == nil) {
			t.Errorf("%v: %q, %v; want %q, %v", tt.replies, got, err, tt.want, tt.err)
		}
	}
}

func TestInfoTypes(t *testing.T) {
	tests := []struct {
		reply string
		want  []byte
		err   error
	}{
		// Formats from memory of ISO 15031-5; lists computed.
		{"490055400000", []byte{2, 4, 6, 8, 10}, nil}, // CAN
		{"490001FC000001", []byte{1, 2, 3, 4, 5, 6, 32}, nil},
		{"490000000000", nil, nil},
		{"4900554000", nil, ErrShort},
		{"49005540000000", nil, ErrForeign},
		{"4900014000000000", nil, ErrLong},
		{"490255400000", nil, ErrForeign},
		{"410055400000", nil, ErrForeign},
		{"7F0911", nil, ErrRefused},
		{"", nil, ErrShort},
	}
	for _, tt := range tests {
		got, err := InfoTypes(unhex(t, tt.reply))
		if !slices.Equal(got, tt.want) || !errors.Is(err, tt.err) || (err == nil) != (tt.err == nil) {
			t.Errorf("%s: %v, %v; want %v, %v", tt.reply, got, err, tt.want, tt.err)
		}
	}
}

func TestReadiness(t *testing.T) {
	tests := []struct {
		reply, source, want string
		supported           []string
	}{
		{"410181076D6D", "a maker's workshop text of 2003, one family",
			"lamp on, 1 code; not complete: catalyst, evaporative system, secondary air, oxygen sensors, oxygen sensor heaters",
			[]string{"misfire", "fuel system", "components", "catalyst", "evaporative system", "secondary air", "oxygen sensors", "oxygen sensor heaters"}},
		{"41018333FF63", "bytes from memory of ISO 15031-5, decoded by hand",
			"lamp on, 3 codes; not complete: misfire, fuel system, catalyst, heated catalyst, oxygen sensors, oxygen sensor heaters",
			[]string{"misfire", "fuel system", "catalyst", "heated catalyst", "evaporative system", "secondary air",
				"air conditioning or particle filter", "oxygen sensors", "oxygen sensor heaters", "exhaust gas recirculation"}},
		{"414100072100", "computed", "all monitors complete", []string{"misfire", "fuel system", "components", "catalyst", "oxygen sensors"}},
		{"4101000F4040", "computed", "lamp off, 0 codes; not complete: particle filter", []string{"misfire", "fuel system", "components", "particle filter"}},
		{"410100770000", "computed", "lamp off, 0 codes; not complete: misfire, fuel system, components", []string{"misfire", "fuel system", "components"}},
		{"410100000000", "computed", "lamp off, 0 codes; no monitor supported", nil},
	}
	for _, tt := range tests {
		r, err := ReadReadiness(unhex(t, tt.reply))
		if err != nil || r.String() != tt.want {
			t.Errorf("%s: %q, %v; want %q (%s)", tt.reply, r, err, tt.want, tt.source)
		}
		var supported []string
		for _, m := range r.Monitors {
			if m.Supported {
				supported = append(supported, m.Name)
			}
		}
		if !slices.Equal(supported, tt.supported) {
			t.Errorf("%s: supported %q, want %q", tt.reply, supported, tt.supported)
		}
	}
	for reply, want := range map[string]error{"": ErrShort, "4101": ErrShort, "41018107 6D": ErrShort, "410181076D6D00": ErrLong,
		"410381076D6D": ErrForeign, "430181076D6D": ErrForeign, "7F0112": ErrRefused} {
		if _, err := ReadReadiness(unhex(t, reply)); !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", reply, err, want)
		}
	}
}

func TestStatusWords(t *testing.T) {
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
	for got, want := range map[string]string{FuelType(1): "gasoline", FuelType(4): "diesel", FuelType(0): "unknown 0x00", FuelType(99): "unknown 0x63",
		OBDStandard(1): "OBD II (California)", OBDStandard(6): "EOBD", OBDStandard(0x0A): "JOBD", OBDStandard(0x0B): "unknown 0x0B"} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestDescribe(t *testing.T) {
	tests := []struct{ code, want string }{
		// Numbers and meanings of SAE J2012, as makers' workshop texts print them.
		{"P0131", "oxygen sensor B1S1: voltage low"},
		{"P0133", "oxygen sensor B1S1: slow response"},
		{"P0171", "mixture too lean, bank 1"},
		{"P0172", "mixture too rich, bank 1"},
		{"P0174", "mixture too lean, bank 2"},
		{"P0175", "mixture too rich, bank 2"},
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
		{"P2097", "trim after the catalyst too rich, bank 1"},
		{"P2277", "oxygen sensor B2S3: stuck rich"},
		{"P0430", "catalyst efficiency below its limit, bank 2"},
		{"P0148", ""}, {"P0149", ""}, {"P0168", ""}, {"P0029", ""}, {"P0033", ""}, {"P0313", ""}, {"P1131", ""}, {"B0131", ""}, {"", ""}, {"P013", ""}, {"P01310", ""}, {"P013x", ""},
	}
	for _, tt := range tests {
		if got := Describe(tt.code); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.code, got, tt.want)
		}
	}
}
