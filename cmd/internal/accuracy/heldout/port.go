package heldout

import (
	"math"
	"slices"
	"time"

	"pushback/obd"
)

// field is one value in the data of a PID, as SAE J1979 scales it.
type field struct {
	name  string
	bytes int
	zero  float64 // raw number that stands for 0
	lsb   float64
}

// signal is a PID and how it is read off the car.
type signal struct {
	pid    byte
	fields []field
	read   func(p *port, c *car) [2]float64
}

func trimOf(name string) []field { return []field{{name, 1, 128, 100.0 / 128}} }

// signals by what they are called here.
var signals = map[string]*signal{
	"volts": {0x14, []field{{"O2S11", 1, 0, 0.005}, {"SHRTFT11", 1, 128, 100.0 / 128}},
		func(p *port, c *car) [2]float64 { return [2]float64{p.volts[0], p.trims[0]} }},
	"trim":  {0x06, trimOf("SHRTFT1"), func(p *port, c *car) [2]float64 { return [2]float64{p.trims[0]} }},
	"long":  {0x07, trimOf("LONGFT1"), func(p *port, c *car) [2]float64 { return [2]float64{c.told(0)} }},
	"trim2": {0x08, trimOf("SHRTFT2"), func(p *port, c *car) [2]float64 { return [2]float64{p.trims[1]} }},
	"long2": {0x09, trimOf("LONGFT2"), func(p *port, c *car) [2]float64 { return [2]float64{c.told(1)} }},
	"rear": {0x15, []field{{"O2S12", 1, 0, 0.005}, {"SHRTFT12", 1, 128, 100.0 / 128}},
		func(p *port, c *car) [2]float64 { return [2]float64{p.rear, 99.22} }},
	"volts2": {0x18, []field{{"O2S21", 1, 0, 0.005}, {"SHRTFT21", 1, 128, 100.0 / 128}},
		func(p *port, c *car) [2]float64 { return [2]float64{p.volts[1], p.trims[1]} }},
	"status": {0x03, []field{{"FUELSYS1", 1, 0, 1}, {"FUELSYS2", 1, 0, 1}}, func(p *port, c *car) [2]float64 { return c.statuses() }},
	"load":   {0x04, []field{{"LOAD_PCT", 1, 0, 100.0 / 255}}, func(p *port, c *car) [2]float64 { return [2]float64{c.load} }},
	"ect":    {0x05, []field{{"ECT", 1, 40, 1}}, func(p *port, c *car) [2]float64 { return [2]float64{c.ect} }},
	"rpm":    {0x0C, []field{{"RPM", 2, 0, 0.25}}, func(p *port, c *car) [2]float64 { return [2]float64{c.rpm} }},
	"speed":  {0x0D, []field{{"VSS", 1, 0, 1}}, func(p *port, c *car) [2]float64 { return [2]float64{c.speed} }},
	"air":    {0x10, []field{{"MAF", 2, 0, 0.01}}, func(p *port, c *car) [2]float64 { return [2]float64{c.air} }},
	"purge":  {0x2E, []field{{"EVAP_PCT", 1, 0, 100.0 / 255}}, func(p *port, c *car) [2]float64 { return [2]float64{c.valve} }},
	"lambda": {0x34, []field{{"EQ_RAT11", 2, 0, 2.0 / 65536}, {"O2S11_WIDE_MA", 2, 32768, 1.0 / 256}},
		func(p *port, c *car) [2]float64 { return [2]float64{p.volts[0], pumped(p.volts[0])} }},
	"lambda2": {0x38, []field{{"EQ_RAT21", 2, 0, 2.0 / 65536}, {"O2S21_WIDE_MA", 2, 32768, 1.0 / 256}},
		func(p *port, c *car) [2]float64 { return [2]float64{p.volts[1], pumped(p.volts[1])} }},
	"target": {0x44, []field{{"EQ_RAT", 2, 0, 2.0 / 65536}}, func(p *port, c *car) [2]float64 { return [2]float64{c.banks[0].wide.told} }},
}

func (c *car) told(bank int) float64 { return c.banks[bank].long + c.banks[bank].cells[c.cell()] }

func (c *car) statuses() [2]float64 {
	s := [2]float64{float64(c.banks[0].status)}
	if len(c.banks) > 1 && !c.noSecond {
		s[1] = float64(c.banks[1].status)
	}
	return s
}

// registers are what the computer lets be read.
type registers struct {
	voltsEach, trimsEach float64 // s of refresh
	filter               float64 // s
	noise                float64 // V, or λ
	step                 float64 // trim is told in steps of so many %
	seen                 [2]lag
	volts, trims         [2]float64
	plain                float64 // trim as a twin's port would tell it
	rear                 float64
	nextVolts, nextTrims float64
}

// port is what a tester gets to see: registers that are refreshed now and then, perhaps
// filtered, asked for in turn over a bus that is never quite even (from memory).
type port struct {
	dice
	gap, jitter float64 // s between requests
	lost        float64 // share of requests without an answer
	holes       float64 // mean s between holes of some seconds, 0: none
	rows        bool    // a table by another program, or else real exchanges
	fast        [][]string
	slow        []string // one at a time
	every       int      // so many requests of fast to one of slow
	alone       bool     // a slow one takes a request of its own
	registers
	nextSlot float64
	nextHole float64
	n, turn  int
	records  []obd.Record
	told     func(at float64) // a record that has the trim went out
	twin     *car             // of a car that is forced: nobody forces it
	reads    int              // of the watched sensor
}

