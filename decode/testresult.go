package decode

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
)

// TestResult is one figure that a computer measured in its own tests: service 05 (not on
// CAN) of an oxygen sensor, service 06 of any monitor.
type TestResult struct {
	Service  byte    // 05 or 06
	Monitor  byte    // service 06 on CAN: what was tested (MID); otherwise 0
	Test     byte    // which test (TID)
	Part     byte    // service 06 not on CAN: which part the maker means, 0 to 127; otherwise 0
	Scaling  byte    // service 06 on CAN: unit and scaling (UASID); otherwise 0
	Sensor   string  // B1S1 where an oxygen sensor or its heater was tested, else ""
	Unit     string  // V, mV, s, ms, …; "" for counts and for scalings that are not known
	Value    float64 // in Unit; the raw count where Known is false
	Min, Max float64 // limits in Unit; NaN: none
	Known    bool    // the scaling is known
	NotRun   bool    // service 06 on CAN: not completed since the codes were cleared
}

// Same reports whether o is a figure of the same test. Off CAN a part with both limits gives
// two figures, one for each.
func (r TestResult) Same(o TestResult) bool {
	return o.Service == r.Service && o.Monitor == r.Monitor && o.Test == r.Test && o.Part == r.Part && o.Sensor == r.Sensor &&
		(r.Service == 5 || math.IsNaN(o.Min) == math.IsNaN(r.Min))
}

// Passed reports whether the value is within its limits.
func (r TestResult) Passed() bool { return !(r.Value < r.Min) && !(r.Value > r.Max) }

// sensorTests are the units and scales of the oxygen sensor tests that the standard defines, TIDs
// 01 to 0A: four thresholds, two switch times, least and most voltage, time between
// transitions, period (SAE J1979; 0.005 V as in published service texts, the scales of 05, 06, 09 and
// 0A from memory).
var sensorTests = [...]struct {
	unit  string
	scale float64
}{
	1: {"V", 0.005}, {"V", 0.005}, {"V", 0.005}, {"V", 0.005}, {"s", 0.004}, {"s", 0.004}, {"V", 0.005}, {"V", 0.005}, {"s", 0.04}, {"s", 0.04},
}

// SensorTests reads a reply to service 05 (request 05, TID, sensor), its service byte
// first. The sensor's name follows the layout that the computer reported (PID 13 or 1D);
// while that is not known only the first two have a name. The error wraps [ErrShort],
// [ErrLong], [ErrForeign] or [ErrRefused].
func (d *Decoder) SensorTests(request, data []byte) (TestResult, error) {
	var r TestResult
	if err := matches(request, data); err != nil {
		return r, err
	}
	switch {
	case len(data) < 4:
		return r, fmt.Errorf("read sensor test from %X: %w", data, ErrShort)
	case len(request) != 3 || request[0] != 5 || data[1] != request[1] || data[2] != request[2] || data[1]%0x20 == 0:
		return r, fmt.Errorf("read sensor test from %X: %w", data, ErrForeign)
	case len(data) == 5:
		return r, fmt.Errorf("read sensor test from %X: %w", data, ErrShort)
	case len(data) > 6:
		return r, fmt.Errorf("read sensor test from %X: %w", data, ErrLong)
	}
	r = TestResult{Service: 5, Test: data[1], Min: math.NaN(), Max: math.NaN(), Value: float64(data[3])}
	scale := 1.0
	if t := int(data[1]); t < len(sensorTests) {
		r.Unit, r.Known = sensorTests[t].unit, true
		scale = sensorTests[t].scale
	}
	r.Value = round(float64(data[3]) * scale)
	if len(data) == 6 {
		r.Min, r.Max = round(float64(data[4])*scale), round(float64(data[5])*scale)
	}
	for slot := range 8 {
		if data[2] == 1<<slot {
			if bank, position := d.known().layout().at(slot); bank != 0 {
				r.Sensor = fmt.Sprintf("B%dS%d", bank, position)
			}
		}
	}
	return r, nil
}

// round takes away what binary fractions add: 166·0.005 is 0.83.
func round(v float64) float64 { return math.Round(v*1e6) / 1e6 }

// scaling is one unit and scaling of service 06.
type scaling struct {
	unit   string
	factor float64
	offset float64
	signed bool
}

