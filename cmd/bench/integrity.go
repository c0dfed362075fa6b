package main

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
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
	second bool     // the car speaks J1979-2
	guard  string   // what protects the reply
}

var setups = []setup{
	{name: "iso9141", bus: obd.ISO9141, guard: "sum of 8 bits"},
	{name: "iso14230-fast", bus: obd.ISO14230Fast, guard: "sum of 8 bits and length"},
	{name: "vpw", bus: obd.VPW, guard: "CRC of 8 bits"},
	{name: "pwm", bus: obd.PWM, guard: "CRC of 8 bits"},
	{name: "can11-500", bus: obd.CAN11at500, guard: "none: length and padding only"},
	{name: "can29-500", bus: obd.CAN29at500, guard: "none: length and padding only"},
	{name: "can11-500, asked twice", bus: obd.CAN11at500, twice: true, guard: "both values the same"},
	{name: "can29-500, asked twice", bus: obd.CAN29at500, twice: true, guard: "both values the same"},
	{name: "can11-500, no headers", bus: obd.CAN11at500, refuse: []string{"H1"}, guard: "none"},
	{name: "iso14230-fast, no headers", bus: obd.ISO14230Fast, refuse: []string{"H1"}, guard: "none"},
	{name: "can11-500, J1979-2", bus: obd.CAN11at500, second: true, guard: "none: length and padding only"},
	{name: "can29-500, J1979-2", bus: obd.CAN29at500, second: true, guard: "none: length and padding only"},
}

// tally is what became of the exchanges over a bad line.
type tally struct {
	exchanges, good, hits int
	samples, wrong        int
	erasures              int    // requests of service 04 that reached the bus
	changes               int    // others that did and may change something in the car
	taken                 int    // of them, those that a computer takes
	example, forbidden    string // of a wrong sample, of a change
}

// tapped is one message that a computer put on the bus.
type tapped struct {
	at      time.Duration
	from    uint32
	message []byte
}

// trial is one setup under way.
type trial struct {
	tally
	setup
	sent   []tapped // what the computers sent during the exchange
	noise  *obdtest.Noise
	a      *obd.Adapter
	d      decode.Decoder
	reqs   []obd.Request
	origin time.Duration
}

// prepare meets the car while the line is still good.
func prepare(ctx context.Context, s setup, seed uint64) (*trial, error) {
	t := &trial{setup: s}
	name := "v-engine"
	if s.second {
		name = "obd-on-uds"
	}
	car, err := simcar.Find(name)
	if err != nil {
		return nil, err
	}
	sim, err := simcar.New(simcar.Config{Car: car, Bus: s.bus, Seed: seed, Baud: 115200, Refuse: s.refuse, Tap: func(m simcar.Traffic) {
		switch {
		case m.From != 0:
			t.sent = append(t.sent, tapped{m.At, m.From, m.Message})
		case m.Message[0] == 0x04:
			t.erasures++
		case obd.Changes(int(m.Message[0]), len(m.Message)-1):
			t.changes++
			t.forbidden = fmt.Sprintf("%X", m.Message)
			if !s.bus.CAN() || obd.Takes(m.Message, true) {
				t.taken++
			}
		}
	}})
	if err != nil {
		return nil, err
	}
	t.noise = obdtest.NewNoise(sim.Link(), sim.Clock(), obdtest.Rates{}, seed)
	t.a = obd.NewAdapter(t.noise, sim.Clock(), obd.AdapterOptions{})
	if _, err := t.a.Start(ctx); err != nil {
		return nil, err
	}
	if _, err := t.a.FindBus(ctx, s.bus); err != nil {
		return nil, err
	}
	t.origin = sim.Now()
	t.a.SetOrigin(sim.Clock().Now())
	t.reqs = requestMix(s)
	learn := []obd.Request{{Service: 1, Data: []byte{0}}, {Service: 1, Data: []byte{0x13}}}
	if !s.second { // the V engine tells its sensors by the other PID
		learn[1].Data[0] = 0x1D
	}
	for i, req := range append(learn, t.reqs...) {
		x, err := t.a.Exchange(ctx, req)
		if err != nil || x.Outcome != obd.OK {
			return nil, fmt.Errorf("%s on a good line: %v, %w", req.Hex(), x.Outcome, err)
		}
		for _, r := range x.Replies {
			_, _ = t.d.Reply(r.From, req.Bytes(), r.Data, 0, 0, nil)
		}
		if s.second && i >= len(learn) && req.Service == 0x01 {
			t.reqs[i-len(learn)].Expect = len(strings.Fields(string(x.Raw)))
		}
	}
	return t, nil
}

// integrity exchanges n requests over a bad line and compares what is believed with
// what was on the bus.
func integrity(ctx context.Context, s setup, n int, rates obdtest.Rates, seed uint64) (tally, error) {
	t, err := prepare(ctx, s, seed)
	if err != nil {
		return tally{}, err
	}
	a, noise, reqs := t.a, t.noise, t.reqs
	known := a.Known()
	noise.Rates = rates
	rng := rand.New(rand.NewPCG(seed, 0x61736B))
	req := reqs[0]
	bad := 0
	for t.exchanges < n {
		if rng.IntN(3) == 0 {
			req = reqs[rng.IntN(len(reqs))]
		}
		t.sent = t.sent[:0]
		x, err := a.Exchange(ctx, req)
		if err != nil {
			return t.tally, err
		}
		t.exchanges++
		if x.Outcome == obd.OK {
			t.good++
			t.check(&x)
		}
		if x.Outcome == obd.OK || x.Outcome == obd.Refused {
			bad = 0
		} else if bad++; bad >= 4 || x.Outcome == obd.AdapterReset {
			// As the poller does it.
			bad = 0
			if err := a.Again(ctx); err != nil && !errors.Is(err, obd.ErrNoAdapter) {
				return t.tally, err
			}
			if err := a.Use(ctx, known); err != nil && !errors.Is(err, obd.ErrNoVehicle) && !errors.Is(err, obd.ErrNoAdapter) {
				return t.tally, err
			}
		}
	}
	t.hits = noise.Hits
	return t.tally, nil
}

