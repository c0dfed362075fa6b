package decode

import (
	"fmt"
	"slices"
	"testing"
)

// bitmap makes the reply data of a bitmap PID that names the given PIDs.
func bitmap(base byte, pids ...byte) string {
	var m uint32
	for _, p := range pids {
		m |= 1 << (32 - (p - base))
	}
	return fmt.Sprintf("41%02X%08X", base, m)
}

func TestSupported(t *testing.T) {
	tests := []struct {
		reply string
		want  []byte
	}{
		// Bytes of a car, no document; list computed by SAE J1979's bit order.
		{"4100BE3FE813", []byte{0x00, 0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x12, 0x13, 0x15, 0x1C, 0x1F, 0x20}},
		// The example of Wikipedia, OBD-II PIDs (from memory); list computed.
		{"4100BE1FA813", []byte{0x00, 0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x20}},
	}
	for _, tt := range tests {
		var d Decoder
		if d.Supports(0) {
			t.Error("PID 00 before any reply")
		}
		ask(t, &d, 0x7E8, "0100", tt.reply)
		for pid := range 256 {
			if got := d.Supports(byte(pid)); got != slices.Contains(tt.want, byte(pid)) {
				t.Errorf("%s: PID %02X: %v", tt.reply, pid, got)
			}
		}
	}
}

// TestLayout: which sensor a PID means (SAE J1979, from memory).
func TestLayout(t *testing.T) {
	tests := []struct {
		learn string
		want  [8]string // of PIDs 14-1B
	}{
		{"", [8]string{"O2S11", "O2S12"}},
		{"4113FF", [8]string{"O2S11", "O2S12", "O2S13", "O2S14", "O2S21", "O2S22", "O2S23", "O2S24"}},
		{"411DFF", [8]string{"O2S11", "O2S12", "O2S21", "O2S22", "O2S31", "O2S32", "O2S41", "O2S42"}},
		{"411300", [8]string{"O2S11", "O2S12"}}, // names no sensor: tells nothing
	}
	for _, tt := range tests {
		var d Decoder
		if tt.learn != "" {
			ask(t, &d, 0x7E8, "01"+tt.learn[2:4], tt.learn)
		}
		for i, name := range tt.want {
			var want []string
			if name != "" {
				want = []string{name, "SHRTFT" + name[3:]}
			}
			var got, gone []string
			for _, s := range ask(t, &d, 0x7E8, fmt.Sprintf("01%02X", 0x14+i), fmt.Sprintf("41%02X5A80", 0x14+i)) {
				got = append(got, s.Signal.Name)
			}
			for _, s := range d.Missing([]byte{1, byte(0x14 + i)}, 0, 0, nil) {
				gone = append(gone, s.Signal.Name)
			}
			if !slices.Equal(got, want) || !slices.Equal(gone, want) {
				t.Errorf("after %q PID %02X: %v, missing %v; want %v", tt.learn, 0x14+i, got, gone, want)
			}
		}
	}
	// Both maps, against the standard: only what is the same in both.
	var d Decoder
	ask(t, &d, 0x7E8, "0113", "411333")
	ask(t, &d, 0x7E8, "011D", "411D0F")
	check(t, ask(t, &d, 0x7E8, "0116", "41165A80"))
	check(t, ask(t, &d, 0x7E8, "0114", "41145A80"), want{"O2S11", 0.45, false}, want{"SHRTFT11", 0, false})
}

