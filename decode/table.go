package decode

import (
	"fmt"
	"math"
	"math/bits"
)

// Where the formulas are from.
const (
	wiki   = "SAE J1979; formula as printed in Wikipedia, OBD-II PIDs"
	wikiFF = "SAE J1979; formula as printed in Wikipedia, OBD-II PIDs; FF, not used, from memory"
	both   = "SAE J1979; formula from memory, compared with Wireshark's OBD-II dissector"
	memory = "SAE J1979; formula from memory"
)

// TrimCount is one count of the scaling of fuel trim, % (SAE J1979, PIDs 06 to 09).
const TrimCount = 100.0 / 128

// TotalTrim is what short-term and long-term trim, %, come to together, %. Each is a factor on the fuel that
// is injected, so they multiply: +25 and +15 are +43.75, not +40 (SAE J1979 words both as a correction of the
// fuel schedule; that they multiply is common practice of computers, no source).
//
// Special cases are: where one is 0 it is the other; where one is -100 no fuel is left, -100.
func TotalTrim(short, long float64) float64 { return 100 * ((1+short/100)*(1+long/100) - 1) }

// formula says how the big-endian number of size bytes becomes a value:
//
//	value = (raw − zero) · num / den
//
// and, where the car declares another full scale by PID 4F or 50, with that in place of the
// usual one (see [fullScale]).
type formula struct {
	unit           string
	size           int
	zero, num, den float64
	declared       fullScale
}

// The formulas, by what they stand for.
var (
	byteCode     = formula{unit: "", size: 1, num: 1, den: 1}
	percent      = formula{unit: "%", size: 1, num: 100, den: 255}
	percentWord  = formula{unit: "%", size: 2, num: 100, den: 255}
	trim         = formula{unit: "%", size: 1, zero: 128, num: 100, den: 128} // TrimCount a count
	celsius      = formula{unit: "°C", size: 1, zero: 40, num: 1, den: 1}
	catalystTemp = formula{unit: "°C", size: 2, zero: 400, num: 1, den: 10}
	kilopascal   = formula{unit: "kPa", size: 1, num: 1, den: 1}
	manifold     = formula{unit: "kPa", size: 1, num: 1, den: 1, declared: manifoldScale}
	railPressure = formula{unit: "kPa", size: 2, num: 10, den: 1}
	engineSpeed  = formula{unit: "rpm", size: 2, num: 1, den: 4}
	kmPerHour    = formula{unit: "km/h", size: 1, num: 1, den: 1}
	kilometres   = formula{unit: "km", size: 2, num: 1, den: 1}
	seconds      = formula{unit: "s", size: 2, num: 1, den: 1}
	minutes      = formula{unit: "min", size: 2, num: 1, den: 1}
	advance      = formula{unit: "°", size: 1, zero: 128, num: 1, den: 2}
	airFlow      = formula{unit: "g/s", size: 2, num: 1, den: 100, declared: airFlowScale}
	fuelFlow     = formula{unit: "L/h", size: 2, num: 1, den: 20}
	millivolts   = formula{unit: "V", size: 2, num: 1, den: 1000}
	ratio        = formula{unit: "1", size: 2, num: 2, den: 65536, declared: ratioScale}
	narrowCell   = formula{unit: "V", size: 1, num: 1, den: 200}
	wideCell     = formula{unit: "V", size: 2, num: 8, den: 65536, declared: voltScale}
	pumpCell     = formula{unit: "mA", size: 2, zero: 32768, num: 128, den: 32768, declared: currentScale}
)

// fullScale names one of the scales that a car may declare.
type fullScale uint8

const (
	usualScale fullScale = iota
	ratioScale
	voltScale
	currentScale
	manifoldScale
	airFlowScale
	fullScales
)

// declarations: byte 'at' of the PID, where it is not 0, times num/den is one count
// (SAE J1979; from memory. A real car's declared ratio of 32 reads as told there).
var declarations = [fullScales]struct {
	pid, at  byte
	num, den float64
}{
	ratioScale:    {pid: 0x4F, at: 0, num: 1, den: 65536}, // λ
	voltScale:     {pid: 0x4F, at: 1, num: 1, den: 65536}, // V
	currentScale:  {pid: 0x4F, at: 2, num: 1, den: 32768}, // mA
	manifoldScale: {pid: 0x4F, at: 3, num: 10, den: 255},  // kPa
	airFlowScale:  {pid: 0x50, at: 0, num: 10, den: 65535},
}