// requestMix is what sessions ask, with the number of lines that the two computers of
// the V engine answer.
func requestMix(s setup) []obd.Request {
	type ask struct {
		hex    string
		expect int
	}
	asks := []ask{{"0114", 1}, {"0114", 1}, {"0106", 1}, {"0116", 1}, {"0115", 1}, {"010C", 2}, {"0103", 1}, {"0104", 1}, {"0105", 1}, {"0110", 1}, {"03", 0}, {"07", 0}}
	switch {
	case s.second:
		asks = []ask{{"0114", 0}, {"010614", 0}, {"010C0614", 0}, {"0115", 0}, {"0104", 0}, {"010C", 0}, {"0103", 0}, {"011F", 0}, {"03", 0}, {"07", 0}, {"0A", 0}, {"0902", 0}}
	case s.twice:
		asks = nil
		for _, pid := range []string{"14", "14", "06", "16", "15", "0C", "03", "04", "05", "10"} {
			asks = append(asks, ask{"01" + pid + pid, 0})
		}
	case s.bus.CAN():
		asks = append(asks, ask{"011406", 1}, ask{"01140C030415", 4}, ask{"01140C0305", 0})
	}
	var all []obd.Request
	for _, t := range asks {
		b, _ := hex.DecodeString(t.hex)
		all = append(all, obd.Request{Service: b[0], Data: b[1:], Expect: t.expect})
	}
	return all
}

// check counts the samples of an exchange, and those that no computer sent while it ran.
func (t *trial) check(x *obd.Record) {
	for _, r := range x.Replies {
		if r.Data[0] == 0x7F {
			continue
		}
		samples := 0
		if x.Request.Service == 0x01 {
			out, _ := t.d.Reply(r.From, x.Request.Bytes(), r.Data, x.Sent, x.At, nil)
			for _, s := range out {
				if !s.Missing {
					samples++
				}
			}
		} else if _, err := decode.Codes(x.Request.Service, t.bus.CAN(), r.Data); err == nil {
			samples = 1
		}
		t.samples += samples
		printed := r.Data
		if d := x.Request.Data; len(d) == 2 && d[0] == d[1] {
			printed = append(append([]byte(nil), printed...), printed[1:]...)
		}
		sent := false
		for _, m := range t.sent {
			at := m.at - t.origin
			sent = sent || at >= x.Sent && at <= x.At+time.Microsecond && (r.From == m.from || r.From == 0) && bytes.Equal(m.message, printed)
		}
		if !sent && samples > 0 {
			t.wrong += samples
			if t.example == "" {
				t.example = fmt.Sprintf("%s: %q taken as %X", x.Request.Hex(), x.Raw, r.Data)
				for _, m := range t.sent {
					t.example += fmt.Sprintf(", %X sent %X", m.from, m.message)
				}
			}
		}
	}
}

func integrityTable(ctx context.Context, n int, of string) error {
	if n == 0 {
		return nil
	}
	r := badLine
	fmt.Printf("Samples over a bad line. Per byte, both ways: lost %g, one bit changed %g, another byte %g, doubled %g,\n", r.Lose, r.Flip, r.Change, r.Double)
	fmt.Printf("held up for as much as 3 s %g, up to 40 bytes cut out or put in %g.\n", r.Delay, r.Splice)
	fmt.Println("wrong: a sample that no computer sent during its exchange. 04: requests to clear codes on the bus; other: such as may change something else;")
	fmt.Println("taken: of them, those that a computer may take by the lengths and parameters of ISO 14229-1, on other buses than CAN all.")
	rows := [][]string{{"replies", "exchanges", "events", "good", "samples", "wrong", "per million events", "04", "other", "taken", "guard"}}
	var examples []string
	taken, total := 0, 0
	chosen := slices.DeleteFunc(slices.Clone(setups), func(s setup) bool { return !strings.Contains(s.name, of) })
	for i, s := range chosen {
		share := (n + len(chosen) - 1) / len(chosen)
		t, err := integrity(ctx, s, share, badLine, uint64(i))
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		taken, total = taken+t.erasures+t.taken, total+t.exchanges
		fmt.Fprintf(os.Stderr, "\r%d of %d ", i+1, len(chosen))
		rows = append(rows, []string{s.name, fmt.Sprint(t.exchanges), fmt.Sprint(t.hits), percent(float64(t.good) / float64(t.exchanges)),
			fmt.Sprint(t.samples), fmt.Sprint(t.wrong), fmt.Sprintf("%.0f", 1e6*float64(t.wrong)/float64(t.hits)), fmt.Sprint(t.erasures), fmt.Sprint(t.changes), fmt.Sprint(t.taken), s.guard})
		if t.example != "" {
			examples = append(examples, s.name+", "+t.example)
		}
		if t.forbidden != "" {
			examples = append(examples, s.name+", a request that came to be: "+t.forbidden)
		}
	}
	fmt.Fprint(os.Stderr, "\r")
	grid(rows)
	fmt.Printf("Requests that clear codes or that a computer may take: %d in %d exchanges", taken, total)
	if taken == 0 { // the rule of three
		fmt.Printf("; with a certainty of 95 %% there are fewer than %.1f in a million", 3e6/float64(total))
	}
	fmt.Println(".")
	for _, e := range examples {
		fmt.Println("such as", e)
	}
	return nil
}
