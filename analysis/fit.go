package analysis

import "pushback/analysis/reason"

// Fit follows what a computer says of fuel and exhaust air that keeps a test from counting, whatever
// the sensor. The zero value was told nothing and forbids nothing.
type Fit struct {
	diesel bool
	fuel   byte // PID 51
	air    byte // PID 12
	pack   bool // PID 5B is told: the battery of a hybrid, which not every one names in PID 51

	flex       bool // the share of alcohol is told
	first      float64
	alcohol    float64 // %, when it had moved last
	moved      float64 // s: when that was
	isLearning bool
	latest     float64 // s
	ran        bool    // the engine has run
	bars       bool    // something of that keeps a test from counting now
}

// Codes of PID 51, fuel in use (SAE J1979's table, from memory).
const (
	fuelDiesel     = 0x04
	fuelLPG        = 0x05
	fuelPropane    = 0x07
	fuelBiLPG      = 0x0C // a car of two fuels that runs on gas now, to 0E
	fuelBiPropane  = 0x0E
	fuelElectric   = 0x08
	fuelBiElectric = 0x0F
	fuelHybrid     = 0x11 // a hybrid, on petrol now or ready to; 12 on ethanol, 15 on both
	fuelHybridEth  = 0x12
	fuelHybridDies = 0x13
	fuelHybridElec = 0x14
	fuelHybridBoth = 0x15
	fuelHybridRegn = 0x16
	fuelBiDiesel   = 0x17
)

// Bits of PID 12, commanded secondary air (SAE J1979, from memory): into the exhaust upstream of the
// sensors, and the pump on for diagnosis. Air behind the first catalyst (02) is none of the loop's.
const airUpstream, airDiagnosis = 0x01, 0x08

// A computer that learns the fuel's alcohol moves what it tells of it by points a minute; one that
// has learned it does not. Set, not measured.
const (
	alcoholStep  = 1.0  // %
	alcoholQuiet = 20.0 // s
	alcoholFirst = 6.0  // s: to see whether it moves
)

// TellsFit reports whether a signal is one that Fit follows.
func TellsFit(name string) bool {
	switch name {
	case "COMP_IGN", "FUEL_TYP", "AIR_STAT", "ALCH_PCT", "BAT_PWR":
		return true
	}
	return false
}

// Tell gives a value that was read at the time t, s. Other signals are passed over.
func (f *Fit) Tell(name string, t, v float64) {
	switch name {
	case "COMP_IGN":
		f.diesel = v != 0
	case "FUEL_TYP":
		f.fuel = byte(v)
	case "AIR_STAT":
		f.air = byte(v)
	case "BAT_PWR":
		f.pack = true
	case "ALCH_PCT":
		if !f.flex {
			f.flex, f.first, f.alcohol, f.moved = true, t, v, t-alcoholQuiet
		}
		if abs(v-f.alcohol) >= alcoholStep {
			f.alcohol, f.moved = v, t
		}
		f.isLearning = t-f.moved < alcoholQuiet
		f.latest = t
	}
	f.bars = f.Never() || fuelBiLPG <= f.fuel && f.fuel <= fuelBiPropane || f.onElectric() || f.air&(airUpstream|airDiagnosis) != 0 || f.isLearning
}

// Open reports that it is not known yet whether the fuel is being learned.
func (f *Fit) Open() bool { return f.flex && f.latest-f.first < alcoholFirst }

// Never reports that no waiting brings this car to a test.
func (f *Fit) Never() bool {
	return f.isDiesel() || fuelLPG <= f.fuel && f.fuel <= fuelPropane
}

func (f *Fit) isDiesel() bool {
	return f.diesel || f.fuel == fuelDiesel || f.fuel == fuelHybridDies || f.fuel == fuelBiDiesel
}

// onElectric reports a car that drives, or stands, without its engine.
func (f *Fit) onElectric() bool {
	return f.fuel == fuelElectric || f.fuel == fuelBiElectric || f.fuel == fuelHybridElec || f.fuel == fuelHybridRegn
}

// Hybrid reports a car whose engine stops as it likes unless it is in its maker's inspection mode.
func (f *Fit) Hybrid() bool {
	return f.pack || f.onElectric() && f.fuel != fuelElectric || f.fuel == fuelHybrid || f.fuel == fuelHybridEth || f.fuel == fuelHybridBoth
}

// Unmet lists what keeps a test from counting.
func (f *Fit) Unmet() []reason.Reason {
	var out []reason.Reason
	switch {
	case f.isDiesel():
		out = append(out, reason.Diesel.Of())
	case fuelLPG <= f.fuel && f.fuel <= fuelPropane:
		out = append(out, reason.OnlyGas.Of())
	case fuelBiLPG <= f.fuel && f.fuel <= fuelBiPropane:
		out = append(out, reason.OnGas.Of())
	case f.onElectric():
		out = append(out, reason.OnElectric.Of())
	}
	if f.air&(airUpstream|airDiagnosis) != 0 {
		out = append(out, reason.SecondaryAir.Of())
	}
	if f.isLearning {
		out = append(out, reason.LearningAlcohol.Of(f.alcohol))
	}
	return out
}

// Heeds lists what does not keep a test from counting, but may spoil it.
func (f *Fit) Heeds() []reason.Reason {
	if f.Hybrid() {
		return []reason.Reason{reason.HybridStops.Of()}
	}
	return nil
}

// Holds reports whether nothing does.
func (f *Fit) Holds() bool { return !f.bars }

// Turns gives the engine's speed, rpm.
func (f *Fit) Turns(running bool) { f.ran = f.ran || running }

// Standing is why an engine that does not run keeps a test from counting.
func (f *Fit) Standing() reason.Reason {
	if f.ran || f.Hybrid() {
		return reason.EngineStopped.Of()
	}
	return reason.EngineOff.Of()
}
