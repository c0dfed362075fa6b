package decode

import (
	"encoding/hex"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// ask gives the decoder one reply and fails on an error.
func ask(t testing.TB, d *Decoder, from uint32, request, reply string) []Sample {
	t.Helper()
	out, err := d.Reply(from, unhex(t, request), unhex(t, reply), 0, 0, nil)
	if err != nil {
		t.Fatalf("%s → %s: %v", request, reply, err)
	}
	return out
}

type want struct {
	name    string
	value   float64
	missing bool
}

func check(t *testing.T, got []Sample, want ...want) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("got %s, want %v", list(got), want)
	}
	for i, w := range want {
		g := got[i]
		if g.Signal != ByName(w.name) || math.Abs(g.Value-w.value) > 1e-9 || g.Missing != w.missing {
			t.Errorf("sample %d: got %s, want %v", i, list(got[i:i+1]), w)
		}
	}
}

func list(samples []Sample) string {
	var b strings.Builder
	for _, s := range samples {
		b.WriteString(s.Signal.Name)
		if s.Missing {
			b.WriteString(" missing; ")
		} else {
			b.WriteString(" " + strconv.FormatFloat(s.Value, 'g', -1, 64) + "; ")
		}
	}
	return b.String()
}

// TestPublished takes values from outside. 'found' was read in the source named,
// 'computed' follows from the formula by hand, 'memory' is known without a source
// at hand.
func TestPublished(t *testing.T) {
	tests := []struct {
		request, reply, source string
		want                   []want
	}{
		{"010C", "410C0C97", "found: 'Rangkuman protokol ISO 9141-2 dan ISO 14230' (2015), which prints 805", []want{{"RPM", 805.75, false}}},
		{"010C", "410C1213", "bytes of a car, no document; value computed by SAE J1979's formula", []want{{"RPM", 1156.75, false}}},
		{"010C", "410C0E96", "bytes of a car, no document; value computed by SAE J1979's formula", []want{{"RPM", 933.5, false}}},
		{"0105", "410539", "bytes of a car, no document; value computed by SAE J1979's formula", []want{{"ECT", 17, false}}},
		{"0101", "410181076D6D", "a maker's workshop text of 2003, one family", []want{{"MIL", 1, false}, {"DTC_CNT", 1, false}, {"COMP_IGN", 0, false}}},
		{"0101", "41018333FF63", "bytes from memory of ISO 15031-5; decoded by hand", []want{{"MIL", 1, false}, {"DTC_CNT", 3, false}, {"COMP_IGN", 0, false}}},
		{"0103", "41030202", "a maker's workshop text of 2003, one family", []want{{"FUELSYS1", 2, false}, {"FUELSYS2", 2, false}}},
		{"0106", "410660", "computed", []want{{"SHRTFT1", -25, false}}},
		{"0106", "410678", "computed", []want{{"SHRTFT1", -6.25, false}}},
		{"0107", "41077F", "computed", []want{{"LONGFT1", -0.78125, false}}},
		{"0107", "410780", "computed", []want{{"LONGFT1", 0, false}}},
		{"0108", "410881", "computed", []want{{"SHRTFT2", 0.78125, false}}},
		{"0108", "410888", "computed", []want{{"SHRTFT2", 6.25, false}}},
		{"0109", "4109A0", "computed", []want{{"LONGFT2", 25, false}}},
		{"0106", "4106FF", "computed: FF is a value here", []want{{"SHRTFT1", 99.21875, false}}},
		{"0106", "4106A060", "second byte, bank 3: memory", []want{{"SHRTFT1", 25, false}, {"SHRTFT3", -25, false}}},
		{"0109", "4109A060", "second byte, bank 4: memory", []want{{"LONGFT2", 25, false}, {"LONGFT4", -25, false}}},
		{"0114", "41141480", "computed", []want{{"O2S11", 0.1, false}, {"SHRTFT11", 0, false}}},
		{"0114", "41142878", "computed", []want{{"O2S11", 0.2, false}, {"SHRTFT11", -6.25, false}}},
		{"0114", "41145A88", "computed", []want{{"O2S11", 0.45, false}, {"SHRTFT11", 6.25, false}}},
		{"0115", "41155BFF", "computed", []want{{"O2S12", 0.455, false}, {"SHRTFT12", 0, true}}},
		{"0114", "4114A000", "computed", []want{{"O2S11", 0.8, false}, {"SHRTFT11", -100, false}}},
		{"0114", "4114B480", "computed", []want{{"O2S11", 0.9, false}, {"SHRTFT11", 0, false}}},
		{"0114", "4114FF80", "computed", []want{{"O2S11", 1.275, false}, {"SHRTFT11", 0, false}}},
		{"0114", "41145AFF", "FF, not used for trim: SAE J1979, from memory", []want{{"O2S11", 0.45, false}, {"SHRTFT11", 0, true}}},
		{"0115", "41158CFF", "computed", []want{{"O2S12", 0.7, false}, {"SHRTFT12", 0, true}}},
		{"0134", "413480007F80", "computed", []want{{"EQ_RAT11", 1, false}, {"O2S11_WIDE_MA", -0.5, false}}},
		{"0124", "41248CCD0E66", "computed", []want{{"EQ_RAT11", 2 * 36045. / 65536, false}, {"O2S11_WIDE_V", 8 * 3686. / 65536, false}}},
		{"013C", "413C1012", "computed", []want{{"CATEMP11", 371.4, false}}},
		{"0142", "414236B0", "computed", []want{{"VPWR", 14, false}}},
		{"0143", "41430033", "computed", []want{{"LOAD_ABS", 20, false}}},
		{"0110", "4110012C", "computed", []want{{"MAF", 3, false}}},
		{"0104", "410440", "computed", []want{{"LOAD_PCT", 6400. / 255, false}}},
		{"0155", "4155A060", "memory", []want{{"STSO2FT1", 25, false}, {"STSO2FT3", -25, false}}},
		{"0100", "4100BE3FE813", "bytes of a car, no document", nil},
		{"0113", "411303", "a layout is no sample", nil},
		{"0903", "490301", "another service", nil},
		{"011405060C03", "410C1AF805690671 145A80 030200", "any order; computed", []want{{"RPM", 1726, false}, {"ECT", 65, false},
			{"SHRTFT1", -11.71875, false}, {"O2S11", 0.45, false}, {"SHRTFT11", 0, false}, {"FUELSYS1", 2, false}, {"FUELSYS2", 0, false}}},
	}
	for _, tt := range tests {
		t.Run(tt.request+"_"+tt.reply, func(t *testing.T) {
			check(t, ask(t, &Decoder{}, 0x7E8, tt.request, tt.reply), tt.want...)
		})
	}
}

