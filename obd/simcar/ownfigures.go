package simcar

import (
	"math"
	"slices"
)

// ownFigures is what the computer measures of an upstream sensor for services 05 and 06,
// each 10 ms: extremes of the last test cycle, times between the switches, and how long
// the voltage takes from one of two levels to the other.
type ownFigures struct {
	min, max        float64 // V, in the last cycle
	lowest, highest float64 // so far in this one
	cycle           float64 // s into it
	rich, known     bool
	switched        float64 // s, when it last switched
	between         float64 // s, between the last two switches
	stay            float64 // s, the one before
	left            float64 // s, when it left the level on its side; 0: not under way
	toLean, toRich  float64 // s, switch times
	inCycle         int     // switches in this cycle
	switches        int     // in the last one
	whole           bool    // a cycle is complete; before, the extremes so far count
}

// The levels of the switch time and the length of a test cycle (service texts name such
// constants; the numbers are indicative).
const (
	lowLevel, highLevel = 0.3, 0.6
	testCycle           = 10.0
)

func (f *ownFigures) init() {
	*f = ownFigures{}

	f.lowest, f.highest, f.min, f.max = math.Inf(1), math.Inf(-1), biasVolts, biasVolts
}

func (f *ownFigures) step(v, t float64) {
	f.lowest, f.highest = min(f.lowest, v), max(f.highest, v)
	if !f.whole {
		f.min, f.max = f.lowest, f.highest
	}
	switch rich := v > switchVolts; {
	case !f.known:
		f.rich, f.known, f.switched = rich, true, t
	case rich != f.rich && math.Abs(v-switchVolts) > switchBand:
		f.stay, f.between, f.switched, f.rich = f.between, t-f.switched, t, rich
		f.inCycle++
	}
	switch {
	case v > highLevel:
		if f.left < 0 {
			f.toRich = t + f.left
		}
		f.left = t
	case v < lowLevel:
		if f.left > 0 {
			f.toLean = t - f.left
		}
		f.left = -t
	}
	if f.cycle += tick; f.cycle >= testCycle {
		f.min, f.max, f.switches, f.whole = f.lowest, f.highest, f.inCycle, true
		f.lowest, f.highest, f.cycle, f.inCycle = math.Inf(1), math.Inf(-1), 0, 0
	}
}

// test is one test's value with its limits, in V or s; no limits for constants.
type test struct {
	id           byte
	value        float64
	low, high    float64
	limits, time bool
}

// tests are the TIDs 01 to 0A of a switching sensor. The limits are of the size that
// service texts print, but for the switch times: this computer measures them at idle,
// where the mixture itself takes some tenths of a second, not at speed.
func (f *ownFigures) tests() []test {
	return []test{
		{1, switchVolts, 0, 0, false, false}, {2, switchVolts, 0, 0, false, false},
		{3, lowLevel, 0, 0, false, false}, {4, highLevel, 0, 0, false, false},
		{5, f.toLean, 0, 0.6, true, true}, {6, f.toRich, 0, 0.6, true, true},
		{7, f.min, 0, 0.395, true, false}, {8, f.max, 0.495, 1.1, true, false},
		{9, f.between, 0.1, 4, true, true}, {10, f.between + f.stay, 0.2, 8, true, true},
	}
}

// scale05 is the step of a test's value off CAN, by J1979: 5 mV, 4 ms for switch times,
// 40 ms for periods.
func (t test) scale05() float64 {
	switch {
	case !t.time:
		return 0.005
	case t.id < 7:
		return 0.004
	}
	return 0.04
}

// slotOf returns bank and position of a sensor by its bit in PID 13 or 1D, from 0.
func (c *car) slotOf(slot int) (bank, position int) {
	if c.spec.fourBanks {
		return slot / 2, slot%2 + 1
	}
	return slot / 4, slot%4 + 1
}

// service05 answers a test of an oxygen sensor; nil where there is none.
func (c *car) service05(tid, sensor byte) []byte {
	out := []byte{0x45, tid, sensor}
	for slot := range 8 {
		bank, position := c.slotOf(slot)
		if sensor != 1<<slot || bank >= c.spec.engine.banks || position != 1 || c.spec.wide {
			continue
		}
		if tid == 0 {
			return append(out, 0xFF, 0xC0, 0, 0)
		}
		for _, t := range c.computer.bank[bank].own.tests() {
			if t.id == tid {
				s := t.scale05()
				out = append(out, byte(clip(t.value/s, 255)))
				if t.limits && !(t.time && t.value == 0) { // not yet measured
					out = append(out, byte(clip(t.low/s, 255)), byte(clip(t.high/s, 255)))
				}
				return out
			}
		}
	}
	return nil
}