// scalings by UASID (SAE J1979, annex E, with the decimals that it prints; from memory. 1 mV, 1 ms, 1 mA and 0.000305
// steps agree with published service texts, FE, 17 and 0B with published records).
var scalings = map[byte]scaling{
	0x01: {"", 1, 0, false}, 0x02: {"", 0.1, 0, false}, 0x03: {"", 0.01, 0, false}, 0x04: {"", 0.001, 0, false},
	0x05: {"", 0.0000305, 0, false}, 0x06: {"", 0.000305, 0, false}, 0x07: {"rpm", 0.25, 0, false},
	0x0A: {"V", 0.000122, 0, false}, 0x0B: {"V", 0.001, 0, false}, 0x0C: {"V", 0.01, 0, false},
	0x0D: {"mA", 1. / 256, 0, false}, 0x0E: {"mA", 1, 0, false}, 0x0F: {"mA", 10, 0, false},
	0x10: {"s", 0.001, 0, false}, 0x11: {"s", 0.1, 0, false}, 0x12: {"s", 1, 0, false},
	0x13: {"Ω", 0.001, 0, false}, 0x14: {"Ω", 1, 0, false}, 0x15: {"kΩ", 1, 0, false},
	0x16: {"°C", 0.1, -40, false}, 0x17: {"kPa", 0.01, 0, false}, 0x1A: {"kPa", 1, 0, false},
	0x1E: {"lambda", 0.0000305, 0, false}, 0x20: {"", 1. / 256, 0, false},
	0x21: {"Hz", 0.001, 0, false}, 0x22: {"Hz", 1, 0, false}, 0x24: {"counts", 1, 0, false},
	0x27: {"g/s", 0.01, 0, false}, 0x28: {"g/s", 1, 0, false}, 0x2B: {"switches", 1, 0, false}, 0x2F: {"%", 0.01, 0, false},
	0x81: {"", 1, 0, true}, 0x82: {"", 0.1, 0, true}, 0x83: {"", 0.01, 0, true}, 0x84: {"", 0.001, 0, true},
	0x8A: {"V", 0.000122, 0, true}, 0x8B: {"V", 0.001, 0, true}, 0x8C: {"V", 0.01, 0, true},
	0x8D: {"mA", 1. / 256, 0, true}, 0x8E: {"mA", 1, 0, true}, 0x90: {"s", 0.001, 0, true},
	0xFE: {"Pa", 0.25, 0, true},
}

func (s scaling) value(raw uint16) float64 {
	v := float64(raw)
	if s.signed {
		v = float64(int16(raw))
	}
	return round(v*s.factor + s.offset)
}

// Monitored is what a monitor of service 06 tests.
type Monitored uint8

const (
	OtherMonitor Monitored = iota
	SensorMonitor
	HeaterMonitor
	CatalystMonitor
	FuelSystemMonitor
	MisfireMonitor
)

// Monitor06 tells what a monitor of service 06 tests (SAE J1979, annex D; from memory, 01, 21, 41
// and 42 as in published service texts): which oxygen sensor, or the number of the bank or
// cylinder, 0 for all.
func Monitor06(mid byte) (what Monitored, number int, sensor string) {
	name := func(i byte) string { return fmt.Sprintf("B%dS%d", i/4+1, i%4+1) }
	switch {
	case 0x01 <= mid && mid <= 0x10:
		return SensorMonitor, 0, name(mid - 0x01)
	case 0x21 <= mid && mid <= 0x24:
		return CatalystMonitor, int(mid - 0x20), ""
	case 0x41 <= mid && mid <= 0x50:
		return HeaterMonitor, 0, name(mid - 0x41)
	case 0x81 <= mid && mid <= 0x84:
		return FuelSystemMonitor, int(mid - 0x80), ""
	case 0xA1 <= mid && mid <= 0xAD:
		return MisfireMonitor, int(mid - 0xA1), ""
	}
	return OtherMonitor, 0, ""
}

