package decode

import (
	"errors"
	"fmt"
	"math"
	"testing"
)

// A worked set as printed in a maker's service texts of 1997 and 1999, sensor B1S1:
// both thresholds 0.440 V; minimum 0.010 V (limits 0.002 to 0.395 as printed, 0.000 and
// 0.395 in counts of 5 mV), maximum 0.830 V (0.495 to 0.945), 0.40 s between transitions
// (0.20 to 1.20). The bytes are worked back from the values.
func TestSensorTests(t *testing.T) {
	d := &Decoder{}
	ask(t, d, 0x10, "0113", "411333")
	for _, tt := range []struct{ request, reply, want string }{
		{"050101", "45010158", "B1S1 0.44 V (NaN to NaN) true"},
		{"050201", "45020158", "B1S1 0.44 V (NaN to NaN) true"},
		{"050701", "45070102004F", "B1S1 0.01 V (0 to 0.395) true"},
		{"050801", "450801A663BD", "B1S1 0.83 V (0.495 to 0.945) true"},
		{"050901", "4509010A051E", "B1S1 0.4 s (0.2 to 1.2) true"},
		{"050A10", "450A102D0064", "B2S1 1.8 s (0 to 4) true"},     // average period 1.80 s (0 to 4.00)
		{"050501", "450501FF0032", "B1S1 1.02 s (0 to 0.2) false"}, // by hand: 255 · 4 ms
		{"053101", "45310107", "B1S1 7  (NaN to NaN) true"},
	} {
		r, err := d.SensorTests(unhex(t, tt.request), unhex(t, tt.reply))
		if err != nil {
			t.Errorf("%s: %v", tt.reply, err)
		}
		if got := fmt.Sprintf("%s %v %s (%v to %v) %v", r.Sensor, r.Value, r.Unit, r.Min, r.Max, r.Passed()); got != tt.want {
			t.Errorf("%s is %q, want %q", tt.reply, got, tt.want)
		}
	}
	for _, tt := range []struct {
		request, reply string
		want           error
	}{
		{"050101", "450101", ErrShort}, {"050101", "4501015800", ErrShort}, {"050101", "45010158000000", ErrLong},
		{"050101", "45020158", ErrForeign}, {"050101", "45010258", ErrForeign}, {"050001", "450001FFE00000", ErrForeign},
		{"050101", "7F0511", ErrRefused}, {"050101", "46010158", ErrForeign},
	} {
		if _, err := d.SensorTests(unhex(t, tt.request), unhex(t, tt.reply)); !errors.Is(err, tt.want) {
			t.Errorf("%s for %s: %v, want %v", tt.reply, tt.request, err, tt.want)
		}
	}
	// Unknown layout: the third sensor has no name.
	if r, err := (&Decoder{}).SensorTests(unhex(t, "050104"), unhex(t, "45010458")); err != nil || r.Sensor != "" {
		t.Errorf("%+v, %v", r, err)
	}
}

