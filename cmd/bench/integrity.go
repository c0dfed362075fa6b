package main

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/obdtest"
	"pushback/obd/simcar"
)

// badLine is what the line does to each byte, both ways: about one byte in a
// thousand is damaged, so that each exchange is hit with a chance of some per cent.
var badLine = obdtest.Rates{Lose: 3e-4, Flip: 3e-4, Change: 1e-4, Double: 2e-4, Delay: 3e-6, Splice: 5e-5}

// setup is one way in which replies are printed.
type setup struct {
	name   string
	bus    obd.Bus
	refuse []string // by the adapter
	twice  bool     // each PID is asked for twice
	guard  string   // what protects the reply
}

var setups = []setup{
	{"iso9141", obd.ISO9141, nil, false, "sum of 8 bits"},
	{"iso14230-fast", obd.ISO14230Fast, nil, false, "sum of 8 bits and length"},
	{"vpw", obd.VPW, nil, false, "CRC of 8 bits"},
	{"pwm", obd.PWM, nil, false, "CRC of 8 bits"},
	{"can11-500", obd.CAN11at500, nil, false, "none: length and padding only"},
	{"can29-500", obd.CAN29at500, nil, false, "none: length and padding only"},
	{"can11-500, asked twice", obd.CAN11at500, nil, true, "both values the same"},
	{"can29-500, asked twice", obd.CAN29at500, nil, true, "both values the same"},
	{"can11-500, no headers", obd.CAN11at500, []string{"H1"}, false, "none"},
	{"iso14230-fast, no headers", obd.ISO14230Fast, []string{"H1"}, false, "none"},
}

// tally is what became of the exchanges over a bad line.
type tally struct {
	exchanges, good, hits int
	samples, wrong        int
	erasures              int // requests of service 04 that reached the bus
	changes               int // others that did and may change something in the car
	example               string
}

// tapped is one message that a computer put on the bus.
type tapped struct {
	at      time.Duration
	from    uint32
	message []byte
}

// requests are those that are asked, as often as they come here.
func (s setup) requests() []obd.Request {
	if !s.twice {
		return requestMix(s.bus)
	}
	var reqs []obd.Request
	for _, pid := range []byte{0x14, 0x14, 0x06, 0x16, 0x15, 0x0C, 0x03, 0x04, 0x05, 0x10} {
		reqs = append(reqs, obd.Request{Service: 1, Data: []byte{pid, pid}})
	}
	return reqs
}

// integrity exchanges n requests over a bad line and compares what is believed with
// what was on the bus.
func integrity(ctx context.Context, s setup, n int, rates obdtest.Rates, seed uint64) (tally, error) {
	var t tally
	car, err := simcar.Find("v-engine")
	if err != nil {
		return t, err
	}
	var bus []tapped
	sim, err := simcar.New(simcar.Config{Car: car, Bus: s.bus, Seed: seed, Baud: 115200, Refuse: s.refuse, Tap: func(m simcar.Traffic) {
		switch {
		case m.From != 0:
			bus = append(bus, tapped{m.At, m.From, m.Message})
		case m.Message[0] == 0x04:
			t.erasures++
		case obd.Changes(int(m.Message[0]), len(m.Message)-1):
			t.changes++
		}
	}})
	if err != nil {
		return t, err
	}
	noise := obdtest.NewNoise(sim.Link(), sim.Clock(), obdtest.Rates{}, seed)
	a := obd.NewAdapter(noise, sim.Clock(), obd.AdapterOptions{})
	if _, err := a.Start(ctx); err != nil {
		return t, err
	}
	if _, err := a.FindBus(ctx, s.bus); err != nil {
		return t, err
	}
	origin := sim.Now()
	a.SetOrigin(sim.Clock().Now())
	var d decode.Decoder
	reqs := s.requests()
	learn := []obd.Request{{Service: 1, Data: []byte{0}}, {Service: 1, Data: []byte{0x1D}}}
	for _, req := range append(learn, reqs...) { // the line is still good
		x, err := a.Exchange(ctx, req)
		if err != nil || x.Outcome != obd.OK {
			return t, fmt.Errorf("%s on a good line: %v, %w", req.Hex(), x.Outcome, err)
		}
		for _, r := range x.Replies {
			_, _ = d.Reply(r.From, req.Bytes(), r.Data, 0, 0, nil)
		}
	}
	known := a.Known()
	noise.Rates = rates
	rng := rand.New(rand.NewPCG(seed, 0x61736B))
	req := reqs[0]
	bad := 0
	for t.exchanges < n {
		if rng.IntN(3) == 0 {
			req = reqs[rng.IntN(len(reqs))]
		}
		bus = bus[:0]
		x, err := a.Exchange(ctx, req)
		if err != nil {
			return t, err
		}
		t.exchanges++
		if x.Outcome == obd.OK {
			t.good++
			t.check(&d, s.bus, &x, bus, origin)
		}
		if x.Outcome == obd.OK || x.Outcome == obd.Refused {
			bad = 0
		} else if bad++; bad >= 4 || x.Outcome == obd.AdapterReset {
			// As the poller does it.
			bad = 0
			if err := a.Again(ctx); err != nil && !errors.Is(err, obd.ErrNoAdapter) {
				return t, err
			}
			if err := a.Use(ctx, known); err != nil && !errors.Is(err, obd.ErrNoVehicle) && !errors.Is(err, obd.ErrNoAdapter) {
				return t, err
			}
		}
	}
	t.hits = noise.Hits
	return t, nil
}

