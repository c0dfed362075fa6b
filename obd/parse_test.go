package obd

import (
	"bytes"
	"encoding/csv"
	"encoding/hex"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func mustRequest(t testing.TB, s string) Request {
	t.Helper()
	r, err := ParseRequest(s)
	if err != nil {
		t.Fatalf("request %q: %v", s, err)
	}
	return r
}

// show writes replies as "7E8:410C1213 …".
func show(replies []Reply) string {
	var out []string
	for _, r := range replies {
		out = append(out, strings.ToUpper(strings.TrimLeft(hex.EncodeToString([]byte{byte(r.From >> 24), byte(r.From >> 16), byte(r.From >> 8), byte(r.From)}), "0")+":"+hex.EncodeToString(r.Data)))
	}
	return strings.Join(out, " ")
}

var (
	can11   = Format{Bus: CAN11at500, Headers: true}
	can29   = Format{Bus: CAN29at500, Headers: true}
	padded  = Format{Bus: CAN11at500, Headers: true, Padded: true}
	canBare = Format{Bus: CAN11at500}
	iso     = Format{Bus: ISO9141, Headers: true}
	isoBare = Format{Bus: ISO9141}
	kwp     = Format{Bus: ISO14230Fast, Headers: true}
	vpw     = Format{Bus: VPW, Headers: true}
)

func TestParse(t *testing.T) {
	for _, c := range []struct {
		name, request string
		format        Format
		raw           string
		want          string
		outcome       Outcome
	}{
		// A K-line frame of a real car, no document: λ 0.9673 and −0.2031 mA (see decode).
		{"wide-range sensor, with its sum", "0134", Format{Bus: ISO9141, Headers: true}, "48 6B 09 41 34 7B D1 7F CC C8 \r", "9:41347BD17FCC", OK},
		{"the same with a digit changed", "0134", Format{Bus: ISO9141, Headers: true}, "48 6B 09 41 34 7B D1 7E CC C8 \r", "", Garbled},
		// A frame of a car, no document: 7DF 02 01 0C, 7E8 04 41 0C 12 13.
		{"11 bit", "010C", can11, "7E8 04 41 0C 12 13 \r\r", "7E8:410C1213", OK},
		{"11 bit, no spaces, padded", "010C", padded, "7E804410C1213AAAAAA\r\r", "7E8:410C1213", OK},
		{"11 bit, id in eight digits", "010C", can11, "00 00 07 E8 04 41 0C 12 13 00 00 00\r", "7E8:410C1213", OK},
		// Identifiers by ISO 15765-4, from memory.
		{"29 bit", "010C", can29, "18 DA F1 10 04 41 0C 12 13 00 00 00\r", "18DAF110:410C1213", OK},
		{"29 bit, no spaces", "010C", can29, "18DAF11004410C1213000000\r", "18DAF110:410C1213", OK},
		{"two computers", "0100", can11, "7E8064100BE3FB81300\r7E906410080000001AA\r", "7E8:4100BE3FB813 7E9:410080000001", OK},
		{"no headers", "010C", canBare, "41 0C 12 13\r", ":410C1213", OK},
		{"no headers, two computers", "0100", canBare, "4100BE3FB813\r410080000001\r", ":4100BE3FB813 :410080000001", OK},

		// ISO 9141-2: the source ("Rangkuman protokol ISO 9141-2 dan ISO 14230", 2015) prints 48 68, but
		// its checksum E3 is right for 48 6B only.
		{"ISO 9141-2", "010C", iso, "48 6B 40 41 0C 0C 97 E3 \r", "40:410C0C97", OK},
		{"ISO 9141-2, header as printed there", "010C", iso, "48 68 40 41 0C 0C 97 E3 \r", "", Garbled},
		{"ISO 9141-2, checksum by the rule of the sum", "0114", iso, "486B1041145A80F2\r", "10:41145A80", OK},
		{"ISO 9141-2, one bit wrong", "0114", iso, "486B1041145B80F2\r", "", Garbled},
		{"ISO 9141-2, no headers", "0114", isoBare, "41145A80\r", ":41145A80", OK},
		// 83 F1 11 41 0D 00: length 3 in the format byte; sum D3 computed by hand.
		{"ISO 14230", "010D", kwp, "83F111410D00D3\r", "11:410D00", OK},
		{"ISO 14230, length does not fit", "010D", kwp, "84F111410D00D4\r", "", Garbled},
		{"ISO 14230, length byte behind the addresses", "010D", kwp, "80F11103410D00D3\r", "11:410D00", OK},
		{"ISO 14230, a stray digit", "0114", kwp, "83F1107F01121 6\r", "", Garbled},
		{"ISO 14230, negative", "0114", kwp, "83F1107F011216\r", "10:7F0112", Refused},
		// CRC-8 of SAE J1850, computed by long division in another program that gives the
		// catalogue's check value.
		{"J1850", "010D", vpw, "48 6B 10 41 0D 00 CA\r", "10:410D00", OK},
		{"J1850, wrong CRC", "010D", vpw, "486B10410D0000\r", "", Garbled},

		// ISO 15765-2 by the Linux kernel's and Zephyr's documentation.
		{"segmented", "0902", padded, "7E8 10 14 49 02 01 31 47 31\r7E8 21 4A 43 35 34 34 34 52\r7E8 22 37 32 35 32 33 36 37\r",
			"7E8:4902013147314A43353434345237323532333637", OK},
		{"segmented, out of order", "0902", padded, "7E8 10 14 49 02 01 31 47 31\r7E8 22 37 32 35 32 33 36 37\r7E8 21 4A 43 35 34 34 34 52\r", "", Garbled},
		{"segmented, last frame missing", "0902", padded, "7E8 10 14 49 02 01 31 47 31\r7E8 21 4A 43 35 34 34 34 52\r", "", Garbled},
		{"segmented, first frame missing", "0902", padded, "7E8 21 4A 43 35 34 34 34 52\r", "", Garbled},
		{"segmented, flow control shown", "0114060C", padded, "7E8 10 09 41 14 5A 80 06 80\r7E0 30 00 00 00 00 00 00 00\r7E8 21 0C 12 13 00 00 00 00\r", "", Garbled},
		{"segmented, other computer's flow control", "0114060C", padded, "7E8 10 09 41 14 5A 80 06 80\r7E9 30 00 00 00 00 00 00 00\r7E8 21 0C 12 13 00 00 00 00\r", "7E8:41145A8006800C1213", OK},
		{"segmented, no headers", "0902", canBare, "014 \r0: 49 02 01 31 47 31 \r1: 4A 43 35 34 34 34 52 \r2: 37 32 35 32 33 36 37 \r",
			":4902013147314A43353434345237323532333637", OK},
		{"segmented, no headers, padding", "0114060C", canBare, "009\r0:41145A800680\r1:0C121300000000\r", ":41145A8006800C1213", OK},
		{"segmented, no headers, mixed", "0902", canBare, "014\r014\r0:490201314731\r0:490201314731\r", "", Garbled},
		{"segmented, no headers, cut", "0902", canBare, "014\r0:490201314731\r1:4A433534343452\r", "", Garbled},

		// Off CAN long answers come as several messages (SAE J1979, from memory).
		{"codes in two messages", "03", iso, "486B10430133000000003A\r486B1043017101740000ED\r", "10:43013300000000 10:43017101740000", OK},
		{"VIN message by message", "0902", isoBare, "49020100000031\r49020247314A43\r", ":49020100000031 :49020247314A43", OK},

		{"negative", "0114", padded, "7E8037F011200000000\r", "7E8:7F0112", Refused},
		{"negative beside a reply", "0114", padded, "7E80441145A80000000\r7E9037F0112AAAAAAAA\r", "7E8:41145A80 7E9:7F0112", OK},
		{"wait, then the reply", "0114", padded, "7E8037F017800000000\r7E80441145A80000000\r", "7E8:41145A80", OK},
		{"wait, then nothing", "0114", padded, "7E8037F017800000000\r", "7E8:7F0178", Refused},
		{"negative to another service", "0114", padded, "7E8037F091200000000\r", "", Garbled},

		{"echo", "0114", padded, "0114\r7E80441145A80000000\r\r", "7E8:41145A80", OK},
		{"echo with count", "0114", padded, "01 14 1\r7E80441145A80000000\r", "7E8:41145A80", OK},
		{"NULs", "0114", padded, "\x007E8044114\x005A80000000\r\x00\r", "7E8:41145A80", OK},
		{"line feeds", "0114", padded, "\r\n7E80441145A80000000\r\n\r\n", "7E8:41145A80", OK},
		{"lower case", "0114", padded, "7e80441145a80000000\r", "7E8:41145A80", OK},
		{"printed twice", "0114", padded, "7E80441145A80000000\r7E80441145A80000000\r", "7E8:41145A80", OK},

		{"searching", "0100", padded, "SEARCHING...\r7E8064100BE3FB81300\r", "7E8:4100BE3FB813", OK},
		{"searching on the same line", "0100", padded, "SEARCHING...7E8064100BE3FB81300\r", "7E8:4100BE3FB813", OK},
		{"bus start", "0114", iso, "BUS INIT: ...OK\r486B1041145A80F2\r", "10:41145A80", OK},
		{"bus start, short", "0114", iso, "BUS INIT: OK\r486B1041145A80F2\r", "10:41145A80", OK},
		{"bus start fails", "0114", iso, "BUS INIT: ...ERROR\r", "", BusError},
		{"no data", "0114", padded, "NO DATA\r\r", "", NoData},
		{"nothing", "0114", padded, "\r\r", "", NoData},
		{"no data after all", "0114", padded, "7E80441145A80000000\rNO DATA\r", "", Garbled},
		{"unable to connect", "0100", canBare, "SEARCHING...\rUNABLE TO CONNECT\r", "", BusError},
		{"CAN error", "0114", padded, "CAN ERROR\r", "", BusError},
		{"bus error", "0114", iso, "BUS ERROR\r", "", BusError},
		{"bus busy", "0114", vpw, "BUS BUSY\r", "", BusError},
		{"feedback error", "0114", vpw, "FB ERROR\r", "", BusError},
		{"data error", "0114", iso, "DATA ERROR\r", "", Garbled},
		{"data error behind the line", "0114", iso, "486B1041145A80F2 <DATA ERROR\r", "", Garbled},
		{"receive error", "0114", padded, "7E80441145A80000000 <RX ERROR\r", "", Garbled},
		{"buffer full", "0114", padded, "7E80441145A80000000\rBUFFER FULL\r", "", Garbled},
		{"stopped", "0114", padded, "STOPPED\r", "", Garbled},
		{"not understood", "0114", padded, "?\r", "", Garbled},
		{"activity alert", "0114", padded, "ACT ALERT\r", "", AdapterReset},
		{"low power", "0114", padded, "LP ALERT\r", "", AdapterReset},
		{"low voltage", "0114", padded, "LV RESET\r", "", AdapterReset},
		{"internal error", "0114", padded, "ERR94\r", "", AdapterReset},
		{"banner in place of a reply", "0114", padded, "\r\rINTERFACE v1.5\r", "", AdapterReset},

		{"reply to another PID", "0114", padded, "7E80441155A80000000\r", "", Garbled},
		{"late reply before the right one", "0114", padded, "7E80341055A00000000\r7E80441145A80000000\r", "7E8:41145A80", OK},
		{"two different replies of one computer", "0114", padded, "7E80441145A80000000\r7E80441145B80000000\r", "", Garbled},
		{"a byte lost", "0114", padded, "7E804411480000000\r", "", Garbled},
		{"a digit lost", "0114", padded, "7E8044114580000000\r", "", Garbled},
		{"a digit lost, spaces", "0114", canBare, "41 14 5 80\r", "", Garbled},
		{"two digits lost, spaces", "0124", canBare, "41 24 8 00 0 66\r", "", Garbled},
		{"two lines run together", "0114", canBare, "41145A8041145A80\r", "", Garbled},
		{"frame of nobody", "0114", padded, "7B80441145A80000000\r", "", Garbled},
		{"several PIDs", "01140C", padded, "7E80741145A800C1213\r", "7E8:41145A800C1213", OK},
		{"several PIDs, the first left out", "01140C", padded, "7E804410C1213000000\r", "7E8:410C1213", OK},
		{"asked twice", "011414", padded, "7E80741145A80145A80\r", "7E8:41145A80", OK},
		{"asked twice, a digit differs", "011414", padded, "7E80741145A80145B80\r", "", Garbled},
		{"asked twice, answered once", "011414", padded, "7E80441145A80000000\r", "", Garbled},
		{"asked twice, one byte", "010606", padded, "7E805410680068000AA\r", "7E8:410680", OK},
		{"asked twice, refused", "011414", padded, "7E8037F011200000000\r", "7E8:7F0112", Refused},
		{"headers of an unknown bus", "0114", Format{Headers: true}, "7E80441145A80000000\r", "", Garbled},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, outcome := Parse([]byte(c.raw), c.format, mustRequest(t, c.request))
			if s := show(got); s != c.want || outcome != c.outcome {
				t.Errorf("%q: %v %q, want %v %q", c.raw, outcome, s, c.outcome, c.want)
			}
		})
	}
}

