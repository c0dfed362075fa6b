package decode

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// TestSecond reads replies of J1979-2 through the table of J1979. Where the bytes are from stands
// with each; the values are worked out by hand from the formulas.
func TestSecond(t *testing.T) {
	tests := []struct {
		request, reply, source string
		want                   []want
		err                    error
	}{
		{"010C", "62F40C0BED", "a van's field report, 763.25 rpm", []want{{"RPM", 763.25, false}}, nil},
		{"010D", "62F40D00", "a trace of a 2026 car", []want{{"VSS", 0, false}}, nil},
		{"0146", "62F44644", "the same trace", []want{{"AAT", 28, false}}, nil},
		{"0131", "62F4310480", "the same trace", []want{{"CLR_DIST", 1152, false}}, nil},
		{"010C05", "62F40C0BEDF40578", "ISO 14229-1's form", []want{{"RPM", 763.25, false}, {"ECT", 80, false}}, nil},
		{"010C0506", "62F40578F40C0BED", "what is not supported is left out, any order", []want{{"ECT", 80, false}, {"RPM", 763.25, false}}, nil},
		{"0114", "62F4145A80", "computed", []want{{"O2S11", 0.45, false}, {"SHRTFT11", 0, false}}, nil},
		{"013444", "62F4347BD17FCCF4448000", "the real K-line frame's bytes", []want{{"EQ_RAT11", 31697 * 2. / 65536, false}, {"O2S11_WIDE_MA", -52. / 256, false}, {"EQ_RAT", 1, false}}, nil},
		{"010C", "62F40D00", "another identifier", nil, ErrForeign},
		{"010C", "62F60C0BED", "another page", nil, ErrForeign},
		{"010C05", "62F40C0BEDF505 78", "a page that was not asked for", nil, ErrForeign},
		{"010C", "62F40C0B", "cut", nil, ErrShort},
		{"010C", "62F4", "cut", nil, ErrShort},
		{"010C05", "62F40C0BEDF4", "cut", nil, ErrForeign},
		{"010C", "62F40C0BED00", "one too many", nil, ErrLong},
		{"010C", "7F2231", "the trace", nil, ErrRefused},
		{"010C", "590233", "another service", nil, ErrForeign},
		{"0902", "62F802", "information gives no samples", nil, nil},
	}
	for _, tt := range tests {
		var d Decoder
		out, err := d.Reply(0x7E8, unhex(t, tt.request), unhex(t, tt.reply), 0, 0, nil)
		if !errors.Is(err, tt.err) || (err == nil) != (tt.err == nil) {
			t.Errorf("%s → %s (%s): %v, want %v", tt.request, tt.reply, tt.source, err, tt.err)
			continue
		}
		check(t, out, tt.want...)
	}
}

// TestSecondBitmaps: 9818A013 was told by a van; its last bit announces the next block.
func TestSecondBitmaps(t *testing.T) {
	var d Decoder
	ask(t, &d, 0x7E8, "0100", "62F4009818A013")
	ask(t, &d, 0x7E8, "0120", "62F42098180001")
	for pid := range 0x41 {
		want := slices.Contains([]int{0x00, 0x01, 0x04, 0x05, 0x0C, 0x0D, 0x11, 0x13, 0x1C, 0x1F, 0x20, 0x21, 0x24, 0x25, 0x2C, 0x2D, 0x40}, pid)
		if d.Supports(byte(pid)) != want {
			t.Errorf("PID %02X supported: %v", pid, !want)
		}
	}
	// The second unit tells its speed unscaled, 02FB beside 0BED: the engine's is taken.
	if out := ask(t, &d, 0x7E9, "010C", "62F40C02FB"); len(out) != 0 {
		t.Errorf("from another unit: %s", list(out))
	}
}

