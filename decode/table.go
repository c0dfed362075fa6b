package decode

import (
	"fmt"
	"math/bits"
)

// Where the formulas are from.
const (
	wiki   = "SAE J1979; formula as printed in Wikipedia, OBD-II PIDs"
	wikiFF = "SAE J1979; formula as printed in Wikipedia, OBD-II PIDs; FF, not used, from memory"
	both   = "SAE J1979; formula from memory, compared with Wireshark's OBD-II dissector"
	memory = "SAE J1979; formula from memory"
)

// line is one signal and how its bytes become a number:
//
//	value = (raw − zero) · num / den
//
// where raw is the big-endian number of size bytes that begins at byte 'at' of the
// PID's data, or the bits of it that mask keeps, shifted down.
type line struct {
	Signal
	at, size       int
	mask           uint32 // 0 keeps all
	zero, num, den float64
	notUsed        uint32 // a raw value that means 'not used', 0 if there is none
}

func (l *line) raw(data []byte) uint32 {
	var r uint32
	for _, b := range data[l.at : l.at+l.size] {
		r = r<<8 | uint32(b)
	}
	if l.mask != 0 {
		r = r & l.mask >> bits.TrailingZeros32(l.mask)
	}
	return r
}

func (l *line) value(raw uint32) float64 { return (float64(raw) - l.zero) * l.num / l.den }

// sig makes the Signal of a table line.
func sig(pid byte, name, unit string, lo, hi, res float64, what, source string) Signal {
	return Signal{Name: name, Unit: unit, Min: lo, Max: hi, Resolution: res, Service: 1, PID: pid, What: what, Source: source}
}

// The largest values of the 16-bit scalings that start at 0 and miss a round number by one count.
const (
	maxRatio = 2 - 2./65536 // PIDs 24-2B, 34-3B, 44
	maxWideV = 8 - 8./65536 // PIDs 24-2B
)