// The sums are computed by hand, the CRC's check value is that of the catalogue of
// parametrised CRC algorithms (CRC-8/SAE-J1850, "123456789" gives 4B), from memory.
func TestChecks(t *testing.T) {
	for _, c := range []struct {
		f    func([]byte) byte
		in   string
		want byte
	}{
		{checksum, "686AF10114", 0xD8},
		{checksum, "486B1041145A80", 0xF2},
		{checksum, "C233F1010C", 0xF3},
		{crc8, "686AF1010C", 0x8B},
		{crc8, hex.EncodeToString([]byte("123456789")), 0x4B},
	} {
		b, err := hex.DecodeString(c.in)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.f(b); got != c.want {
			t.Errorf("%s: %02X, want %02X", c.in, got, c.want)
		}
	}
}

// TestRealFrames prints the frames of a real car as an adapter would, in all
// layouts, and reads them back.
func TestRealFrames(t *testing.T) {
	file, err := os.Open("../testdata/realframes/first_of_each.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	type exchange struct {
		request Request
		spaced  string
		close   string
	}
	var all []exchange
	for _, r := range rows[1:] {
		b, err := hex.DecodeString(r[2])
		if err != nil {
			t.Fatal(err)
		}
		if r[1] == "7DF" {
			all = append(all, exchange{request: Request{Service: b[1], Data: b[2 : 1+b[0]]}})
			continue
		}
		x := &all[len(all)-1]
		x.close += r[1] + r[2] + "\r"
		x.spaced += r[1]
		for _, c := range b {
			x.spaced += " " + strings.ToUpper(hex.EncodeToString([]byte{c}))
		}
		x.spaced += " \r\n"
	}
	// Joined by eye from the frames. Texts that name the car are blanked in the file; the
	// lengths are as sent.
	want := map[string]string{
		"0100": "ok 7EB:410080000001 7EC:410080000001",
		"0902": "ok 7EC:490201" + strings.Repeat("58", 10) + "20" + "000000000000",
		"0904": "ok 7EB:49040100 7EA:49040100 7ED:490401" + strings.Repeat("58", 16) + " 7EC:490401" + strings.Repeat("58", 10) + "000000000000",
		"03":   "ok 7EB:4300 7ED:4300 7EC:4300 7EA:4300",
		"010C": "no data ",
		"0133": "no data ",
	}
	seen := map[string]string{}
	for _, x := range all {
		for _, f := range []Format{can11, padded} {
			a, oa := Parse([]byte(x.close), f, x.request)
			b, ob := Parse([]byte(x.spaced), f, x.request)
			if d := cmp.Diff(a, b); d != "" || oa != ob {
				t.Errorf("%s: spaces change the replies: %v %v %s", x.request.Hex(), oa, ob, d)
			}
			seen[x.request.Hex()] = oa.String() + " " + show(a)
		}
	}
	for request, replies := range want {
		if seen[request] != replies {
			t.Errorf("%s: %s, want %s", request, seen[request], replies)
		}
	}
}