// value applies the formula; declared is the byte by which the car declares its full
// scale, 0 where it does not.
func (f *formula) value(raw uint32, declared byte) float64 {
	num, den := f.num, f.den
	if declared != 0 {
		d := &declarations[f.declared]
		num, den = float64(float64(declared)*d.num), d.den
	}
	return float64((float64(raw)-f.zero)*num) / den
}

// signalSpec is one signal and where its number stands in the data of its PID.
type signalSpec struct {
	Signal
	formula
	at      int    // first byte
	mask    uint32 // the bits that count, shifted down; 0: all
	notUsed uint32 // a raw value that means 'not used', 0 if there is none
	ifBit   byte   // this bit of the first byte tells whether the car has the signal; 0: it has
}

func (l *signalSpec) raw(data []byte) uint32 {
	var r uint32
	for _, b := range data[l.at : l.at+l.size] {
		r = r<<8 | uint32(b)
	}
	if l.mask != 0 {
		r = r & l.mask >> bits.TrailingZeros32(l.mask)
	}
	return r
}

// absent reports whether the raw number or the car's own mark says that there is no value.
func (l *signalSpec) absent(raw uint32, data []byte) bool {
	return l.notUsed != 0 && raw == l.notUsed || l.ifBit != 0 && data[0]&l.ifBit == 0
}

// complete derives unit, range and resolution from the formula. The range is that of the
// widest scale that a car may declare.
func (l *signalSpec) complete() {
	most := uint32(1)<<(8*l.size) - 1
	if l.mask != 0 {
		most = l.mask >> bits.TrailingZeros32(l.mask)
	}
	widest := byte(0)
	if l.declared != usualScale {
		widest = math.MaxUint8
	}
	l.Service, l.Unit = 1, l.unit
	l.Min, l.Max, l.Resolution = l.value(0, widest), l.value(most, widest), l.num/l.den
}

