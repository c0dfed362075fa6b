package poll_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// memory keeps cars as JSON, as a file would.
type memory map[string]string

func (m memory) Recall(key string) []poll.Car {
	var all []poll.Car
	if json.Unmarshal([]byte(m[key]), &all) != nil {
		return nil
	}
	return all
}

func (m memory) Remember(key string, c poll.Car) { m.keep(key, poll.Met(m.Recall(key), c)) }

func (m memory) keep(key string, cars []poll.Car) {
	text, err := json.Marshal(cars)
	if err != nil {
		panic(err)
	}
	m[key] = string(text)
}

// key is the one that there is.
func (m memory) key() string {
	for key := range m {
		return key
	}
	return ""
}

// change changes every car that is remembered.
func (m memory) change(f func(*poll.Car)) {
	for key := range m {
		cars := m.Recall(key)
		for i := range cars {
			f(&cars[i])
		}
		m.keep(key, cars)
	}
}

// meet polls a car and returns its first records and what is known of it.
func meet(t *testing.T, name string, bus obd.Bus, mem poll.Memory) ([]obd.Record, poll.Vehicle) {
	t.Helper()
	all, v, _ := meeting(t, name, bus, mem)
	return all, v
}

// meeting is meet, with the time of the first reading of the sensor.
func meeting(t *testing.T, name string, bus obd.Bus, mem poll.Memory) (all []obd.Record, v poll.Vehicle, read time.Duration) {
	t.Helper()
	car, err := simcar.Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return visit(t, simcar.Config{Car: car, Bus: bus, Seed: 1}, mem)
}

func visit(t *testing.T, cfg simcar.Config, mem poll.Memory) (all []obd.Record, v poll.Vehicle, read time.Duration) {
	t.Helper()
	s, err := simcar.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	p, err := poll.Open(t.Context(), obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{}), s.Clock(),
		poll.Config{Sensor: "B1S1", Memory: mem, Port: "simulated"})
	if err != nil {
		t.Fatal(err)
	}
	v = p.Vehicle()
	for range 60 {
		r := next(t, p)
		if r.Seq != int64(len(all)) || r.Exchange.Outcome != obd.OK {
			t.Fatalf("record %d: %+v", len(all), r.Exchange)
		}
		if pid := r.Exchange.Request.Data; read == 0 && len(pid) > 0 && (pid[0] == 0x14 || pid[0] == 0x24 || pid[0] == 0x34) {
			read = s.Now()
		}
		all = append(all, r)
	}
	return all, v, read
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
	for i, bus := range append(buses(), obd.CAN11at500, obd.CAN29at500, obd.CAN11at250, obd.CAN29at250) {
		name := "healthy"
		if i >= len(buses()) {
			name = "obd-on-uds"
		}
		t.Run(name+" "+bus.String(), func(t *testing.T) {
			mem := memory{}
			fresh, first := meet(t, name, bus, mem)
			known, second := meet(t, name, bus, mem)
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
		mem.change(func(c *poll.Car) { // it is remembered with one sensor only
			for i, r := range c.Replies {
				if r.Request == "0113" {
					c.Replies[i].Data = []byte{0x41, 0x13, 0x01}
				}
			}
		})
		all, _ := meet(t, "healthy", obd.CAN11at500, mem)
		found := false
		for _, r := range all {
			found = found || slices.Contains(r.Exchange.Request.Data, 0x15)
		}
		if !found {
			t.Errorf("the second sensor is never read: %v", requests(all, 60))
		}
		if cars := mem.Recall(mem.key()); len(cars) != 2 {
			t.Errorf("it is not remembered as another: %+v", cars)
		}
		if again, _ := meet(t, "healthy", obd.CAN11at500, mem); len(mem.Recall(mem.key())) != 2 {
			t.Errorf("now it is a third: %v", requests(again, 60))
		}
	})
	for _, packed := range []bool{true, false} {
		t.Run(fmt.Sprint("another car that offers more, packed ", packed), func(t *testing.T) {
			mem := memory{}
			meet(t, "healthy", obd.CAN11at500, mem)
			mem.change(func(c *poll.Car) { // it is remembered with nothing beyond PID 3F
				c.Packed = packed
				for i, r := range c.Replies {
					if r.Request == "0120" {
						c.Replies[i].Data[5] &^= 1
					}
				}
				c.Replies = slices.DeleteFunc(c.Replies, func(r poll.Reply) bool { return r.Request == "0140" })
			})
			all, v := meet(t, "healthy", obd.CAN11at500, mem)
			if !slices.Contains(requests(all, 60), "0140") || !v.Decoder.Supports(0x42) {
				t.Errorf("it is not asked for more: %v", requests(all, 60))
			}
			// Whether it takes several PIDs a request nobody has asked it, if the other did not.
			if n := len(mem.Recall(mem.key())); (n == 2) != packed {
				t.Errorf("%d cars are remembered", n)
			}
		})
	}
	t.Run("memory of no sense", func(t *testing.T) {
		mem := memory{}
		meet(t, "healthy", obd.CAN11at500, mem)
		mem.change(func(c *poll.Car) {
			c.Replies = append(c.Replies, poll.Reply{Request: "04"}, poll.Reply{Request: "zz"})
		})
		if all, _ := meet(t, "healthy", obd.CAN11at500, mem); slices.Contains(requests(all, 60), "04") {
			t.Error("asks what is remembered")
		}
	})
}