// open makes the first records: what the computer has, by which the sensor's PIDs are known.
func (p *port) open(c *car) {
	p.nextHole = math.Inf(1)
	if p.holes > 0 {
		p.nextHole = p.holes * p.in(0.2, 2)
	}
	if p.rows {
		return
	}
	has := map[byte]bool{0x13: true, 0x20: true}
	for _, name := range slices.Concat(slices.Concat(p.fast...), p.slow) {
		has[signals[name].pid] = true
	}
	present := byte(0x03)
	if len(c.banks) > 1 {
		present |= 0x10
	}
	if has[0x34] || has[0x44] || has[0x38] {
		has[0x40] = true
	}
	at := -0.9
	for _, pid := range []byte{0x00, 0x20, 0x40} {
		if pid > 0 && !has[pid] {
			continue
		}
		data := []byte{0, 0, 0, 0}
		for k := range 32 {
			if has[pid+byte(k)+1] {
				data[k/8] |= 0x80 >> (k % 8)
			}
		}
		p.exchange(at, at+0.05, []byte{pid}, append([]byte{pid}, data...))
		at += 0.1
	}
	p.exchange(at, at+0.05, []byte{0x13}, []byte{0x13, present})
}

// lead is how long before a test's zero its first records came.
const lead = 1.0

func stamp(t float64) time.Duration {
	return time.Duration(math.Round((t+lead)*1e6)) * time.Microsecond
}

func (p *port) exchange(sent, received float64, pids, reply []byte) {
	x := &obd.Exchange{Request: obd.Request{Service: 1, Data: pids, Expect: 1}}
	if reply == nil {
		x.Outcome = obd.NoData
	} else {
		x.Replies = []obd.Reply{{From: 0x7E8, Data: append([]byte{0x41}, reply...)}}
	}
	p.records = append(p.records, obd.Record{Sent: stamp(sent), At: stamp(received), Exchange: x})
}

// watch is called each step: registers, and a request where it is time.
func (p *port) watch(c *car) {
	t := c.t
	for i, b := range c.banks {
		v := b.volts // λ of a wide-range sensor
		if p.filter > 0 {
			v = p.seen[i].step(v, p.filter, c.dt)
		}
		if t >= p.nextVolts {
			noise := p.noise * p.NormFloat64()
			if b.wide != nil && b.wide.dead {
				noise = 0
			}
			p.volts[i] = max(0, v+noise)
		}
		if t >= p.nextTrims {
			p.trims[i] = math.Round(b.short/p.step) * p.step
		}
	}
	if t >= p.nextVolts {
		p.rear = c.banks[0].behind + 0.004*p.NormFloat64()
		p.nextVolts = t + p.voltsEach
	}
	if t >= p.nextTrims {
		if p.twin != nil {
			p.plain = math.Round(p.twin.banks[0].short/p.step) * p.step
		}
		p.nextTrims = t + p.trimsEach
	}
	if t < p.nextSlot || t < 0 {
		return
	}
	p.nextSlot = t + p.gap*max(0.4, 1+p.jitter*p.NormFloat64())
	if t >= p.nextHole {
		p.nextHole = t + p.holes*p.in(0.3, 2)
		p.nextSlot = t + p.in(1, 6)
	}
	names := p.fast[p.n%len(p.fast)]
	p.n++
	if len(p.slow) > 0 && p.n%p.every == 0 {
		next := p.slow[p.turn%len(p.slow)]
		p.turn++
		if p.alone {
			names = []string{next}
		} else {
			names = append(slices.Clone(names), next)
		}
	}
	p.answer(c, names)
}

func (p *port) answer(c *car, names []string) {
	t := c.t
	lost := p.lost > 0 && p.chance(p.lost)
	var pids, reply []byte
	var row *obd.Row
	if p.rows {
		row = &obd.Row{}
	}
	for _, name := range names {
		s := signals[name]
		pids = append(pids, s.pid)
		if lost {
			continue
		}
		switch name {
		case "volts", "lambda":
			p.reads++
		case "trim":
			if p.told != nil {
				p.told(t)
			}
		}
		values := s.read(p, c)
		reply = append(reply, s.pid)
		for i, f := range s.fields {
			raw := math.Round(values[i]/f.lsb + f.zero)
			raw = min(max(raw, 0), float64(int(1)<<(8*f.bytes)-1))
			if row != nil && (i == 0 || s.pid == 0x03 || s.pid >= 0x34) {
				row.Names = append(row.Names, f.name)
				row.Values = append(row.Values, math.Round((raw-f.zero)*f.lsb*1e9)/1e9)
			}
			if i == 1 && s.pid == 0x15 {
				raw = 255 // not used for trim
			} else if i == 1 && s.pid == 0x14 && row == nil && p.told != nil {
				p.told(t)
			}
			if f.bytes == 2 {
				reply = append(reply, byte(int(raw)>>8))
			}
			reply = append(reply, byte(int(raw)))
		}
	}
	switch {
	case row == nil && lost:
		p.exchange(t-0.3*p.gap, t+0.1*p.gap, pids, nil)
	case row == nil:
		p.exchange(t-0.3*p.gap, t+0.1*p.gap, pids, reply)
	case len(row.Names) > 0:
		p.records = append(p.records, obd.Record{At: stamp(t), Row: row})
	}
}

// recording puts the marks in and numbers all.
func (p *port) recording(marks []obd.Record) []obd.Record {
	all := append(p.records, marks...)
	slices.SortStableFunc(all, func(a, b obd.Record) int { return int(a.At - b.At) })
	for i := range all {
		all[i].Seq = int64(i)
	}
	return all
}
