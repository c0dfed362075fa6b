package unseenwide

import (
	"encoding/binary"
	"math"
	"slices"
	"time"

	"pushback/obd"
)

// portSpec is how the car is read: CAN of 11 bit, some PIDs in one request or not, or a K-line, one by one.
type portSpec struct {
	can             bool
	packed          int     // PIDs in one request
	answer, between float64 // s from a request to its reply, and on to the next request
	jitter          float64 // share of both
	refresh, phase  float64 // s between two times that what is told is renewed
	wide            byte    // 0x24 or 0x34
	slow            int     // one of the slow set beside the fast set in so many rounds
	fast, others    []byte
}

func drawPort(d dice, s carSpec) portSpec {
	p := portSpec{can: d.chance(0.75), packed: 1, jitter: d.span(0.02, 0.35), refresh: d.scale(0.02, 0.35), wide: []byte{0x24, 0x34}[d.IntN(2)], slow: 1 + d.IntN(2)}
	p.phase = d.span(0, p.refresh)
	if p.answer, p.between = d.scale(0.008, 0.05), d.scale(0.02, 0.12); !p.can {
		p.answer, p.between = d.scale(0.09, 0.16), d.scale(0.005, 0.05)
	} else if d.chance(0.6) {
		p.packed = 2 + d.IntN(5)
	}
	p.fast = []byte{p.sensor(0), 0x06}
	p.others = []byte{0x03, 0x07, 0x0C, 0x44, 0x10, 0x05, 0x04}
	if s.meter.density {
		p.others[4] = 0x0B
	}
	if d.chance(0.12) {
		p.others = slices.Delete(p.others, 3, 4) // some do not tell what they command
	}
	for _, x := range []struct {
		pid byte
		of  float64
	}{{0x15, 0.85}, {0x2E, 0.5}, {0x0D, 0.6}} {
		if d.chance(x.of) {
			p.others = append(p.others, x.pid)
		}
	}
	if s.loop.rear > 0 && d.chance(0.5) {
		p.others = append(p.others, 0x55)
	}
	if s.air.banks == 2 && d.chance(0.7) {
		p.others = append(p.others, p.sensor(1), 0x08, 0x09)
	}
	return p
}

// sensor is the PID of a bank's front sensor by the layout of PID 1D (SAE J1979, from memory).
func (p *portSpec) sensor(bank int) byte { return p.wide + 2*byte(bank) }

func (p *portSpec) reads(pid byte) bool { return slices.Contains(p.others, pid) }

// one and two are counts of one and two bytes, to the nearest.
func one(v float64) []byte { return []byte{byte(clamp(math.Round(v), 0, 0xFF))} }

func two(v float64) []byte {
	raw := uint16(clamp(math.Round(v), 0, 0xFFFF))
	return []byte{byte(raw >> 8), byte(raw)}
}

func trimByte(share float32) []byte { return one(128 * (1 + float64(share))) }

// ratio is λ in counts of 2/65536.
func ratio(v float64) []byte { return two(v * 32768) }

// front is bank k's front sensor.
func (p *portSpec) front(k int, x *told, s *carSpec) []byte {
	phi := float64(x.phi[k])
	mA := clamp(current(phi), -2, 1.15)
	second := two(32768 + 256*mA)
	if p.wide == 0x24 { // about the 3.3 V of λ 1, more the leaner (from memory, one family)
		second = two((3.3 + 0.42*mA) * 65536 / 8)
	}
	return slices.Concat(ratio(min(1/phi, s.bank[k].cell.ceiling)), second)
}

// data are the bytes of a PID (SAE J1979).
func (p *portSpec) data(pid byte, x *told, s *carSpec) []byte {
	switch pid {
	case 0x03:
		return []byte{x.status, byte(s.air.banks-1) * x.status}
	case 0x04:
		return one(255 * min(0.99, float64(x.air/x.rpm)*1000/s.air.draws(1000, baro)))
	case 0x05:
		return one(float64(x.ect) + 40)
	case 0x06, 0x08:
		return trimByte(x.short[(pid-6)/2])
	case 0x07, 0x09:
		return trimByte(x.long[(pid-7)/2])
	case 0x0B:
		return one(float64(x.kPa))
	case 0x0C:
		return two(4 * float64(x.rpm))
	case 0x0D:
		return one(3.6 * float64(x.speed))
	case 0x10:
		return two(100 * float64(x.air))
	case 0x15:
		return append(one(200*float64(x.rear[0])), 0xFF)
	case 0x2E:
		return one(255 * float64(x.purge))
	case 0x44:
		return ratio(float64(x.wanted))
	case 0x55:
		return trimByte(x.outer[0])
	case p.sensor(0):
		return p.front(0, x, s)
	}
	return p.front(1, x, s)
}