func TestSecondCodes(t *testing.T) {
	tests := []struct {
		service byte
		reply   string
		want    string
		err     error
	}{
		// The layout of ISO 14229-1: status and severity availability, format 04, then five bytes each.
		{3, "594233FF1E04 02 013111 A8 02 017100 2F", "P0131-11 P0171", nil},
		{7, "5942335FE204 02 013212 27", "P0132-12", nil},
		{3, "5942335CFE04", "", nil}, // no code, with an availability as seen
		{0x0A, "595533FF04 013111 A8 017100 08", "P0131-11 P0171", nil},
		{0x0A, "595533FF04", "", nil},
		{3, "594233FF1E04 02 013111 27", "", ErrForeign}, // not confirmed
		{7, "594233FF1E04 02 013111 A8", "", ErrForeign}, // not pending
		{3, "594233FF1E01 02 013111 A8", "", ErrForeign}, // another format
		{3, "594233FF1E04 02 013111", "", ErrShort},
		{3, "594233FF1E", "", ErrShort}, {0x0A, "595533FF", "", ErrShort},
		{3, "595533FF04", "", ErrForeign}, {0x0A, "594233FF1E04", "", ErrForeign}, {3, "59", "", ErrForeign},
		{3, "7F1910", "", ErrRefused}, // a truck's unit without codes
	}
	for _, tt := range tests {
		got, err := Codes(tt.service, true, unhex(t, tt.reply))
		if strings.Join(got, " ") != tt.want || !errors.Is(err, tt.err) || (err == nil) != (tt.err == nil) {
			t.Errorf("%02X %s: %q, %v; want %q, %v", tt.service, tt.reply, got, err, tt.want, tt.err)
		}
	}
}

func TestSecondRest(t *testing.T) {
	vin := "62F80231 4D38 4744 4D39 4158 4B50 3034 3237 3838"
	if got, err := VIN(unhex(t, vin)); err != nil || got != "1M8GDM9AXKP042788" {
		t.Errorf("%q, %v", got, err)
	}
	for _, bad := range []string{vin[:18], vin + "00 31", "62F804" + vin[6:]} {
		if got, err := VIN(unhex(t, strings.ReplaceAll(bad, " ", ""))); err == nil {
			t.Errorf("%s: %q", bad, got)
		}
	}
	if r, err := ReadReadiness(unhex(t, "62F40181076D6D")); err != nil || !r.MIL || r.Codes != 1 || len(r.Incomplete()) != 5 {
		t.Errorf("%+v, %v", r, err)
	}
	if got, err := SupportedTests(unhex(t, "0600"), unhex(t, "62F600C0000001")); err != nil || !slices.Equal(got, []byte{1, 2, 0x20}) {
		t.Errorf("%X, %v", got, err)
	}
	// The same two records as J1979 and as J1979-2 have them.
	first, err := MonitorTests(unhex(t, "0601"), unhex(t, "46 01 07 0A 0E68 0000 1CD0 01 08 0A 0E68 0000 1CD0"))
	second, err2 := MonitorTests(unhex(t, "0601"), unhex(t, "62F601 07 0A 0E68 0000 1CD0 08 0A 0E68 0000 1CD0"))
	if err != nil || err2 != nil || len(first) != 2 || !slices.Equal(first, second) {
		t.Errorf("%+v, %v; %+v, %v", first, err, second, err2)
	}
	for _, bad := range []string{"62F602 070A0E6800001CD0", "62F601 070A0E6800001C", "62F601", "62F401 070A0E6800001CD0"} {
		if got, err := MonitorTests(unhex(t, "0601"), unhex(t, bad)); err == nil {
			t.Errorf("%s: %+v", bad, got)
		}
	}
}