// requestMix is what sessions ask, with the number of lines that the two computers of
// the car answer.
func requestMix(b obd.Bus) []obd.Request {
	texts := []struct {
		hex    string
		expect int
	}{{"0114", 1}, {"0114", 1}, {"0106", 1}, {"0116", 1}, {"0115", 1}, {"010C", 2}, {"0103", 1}, {"0104", 1}, {"0105", 1}, {"0110", 1}, {"03", 0}, {"07", 0}}
	if b.CAN() {
		texts = append(texts, []struct {
			hex    string
			expect int
		}{{"011406", 1}, {"01140C030415", 4}, {"01140C0305", 0}}...)
	}
	var all []obd.Request
	for _, t := range texts {
		b, _ := hex.DecodeString(t.hex)
		all = append(all, obd.Request{Service: b[0], Data: b[1:], Expect: t.expect})
	}
	return all
}

// check counts the samples of an exchange, and those that no computer sent while it ran.
func (t *tally) check(d *decode.Decoder, b obd.Bus, x *obd.Exchange, bus []tapped, origin time.Duration) {
	for _, r := range x.Replies {
		if r.Data[0] == 0x7F {
			continue
		}
		samples := 0
		if x.Request.Service == 0x01 {
			out, _ := d.Reply(r.From, x.Request.Bytes(), r.Data, x.Sent, x.Received, nil)
			for _, s := range out {
				if !s.Missing {
					samples++
				}
			}
		} else if _, err := decode.Codes(x.Request.Service, b.CAN(), r.Data); err == nil {
			samples = 1
		}
		t.samples += samples
		printed := r.Data
		if d := x.Request.Data; len(d) == 2 && d[0] == d[1] {
			printed = append(append([]byte(nil), printed...), printed[1:]...)
		}
		sent := false
		for _, m := range bus {
			at := m.at - origin
			sent = sent || at >= x.Sent && at <= x.Received+time.Microsecond && (r.From == m.from || r.From == 0) && bytes.Equal(m.message, printed)
		}
		if !sent && samples > 0 {
			t.wrong += samples
			if t.example == "" {
				t.example = fmt.Sprintf("%s: %q taken as %X", x.Request.Hex(), x.Raw, r.Data)
				for _, m := range bus {
					t.example += fmt.Sprintf(", %X sent %X", m.from, m.message)
				}
			}
		}
	}
}

func integrityTable(ctx context.Context, n int) error {
	if n == 0 {
		return nil
	}
	r := badLine
	fmt.Printf("Samples over a bad line. Per byte, both ways: lost %g, one bit changed %g, another byte %g, doubled %g,\n", r.Lose, r.Flip, r.Change, r.Double)
	fmt.Printf("held up for as much as 3 s %g, up to 40 bytes cut out or put in %g.\n", r.Delay, r.Splice)
	fmt.Println("wrong: a sample that no computer sent during its exchange. 04: requests to clear codes on the bus; other: such as may change something else.")
	rows := [][]string{{"replies", "exchanges", "events", "good", "samples", "wrong", "per million events", "04", "other", "guard"}}
	var examples []string
	for i, s := range setups {
		share := (n + len(setups) - 1) / len(setups)
		t, err := integrity(ctx, s, share, badLine, uint64(i))
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		fmt.Fprintf(os.Stderr, "\r%d of %d ", i+1, len(setups))
		rows = append(rows, []string{s.name, fmt.Sprint(t.exchanges), fmt.Sprint(t.hits), percent(float64(t.good) / float64(t.exchanges)),
			fmt.Sprint(t.samples), fmt.Sprint(t.wrong), fmt.Sprintf("%.0f", 1e6*float64(t.wrong)/float64(t.hits)), fmt.Sprint(t.erasures), fmt.Sprint(t.changes), s.guard})
		if t.example != "" {
			examples = append(examples, s.name+", "+t.example)
		}
	}
	fmt.Fprint(os.Stderr, "\r")
	grid(rows)
	for _, e := range examples {
		fmt.Println("such as", e)
	}
	return nil
}