// reader reads a run through a port.
type reader struct {
	port   portSpec
	car    *carSpec
	run    *run
	dice   dice
	now    float64
	list   []obd.Record
	watch  []float64 // when the watched sensor was read
	trims  []float64 // when bank 1's short-term trim was, as of when it was refreshed
	trimAt []float64 // and when that was told
}

// shows is when what is told at t was taken.
func (p *portSpec) shows(t float64) float64 {
	return max(0, math.Floor((t-p.phase)/p.refresh)*p.refresh+p.phase)
}

// ask is one exchange.
func (r *reader) ask(pids ...byte) {
	p := &r.port
	sent := r.now
	takes := p.answer * (1 + p.jitter*r.dice.span(-0.5, 1)) * (1 + 0.1*float64(len(pids)-1))
	r.now += takes
	x := &obd.Exchange{Request: obd.Request{Service: 1, Data: slices.Clone(pids)}}
	done := at(r.now)
	taken := p.shows(sent + 0.6*takes)
	r.now += p.between * (1 + p.jitter*r.dice.span(-0.5, 1))
	r.list = append(r.list, obd.Record{Sent: at(sent), At: done, Exchange: x})
	data := []byte{0x41}
	m := r.run.at(taken)
	for _, pid := range pids {
		data = append(data, pid)
		if fixed := r.fixed(pid); fixed != nil {
			data = append(data, fixed...)
			continue
		}
		data = append(data, p.data(pid, m, r.car)...)
		switch pid {
		case p.sensor(0):
			r.watch = append(r.watch, done.Seconds())
		case 0x06:
			r.trims, r.trimAt = append(r.trims, taken), append(r.trimAt, done.Seconds())
		}
	}
	from := uint32(0x10) // of a K-line's header
	if p.can {
		from = 0x7E8
	}
	x.Replies = []obd.Reply{{From: from, Data: data}}
}

var layout = []byte{0x00, 0x20, 0x40, 0x1D} // the PIDs that tell of the car and not of the moment

// fixed are the answers to them, nil to others.
func (r *reader) fixed(pid byte) []byte {
	p := &r.port
	if pid == 0x1D { // each bank's front sensor, and bank 1's rear one
		there := byte(1) | byte(r.car.air.banks-1)<<2
		if p.reads(0x15) {
			there |= 2
		}
		return []byte{there}
	}
	if !slices.Contains(layout, pid) {
		return nil
	}
	var bits uint32
	for _, x := range slices.Concat(layout, p.fast, p.others) {
		if x > pid && x <= pid+0x20 {
			bits |= 1 << (pid + 0x20 - x)
		}
	}
	return binary.BigEndian.AppendUint32(nil, bits)
}

// read reads the whole run: what the car is, then round by round.
func (r *reader) read(length float64) {
	p := &r.port
	r.now = 0.05
	for _, pid := range layout {
		r.ask(pid)
	}
	turn := 0
	for round := 0; r.now < length-0.5; round++ {
		pids := slices.Clone(p.fast)
		if round%p.slow == 0 {
			for range max(1, p.packed-len(p.fast)) {
				pids = append(pids, p.others[turn%len(p.others)])
				turn++
			}
		}
		for chunk := range slices.Chunk(pids, p.packed) {
			r.ask(chunk...)
		}
	}
}

// join puts marks between what was read, and numbers all.
func join(list, marks []obd.Record) []obd.Record {
	all := slices.Concat(list, marks)
	slices.SortStableFunc(all, func(a, b obd.Record) int { return int((a.At - b.At) / time.Microsecond) })
	for i := range all {
		all[i].Seq = int64(i)
	}
	return all
}
