package poll_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/obdtest"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// TestWideRange: while an answer is awaited λ, trim and the commanded ratio have nearly all of
// the bus, in one request on CAN and in turn elsewhere; for the narrow sensor behind the
// catalyst they, that one and its trim do. Where the one in front is narrow too, what tells of fuel cuts and full load does.
func TestWideRange(t *testing.T) {
	for _, tt := range []struct {
		car, sensor string
		pids        []byte
	}{
		{"wide-range", "B1S1", []byte{0x34, 0x06, 0x44}},
		{"wide-range", "B1S2", []byte{0x15, 0x06, 0x34, 0x44, 0x55}},
		{"healthy", "B1S2", []byte{0x15, 0x06, 0x04, 0x0C, 0x03, 0x14}},
	} {
		for _, bus := range buses() {
			t.Run(tt.car+" "+tt.sensor+" "+bus.String(), func(t *testing.T) {
				car, err := simcar.Find(tt.car)
				if err != nil {
					t.Fatal(err)
				}
				s, err := simcar.New(simcar.Config{Car: car, Bus: bus, Seed: 1})
				if err != nil {
					t.Fatal(err)
				}
				p, err := poll.Open(t.Context(), obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{}), s.Clock(), poll.Config{Sensor: tt.sensor, Bus: bus})
				if err != nil {
					t.Fatal(err)
				}
				for s.Now() < 20*time.Second {
					next(t, p)
				}
				p.Await(true)
				asked, ours, all := map[byte]int{}, 0, 0
				for s.Now() < 45*time.Second {
					x := next(t, p)
					for _, pid := range x.Request.Data {
						asked[pid]++
					}
					all++
					if slices.Contains(tt.pids, x.Request.Data[0]) {
						ours++
					}
					if bus.CAN() && slices.Contains(x.Request.Data, tt.pids[0]) {
						for _, pid := range tt.pids {
							if !slices.Contains(x.Request.Data, pid) {
								t.Fatalf("%X lacks %02X", x.Request.Data, pid)
							}
						}
					}
				}
				if share := float64(ours) / float64(all); share < 0.97 {
					t.Errorf("they have %.1f %% of the requests: %v", 100*share, asked)
				}
				for _, pid := range tt.pids {
					if n := asked[pid]; n < asked[tt.pids[0]]*9/10 {
						t.Errorf("%02X was asked %d times, %02X %d times", pid, n, tt.pids[0], asked[tt.pids[0]])
					}
				}
				if asked[0x03] < 2 {
					t.Errorf("fuel status was asked %d times", asked[0x03])
				}
			})
		}
	}
}

// TestScalesFirst: a car that declares its scales has told them before λ is read, the first
// time and when it is met again.
func TestScalesFirst(t *testing.T) {
	// Supported: 03 06 0C 13 20, 34 40, 44 4F.
	says := map[string]string{
		"ATZ": "INTERFACE v1.5", "ATI": "INTERFACE v1.5", "ATRV": "12.6V", "ATDPN": "A6",
		"0100": "7E80641002410200100", "0120": "7E80641200000100100", "0140": "7E80641401002000000", "0113": "7E80341130300000000",
		"014F": "7E806414F2000000000", "0103": "7E80441030200000000", "0134": "7E806413408008000 00", "0106": "7E80341068000000000",
		"0144": "7E80441440800000000", "010C": "7E804410C0C00000000", "03": "7E80243000000000000", "07": "7E80247000000000000",
	}
	fake := func() *obdtest.Fake {
		return obdtest.NewFake(func(line string) (string, time.Duration) {
			text, ok := says[line]
			if !ok && len(line)%2 == 1 { // with a count
				text, ok = says[line[:len(line)-1]]
			}
			switch {
			case ok:
			case strings.HasPrefix(line, "AT"):
				text = "OK"
			default:
				text = "NO DATA"
			}
			return strings.ReplaceAll(text, " ", "") + "\r\r>", 10 * time.Millisecond
		})
	}
	mem := memory{}
	for _, met := range []string{"first", "again"} {
		f := fake()
		p, err := poll.Open(t.Context(), obd.NewAdapter(f, f, obd.AdapterOptions{}), f, poll.Config{Sensor: "B1S1", Memory: mem, Port: "p"})
		if err != nil {
			t.Fatal(err)
		}
		var d decode.Decoder
		for n, seen := 0, 0; seen < 3; n++ {
			x := next(t, p)
			if n > 60 {
				t.Fatalf("%s: λ was not read", met)
			}
			for _, r := range x.Replies {
				samples, _ := d.Reply(r.From, x.Request.Bytes(), r.Data, x.Sent, x.At, nil)
				for _, s := range samples {
					if s.Signal.Name == "EQ_RAT11" && !s.Missing {
						if seen++; s.Value != 1 { // 0800 of 65536, full scale 32
							t.Errorf("%s: λ %v", met, s.Value)
						}
					}
				}
			}
		}
	}
}