// Records of service 06 of real vehicles, no document; the values are worked out by hand from
// the scalings.
func TestMonitorTests(t *testing.T) {
	for _, tt := range []struct{ reply, want string }{
		{"46 3D 98 FE 00 69 80 00 0D 8A", "26.25 Pa (-8192 to 866.5)"},
		{"46 71 9E 17 27 12 00 00 29 AD", "100.02 kPa (0 to 106.69)"},
		{"46 71 B5 0B 01 27 00 31 FF FF", "0.295 V (0.049 to 65.535)"},
		{"46 71 B8 0B 03 7E 00 00 32 C8", "0.894 V (0 to 13)"},
	} {
		data := unhex(t, tt.reply)
		r, err := MonitorTests([]byte{6, data[1]}, data)
		if err != nil || len(r) != 1 {
			t.Fatalf("%s: %v, %v", tt.reply, r, err)
		}
		if got := fmt.Sprintf("%v %s (%v to %v)", r[0].Value, r[0].Unit, r[0].Min, r[0].Max); got != tt.want {
			t.Errorf("%s is %q, want %q", tt.reply, got, tt.want)
		}
	}
	// Two records of B1S1: 0.122 mV a count (0E68 is 0.44994 V, 1CD0 0.89987 V), then ms.
	r, err := MonitorTests([]byte{6, 1}, unhex(t, "46 01 07 0A 0E 68 00 00 1C D0 01 05 10 00 50 00 00 00 64"))
	if err != nil || len(r) != 2 {
		t.Fatal(r, err)
	}
	if math.Abs(r[0].Value-0.44994) > 1e-5 || math.Abs(r[0].Max-0.89987) > 1e-5 || r[0].Sensor != "B1S1" || r[0].Test != 7 {
		t.Errorf("%+v", r[0])
	}
	if r, err := MonitorTests([]byte{6, 1}, unhex(t, "46 01 05 10 00 00 00 00 00 00")); err != nil || !r[0].NotRun {
		t.Errorf("all zero is not completed: %+v, %v", r, err)
	}
	if r[1].NotRun || r[1].Value != 0.08 || r[1].Max != 0.1 || r[1].Unit != "s" || !r[1].Passed() {
		t.Errorf("%+v", r[1])
	}
	for _, tt := range []struct {
		request, reply string
		want           error
	}{{"0601", "46", ErrShort}, {"0601", "460107", ErrShort}, {"0601", "46 02 07 0A 0E 68 00 00 1C D0", ErrForeign}, {"0600", "4600C0000001", ErrForeign}, {"0601", "7F0631", ErrRefused}} {
		if _, err := MonitorTests(unhex(t, tt.request), unhex(t, tt.reply)); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.reply, err, tt.want)
		}
	}
	for mid, want := range map[byte]string{0x01: "1 0 B1S1", 0x05: "1 0 B2S1", 0x42: "2 0 B1S2", 0x22: "3 2 ", 0xA1: "5 0 ", 0xA3: "5 2 ", 0x00: "0 0 "} {
		what, number, sensor := Monitor06(mid)
		if got := fmt.Sprint(what, " ", number, " ", sensor); got != want {
			t.Errorf("monitor %02X is %q", mid, got)
		}
	}
}

// Service 06 off CAN, worked by hand from the layout that SAE J1979 fixes (from memory).
func TestPartTest(t *testing.T) {
	for _, tt := range []struct{ request, reply, want string }{
		{"0605", "46 05 03 01 2C 01 F4", "05 of 03 300 (NaN to 500) true false"},
		{"0605", "46 05 83 01 2C 01 F4", "05 of 03 300 (500 to NaN) false false"},
		{"0605", "46 05 00 02 00 01 F4", "05 of 00 512 (NaN to 500) false false"},
	} {
		r, err := PartTest(unhex(t, tt.request), unhex(t, tt.reply))
		if got := fmt.Sprintf("%02X of %02X %v (%v to %v) %v %v", r.Test, r.Part, r.Value, r.Min, r.Max, r.Passed(), r.Known); got != tt.want || err != nil {
			t.Errorf("%s is %q (%v), want %q", tt.reply, got, err, tt.want)
		}
	}
	for _, tt := range []struct {
		request, reply string
		want           error
	}{
		{"0605", "46 05 03 01 2C 01", ErrShort}, {"0605", "46 05 03 01 2C 01 F4 00", ErrLong}, {"0605", "46 06 03 01 2C 01 F4", ErrForeign},
		{"0600", "46 00 FF C0 00 00 00", ErrForeign}, {"0605", "46", ErrShort}, {"0605", "7F 06 05 00 00 11", ErrRefused},
	} {
		if _, err := PartTest(unhex(t, tt.request), unhex(t, tt.reply)); !errors.Is(err, tt.want) {
			t.Errorf("%s for %s: %v, want %v", tt.reply, tt.request, err, tt.want)
		}
	}
}

