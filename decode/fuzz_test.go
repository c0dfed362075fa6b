package decode

import (
	"errors"
	"math"
	"testing"
)

// FuzzReply: whatever comes, values stay within what the scaling can express, an
// error means no sample (but for an unknown length), and nothing panics.
func FuzzReply(f *testing.F) {
	for _, s := range [][2]string{{"0100", "4100BE3FE813"}, {"011405", "41145AFF0569"}, {"0113", "411333"}, {"014F", "414F200A4028"}, {"0150", "415028000000"}, {"016D", "416D0301F401EA500000000000"}, {"011D", "411DFF"}, {"0118", "41185A80"},
		{"010608", "410680810882"}, {"0134", "413480007F80"}, {"0101", "410181076D6D"}, {"0168", "416801"}, {"03", "430133"}, {"0902", "490201"}, {"0114", "7F0112"}} {
		f.Add(uint32(0x7E8), unhex(f, s[0]), unhex(f, s[1]))
	}
	f.Fuzz(func(t *testing.T, from uint32, request, reply []byte) {
		learned := func(replies ...[2]string) *Decoder {
			d := &Decoder{}
			for _, r := range replies {
				ask(t, d, 0x7E8, r[0], r[1])
			}
			return d
		}
		for _, d := range []*Decoder{{}, learned([2]string{"0113", "4113FF"}, [2]string{"0100", "4100BE3FE813"}), learned([2]string{"011D", "411DFF"})} {
			for range 2 { // what was learned the first time must not hurt the second
				out, err := d.Reply(from, request, reply, 1, 2, nil)
				if err != nil && len(out) > 0 && !errors.Is(err, ErrUnknownLength) {
					t.Fatalf("%v and %s", err, list(out))
				}
				for _, s := range append(out, d.Missing(request, 1, 2, nil)...) {
					v, g := s.Value, s.Signal
					if s.Missing && v != 0 || !s.Missing && (v < g.Min-1e-9 || v > g.Max+1e-9 || math.IsNaN(v)) {
						t.Fatalf("%s = %v", g.Name, v)
					}
				}
				d.Sensors()
				d.Engine()
			}
		}
	})
}

func FuzzCodes(f *testing.F) {
	f.Add(byte(3), true, unhex(f, "4302 0171 2195"))
	f.Add(byte(7), false, unhex(f, "47 0133 0000 0000"))
	f.Fuzz(func(t *testing.T, service byte, can bool, reply []byte) {
		codes, err := Codes(service, can, reply)
		if err != nil && codes != nil {
			t.Fatal(codes, err)
		}
		for _, c := range codes {
			if len(c) != 5 || c == "P0000" {
				t.Fatalf("%q", c)
			}
		}
		if r, err := ReadReadiness(reply); err == nil && r.Codes > 127 {
			t.Fatal(r)
		}
	})
}

func FuzzVIN(f *testing.F) {
	f.Add(unhex(f, "490201314D3847444D3941584B50303432373838"), unhex(f, "4902"))
	f.Add(unhex(f, "49020100000031"), unhex(f, "49020247314A43"))
	f.Fuzz(func(t *testing.T, a, b []byte) {
		if vin, err := VIN(a, b); (err == nil) != (len(vin) == 17) {
			t.Fatalf("%q, %v", vin, err)
		}
	})
}