// FuzzParse: whatever is printed, no reply belongs to another request, and none is
// longer than what was printed.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"7E8064100BE3FB81300\r", "014\r0:490201314731\r1:4A433534343452\r2:37323532333637\r", "486B1041145A80F2\r",
		"SEARCHING...\rUNABLE TO CONNECT\r", "BUS INIT: ...OK\r83F111410D00D3\r", "7E8037F017800000000\r7E80441145A80000000\r",
		"18DAF11004410C1213000000\r", "0114\r\x00NO DATA\r\r>", "7E8 10 09 41 14 5A 80 06 80\r7E8 21 0C 12 13 00 00 00 00\r",
	} {
		for bus := range byte(10) {
			f.Add([]byte(s), bus, true, "0114")
		}
		f.Add([]byte(s), byte(CAN11at500), false, "01140C06")
	}
	for _, s := range [][2]string{{"7E80562F40C0BED0000\r", "010C"}, {"7E8037F227800000000\r7E80562F40C0BED0000\r", "010C"}, {"7E8037F221300000000\r", "010C05"},
		{"7E81010594233FF1E0402\r7E82101311108000000\r", "03"}, {"18DAF1000462F81001000000\r", "0910"}, {"7E80154\r", "04"},
		{"7E80759040131110101\r", "190401311101"}} {
		f.Add([]byte(s[0]), byte(CAN11at500), true, s[1])
		f.Add([]byte(s[0]), byte(CAN29at500), true, s[1])
	}
	f.Fuzz(func(t *testing.T, raw []byte, bus byte, headers bool, request string) {
		req, err := ParseRequest(request)
		if err != nil {
			return
		}
		before := bytes.Clone(raw)
		format := Format{Bus: Bus(bus % 10), Headers: headers}
		replies, outcome := Parse(raw, format, req)
		if !bytes.Equal(raw, before) {
			t.Fatal("Parse changed its input")
		}
		total := 0
		positive, negative := false, false
		for _, r := range replies {
			total += len(r.Data)
			if refuses(r.Data, req) {
				negative = true
				continue
			}
			positive = true
			if answers2(r.Data, req) {
				continue
			}
			if r.Data[0] != req.Service+0x40 || len(req.Data) > 0 && bytes.IndexByte(req.Data, r.Data[1]) < 0 {
				t.Fatalf("reply %X to request %s", r.Data, req.Hex())
			}
		}
		if total > len(raw) {
			t.Fatalf("%d bytes of replies from %d characters", total, len(raw))
		}
		if positive != (outcome == OK) || !positive && negative != (outcome == Refused) {
			t.Fatalf("outcome %v with replies %s", outcome, show(replies))
		}
		// A stricter format takes nothing more.
		format.Padded = true
		if strict, o := Parse(raw, format, req); o == OK && len(strict) > len(replies) {
			t.Fatalf("strict format takes %s, the other %s", show(strict), show(replies))
		}
	})
}