func TestSupportedTests(t *testing.T) {
	for _, tt := range []struct{ request, reply, want string }{
		{"0600", "4600C0000001", "[1 2 32]"},
		{"0600", "4600FFC0000001", "[1 2 32]"}, // not on CAN: a filler comes first
		{"050001", "450001F0000000", "[1 2 3 4]"},
		{"0640", "4640C0000000", "[65 66]"},
		{"020000", "4200007E180000", "[2 3 4 5 6 7 12 13]"},
	} {
		got, err := SupportedTests(unhex(t, tt.request), unhex(t, tt.reply))
		if fmt.Sprint(got) != tt.want || err != nil {
			t.Errorf("%s: %v, %v; want %s", tt.reply, got, err, tt.want)
		}
	}
}

// The freeze frame of a lean code, put together from published examples of service 01
// (933.5 rpm from 0E96) and worked by hand.
func TestFreezeFrame(t *testing.T) {
	d := &Decoder{}
	if code, err := FreezeCode(unhex(t, "020200"), unhex(t, "4202000171")); code != "P0171" || err != nil {
		t.Error(code, err)
	}
	if code, err := FreezeCode(unhex(t, "020200"), unhex(t, "4202000000")); code != "" || err != nil {
		t.Error(code, err)
	}
	for _, tt := range []struct{ request, reply, want string }{
		{"020C00", "420C000E96", "RPM 933.5 rpm"}, {"020500", "4205007B", "ECT 83 °C"}, {"020700", "42070098", "LONGFT1 18.75 %"},
	} {
		s, err := d.FreezeFrame(0x7E8, unhex(t, tt.request), unhex(t, tt.reply))
		if err != nil || len(s) != 1 || fmt.Sprintf("%s %v %s", s[0].Signal.Name, s[0].Value, s[0].Signal.Unit) != tt.want {
			t.Errorf("%s: %v, %v", tt.reply, s, err)
		}
	}
	for _, tt := range []struct {
		request, reply string
		want           error
	}{{"020C00", "420C000E", ErrShort}, {"020C00", "420C010E96", ErrForeign}, {"020C00", "420500", ErrShort}, {"020C00", "7F0212", ErrRefused}, {"020500", "4205007B0000", ErrLong}} {
		if _, err := d.FreezeFrame(0x7E8, unhex(t, tt.request), unhex(t, tt.reply)); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.reply, err, tt.want)
		}
	}
}

// FuzzTestResults: whatever comes, nothing panics and an error means no result.
func FuzzTestResults(f *testing.F) {
	for _, s := range [][2]string{{"050701", "45070102004F"}, {"0601", "46 01 07 0A 0E 68 00 00 1C D0"}, {"0600", "4600C0000001"}, {"0605", "460583012C01F4"}, {"020C00", "420C000E96"}, {"020200", "4202000171"}} {
		f.Add(unhex(f, s[0]), unhex(f, s[1]))
	}
	f.Fuzz(func(t *testing.T, request, reply []byte) {
		d := &Decoder{}
		if r, err := d.SensorTests(request, reply); err == nil && math.IsNaN(r.Value) {
			t.Fatalf("%+v", r)
		}
		if r, err := PartTest(request, reply); err == nil && math.IsNaN(r.Min) == math.IsNaN(r.Max) {
			t.Fatalf("%+v", r)
		}
		if r, err := MonitorTests(request, reply); (err == nil) != (len(r) > 0) {
			t.Fatal(r, err)
		}
		if ids, err := SupportedTests(request, reply); err != nil && ids != nil {
			t.Fatal(ids, err)
		}
		if s, err := d.FreezeFrame(0x7E8, request, reply); err != nil && s != nil {
			t.Fatal(s, err)
		}
		if c, err := FreezeCode(request, reply); err != nil && c != "" {
			t.Fatal(c, err)
		}
	})
}
