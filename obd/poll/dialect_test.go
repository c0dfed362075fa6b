package poll_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// TestSecondDialect drives cars that speak J1979-2 alone: they are found by themselves, the watched pair keeps
// its share, values are the engine's, and a second meeting asks nothing in the old words.
func TestSecondDialect(t *testing.T) {
	for _, tt := range []struct {
		name string
		bus  obd.Bus
	}{
		{"obd-on-uds", obd.CAN11at500}, {"obd-on-uds-long", obd.CAN29at500}, {"obd-on-uds", obd.CAN29at250},
	} {
		t.Run(tt.name+" "+tt.bus.String(), func(t *testing.T) {
			car, err := simcar.Find(tt.name)
			if err != nil {
				t.Fatal(err)
			}
			mem := memory{}
			var asked []string
			for meeting := range 2 {
				wrong := map[string]int{}
				cfg := simcar.Config{Car: car, Bus: tt.bus, Seed: uint64(meeting + 1), Tap: func(m simcar.Traffic) {
					if m.From == 0 && (m.Message[0] != 0x22 && m.Message[0] != 0x19) {
						wrong[string(m.Message)]++
					}
				}}
				s, err := simcar.New(cfg)
				if err != nil {
					t.Fatal(err)
				}
				p, err := poll.Open(t.Context(), obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{}), s.Clock(),
					poll.Config{Sensor: "B1S1", Memory: mem, Port: "p", VIN: true})
				if err != nil {
					t.Fatal(err)
				}
				v := p.Vehicle()
				if v.Format.Dialect != obd.J1979v2 || v.Format.Bus != tt.bus || len(v.Decoder.Sensors()) < 2 {
					t.Fatalf("%+v, sensors %v", v.Format, v.Decoder.Sensors())
				}
				if old := len(wrong); old > 0 && meeting == 1 {
					t.Errorf("met again it is asked %v", wrong)
				}
				p.Ask(obd.Request{Service: 0x02, Data: []byte{0x02, 0x00}}, obd.Request{Service: 0x0A}, obd.Request{Service: 0x06, Data: []byte{0x00}}, obd.Request{Service: 0x05, Data: []byte{0, 1}})
				d, good, pairs, all := &decode.Decoder{}, 0, 0, 0
				seen := map[string]bool{}
				end := time.Duration(0)
				for end < 30*time.Second {
					x, err := p.Next(t.Context())
					if err != nil {
						t.Fatal(err)
					}
					end = x.At
					all++
					seen[x.Request.Hex()] = true
					if words, _ := obd.J1979v2.Words(x.Request); x.Request.Service == 0x01 && words != "22F404" && obd.Strays(words, true) { // 04 is none of its services
						t.Errorf("a stretch of %s changes something", words)
					}
					if x.Outcome != obd.OK {
						continue
					}
					good++
					if slices.Contains(x.Request.Data, 0x14) {
						pairs++
					}
					for _, reply := range x.Replies {
						samples, err := d.Reply(reply.From, x.Request.Bytes(), reply.Data, x.Sent, x.At, nil)
						if err != nil && !errors.Is(err, decode.ErrRefused) {
							t.Errorf("%s: %v", x.Request.Hex(), err)
						}
						for _, s := range samples {
							if s.Signal.Name == "RPM" && !s.Missing && s.Value < 400 {
								t.Errorf("engine speed %v of %X", s.Value, reply.From)
							}
						}
						if again, o := obd.Parse(x.Raw, obd.Format{Bus: v.Format.Bus, Headers: v.Format.Headers, Padded: v.Format.Padded}, x.Request); o != obd.OK || len(again) != len(x.Replies) {
							t.Errorf("%s reads back as %v %v", x.Request.Hex(), o, again)
						}
					}
				}
				if float64(good) < 0.35*float64(all) || float64(pairs) < 0.25*float64(all) { // of one that puts answers off 0.37 to 0.8, by seed
					t.Errorf("%d of %d answered, %d of the watched sensor", good, all, pairs)
				}
				for _, want := range []string{"03", "07", "0A", "0600", "0902"} {
					if !seen[want] {
						t.Errorf("%s was not asked", want)
					}
				}
				if seen["050001"] || seen["020200"] {
					t.Error("asked what the dialect has no words for")
				}
				if meeting == 0 {
					for text := range wrong {
						asked = append(asked, text)
					}
					if len(asked) != 1 || asked[0] != "\x01\x00" { // the search
						t.Errorf("asked in other words: %q", asked)
					}
				}
			}
			if len(mem.Recall(mem.key())) != 1 {
				t.Errorf("remembered %d cars", len(mem.Recall(mem.key())))
			}
		})
	}
}