// fixedPIDs holds the signals whose PID is the same in every car.
var fixedPIDs = []signalSpec{
	{Signal: Signal{PID: 0x01, Name: "MIL", What: "malfunction lamp commanded on", Source: wiki}, formula: byteCode, mask: 0x80},
	{Signal: Signal{PID: 0x01, Name: "DTC_CNT", What: "stored trouble codes", Source: wiki}, formula: byteCode, mask: 0x7F},
	{Signal: Signal{PID: 0x01, Name: "COMP_IGN", What: "compression ignition (a diesel)", Source: wiki}, formula: byteCode, at: 1, mask: 0x08},
	{Signal: Signal{PID: 0x03, Name: "FUELSYS1", What: "fuel system 1 status", Source: wiki}, formula: byteCode},
	{Signal: Signal{PID: 0x03, Name: "FUELSYS2", What: "fuel system 2 status", Source: wiki}, formula: byteCode, at: 1},
	{Signal: Signal{PID: 0x04, Name: "LOAD_PCT", What: "calculated load", Source: wiki}, formula: percent},
	{Signal: Signal{PID: 0x05, Name: "ECT", What: "coolant temperature", Source: wiki}, formula: celsius},
	{Signal: Signal{PID: 0x06, Name: "SHRTFT1", What: "short-term fuel trim, bank 1", Source: wiki}, formula: trim},
	{Signal: Signal{PID: 0x06, Name: "SHRTFT3", What: "short-term fuel trim, bank 3", Source: memory}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x07, Name: "LONGFT1", What: "long-term fuel trim, bank 1", Source: wiki}, formula: trim},
	{Signal: Signal{PID: 0x07, Name: "LONGFT3", What: "long-term fuel trim, bank 3", Source: memory}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x08, Name: "SHRTFT2", What: "short-term fuel trim, bank 2", Source: wiki}, formula: trim},
	{Signal: Signal{PID: 0x08, Name: "SHRTFT4", What: "short-term fuel trim, bank 4", Source: memory}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x09, Name: "LONGFT2", What: "long-term fuel trim, bank 2", Source: wiki}, formula: trim},
	{Signal: Signal{PID: 0x09, Name: "LONGFT4", What: "long-term fuel trim, bank 4", Source: memory}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x0B, Name: "MAP", What: "intake manifold pressure, absolute", Source: both}, formula: manifold},
	{Signal: Signal{PID: 0x0C, Name: "RPM", What: "engine speed", Source: wiki}, formula: engineSpeed},
	{Signal: Signal{PID: 0x0D, Name: "VSS", What: "vehicle speed", Source: wiki}, formula: kmPerHour},
	{Signal: Signal{PID: 0x0E, Name: "SPARKADV", What: "ignition advance before top dead centre, cylinder 1", Source: both}, formula: advance},
	{Signal: Signal{PID: 0x0F, Name: "IAT", What: "intake air temperature", Source: both}, formula: celsius},
	{Signal: Signal{PID: 0x10, Name: "MAF", What: "air flow rate", Source: wiki}, formula: airFlow},
	{Signal: Signal{PID: 0x11, Name: "TP", What: "throttle position, absolute", Source: wiki}, formula: percent},
	{Signal: Signal{PID: 0x12, Name: "AIR_STAT", What: "commanded secondary air status", Source: memory}, formula: byteCode},
	{Signal: Signal{PID: 0x1C, Name: "OBDSUP", What: "OBD requirements that the vehicle meets", Source: memory}, formula: byteCode},
	{Signal: Signal{PID: 0x1F, Name: "RUNTM", What: "time since engine start", Source: both}, formula: seconds},
	{Signal: Signal{PID: 0x21, Name: "MIL_DIST", What: "distance with the malfunction lamp on", Source: both}, formula: kilometres},
	{Signal: Signal{PID: 0x23, Name: "FRP", What: "fuel rail pressure, gauge", Source: both}, formula: railPressure},
	{Signal: Signal{PID: 0x2E, Name: "EVAP_PCT", What: "commanded evaporative purge", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x2F, Name: "FLI", What: "fuel level", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x31, Name: "CLR_DIST", What: "distance since trouble codes were cleared", Source: both}, formula: kilometres},
	{Signal: Signal{PID: 0x33, Name: "BARO", What: "barometric pressure", Source: both}, formula: kilopascal},
	{Signal: Signal{PID: 0x3C, Name: "CATEMP11", What: "catalyst temperature, bank 1 sensor 1", Source: both}, formula: catalystTemp},
	{Signal: Signal{PID: 0x3D, Name: "CATEMP21", What: "catalyst temperature, bank 2 sensor 1", Source: both}, formula: catalystTemp},
	{Signal: Signal{PID: 0x3E, Name: "CATEMP12", What: "catalyst temperature, bank 1 sensor 2", Source: both}, formula: catalystTemp},
	{Signal: Signal{PID: 0x3F, Name: "CATEMP22", What: "catalyst temperature, bank 2 sensor 2", Source: both}, formula: catalystTemp},
	{Signal: Signal{PID: 0x42, Name: "VPWR", What: "control module voltage", Source: both}, formula: millivolts},
	{Signal: Signal{PID: 0x43, Name: "LOAD_ABS", What: "absolute load", Source: both}, formula: percentWord},
	{Signal: Signal{PID: 0x44, Name: "EQ_RAT", What: "commanded equivalence ratio (lambda), not a measurement", Source: both}, formula: ratio},
	{Signal: Signal{PID: 0x45, Name: "TP_R", What: "throttle position, relative to the learned closed one", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x46, Name: "AAT", What: "ambient air temperature", Source: both}, formula: celsius},
	{Signal: Signal{PID: 0x47, Name: "TP_B", What: "throttle position, second sensor", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x48, Name: "TP_C", What: "throttle position, third sensor", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x49, Name: "APP_D", What: "accelerator pedal position, first sensor", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x4A, Name: "APP_E", What: "accelerator pedal position, second sensor", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x4D, Name: "MIL_TIME", What: "engine run time with the malfunction lamp on", Source: both}, formula: minutes},
	{Signal: Signal{PID: 0x4E, Name: "CLR_TIME", What: "time since trouble codes were cleared", Source: both}, formula: minutes},
	{Signal: Signal{PID: 0x51, Name: "FUEL_TYP", What: "fuel in use", Source: memory}, formula: byteCode},
	{Signal: Signal{PID: 0x52, Name: "ALCH_PCT", What: "alcohol in the fuel", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x55, Name: "STSO2FT1", What: "short-term trim by the downstream sensor, bank 1", Source: both}, formula: trim},
	{Signal: Signal{PID: 0x55, Name: "STSO2FT3", What: "short-term trim by the downstream sensor, bank 3", Source: both}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x56, Name: "LGSO2FT1", What: "long-term trim by the downstream sensor, bank 1", Source: both}, formula: trim},
	{Signal: Signal{PID: 0x56, Name: "LGSO2FT3", What: "long-term trim by the downstream sensor, bank 3", Source: both}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x57, Name: "STSO2FT2", What: "short-term trim by the downstream sensor, bank 2", Source: both}, formula: trim},
	{Signal: Signal{PID: 0x57, Name: "STSO2FT4", What: "short-term trim by the downstream sensor, bank 4", Source: both}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x58, Name: "LGSO2FT2", What: "long-term trim by the downstream sensor, bank 2", Source: both}, formula: trim},
	{Signal: Signal{PID: 0x58, Name: "LGSO2FT4", What: "long-term trim by the downstream sensor, bank 4", Source: both}, formula: trim, at: 1},
	{Signal: Signal{PID: 0x59, Name: "FRP_ABS", What: "fuel rail pressure, absolute", Source: both}, formula: railPressure},
	{Signal: Signal{PID: 0x5B, Name: "BAT_PWR", What: "hybrid battery pack remaining life", Source: both}, formula: percent},
	{Signal: Signal{PID: 0x5E, Name: "FUEL_RATE", What: "engine fuel rate", Source: both}, formula: fuelFlow},
	{Signal: Signal{PID: 0x6D, Name: "FRP_A_CMD", What: "commanded fuel rail pressure, first rail", Source: memory}, formula: railPressure, at: 1, ifBit: 0x01},
	{Signal: Signal{PID: 0x6D, Name: "FRP_A", What: "fuel rail pressure, first rail", Source: memory}, formula: railPressure, at: 3, ifBit: 0x02},
}