// plain holds the signals whose PID is the same in every car.
var plain = []line{
	// Signal: PID, name, unit, min, max, resolution, what, source; then at, size, mask, zero, num, den
	{sig(0x01, "MIL", "", 0, 1, 1, "malfunction lamp commanded on", wiki), 0, 1, 0x80, 0, 1, 1, 0},
	{sig(0x01, "DTC_CNT", "", 0, 127, 1, "stored trouble codes", wiki), 0, 1, 0x7F, 0, 1, 1, 0},
	{sig(0x03, "FUELSYS1", "", 0, 255, 1, "fuel system 1 status", wiki), 0, 1, 0, 0, 1, 1, 0},
	{sig(0x03, "FUELSYS2", "", 0, 255, 1, "fuel system 2 status", wiki), 1, 1, 0, 0, 1, 1, 0},
	{sig(0x04, "LOAD_PCT", "%", 0, 100, 100./255, "calculated load", wiki), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x05, "ECT", "°C", -40, 215, 1, "coolant temperature", wiki), 0, 1, 0, 40, 1, 1, 0},
	{sig(0x06, "SHRTFT1", "%", -100, 99.21875, 0.78125, "short-term fuel trim, bank 1", wiki), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x06, "SHRTFT3", "%", -100, 99.21875, 0.78125, "short-term fuel trim, bank 3", memory), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x07, "LONGFT1", "%", -100, 99.21875, 0.78125, "long-term fuel trim, bank 1", wiki), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x07, "LONGFT3", "%", -100, 99.21875, 0.78125, "long-term fuel trim, bank 3", memory), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x08, "SHRTFT2", "%", -100, 99.21875, 0.78125, "short-term fuel trim, bank 2", wiki), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x08, "SHRTFT4", "%", -100, 99.21875, 0.78125, "short-term fuel trim, bank 4", memory), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x09, "LONGFT2", "%", -100, 99.21875, 0.78125, "long-term fuel trim, bank 2", wiki), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x09, "LONGFT4", "%", -100, 99.21875, 0.78125, "long-term fuel trim, bank 4", memory), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x0B, "MAP", "kPa", 0, 255, 1, "intake manifold pressure, absolute", both), 0, 1, 0, 0, 1, 1, 0},
	{sig(0x0C, "RPM", "rpm", 0, 16383.75, 0.25, "engine speed", wiki), 0, 2, 0, 0, 1, 4, 0},
	{sig(0x0D, "VSS", "km/h", 0, 255, 1, "vehicle speed", wiki), 0, 1, 0, 0, 1, 1, 0},
	{sig(0x0E, "SPARKADV", "°", -64, 63.5, 0.5, "ignition advance before top dead centre, cylinder 1", both), 0, 1, 0, 128, 1, 2, 0},
	{sig(0x0F, "IAT", "°C", -40, 215, 1, "intake air temperature", both), 0, 1, 0, 40, 1, 1, 0},
	{sig(0x10, "MAF", "g/s", 0, 655.35, 0.01, "air flow rate", wiki), 0, 2, 0, 0, 1, 100, 0},
	{sig(0x11, "TP", "%", 0, 100, 100./255, "throttle position, absolute", wiki), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x1C, "OBDSUP", "", 0, 255, 1, "OBD requirements that the vehicle meets", memory), 0, 1, 0, 0, 1, 1, 0},
	{sig(0x1F, "RUNTM", "s", 0, 65535, 1, "time since engine start", both), 0, 2, 0, 0, 1, 1, 0},
	{sig(0x21, "MIL_DIST", "km", 0, 65535, 1, "distance with the malfunction lamp on", both), 0, 2, 0, 0, 1, 1, 0},
	{sig(0x2E, "EVAP_PCT", "%", 0, 100, 100./255, "commanded evaporative purge", both), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x2F, "FLI", "%", 0, 100, 100./255, "fuel level", both), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x31, "CLR_DIST", "km", 0, 65535, 1, "distance since trouble codes were cleared", both), 0, 2, 0, 0, 1, 1, 0},
	{sig(0x33, "BARO", "kPa", 0, 255, 1, "barometric pressure", both), 0, 1, 0, 0, 1, 1, 0},
	{sig(0x3C, "CATEMP11", "°C", -40, 6513.5, 0.1, "catalyst temperature, bank 1 sensor 1", both), 0, 2, 0, 400, 1, 10, 0},
	{sig(0x3D, "CATEMP21", "°C", -40, 6513.5, 0.1, "catalyst temperature, bank 2 sensor 1", both), 0, 2, 0, 400, 1, 10, 0},
	{sig(0x3E, "CATEMP12", "°C", -40, 6513.5, 0.1, "catalyst temperature, bank 1 sensor 2", both), 0, 2, 0, 400, 1, 10, 0},
	{sig(0x3F, "CATEMP22", "°C", -40, 6513.5, 0.1, "catalyst temperature, bank 2 sensor 2", both), 0, 2, 0, 400, 1, 10, 0},
	{sig(0x42, "VPWR", "V", 0, 65.535, 0.001, "control module voltage", both), 0, 2, 0, 0, 1, 1000, 0},
	{sig(0x43, "LOAD_ABS", "%", 0, 25700, 100./255, "absolute load", both), 0, 2, 0, 0, 100, 255, 0},
	{sig(0x44, "EQ_RAT", "1", 0, maxRatio, 2./65536, "commanded equivalence ratio (lambda), not a measurement", both), 0, 2, 0, 0, 2, 65536, 0},
	{sig(0x45, "TP_R", "%", 0, 100, 100./255, "throttle position, relative to the learned closed one", both), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x46, "AAT", "°C", -40, 215, 1, "ambient air temperature", both), 0, 1, 0, 40, 1, 1, 0},
	{sig(0x47, "TP_B", "%", 0, 100, 100./255, "throttle position, second sensor", both), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x48, "TP_C", "%", 0, 100, 100./255, "throttle position, third sensor", both), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x49, "APP_D", "%", 0, 100, 100./255, "accelerator pedal position, first sensor", both), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x4A, "APP_E", "%", 0, 100, 100./255, "accelerator pedal position, second sensor", both), 0, 1, 0, 0, 100, 255, 0},
	{sig(0x4D, "MIL_TIME", "min", 0, 65535, 1, "engine run time with the malfunction lamp on", both), 0, 2, 0, 0, 1, 1, 0},
	{sig(0x4E, "CLR_TIME", "min", 0, 65535, 1, "time since trouble codes were cleared", both), 0, 2, 0, 0, 1, 1, 0},
	{sig(0x51, "FUEL_TYP", "", 0, 255, 1, "fuel in use", memory), 0, 1, 0, 0, 1, 1, 0},
	{sig(0x55, "STSO2FT1", "%", -100, 99.21875, 0.78125, "short-term trim by the downstream sensor, bank 1", both), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x55, "STSO2FT3", "%", -100, 99.21875, 0.78125, "short-term trim by the downstream sensor, bank 3", both), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x56, "LGSO2FT1", "%", -100, 99.21875, 0.78125, "long-term trim by the downstream sensor, bank 1", both), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x56, "LGSO2FT3", "%", -100, 99.21875, 0.78125, "long-term trim by the downstream sensor, bank 3", both), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x57, "STSO2FT2", "%", -100, 99.21875, 0.78125, "short-term trim by the downstream sensor, bank 2", both), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x57, "STSO2FT4", "%", -100, 99.21875, 0.78125, "short-term trim by the downstream sensor, bank 4", both), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x58, "LGSO2FT2", "%", -100, 99.21875, 0.78125, "long-term trim by the downstream sensor, bank 2", both), 0, 1, 0, 128, 100, 128, 0},
	{sig(0x58, "LGSO2FT4", "%", -100, 99.21875, 0.78125, "long-term trim by the downstream sensor, bank 4", both), 1, 1, 0, 128, 100, 128, 0},
	{sig(0x5E, "FUEL_RATE", "L/h", 0, 3276.75, 0.05, "engine fuel rate", both), 0, 2, 0, 0, 1, 20, 0},
}