func TestTimes(t *testing.T) {
	var d Decoder
	got, err := d.Reply(0, []byte{1, 5}, []byte{0x41, 5, 100}, 3*time.Second, 4*time.Second, nil)
	if err != nil || len(got) != 1 || got[0].Sent != 3*time.Second || got[0].Received != 4*time.Second {
		t.Fatal(got, err)
	}
}

func TestBadReplies(t *testing.T) {
	tests := []struct {
		request, reply string
		want           error
	}{
		{"0114", "", ErrShort},
		{"0114", "41", ErrShort},
		{"0114", "4114", ErrShort},
		{"0114", "41145A", ErrShort},
		{"0114", "41145A8000", ErrLong},
		{"0106", "4106808080", ErrLong},
		{"0114", "41155A80", ErrForeign},
		{"0114", "42145A80", ErrForeign},
		{"0114", "7F0112", ErrRefused},
		{"0114", "7F0212", ErrForeign},
		{"0114", "7F", ErrForeign},
		{"01", "4100", ErrForeign},
		{"", "4114", ErrForeign},
		{"01140C", "41145A800C0C", ErrShort},
		{"01140C", "41145A800C0C9780", ErrForeign},
		{"01140C", "41145A80145A80", ErrForeign}, // the same PID twice
		{"01140C", "41145A80055A", ErrForeign},   // not asked for
		{"01040506070B0D0F", "410400050006000700 0B000D000F00", ErrLong},
		{"01050607", "4105600680078040", ErrForeign},
	}
	for _, tt := range tests {
		var d Decoder
		got, err := d.Reply(0x7E8, unhex(t, tt.request), unhex(t, tt.reply), 0, 0, nil)
		if !errors.Is(err, tt.want) || len(got) != 0 {
			t.Errorf("%s → %s: %v, %d samples; want %v", tt.request, tt.reply, err, len(got), tt.want)
		}
		if len(d.Computers()) != 0 {
			t.Errorf("%s → %s: something was learned from it", tt.request, tt.reply)
		}
	}
}