// service06 answers a monitor on CAN: sensors 01 (B1S1) and 05 (B2S1), heaters 41 and 45;
// nil where there is none.
func (c *car) service06(mid byte) []byte {
	banks := c.spec.engine.banks
	if mid%0x20 == 0 {
		var m uint32
		for b := range banks {
			for _, id := range []byte{0x01 + 4*byte(b), 0x41 + 4*byte(b)} {
				if id/0x20 == mid/0x20 && !(id < 0x20 && c.spec.wide) {
					m |= 1 << (31 - (id-1)%0x20)
				}
			}
		}
		if mid < 0x40 {
			m |= 1 // there is another map: 40
		}
		return []byte{0x46, mid, byte(m >> 24), byte(m >> 16), byte(m >> 8), byte(m)}
	}
	out := []byte{0x46}
	record := func(tid, scaling byte, value, low, high, step float64) {
		out = append(out, mid, tid, scaling)
		for _, v := range []float64{value, low, high} {
			out = append(out, two(v/step)...)
		}
	}
	for b := range banks {
		switch mid {
		case 0x01 + 4*byte(b):
			if c.spec.wide {
				return nil
			}
			for _, t := range c.computer.bank[b].own.tests() {
				low, high := t.low, t.high
				switch {
				case !t.limits:
					low, high = t.value, t.value
				case t.time && t.value == 0: // not yet measured
					low, high = 0, 0
				}
				if t.time {
					record(t.id, 0x10, t.value, low, high, 0.001)
				} else {
					record(t.id, 0x0A, t.value, low, high, 0.000122)
				}
			}
			return out
		case 0x41 + 4*byte(b): // heater current, A (indicative)
			record(0x81, 0x0E, 700, 250, 2200, 1)
			return out
		}
	}
	return nil
}

// partTests answer service 06 off CAN: test, part with the kind of limit, value, limit.
// What they mean is this invented maker's affair.
var partTests = [][]byte{
	{0x46, 0x02, 0x01, 0x00, 0x28, 0x00, 0x64}, // at most
	{0x46, 0x03, 0x05, 0x01, 0x2C, 0x01, 0xF4}, // at most,
	{0x46, 0x03, 0x85, 0x01, 0x2C, 0x00, 0x0A}, // and at least
}

// service06OffCAN answers a test of service 06 where the bus is not CAN.
func service06OffCAN(tid byte) (out [][]byte) {
	if tid == 0 {
		return [][]byte{{0x46, 0x00, 0xFF, 0x60, 0, 0, 0}}
	}
	for _, m := range partTests {
		if m[1] == tid {
			out = append(out, m)
		}
	}
	return out
}

// frozen is a freeze frame: what the PIDs said when a code was set.
type frozen struct {
	code uint16
	data snapshot
}

// frozenPIDs are kept in it.
var frozenPIDs = []byte{0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x10}

// freeze keeps the conditions of a code; J1979 tells those of the first.
func (k *computer) freeze(code uint16) {
	if k.frame == nil {
		k.frame = &frozen{code, k.data}
		return
	}
	k.more = append(k.more, frozen{code, k.data})
}

// frozenFor returns the freeze frame of a code; nil: none.
func (k *computer) frozenFor(code uint16) *frozen {
	if k.frame != nil && k.frame.code == code {
		return k.frame
	}
	if i := slices.IndexFunc(k.more, func(f frozen) bool { return f.code == code }); i >= 0 {
		return &k.more[i]
	}
	return nil
}

// service02 answers a PID of the freeze frame; nil where there is none.
func (c *car) service02(n *node, pid, frame byte) []byte {
	if frame != 0 || !n.engine {
		return nil
	}
	out := []byte{0x42, pid, 0}
	f := c.computer.frame
	if pid == 0x02 {
		if f == nil {
			return append(out, 0, 0)
		}
		return append(out, byte(f.code>>8), byte(f.code))
	}
	if pid == 0 {
		var m uint32 = 1 << (31 - 1) // PID 02
		for _, p := range frozenPIDs {
			m |= 1 << (31 - (p - 1))
		}
		return append(out, byte(m>>24), byte(m>>16), byte(m>>8), byte(m))
	}
	if f == nil || !slices.Contains(frozenPIDs, pid) {
		return nil
	}
	return append(out, c.encode(n, pid, &f.data)...)
}

// monitors are bytes B, C and D of PID 01 since the codes were cleared: sensors,
// heaters, catalyst and evaporative system need so many seconds of closed loop each
// (indicative: a real one needs drives).
func (k *computer) monitors() (b, c, d byte) {
	b, c = 0x07, 0x65
	for bit, after := range map[int]float64{5: 60, 6: 20, 0: 300, 2: 900} {
		if k.sinceClear >= 0 && k.sinceClear < after {
			d |= 1 << bit
		}
	}
	if k.sinceClear >= 0 && k.sinceClear < 120 {
		b |= 0x30 // misfire and fuel system
	}
	return b, c, d
}