// perSensor holds the signals of one oxygen sensor; %[1]d is its bank, %[2]d its
// position. The PID is that of the first sensor of eight.
//
// The standard shows the voltage or current of a wide-range sensor as O2Sbs too.
// It means something else than a switching sensor's voltage, so here it has a name
// of its own.
var perSensor = []line{
	narrowVolts: {sig(0x14, "O2S%[1]d%[2]d", "V", 0, 1.275, 0.005, "oxygen sensor voltage", wiki), 0, 1, 0, 0, 1, 200, 0},
	sensorTrim:  {sig(0x14, "SHRTFT%[1]d%[2]d", "%", -100, 99.21875, 0.78125, "short-term fuel trim of the oxygen sensor", wikiFF), 1, 1, 0, 128, 100, 128, 0xFF},
	lambda:      {sig(0x24, "EQ_RAT%[1]d%[2]d", "1", 0, maxRatio, 2./65536, "equivalence ratio (lambda) of the wide-range sensor", wiki), 0, 2, 0, 0, 2, 65536, 0},
	wideVolts:   {sig(0x24, "O2S%[1]d%[2]d_WIDE_V", "V", 0, maxWideV, 8./65536, "wide-range sensor voltage", both), 2, 2, 0, 0, 8, 65536, 0},
	wideCurrent: {sig(0x34, "O2S%[1]d%[2]d_WIDE_MA", "mA", -128, 128-1./256, 1./256, "wide-range sensor current", both), 2, 2, 0, 32768, 1, 256, 0},
}

const (
	narrowVolts = iota
	sensorTrim
	lambda
	wideVolts
	wideCurrent
	families
)

// index is what is derived from the table, once.
var index = newIndex()

type tableIndex struct {
	signals []*Signal
	byName  map[string]*Signal
	byPID   [256][]*line
	sensor  [families][4][4]*line // by bank − 1, position − 1
}

func newIndex() *tableIndex {
	x := &tableIndex{byName: map[string]*Signal{}}
	add := func(l *line) {
		x.signals = append(x.signals, &l.Signal)
		x.byName[l.Name] = &l.Signal
	}
	for i := range plain {
		l := &plain[i]
		add(l)
		x.byPID[l.PID] = append(x.byPID[l.PID], l)
	}
	for family := range perSensor {
		for bank := 1; bank <= 4; bank++ {
			for position := 1; position <= 4; position++ {
				slot := slotOf(bank, position)
				if slot < 0 {
					continue
				}
				l := perSensor[family]
				l.Name = fmt.Sprintf(l.Name, bank, position)
				l.What = fmt.Sprintf("%s, bank %d sensor %d", l.What, bank, position)
				l.PID += byte(slot)
				x.sensor[family][bank-1][position-1] = &l
				add(&l)
			}
		}
	}
	return x
}

// slotOf returns which of the eight sensor PIDs a sensor has, −1 if none: by the
// two-bank layout, or by the four-bank one for the banks that only that has.
func slotOf(bank, position int) int {
	switch {
	case bank <= 2:
		return (bank-1)*4 + position - 1
	case position <= 2:
		return (bank-1)*2 + position - 1
	}
	return -1
}

// ByName returns the signal of that short name, nil if there is none.
func ByName(name string) *Signal { return index.byName[name] }

// Signals returns all signals in the order of the table. The slice is the
// caller's; the signals are shared and must not be changed.
func Signals() []*Signal { return append([]*Signal(nil), index.signals...) }