func TestSensors(t *testing.T) {
	b := func(base byte, pids ...byte) string { return bitmap(base, pids...) }
	s := func(name string, kind Kind, pid byte) Sensor {
		return Sensor{Name: name, Bank: int(name[1] - '0'), Position: int(name[3] - '0'), Kind: kind, PID: pid}
	}
	tests := []struct {
		name  string
		learn []string
		want  []Sensor
	}{
		{"nothing known", nil, nil},
		{"two narrow", []string{b(0, 0x03, 0x13, 0x14, 0x15), "411303"}, []Sensor{s("B1S1", Narrow, 0x14), s("B1S2", Narrow, 0x15)}},
		{"without layout", []string{b(0, 0x03, 0x14, 0x15, 0x18)}, []Sensor{s("B1S1", Narrow, 0x14), s("B1S2", Narrow, 0x15)}},
		{"V engine", []string{b(0, 0x13, 0x14, 0x15, 0x18, 0x19), "411333"},
			[]Sensor{s("B1S1", Narrow, 0x14), s("B1S2", Narrow, 0x15), s("B2S1", Narrow, 0x18), s("B2S2", Narrow, 0x19)}},
		{"four-bank map", []string{b(0, 0x1D, 0x14, 0x15, 0x16, 0x17), "411D0F"},
			[]Sensor{s("B1S1", Narrow, 0x14), s("B1S2", Narrow, 0x15), s("B2S1", Narrow, 0x16), s("B2S2", Narrow, 0x17)}},
		{"narrow behind wide by current", []string{b(0, 0x13, 0x15, 0x20), b(0x20, 0x34), "411303"},
			[]Sensor{s("B1S1", WideRange, 0x34), s("B1S2", Narrow, 0x15)}},
		{"wide by voltage, second bank", []string{b(0, 0x13, 0x15, 0x19, 0x20), b(0x20, 0x24, 0x28), "411333"},
			[]Sensor{s("B1S1", WideRange, 0x24), s("B1S2", Narrow, 0x15), s("B2S1", WideRange, 0x28), s("B2S2", Narrow, 0x19)}},
		{"wide that shows a narrow reading too", []string{b(0, 0x13, 0x14, 0x15, 0x20), b(0x20, 0x24), "411303"},
			[]Sensor{s("B1S1", WideRange, 0x24), s("B1S2", Narrow, 0x15)}},
		{"second bitmap not read", []string{b(0, 0x13, 0x14, 0x20), "411301"}, []Sensor{s("B1S1", UnknownKind, 0x14)}},
		{"layout without bitmaps", []string{"411303"}, []Sensor{s("B1S1", UnknownKind, 0), s("B1S2", UnknownKind, 0)}},
		{"in another order, twice", []string{"411303", b(0x20, 0x34), b(0, 0x13, 0x15, 0x20), b(0x20, 0x34), "411303"},
			[]Sensor{s("B1S1", WideRange, 0x34), s("B1S2", Narrow, 0x15)}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var d Decoder
			for _, reply := range tt.learn {
				ask(t, &d, 0x7E8, "01"+reply[2:4], reply)
			}
			if got := d.Sensors(); !slices.Equal(got, tt.want) {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
	if Narrow.String() != "narrow" || WideRange.String() != "wide-range" || UnknownKind.String() != "unknown" {
		t.Error("names of kinds")
	}
}

func TestEngine(t *testing.T) {
	var d Decoder
	rpm := want{"RPM", 805.75, false}
	check(t, ask(t, &d, 0x7E9, "010C", "410C0C97"), rpm) // any computer while none is known
	if d.Engine() != 0 {
		t.Error("an engine's computer from nothing")
	}
	// A transmission's computer with speed and rpm is not the engine's.
	ask(t, &d, 0x7E9, "0100", bitmap(0, 0x01, 0x0C, 0x0D))
	check(t, ask(t, &d, 0x7E9, "010C", "410C0C97"), rpm)
	ask(t, &d, 0x7EA, "0100", bitmap(0, 0x01, 0x03, 0x0C))
	if d.Engine() != 0x7EA {
		t.Errorf("engine %X", d.Engine())
	}
	ask(t, &d, 0x7E8, "0100", bitmap(0, 0x01, 0x06, 0x0C, 0x13))
	if got := d.Computers(); d.Engine() != 0x7E8 || !slices.Equal(got, []uint32{0x7E8, 0x7E9, 0x7EA}) {
		t.Errorf("engine %X of %X", d.Engine(), got)
	}
	check(t, ask(t, &d, 0x7E9, "010C", "410C0C97"))
	check(t, ask(t, &d, 0x7EA, "010C", "410C0C97"))
	check(t, ask(t, &d, 0x7E8, "010C", "410C0C97"), rpm)
	if d.Supports(0x03) || !d.Supports(0x06) {
		t.Error("PIDs of another computer")
	}
	// The layout is the engine's computer's too.
	ask(t, &d, 0x7E9, "011D", "411D0F")
	ask(t, &d, 0x7E8, "0113", "411333")
	check(t, ask(t, &d, 0x7E8, "0118", "41185A80"), want{"O2S21", 0.45, false}, want{"SHRTFT21", 0, false})
	// What it leaves out of a reply to several PIDs is missing; what others leave out is not.
	check(t, ask(t, &d, 0x7E8, "010C1405", "410C0C97"), rpm, want{"O2S11", 0, true}, want{"SHRTFT11", 0, true}, want{"ECT", 0, true})
	check(t, ask(t, &d, 0x7E9, "010C1405", "410C0C97"))
}

// TestWithoutHeaders: all computers answer as one.
func TestWithoutHeaders(t *testing.T) {
	var d Decoder
	ask(t, &d, 0, "0100", bitmap(0, 0x01, 0x03, 0x06, 0x14))
	ask(t, &d, 0, "0100", bitmap(0, 0x01, 0x0D))
	if !d.Supports(0x14) || !d.Supports(0x0D) || d.Engine() != 0 {
		t.Error("bitmaps of two computers")
	}
	check(t, ask(t, &d, 0, "010D", "410D32"), want{"VSS", 50, false})
	check(t, ask(t, &d, 0, "010D14", "410D32"), want{"VSS", 50, false})
}

func TestMissing(t *testing.T) {
	var d Decoder
	got := d.Missing([]byte{1, 0x0C, 0x00, 0x03, 0x68}, 5, 6, nil)
	check(t, got, want{"RPM", 0, true}, want{"FUELSYS1", 0, true}, want{"FUELSYS2", 0, true})
	if got[0].Sent != 5 || got[0].Received != 6 {
		t.Error(got[0])
	}
	check(t, d.Missing([]byte{1, 0x0C, 0x0C}, 0, 0, nil), want{"RPM", 0, true}) // asked for twice
	check(t, d.Missing([]byte{3}, 0, 0, nil))
	check(t, d.Missing(nil, 0, 0, nil))
}
