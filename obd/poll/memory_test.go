package poll_test

import (
	"encoding/json"
	"slices"
	"testing"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// memory keeps cars as JSON, as a file would.
type memory map[string]string

func (m memory) Recall(key string) (poll.Car, bool) {
	var c poll.Car
	return c, json.Unmarshal([]byte(m[key]), &c) == nil
}

func (m memory) Remember(key string, c poll.Car) {
	text, err := json.Marshal(c)
	if err != nil {
		panic(err)
	}
	m[key] = string(text)
}

// meet polls a car and returns its first records and what is known of it.
func meet(t *testing.T, name string, bus obd.Bus, mem poll.Memory) ([]obd.Record, poll.Vehicle) {
	t.Helper()
	car, err := simcar.Find(name)
	if err != nil {
		t.Fatal(err)
	}
	s, err := simcar.New(simcar.Config{Car: car, Bus: bus, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	p, err := poll.Open(t.Context(), obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{}), s.Clock(),
		poll.Config{Sensor: "B1S1", Memory: mem, Port: "simulated"})
	if err != nil {
		t.Fatal(err)
	}
	var all []obd.Record
	for range 60 {
		r := next(t, p)
		if r.Seq != int64(len(all)) || r.Exchange.Outcome != obd.OK {
			t.Fatalf("record %d: %+v", len(all), r.Exchange)
		}
		all = append(all, r)
	}
	return all, p.Vehicle()
}

// requests lists what was asked first.
func requests(all []obd.Record, n int) []string {
	var out []string
	for _, r := range all[:n] {
		out = append(out, r.Exchange.Request.Hex())
	}
	return out
}

// TestMemory: a known car is read at once; the rest of discovery follows and is in the
// records; another car is noticed.
func TestMemory(t *testing.T) {
	for bus := obd.PWM; bus <= obd.CAN29at250; bus++ {
		t.Run(bus.String(), func(t *testing.T) {
			mem := memory{}
			fresh, first := meet(t, "healthy", bus, mem)
			known, second := meet(t, "healthy", bus, mem)
			if first.Format != second.Format || !slices.Equal(sensorNames(first.Decoder), sensorNames(second.Decoder)) {
				t.Errorf("%+v, then %+v", first, second)
			}
			if got := known[1].Exchange.Request.Data; got[0] != 0x14 {
				t.Errorf("begins with %v", requests(known, 10))
			}
			for _, r := range fresh {
				req := r.Exchange.Request
				if len(req.Data) == 1 && (req.Data[0]%0x20 == 0 || req.Data[0] == 0x13) && !slices.Contains(requests(known, 40), req.Hex()) {
					t.Errorf("%s is not asked: %v", req.Hex(), requests(known, 40))
				}
			}
		})
	}
	t.Run("another car", func(t *testing.T) {
		mem := memory{}
		meet(t, "healthy", obd.CAN11at500, mem)
		_, v := meet(t, "v-engine", obd.VPW, mem)
		if v.Format.Bus != obd.VPW || !slices.Contains(sensorNames(v.Decoder), "B2S1") {
			t.Errorf("%+v, sensors %v", v.Format, sensorNames(v.Decoder))
		}
	})
	t.Run("another car that begins alike", func(t *testing.T) {
		mem := memory{}
		meet(t, "healthy", obd.CAN11at500, mem)
		for key := range mem { // it is remembered with one sensor only
			c, _ := mem.Recall(key)
			for i, r := range c.Replies {
				if r.Request == "0113" {
					c.Replies[i].Data = []byte{0x41, 0x13, 0x01}
				}
			}
			mem.Remember(key, c)
		}
		all, _ := meet(t, "healthy", obd.CAN11at500, mem)
		found := false
		for _, r := range all {
			found = found || slices.Contains(r.Exchange.Request.Data, 0x15)
		}
		if !found {
			t.Errorf("the second sensor is never read: %v", requests(all, 60))
		}
	})
	t.Run("memory of no sense", func(t *testing.T) {
		mem := memory{}
		meet(t, "healthy", obd.CAN11at500, mem)
		for key := range mem {
			c, _ := mem.Recall(key)
			c.Replies = append(c.Replies, poll.Reply{Request: "04"}, poll.Reply{Request: "0100", From: 1}, poll.Reply{Request: "zz"})
			mem.Remember(key, c)
		}
		if all, _ := meet(t, "healthy", obd.CAN11at500, mem); slices.Contains(requests(all, 60), "04") {
			t.Error("asks what is remembered")
		}
	})
}

func sensorNames(d *decode.Decoder) []string {
	var out []string
	for _, s := range d.Sensors() {
		out = append(out, s.Name)
	}
	return out
}