// Two cars that come in turn through one adapter are both known: neither costs a search.
func TestTwoCarsInTurn(t *testing.T) {
	if testing.Short() {
		t.Skip("many cars one after another")
	}
	for _, tt := range []struct {
		name [2]string
		bus  [2]obd.Bus
	}{
		{[2]string{"healthy", "v-engine"}, [2]obd.Bus{obd.CAN11at500, obd.CAN11at500}},
		{[2]string{"healthy", "v-engine"}, [2]obd.Bus{obd.ISO9141, obd.ISO9141}},
		{[2]string{"healthy", "v-engine"}, [2]obd.Bus{obd.CAN11at500, obd.ISO9141}},
		{[2]string{"healthy", "healthy"}, [2]obd.Bus{obd.CAN29at500, obd.VPW}},
		{[2]string{"healthy", "healthy"}, [2]obd.Bus{obd.VPW, obd.ISO14230Fast}},
		{[2]string{"healthy", "healthy"}, [2]obd.Bus{obd.ISO14230Fast, obd.ISO9141}},
		{[2]string{"healthy", "healthy"}, [2]obd.Bus{obd.CAN11at250, obd.CAN29at250}},
	} {
		t.Run(fmt.Sprint(tt), func(t *testing.T) {
			mem := memory{}
			var alone [2]time.Duration
			for i := range 2 {
				only := memory{}
				for range 5 {
					_, _, alone[i] = meeting(t, tt.name[i], tt.bus[i], only)
				}
			}
			for range 3 {
				for i := range 2 {
					meet(t, tt.name[i], tt.bus[i], mem)
				}
			}
			for i := range 2 {
				all, v, read := meeting(t, tt.name[i], tt.bus[i], mem)
				if v.Format.Bus != tt.bus[i] || slices.Contains(sensorNames(v.Decoder), "B2S1") != (tt.name[i] == "v-engine") {
					t.Errorf("%s: %+v, sensors %v", tt.name[i], v.Format, sensorNames(v.Decoder))
				}
				if limit := alone[i] + 450*time.Millisecond; read > limit {
					t.Errorf("%s on %v after %v, alone %v: %v", tt.name[i], tt.bus[i], read, alone[i], requests(all, 10))
				}
			}
			if n := len(mem.Recall(mem.key())); n != 2 {
				t.Errorf("%d cars are remembered", n)
			}
		})
	}
}

// An unknown car waits for what was asked in vain on the bus of the car that was met before, and not
// even that on the bus that most cars have; it is met as it is.
func TestUnknownCar(t *testing.T) {
	var fresh [obd.CAN29at250 + 1]time.Duration
	for _, bus := range buses() {
		_, _, fresh[bus] = meeting(t, "v-engine", bus, nil)
	}
	for _, other := range buses() {
		vain, slow := 250*time.Millisecond, other == obd.ISO9141 || other == obd.ISO14230Slow
		switch {
		case slow:
			vain = 2750 * time.Millisecond
		case other == obd.ISO14230Fast:
			vain = 450 * time.Millisecond
		}
		met := memory{}
		for range 2 {
			meet(t, "healthy", other, met)
		}
		for _, bus := range buses() {
			all, v, read := meeting(t, "v-engine", bus, maps.Clone(met))
			if v.Format.Bus != bus || !slices.Contains(sensorNames(v.Decoder), "B2S1") {
				t.Errorf("%v, memory of %v: %+v, sensors %v", bus, other, v.Format, sensorNames(v.Decoder))
			}
			if read > fresh[bus]+vain || slow && bus == obd.CAN11at500 && read > fresh[bus] {
				t.Errorf("%v, memory of %v: %v, without %v: %v", bus, other, read, fresh[bus], requests(all, 12))
			}
		}
	}
}