// perSensor holds the signals of one oxygen sensor; %[1]d is its bank, %[2]d its
// position. The PID is that of the first sensor of eight.
//
// The standard shows the voltage or current of a wide-range sensor as O2Sbs too.
// It means something else than a switching sensor's voltage, so here it has a name
// of its own. λ is as the car tells it: it is never computed from the current, for
// a real car's frame (λ 0.9673 at −0.2031 mA) is not on any one published curve.
var perSensor = []signalSpec{
	narrowVolts: {Signal: Signal{PID: 0x14, Name: "O2S%[1]d%[2]d", What: "oxygen sensor voltage", Source: wiki}, formula: narrowCell},
	sensorTrim:  {Signal: Signal{PID: 0x14, Name: "SHRTFT%[1]d%[2]d", What: "short-term fuel trim of the oxygen sensor", Source: wikiFF}, formula: trim, at: 1, notUsed: 0xFF},
	lambda:      {Signal: Signal{PID: 0x24, Name: "EQ_RAT%[1]d%[2]d", What: "equivalence ratio (lambda) of the wide-range sensor", Source: wiki}, formula: ratio},
	wideVolts:   {Signal: Signal{PID: 0x24, Name: "O2S%[1]d%[2]d_WIDE_V", What: "wide-range sensor voltage", Source: both}, formula: wideCell, at: 2},
	wideCurrent: {Signal: Signal{PID: 0x34, Name: "O2S%[1]d%[2]d_WIDE_MA", What: "wide-range sensor current", Source: both}, formula: pumpCell, at: 2},
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
	byPID   [256][]*signalSpec
	sensor  [families][4][4]*signalSpec // by bank − 1, position − 1
}

func newIndex() *tableIndex {
	x := &tableIndex{byName: map[string]*Signal{}}
	add := func(l *signalSpec) {
		l.complete()
		x.signals = append(x.signals, &l.Signal)
		l.Number = len(x.signals)
		x.byName[l.Name] = &l.Signal
	}
	for i := range fixedPIDs {
		l := &fixedPIDs[i]
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
