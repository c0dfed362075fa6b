package decode

import (
	"errors"
	"fmt"
	"slices"
	"strings"
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

func TestReadiness(t *testing.T) {
	tests := []struct {
		reply, source, want string
		supported           []string
	}{
		{"410181076D6D", "a maker's workshop text of 2003, one family",
			"lamp true, 1; open: catalyst, evaporative system, secondary air, oxygen sensors, oxygen sensor heaters",
			[]string{"misfire", "fuel system", "components", "catalyst", "evaporative system", "secondary air", "oxygen sensors", "oxygen sensor heaters"}},
		{"41018333FF63", "bytes from memory of ISO 15031-5, decoded by hand",
			"lamp true, 3; open: misfire, fuel system, catalyst, heated catalyst, oxygen sensors, oxygen sensor heaters",
			[]string{"misfire", "fuel system", "catalyst", "heated catalyst", "evaporative system", "secondary air",
				"air conditioning or particle filter", "oxygen sensors", "oxygen sensor heaters", "exhaust gas recirculation"}},
		{"414100072100", "computed", "lamp false, 0; open: ", []string{"misfire", "fuel system", "components", "catalyst", "oxygen sensors"}},
		{"4101000F4040", "computed", "lamp false, 0; open: particle filter", []string{"misfire", "fuel system", "components", "particle filter"}},
		{"410100770000", "computed", "lamp false, 0; open: misfire, fuel system, components", []string{"misfire", "fuel system", "components"}},
		{"410100000000", "computed", "lamp false, 0; open: ", nil},
	}
	for _, tt := range tests {
		r, err := ReadReadiness(unhex(t, tt.reply))
		got := fmt.Sprintf("lamp %v, %d; open: %s", r.MIL, r.Codes, strings.Join(r.Incomplete(), ", "))
		if err != nil || got != tt.want {
			t.Errorf("%s: %q, %v; want %q (%s)", tt.reply, got, err, tt.want, tt.source)
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