// Many cars come to one adapter in any order, more than are remembered: each is met as it is.
func TestAnyCarAfterOthers(t *testing.T) {
	if testing.Short() {
		t.Skip("many cars one after another")
	}
	type car struct {
		cfg   simcar.Config
		fresh poll.Vehicle
	}
	var cars []car
	offers := func(v poll.Vehicle) (all []byte) {
		for pid := range 256 {
			if v.Decoder.Supports(byte(pid)) {
				all = append(all, byte(pid))
			}
		}
		return all
	}
	short := 0 // cars that do not fill their CAN frames
	for seed := range uint64(20) {
		cfg := simcar.RandomSound(seed)
		cfg.Bus = []obd.Bus{obd.CAN11at500, obd.CAN11at500, obd.CAN29at250, obd.ISO14230Fast, obd.VPW}[seed%5]
		_, v, _ := visit(t, cfg, nil)
		cars = append(cars, car{cfg, v})
		if v.Format.Bus.CAN() && !v.Format.Padded {
			short++
		}
	}
	if short == 0 || short == 12 {
		t.Errorf("%d cars with short frames", short)
	}
	mem := memory{}
	dice := rand.New(rand.NewPCG(1, 2))
	for i := range 70 {
		c := cars[dice.IntN(len(cars))]
		all, v, _ := visit(t, c.cfg, mem)
		if v.Format != c.fresh.Format || !slices.Equal(sensorNames(v.Decoder), sensorNames(c.fresh.Decoder)) || !slices.Equal(offers(v), offers(c.fresh)) {
			t.Errorf("visit %d, seed %d: %+v, sensors %v, offers %X; without memory %+v, %v, %X; %v", i, c.cfg.Seed, v.Format, sensorNames(v.Decoder), offers(v),
				c.fresh.Format, sensorNames(c.fresh.Decoder), offers(c.fresh), requests(all, 20))
		}
	}
	if n := len(mem.Recall(mem.key())); n != poll.MaxCars {
		t.Errorf("%d cars are remembered", n)
	}
}

// However many buses are remembered, an unknown car waits for a few of them only.
func TestUnknownCarAfterManyBuses(t *testing.T) {
	_, _, fresh := meeting(t, "v-engine", obd.CAN11at500, nil)
	mem := memory{}
	for _, bus := range buses() {
		if bus != obd.CAN11at500 {
			meet(t, "healthy", bus, mem)
		}
	}
	if _, _, read := meeting(t, "v-engine", obd.CAN11at500, mem); read > fresh+600*time.Millisecond {
		t.Errorf("%v, without memory %v", read, fresh)
	}
}

// The cars met longest ago are forgotten.
func TestMet(t *testing.T) {
	var cars []poll.Car
	car := func(i int) poll.Car {
		return poll.Car{Replies: []poll.Reply{{Request: "0100", From: uint32(i)}}}
	}
	for i := range 3 * poll.MaxCars {
		cars = poll.Met(cars, car(i))
		cars = poll.Met(cars, car(0))
	}
	if len(cars) != poll.MaxCars || cars[0].Replies[0].From != 0 || cars[1].Replies[0].From != 3*poll.MaxCars-1 {
		t.Errorf("%+v", cars)
	}
}

// A computer more than was remembered is not missed for the number of replies to wait for.
func TestOneComputerMore(t *testing.T) {
	mem := memory{}
	meet(t, "v-engine", obd.CAN11at500, mem)
	full := mem.Recall(mem.key())[0]
	less := full
	less.Replies = slices.DeleteFunc(slices.Clone(full.Replies), func(r poll.Reply) bool { return r.From != 0x7E8 })
	if len(less.Replies) == len(full.Replies) {
		t.Fatal("the car has one computer")
	}
	mem.Remember(mem.key(), less)
	all, _ := meet(t, "v-engine", obd.CAN11at500, mem)
	if n := len(all[0].Exchange.Replies); n != 2 {
		t.Errorf("%d replies", n)
	}
	if cars := mem.Recall(mem.key()); len(cars) != 2 || len(cars[0].Replies) != len(full.Replies) {
		t.Errorf("%+v", cars)
	}
}

func sensorNames(d *decode.Decoder) []string {
	var out []string
	for _, s := range d.Sensors() {
		out = append(out, s.Name)
	}
	return out
}