func TestUnknownLength(t *testing.T) {
	var d Decoder
	if got := ask(t, &d, 0x7E8, "0168", "4168010203"); len(got) != 0 {
		t.Error("a PID of unknown length alone needs no splitting:", list(got))
	}
	got, err := d.Reply(0x7E8, unhex(t, "01056806"), unhex(t, "410560680102030680"), 0, 0, nil)
	if !errors.Is(err, ErrUnknownLength) {
		t.Error(err)
	}
	check(t, got, want{"ECT", 56, false})
}

// TestBankPairs: trims with a second byte in a reply to several PIDs (SAE J1979, from memory).
func TestBankPairs(t *testing.T) {
	four := []want{{"SHRTFT1", 0, false}, {"SHRTFT3", 0.78125, false}, {"RPM", 256, false}}
	var unknown Decoder
	check(t, ask(t, &unknown, 0x7E8, "01060C", "410680810C0400"), four...)
	var known Decoder
	ask(t, &known, 0x7E8, "011D", "411D33") // B1S1, B1S2, B3S1, B3S2
	check(t, ask(t, &known, 0x7E8, "01060C", "410680810C0400"), four...)
	// No bank 4: one byte.
	check(t, ask(t, &known, 0x7E8, "01080C", "4108800C0400"), want{"SHRTFT2", 0, false}, want{"RPM", 256, false})
	if _, err := known.Reply(0x7E8, unhex(t, "01060C"), unhex(t, "4106800C0400"), 0, 0, nil); err == nil {
		t.Error("a trim without its second bank was taken")
	}
	check(t, known.Missing([]byte{1, 6, 8}, 0, 0, nil), want{"SHRTFT1", 0, true}, want{"SHRTFT3", 0, true}, want{"SHRTFT2", 0, true})
}

func TestReplyDoesNotAllocate(t *testing.T) {
	var d Decoder
	ask(t, &d, 0x7E8, "0100", "4100BE3FE813")
	request, reply := unhex(t, "01140C05"), unhex(t, "41145A800C1AF80569")
	out := make([]Sample, 0, 8)
	if n := testing.AllocsPerRun(100, func() { out, _ = d.Reply(0x7E8, request, reply, 0, 0, out[:0]) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
	if len(out) != 4 {
		t.Error(list(out))
	}
}

func BenchmarkReply(b *testing.B) {
	var d Decoder
	ask(b, &d, 0x7E8, "0100", "4100BE3FE813")
	request, reply := unhex(b, "01140C05"), unhex(b, "41145A800C1AF80569")
	out := make([]Sample, 0, 8)
	b.ReportAllocs()
	for b.Loop() {
		out, _ = d.Reply(0x7E8, request, reply, 0, 0, out[:0])
	}
}

// Totals multiply: +25 and +15 % are 1.25 · 1.15 − 1 (worked by hand), not 40 %.
func TestTotalTrim(t *testing.T) {
	for _, c := range []struct{ short, long, want float64 }{
		{25, 15, 43.75}, {0, 0, 0}, {10, 0, 10}, {0, -10, -10}, {-20, 25, 0}, {-100, 15, -100},
	} {
		if got := TotalTrim(c.short, c.long); math.Abs(got-c.want) > 1e-9 || math.Abs(TotalTrim(c.long, c.short)-got) > 1e-9 {
			t.Errorf("%v and %v are %v, want %v", c.short, c.long, got, c.want)
		}
	}
}