// MonitorTests reads a reply to service 06 on CAN (request 06, MID), its service byte
// first: records of monitor, test, scaling, value and limits. That J1979-2 has the same ones, with
// the monitor once before all, is from memory. Value and limits all zero
// mean that the test was not completed since the codes were cleared (ISO 15031-5, from
// memory). The error wraps [ErrShort], [ErrForeign] or [ErrRefused].
func MonitorTests(request, data []byte) ([]TestResult, error) {
	if err := matches(request, data); err != nil {
		return nil, err
	}
	if len(request) != 2 || request[0] != 6 || request[1]%0x20 == 0 {
		return nil, fmt.Errorf("read monitor tests from %X: %w", data, ErrForeign)
	}
	// A record is eight bytes; J1979 has the monitor before each, J1979-2 once before all.
	body, before := data[1:], 1
	if data[0] == byID {
		if data[2] != request[1] {
			return nil, fmt.Errorf("read monitor tests from %X: %w", data, ErrForeign)
		}
		body, before = data[3:], 0
	}
	if len(body) == 0 || len(body)%(before+8) != 0 {
		return nil, fmt.Errorf("read monitor tests from %X: %w", data, ErrShort)
	}
	var out []TestResult
	for ; len(body) > 0; body = body[8:] {
		if before == 1 && body[0] != request[1] {
			return nil, fmt.Errorf("read monitor tests from %X: %w", data, ErrForeign)
		}
		body = body[before:]
		r := TestResult{Service: 6, Monitor: request[1], Test: body[0], Scaling: body[1]}
		_, _, r.Sensor = Monitor06(r.Monitor)
		s, ok := scalings[r.Scaling]
		if !ok {
			s.factor = 1
		}
		r.Known, r.Unit = ok, s.unit
		r.Value = s.value(binary.BigEndian.Uint16(body[2:]))
		r.Min, r.Max = s.value(binary.BigEndian.Uint16(body[4:])), s.value(binary.BigEndian.Uint16(body[6:]))
		r.NotRun = bytes.Equal(body[2:8], make([]byte, 6))
		out = append(out, r)
	}
	return out, nil
}

// PartTest reads a reply to service 06 not on CAN (request 06, TID), its service byte first:
// test, part with the kind of limit in its highest bit (set: the value must not be below it;
// clear: not above), value, limit. That much SAE J1979 fixes (from memory); what the test
// is, and in which unit, the maker defines, so that value and limit are raw counts. A test
// of several parts, or with both limits, comes in several replies. The error wraps
// [ErrShort], [ErrLong], [ErrForeign] or [ErrRefused].
func PartTest(request, data []byte) (TestResult, error) {
	var r TestResult
	if err := matches(request, data); err != nil {
		return r, err
	}
	switch {
	case len(request) != 2 || request[0] != 6 || request[1]%0x20 == 0 || len(data) > 1 && data[1] != request[1]:
		return r, fmt.Errorf("read part test from %X: %w", data, ErrForeign)
	case len(data) < 7:
		return r, fmt.Errorf("read part test from %X: %w", data, ErrShort)
	case len(data) > 7:
		return r, fmt.Errorf("read part test from %X: %w", data, ErrLong)
	}
	r = TestResult{Service: 6, Test: data[1], Part: data[2] & 0x7F, Min: math.NaN(), Max: math.NaN(), Value: float64(binary.BigEndian.Uint16(data[3:]))}
	if limit := float64(binary.BigEndian.Uint16(data[5:])); data[2]&0x80 != 0 {
		r.Min = limit
	} else {
		r.Max = limit
	}
	return r, nil
}

// SupportedTests reads the bit map that a reply to service 05 (TID 00, 20, …), 06 (MID on
// CAN, else TID, with a filler before the map) or 02 (PID) holds, and returns the ids that it names. The error wraps [ErrShort],
// [ErrForeign] or [ErrRefused].
func SupportedTests(request, data []byte) ([]byte, error) {
	if err := matches(request, data); err != nil {
		return nil, err
	}
	data = plain(request[0], data)
	ids, at := 2, 2 // the request's length, and where the map begins
	switch {
	case request[0] == 5 || request[0] == 2:
		ids, at = 3, 3 // a sensor, or a frame number, comes first
	case request[0] == 6 && len(data) == 7: // not on CAN
		at = 3
	}
	switch {
	case len(request) != ids || len(data) < 2 || data[1] != request[1] || request[1]%0x20 != 0:
		return nil, fmt.Errorf("read supported tests from %X: %w", data, ErrForeign)
	case len(data) < at+4:
		return nil, fmt.Errorf("read supported tests from %X: %w", data, ErrShort)
	}
	m := binary.BigEndian.Uint32(data[at:])
	var out []byte
	for i := range 32 {
		if m<<i&(1<<31) != 0 {
			out = append(out, request[1]+byte(i)+1)
		}
	}
	return out, nil
}