func TestSnapshot(t *testing.T) {
	request := "19 04 013111 00"
	for _, tt := range []struct {
		reply, code, want string
		err               error
	}{
		// Code, status, record, number, then identifiers with their data (a published test of J1979-3).
		{"59 04 013111 A8 00 03 F40C 0BED F405 78 F406 90", "P0131-11", "RPM 763.25; ECT 80; SHRTFT1 12.5; ", nil},
		{"59 04 013111 A8", "P0131-11", "", nil}, // no frame
		{"59 04 013111 A8 00 00", "P0131-11", "", nil},
		{"59 04 013111 A8 00 02 F40C 0BED 1234 01", "P0131-11", "RPM 763.25; ", ErrUnknownLength}, // a maker's own
		{"59 04 013111 A8 00 02 F40C 0BED F405", "", "", ErrShort},
		{"59 04 013111 A8 00 02 F40C 0BED", "", "", ErrShort},
		{"59 04 013111 A8 00 01 F40C 0BED 01 00", "", "", ErrLong},
		{"59 04 013111 A8 00", "", "", ErrShort},
		{"59 04 013112 A8", "", "", ErrForeign},
		{"7F1931", "", "", ErrRefused},
	} {
		var d Decoder
		code, out, err := d.Snapshot(0x7E8, unhex(t, request), unhex(t, tt.reply))
		if code != tt.code || list(out) != tt.want || !errors.Is(err, tt.err) || (err == nil) != (tt.err == nil) {
			t.Errorf("%s: %s, %s, %v", tt.reply, code, list(out), err)
		}
	}
	for reply, want := range map[string]string{
		"594233FF1E04 02 013111 A8 02 017100 2F": "[190401311100 190401710000 1904013111F0 1904017100F0]",
		"594233FF1E04":                           "[]", "43010131": "[]", "594233FF1E04 02 0131": "[]",
		"594233FF1E04 02 000100 A8 02 000200 A8 02 000300 A8 02 000400 A8 02 000500 A8 02 000600 A8": "[190400010000 190400020000 190400030000 190400040000 190400050000 " +
			"1904000100F0 1904000200F0 1904000300F0 1904000400F0 1904000500F0]",
	} {
		if got := fmt.Sprintf("%X", SnapshotRequests(0x03, unhex(t, reply))); got != want {
			t.Errorf("%s: asks %s", reply, got)
		}
	}
	group, err := ReadGroup(unhex(t, "19563301"), unhex(t, "595633FF0401 010100 50 011600 00"))
	if err != nil || fmt.Sprint(group) != "[{P0101 80} {P0116 0}]" || group[0].Status&StatusNotRun == 0 {
		t.Errorf("%v, %v", group, err)
	}
	for reply, open := range map[string]string{"595633FF0401 010100 50 011600 00": "[components]", "595633FF0401 010100 00": "[]", "595633FF0401": "[]"} {
		r, err := GroupReadiness(unhex(t, "19563301"), unhex(t, reply))
		if err != nil || !r.ByGroups || fmt.Sprint(r.Incomplete()) != open || r.Monitors[2].Supported != (len(reply) > 13) {
			t.Errorf("%s: %+v, %v", reply, r, err)
		}
	}
	for _, bad := range []string{"595633FF0402", "595633FF04", "595533FF0401", "595633FF0301", "595633FF0401 0101"} {
		if got, err := ReadGroup(unhex(t, "19563301"), unhex(t, bad)); err == nil {
			t.Errorf("%s: %v", bad, got)
		}
	}
}

// FuzzSecond: the readers of J1979-2's replies take any bytes.
func FuzzSecond(f *testing.F) {
	for _, s := range [][2]string{{"03", "594233FF1E04020131 11A8"}, {"0A", "595533FF0401311108"}, {"19563301", "595633FF040101010050"},
		{"190401311100", "5904013111A80001F40C0BED"}, {"0902", "62F80231"}, {"62", "6200"}, {"0600", "62F600C0000001"}, {"0601", "62F601070A0E6800001CD0"}, {"0101", "62F40181076D6D"}} {
		f.Add(unhex(f, s[0]), unhex(f, s[1]))
	}
	f.Fuzz(func(t *testing.T, request, reply []byte) {
		if len(request) == 0 {
			return
		}
		if codes, err := Codes(request[0], true, reply); err != nil && codes != nil {
			t.Fatal(codes, err)
		}
		if group, err := ReadGroup(request, reply); err != nil && group != nil {
			t.Fatal(group, err)
		}
		for _, ask := range SnapshotRequests(request[0], reply) {
			if len(ask) != 6 {
				t.Fatalf("%X", ask)
			}
		}
		var d Decoder
		code, out, err := d.Snapshot(0x7E8, request, reply)
		if err != nil && !errors.Is(err, ErrUnknownLength) && (code != "" || out != nil) {
			t.Fatal(code, list(out), err)
		}
		for _, s := range out {
			if !s.Missing && (s.Value < s.Signal.Min-1e-9 || s.Value > s.Signal.Max+1e-9) {
				t.Fatalf("%s = %v", s.Signal.Name, s.Value)
			}
		}
		_, _ = VIN(reply)
		_, _ = ReadReadiness(reply)
		_, _ = MonitorTests(request, reply)
		_, _ = SupportedTests(request, reply)
	})
}
